"""Reasons, repairs and what is worth finding out, in words: each thing that an answer may say, on values by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from small_choices import ZONE, Make, battery, inventory_of, operation_of

from kitopt.ask import Change
from kitopt.choice import Choice, Nice, Packed, Proof
from kitopt.explain.conflict import Conflict, Fact
from kitopt.explain.look_up import LookUp, Threshold
from kitopt.explain.measurement import End, Measurement, Measuring, Thing
from kitopt.explain.repairs import Repairs
from kitopt.explain.split import Split
from kitopt.explain.tradeoff import Point, Tradeoff
from kitopt.explain.without import Without
from kitopt.field.noon import AtNoon
from kitopt.inventory.items import Assumed, Extra
from kitopt.model.bus import bus_classes
from kitopt.model.kit import Block
from kitopt.operation.plans import Outing, Programme
from kitopt.report.heed import all_cautions
from kitopt.report.lists import checklist
from kitopt.report.look_up import look_up_section, threshold_text
from kitopt.report.measurement import measurement_section, measurement_value
from kitopt.report.nices import left_at_home, which_run, why_not
from kitopt.report.proof import proof_text
from kitopt.report.reasons import energy, section, sentence
from kitopt.report.repairs import conflicts_section, repairs_section
from kitopt.report.split import split_section, split_text, split_value
from kitopt.report.tradeoff import tradeoff_text, value_text


@pytest.fixture
def choice(choose_for: Make) -> Choice:
    """A box of 1,200 g and the lamp of 300 g."""
    return choose_for(battery())


def flat(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def test_why_each_item_is_there_as_far_as_it_is_known(choice: Choice) -> None:
    at = datetime(2027, 6, 4, 15, tzinfo=ZONE)
    for without, told in (
        (Without("b", 1, "time-limit"), "not known: it takes longer to tell"),
        (Without("b", 1, "time-limit", 365), "at most 365 g heavier"),
        (Without("b", 1, "time-limit", 0), "a tie: as light"),
        (Without("b", 1, "no-kit", fits=False), "no kit: nothing else that is owned fits in its place"),
        # of several circuits, or where it takes too long, it is not known how far the strongest kit gets
        (Without("b", 1, "no-kit"), "no kit does it"),
        (Without("b", 1, "no-kit", shortfall_wh=12.4, time=at), "no kit: 12 Wh short at Fri 4 Jun 15:00"),
        (Without("b", 1, "no-kit", shortfall_wh=0.3), "no kit: less than 1 Wh short"),
        (Without("b", 1, "found", 365), "365 g heavier"),
    ):
        assert sentence(choice, without) == told
    assert energy(None) == "not known how far"
    assert section(choice, ()) == []
    told = section(choice, (Without("b", 2, "time-limit"), Without("c", 1, "found", 90)))
    assert told[1:] == [
        "  1 of 2 b  not known: it takes longer to tell",
        "  c         90 g heavier",
        "  What is not proved takes longer to tell: kitopt why with an id looks further.",
    ]


def test_what_comes_instead_is_shortened_to_the_line_and_never_torn(choose_for: Make) -> None:
    choice = choose_for(*map(battery, ("b", "first", "second", "third")))
    without = Without("b", 1, "found", 90, instead=(("first", 1), ("second", 2), ("third", 1)))
    whole = "90 g heavier (first, 2 second, third instead)"
    assert sentence(choice, without, len(whole)) == whole
    assert sentence(choice, without, len(whole) - 1) == "90 g heavier (first and 2 more instead)"
    assert sentence(choice, without, 20) == "90 g heavier"


def test_changes_that_were_not_decided_are_told_apart_from_those_that_do_not_do(choice: Choice) -> None:
    hurried = Repairs(undecided=(((Change("hours", value=6.0),),),), is_cut_short=True)
    assert repairs_section(choice, hurried) == [
        "Not decided in the time for one change",
        "- 6 h instead of 8 h.",
        "The time was up before every change was tried: allow more --seconds.",
    ]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (Change("confidence", value="0.9"), "to be sure of 90 % instead of 100 %"),
        (Change("mass limit"), "to carry more than 1.40 kg"),
        (Change("transmit", "lamp", "0.25"), "lamp transmitting 25 % of its time on the air"),
        (Change("parallel"), "batteries in parallel instead of in turn"),
        (Change("load off", "lamp", 1), "one lamp less"),
        (Change("load off", "lamp"), "lamp left at home"),
    ],
)
def test_a_change_reads_as_what_to_do(choice: Choice, change: Change, told: str) -> None:
    light = replace(choice, operation=replace(choice.operation, mass_limit_g=1400))
    assert repairs_section(light, Repairs(undecided=(((change,),),)))[1] == f"- {told}."


def test_a_conflict_is_told_once_for_all_that_it_holds_for(choice: Choice) -> None:
    (small,) = bus_classes((battery(),))
    (large,) = bus_classes((battery("box-24", nominal_v=25.6),))
    facts = tuple(Fact("rule", f"fact {n}") for n in range(12))
    lines = conflicts_section(choice, (Conflict(small, facts), Conflict(small, facts), Conflict(large, facts)))
    assert lines[:3] == ["Nothing fits together, because", "  with lifepo4 12.8 V, lifepo4 25.6 V:", "  - fact 0"]
    n_told = sum(line.startswith("  - ") for line in lines)
    # those that are not told are counted
    assert lines[-1] == f"    and {12 - n_told} more: kitopt pack --json"
    assert conflicts_section(choice, ()) == []


OWN = Split(
    "found", "radio", 12.34, ("box-4", "box-6", "box-8", "box-10"), 300, 1200, (("box-4", 2),), (("box-20", 1),)
)
PEAK = "with radio all draw 12.3 A, which box-4, box-6, box-8 and 1 more cannot give; in a circuit of its own"


@pytest.mark.parametrize(
    ("split", "told"),
    [
        (OWN, f'{PEAK} (circuit = "radio"): 300 g lighter (in: 2 box-4; out: box-20)'),
        (replace(OWN, less=0), f"{PEAK}: as good as together, so it saves nothing"),
        (replace(OWN, less=-250), f"{PEAK}: 250 g heavier, so it saves nothing"),
        (replace(OWN, less=None, gone=()), f'{PEAK} (circuit = "radio") a kit of 1.20 kg does it (in: 2 box-4)'),
        (replace(OWN, status="no-kit"), f"{PEAK} no kit does it either (1 solve)"),
        (replace(OWN, status="time-limit"), f"{PEAK}: not known (1 solve)"),
        (replace(OWN, less=0, kept_out=("box-4",)), f"{PEAK.replace(', box-6, box-8 and 1 more', '')}: as good as "),
    ],
)
def test_what_a_circuit_for_the_peak_brings(choice: Choice, split: Split, told: str) -> None:
    assert split_text(choice, split).startswith(told)
    assert split_section(choice, None) == []


def test_what_a_circuit_saves_is_money_where_the_price_counts(choose_for: Make) -> None:
    choice = choose_for(battery(), least="price")
    assert split_value(choice, OWN)["less"] == 3.0
    assert split_value(choice, replace(OWN, less=None))["less"] is None
    assert "EUR 3.00 cheaper" in split_text(choice, OWN)


NOON = AtNoon("leaf", "switch", datetime(2027, 6, 4, 13, tzinfo=ZONE), 2.0, is_facing=True)
LEAF = Thing("leaf", "output_factor", 0.8, 0.6, 1.0, is_packed=True)
WORSE = End(0.6, 800, 2300, (("box-4", 1),), ())
BETTER = End(1.0, -200, 1300, (), (("box-10", 1),))


def measured(choice: Choice, best: Measurement | None, noon: AtNoon | None = None, **more: Any) -> str:
    return flat(measurement_section(choice, Measuring(best, 3, 5, **more), noon))


def test_a_panel_is_measured_in_the_sun_of_that_day(choice: Choice) -> None:
    """2 A at a worth of 0.8 are 1.5 A at 0.6 and 2.5 A at 1.0."""
    said = measured(choice, Measurement(LEAF, WORSE, BETTER), NOON)
    assert "measure leaf on switch, Fri 4 Jun 13:00, facing the sun under a clear sky: " in said
    assert "at 2.5 A, 1.00 of its label, or more the kit is 200 g lighter (box-10 out)" in said
    assert "at 1.5 A, 0.60 of its label, or less the kit is 800 g heavier (box-4 in) (3 asked about, 5 solves)." in said
    flat_panel = replace(NOON, is_facing=False)
    assert "13:00, flat under a clear sky" in measured(choice, Measurement(LEAF, WORSE, None), flat_panel)
    assert "at 0.60 of its label or less the kit" in measured(choice, Measurement(LEAF, WORSE, None))
    told = measurement_value(choice, Measuring(Measurement(LEAF, WORSE, None), 3, 5), NOON)["best"]
    assert (told["low"]["amps"], told["low"]["works"], told["low"]["more"], told["high"]) == (1.5, True, 800, None)
    assert measurement_value(choice, Measuring(None, 3, 5), None)["best"] is None


def test_a_battery_is_discharged_and_may_leave_no_kit(choice: Choice) -> None:
    box = Thing("box-10", "measured_ah", 9.0, 7.0, 10.0, is_packed=True)
    said = measured(choice, Measurement(box, End(7.0, None, None), None), is_cut_short=True)
    told = "discharge box-10 from full: at 7 Ah or less no kit works (3 asked about, 5 solves, some left out)."
    assert said.endswith(told)
    none = "none: the kit stays as good at both ends of what is not known for sure (3 asked about, 5 solves)."
    assert none in measured(choice, None)
    assert measurement_section(choice, Measuring(), None) == []


GUESS = Assumed("batteries.csv", "box-10", "max_charge_a", "4", "0.2 of capacity_ah per hour")
AT_6 = Threshold(GUESS, "max_charge_a", "better", True, 6.13, 1400, 1400, (("fold-100", 1),), (("box-4", 2),))


def test_a_guess_says_from_which_value_on_it_decides(choice: Choice) -> None:
    """The kit of 1,500 g against one of 1,400 g."""
    said = "max_charge_a of box-10, taken as 4 A"
    moves = "fold-100 comes in and 2 box-4 stay home, 100 g lighter"
    assert threshold_text(choice, AT_6) == f"{said}: at 6.13 A or more {moves}"
    none = replace(AT_6, is_above=False, objective=None, mass_g=None)
    assert threshold_text(choice, none) == f"{said}: at 6.13 A or less no kit works"
    same = replace(AT_6, objective=1600, instead=(), gone=())
    assert threshold_text(choice, same) == f"{said}: at 6.13 A or more 100 g heavier"
    unfused = Threshold(replace(GUESS, column="fused", value="no"), "fused", "better", True, True, 1400, 1400)
    assert threshold_text(choice, unfused) == "fused of box-10, taken as no: if yes 100 g lighter"
    assert threshold_text(choice, replace(unfused, at=False)).endswith(": if no 100 g lighter")


def test_guesses_that_were_not_asked_about_are_not_passed_over(choice: Choice) -> None:
    assert look_up_section(choice, LookUp()) == []
    assert "none of them: the answer stays the same (2 asked about, 3 solves)" in flat(
        look_up_section(choice, LookUp(n_guesses=2, n_solves=3))
    )
    assert "Some were left out: " in flat(look_up_section(choice, LookUp(n_guesses=9, n_solves=3, is_cut_short=True)))


def test_why_a_nice_load_stays_at_home(choice: Choice) -> None:
    hurried, block = Nice("fan", None), Nice("fan", False, (Block(("fan",), "rule", "No lead joins the fan."),))
    assert why_not(choice, hurried) == "the time was up before it was known whether a kit runs it."
    assert why_not(choice, block) == "No lead joins the fan."
    some = replace(choice, nices=(Nice("bell", True), Nice("fan", False), Nice("cup", None)))
    assert which_run(some) == ", with bell but without fan, perhaps not all that could run (cup)"
    assert why_not(some, some.nices[1]) == "no kit runs it beside bell."
    light = replace(some, operation=replace(some.operation, nice_at_most_g=250))
    assert why_not(light, some.nices[1]) == (
        "no kit runs it beside bell and weighs at most 250 g more than without nice loads."
    )
    none = replace(some, packed=(), status="no-kit")
    assert which_run(none) == ", even with nothing on but what must run"
    assert why_not(none, some.nices[1]) == "no kit runs what must run."
    assert which_run(replace(none, status="time-limit")) == ""


def test_nothing_is_left_at_home_where_nothing_was_only_nice() -> None:
    assert left_at_home(Programme("club.toml", "Club", (Outing(operation_of()),))) == []


@pytest.mark.parametrize(
    ("proof", "told"),
    [
        (Proof("mass", 1500.0, 1500.0, proved=True), "proved lightest: nothing below 1,500 g works."),
        # 300 of 1,500 g are open: 20 %
        (
            Proof("mass", 1500.0, 1200.0, proved=False),
            "not proved lightest: the time was up. Nothing below 1,200 g can work (gap 20 %).",
        ),
        (
            Proof("mass", 1500.0, None, proved=False),
            "not proved lightest: the time was up before any bound was found.",
        ),
        (Proof("mass", None, None, proved=True), "none."),
        (Proof("mass", None, 900.0, proved=False), "none: the time was up. Nothing below 900 g can work."),
        (
            Proof("unserved", 1.0, 1.0, proved=True),
            "proved fewest without a kit: no fewer than 1 can go without a kit.",
        ),
        (
            Proof("unserved", 3.0, 1.0, proved=False),
            "not proved fewest without a kit: the time was up. As few as 1 might go without a kit.",
        ),
    ],
)
def test_a_proof_promises_no_more_than_was_shown(proof: Proof, told: str) -> None:
    assert proof_text(proof) == told


def test_a_total_without_any_price_tells_none() -> None:
    pegs = Extra(id="pegs", name="pegs", mass_g=90, price_cents=None)
    total = checklist(inventory_of(pegs), (Packed("pegs", "extra", 1),), with_price=True)[-1]
    assert total.split() == ["total", "1", "90", "g"]


def test_without_kits_there_is_nothing_to_heed() -> None:
    assert all_cautions(()) == []


def test_values_of_a_tradeoff_with_their_units(choice: Choice) -> None:
    for against, value, told in (
        ("hours", 36.0, "36 h"),
        ("confidence", 0.975, "97.5 %"),
        ("price", 9050, "EUR 90.50"),
    ):
        point = Point(value, choice)
        assert value_text(Tradeoff(against, (point,)), point) == told  # type: ignore[arg-type]
    none = tradeoff_text(choice, Tradeoff("price", (), is_cut_short=True))
    assert none.splitlines() == [
        "Hut: no kit to compare, at any of the values tried.",
        "Not every value was settled: the time was up.",
    ]
