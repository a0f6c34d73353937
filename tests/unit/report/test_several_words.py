"""Grab-kits, purchases and shares in words, on plans put together by hand: what is not known is never told as known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from small_choices import Make, battery, inventory_of, operation_of

from kitopt.choice import Packed, Proof
from kitopt.choice.handovers import Handover
from kitopt.choice.purchase import Purchase, Single
from kitopt.choice.sharing import Shared, Sheet
from kitopt.choice.standing import GrabKit, Trial
from kitopt.inventory.items import Extra
from kitopt.operation.plans import Bag, Event, Outing, Programme, Standing
from kitopt.operation.terms import Bound
from kitopt.report.several.buy import buy_document, buy_head, buy_text
from kitopt.report.several.grab import grab_document, grab_head, grab_text, recharge_text
from kitopt.report.several.share import share_document, share_head, share_proof, share_text, sheet_notes

PACKED = (Packed("box-10", "battery", 1), Packed("lamp", "load", 1))
NOT_PROVED = Proof("mass", 1500.0, 1200.0, proved=False)
DONE = Proof("mass", 1500.0, 1500.0, proved=True)
NOTHING = Proof("mass", None, None, proved=True)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def standing() -> Standing:
    """The hut as written, and a walk in two months."""
    hut = operation_of()
    july = replace(hut, name="Walk", start=hut.start + timedelta(days=40))
    return Standing(
        "bag.toml",
        "Bag by the door",
        (Event("Hut", (hut,), ("",)), Event("Walk", (replace(hut, name="Walk"), july), ("Jun", "Jul"))),
        recharge_days=30,
    )


@pytest.fixture
def bag(choose_for: Make, standing: Standing) -> GrabKit:
    """The lamp and a box of somebody else's, charged on 1 May."""
    mine = battery(owner="aunt", tags=("home", "boat"), charged_on=date(2027, 5, 1))
    hut = choose_for(mine)
    july = standing.events[1].dates[1]
    walk = replace(hut, operation=july)
    trials = (Trial(0, 0, 1, 1, 1, 48.0), Trial(1, 0, 1, 1, 1, 40.0), Trial(1, 1, 1, 1, 1, 7.9))
    return GrabKit(standing, hut.inventory, "found", DONE, PACKED, trials, (hut, walk), recharge_days=30)


def test_the_hardest_date_is_named_by_its_month(bag: GrabKit) -> None:
    text = flat(grab_text(bag))
    # a margin is never told too high
    assert "Hardest Walk in Jul: 1 of 1 spells survived (1 needed), margin 7 Wh." in text
    assert "Walk, hardest in Jul: 8 h with 1.50 kg" in text
    assert [one["month"] for one in grab_document(bag)["events"]] == [None, "Jun", "Jul"]
    plain = replace(bag, trials=bag.trials[:1])
    assert "Hardest Hut: 1 of 1" in flat(grab_text(plain))


def test_what_is_lent_and_what_is_missed_elsewhere_is_told(bag: GrabKit) -> None:
    text = flat(grab_text(bag))
    assert "Borrowed box-10 (aunt)." in text
    assert "Tags box-10 (home boat)." in text
    told = grab_document(bag)
    assert (told["borrowed"], told["tags"]) == ({"box-10": "aunt"}, {"box-10": ["home", "boat"]})


def test_when_to_charge_again(bag: GrabKit) -> None:
    """30 days after 1 May is 31 May."""
    asked = "every 30 days at least, as it was chosen for: 3 % a month is lost in store."
    dated = " By the last charge written down: box-10 by 2027-05-31."
    assert recharge_text(bag) == asked + dated
    assert (
        recharge_text(replace(bag, recharge_days=31))
        == f"{asked} Set up as below it still passes after 31 days." + dated
    )
    # a year is as far as is looked
    longest = recharge_text(replace(bag, recharge_days=365))
    assert "still passes after 365 days or more." in longest
    at_once = recharge_text(replace(bag, standing=replace(bag.standing, recharge_days=0), recharge_days=None))
    assert at_once.startswith("on the day, as it was chosen for: 3 % a month is lost in store. By the last")
    assert "every 1 day at least" in recharge_text(replace(bag, standing=replace(bag.standing, recharge_days=1)))


def test_how_long_a_mass_lasts_is_called_longest_only_where_it_is_proved(bag: GrabKit) -> None:
    assert grab_head(bag, 9) == "Bag by the door: 1.50 kg, 2 items, passes 2 events at 3 dates, lasts 9 h at each."
    assert "Hours proved longest, to the hour." in flat(grab_text(bag, 9))
    hurried = flat(grab_text(replace(bag, status="time-limit", proof=NOT_PROVED), 9))
    assert "Hours not proved longest: the time was up." in hurried
    assert "proved longest, to the hour" not in hurried


def test_bags_that_are_not_filled_say_why(bag: GrabKit) -> None:
    two = replace(bag, standing=replace(bag.standing, bags=(Bag("sack", 1000), Bag("pouch", 900))))
    assert "Bags not filled: the time was up." in flat(grab_text(replace(two, filled=None)))
    # 1,200 g go into neither, though 1,900 hold 1,500
    never = "Bags the pieces do not go into these bags, although their limits together would do."
    assert never in flat(grab_text(two))
    assert grab_document(replace(two, filled=None))["bags"] == []


@pytest.mark.parametrize(
    ("status", "hours", "told"),
    [
        ("time-limit", None, "Bag by the door: the time was up before any kit was found that passes every event."),
        ("no-kit", 0, "Bag by the door: no kit within that mass lasts even one hour at each event."),
        ("no-kit", None, "No kit in this inventory passes every event of Bag by the door."),
    ],
)
def test_a_bag_without_a_kit_says_which_of_three_things_that_means(
    standing: Standing, status: str, hours: int | None, told: str
) -> None:
    none = GrabKit(standing, inventory_of(battery()), status, NOTHING)  # type: ignore[arg-type]
    assert flat(grab_text(none, hours)) == told


def test_the_strongest_bag_is_told_event_by_event(standing: Standing) -> None:
    # of 99.6 % that are met not all are
    none = GrabKit(standing, inventory_of(battery()), "no-kit", NOTHING, short=(("Hut", 1.0), ("Walk", 0.996)))
    assert grab_text(none).splitlines()[1:] == [
        "  The strongest meets all of the need at Hut.",
        "  The strongest meets 99 % of the need at Walk.",
    ]


def test_what_was_forced_is_named_where_there_is_no_bag(standing: Standing) -> None:
    hut = replace(standing.events[0].dates[0], bounds=(Bound("box-10", most=0),))
    forced = replace(standing, events=(Event("Hut", (hut,), ("",)),))
    text = flat(grab_text(GrabKit(forced, inventory_of(battery()), "no-kit", NOTHING)))
    assert text.startswith("No kit in this inventory passes every event of Bag by the door with ")
    assert "box-10" in text


def programme(*names: str) -> Programme:
    """Outings of 8 h, a day apart, in the same place."""
    first = operation_of()
    some = (replace(first, name=name, start=first.start + timedelta(days=n)) for n, name in enumerate(names))
    return Programme("club.toml", "Club", tuple(Outing(one, f"team {n}") for n, one in enumerate(some)))


@pytest.fixture
def season(choose_for: Make) -> Purchase:
    """Two outings with the box that is owned."""
    choice = choose_for(battery(), Extra(id="tape", name="tape", mass_g=40))
    proof = Proof("price", 0.0, 0.0, proved=True)
    return Purchase(programme("Hut", "Walk"), choice.inventory, "found", proof, choices={0: choice, 1: choice})


def test_nothing_worth_buying_is_said_to_serve_all(season: Purchase) -> None:
    assert buy_head(season) == "Club: nothing worth buying; what is owned serves all 2 operations."
    bought = replace(season, bought=(Packed("box-10", "battery", 1),), cost_cents=8000)
    assert buy_head(bought) == "Club: EUR 80.00 serves all 2 operations."
    one = replace(bought, choices={0: season.choices[0]}, unserved=(1,))
    assert buy_head(one) == "Club: EUR 80.00 serves 1 of 2 operations."


def test_outings_without_a_kit_are_told_apart_from_those_that_are_not_known(season: Purchase) -> None:
    some = replace(season, choices={}, unserved=(0,), unknown=(1,), status="time-limit")
    text = flat(buy_text(some))
    assert text.startswith("Club: the time was up before any kit was found.")
    assert "Without Hut, Fri 4 Jun 2027, 08:00: no kit." in text
    assert "Unknown Walk, Sat 5 Jun 2027, 08:00: the time was up before a kit was found." in text
    told = buy_document(some)
    assert (told["served"], told["unserved"], told["unknown"]) == ([], ["Hut"], ["Walk"])
    none = replace(some, unserved=(0, 1), unknown=(), status="no-kit")
    assert buy_head(none) == "Club: no purchase makes any operation possible."


def test_what_is_not_proved_lightest_is_not_called_so(season: Purchase) -> None:
    # two kits of 1,200 + 300 + 40 g
    assert "Mass 3.08 kg, all kits together; not proved lightest for that." in flat(buy_text(season))
    assert "; proved lightest for that." in flat(buy_text(replace(season, is_lightest=True)))


def test_what_has_no_price_is_named(season: Purchase) -> None:
    text = flat(buy_text(replace(season, unpriced=("old-box", "gift"))))
    assert "Unpriced old-box, gift: without a price nothing can be compared." in text


def test_single_pieces_are_told_as_far_as_they_were_tried(season: Purchase) -> None:
    """80 g for EUR 95.00 are 0.84 g for each."""
    none = "No single piece would make an operation possible or a kit lighter."
    assert none in flat(buy_text(replace(season, has_all_singles=True)))
    # where not every type was tried nothing can be said of all
    assert "single piece" not in buy_text(season)
    some = replace(season, singles=(Single("slim-10", 9500, (0,), 80),))
    text = flat(buy_text(some))
    assert "- slim-10 (EUR 95.00): makes possible Hut; saves 80 g (0.8 g for each EUR)." in text
    assert "The time was up before every type was tried." in text
    assert "The time was up" not in buy_text(replace(some, has_all_singles=True))
    assert buy_document(some)["singles"][0]["makes_possible"] == ["Hut"]


@pytest.fixture
def shared(choose_for: Make) -> Shared:
    """One box for two outings, the second of which has it from the first."""
    choice = choose_for(battery())
    sheets = tuple(Sheet(n, "found", 1.0, 0.0, choice) for n in range(2))
    both = Proof("mass", 3000.0, 3000.0, proved=True)
    return Shared(programme("Hut", "Walk"), choice.inventory, "found", both, sheets)


def test_all_have_what_they_need(shared: Shared) -> None:
    assert share_head(shared) == "Club: all 2 operations have what they need, 3.00 kg in all."
    assert "Nothing changes hands between operations." in share_text(shared)


def test_not_enough_for_all_is_not_the_same_as_not_known(shared: Shared) -> None:
    whole, _ = shared.sheets
    short = replace(shared, status="no-kit", proof=NOTHING, sheets=(whole, Sheet(1, "no-kit")))
    assert share_head(short) == "Club: there is not enough for all; 1 of 2 operations have what they need."
    assert "Nothing that is left fits together for it." in share_text(short)
    unknown = replace(shared, status="time-limit", proof=NOT_PROVED, sheets=(whole, Sheet(1, "time-limit")))
    assert share_head(unknown) == (
        "Club: the time was up before it was known what all can have. 1 of 2 operations have what they need; others "
        "may, too."
    )
    assert "What it can have is not known: the time was up." in share_text(unknown)
    nothing = replace(unknown, sheets=(Sheet(0, "time-limit"), Sheet(1, "time-limit")))
    assert share_head(nothing) == "Club: the time was up before it was known what all can have."
    assert [one["has_kit"] for one in share_document(nothing)["sheets"]] == [False, False]


def test_how_fair_it_is_is_told_as_far_as_it_is_proved(shared: Shared) -> None:
    fair = "proved: no other way leaves the one who is worst off with less of a shortfall."
    short = replace(shared, status="no-kit", proof=NOTHING)
    assert share_proof(short) == fair
    assert share_proof(replace(short, is_fairest=False)) == (
        "proved that not all can be served; not proved fairest: the time was up."
    )
    # with a kit for each it is the mass that is proved
    assert share_proof(shared) == "proved lightest: nothing below 3,000 g works."


def test_an_operator_who_is_short_is_told_of_what(shared: Shared) -> None:
    # neither is told better than it is: 87.69 % met, 9.2 Wh missing
    one = replace(shared.sheets[0], share=0.8769, shortfall_wh=9.2, lacks=("tape", "pegs"))
    assert sheet_notes(one) == [
        "Short: 87.6 % of its need is met; 10 Wh are missing.",
        "Goes without tape, pegs: with others, and not to be had in time.",
    ]
    assert sheet_notes(shared.sheets[0]) == []


def test_a_battery_that_changes_hands_is_to_be_charged_on_its_way(shared: Shared) -> None:
    """From Friday 16:00 to Saturday 08:00 are 16 h, of which 15.7 are the way: 0.3 h for 10 Ah at 20 A, which take
    half an hour."""
    plan = replace(shared.programme, hours_between=15.7)
    passed = replace(shared, programme=plan, handovers=(Handover("box-10", 1, 0, 1), Handover("lamp", 1, None, 1)))
    text = flat(share_text(passed))
    assert "team 0, Hut to team 1, Walk, after Fri 4 Jun 16:00 and by Sat 5 Jun 08:00" in text
    assert "box-10; batteries to be charged meanwhile, up to 0.5 h, for which 0.3 h may be too short" in text
    slow = replace(passed, programme=replace(plan, hours_between=1.0))
    assert "may be too short" not in share_text(slow)
    told = share_document(passed)["handovers"]
    assert [(one["from"], one["to"], one["charging_h"]) for one in told] == [("Hut", "Walk", 0.5), (None, "Walk", None)]


def test_only_batteries_are_charged_on_their_way(shared: Shared) -> None:
    passed = replace(shared, handovers=(Handover("lamp", 1, 0, 1),))
    text = flat(share_text(passed))
    assert "What changes hands" in text
    assert "to be charged meanwhile" not in text
