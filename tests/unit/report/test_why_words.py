"""One question answered in words: an item left at home, what binds, the edges and one purchase; values by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from small_choices import ZONE, Make, battery

from kitopt.choice import Choice, Survival
from kitopt.explain.binding import Binding, Deciding, Worth
from kitopt.explain.conflict import Fact
from kitopt.explain.edges import Edge, Edges, Solve
from kitopt.explain.one_purchase import OnePurchase
from kitopt.explain.reasons import Reason
from kitopt.explain.within import Within
from kitopt.report.why import (
    bindings_section,
    edge_text,
    edges_section,
    given_text,
    kit_value,
    purchase_section,
    purchase_text,
    within_text,
)

AT_HOME = Reason("beaten", "There is something better.")


def joined(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def choice(choose_for: Make) -> Choice:
    """A box of 1,200 g and the lamp of 300 g."""
    return choose_for(battery(), battery("box-20", mass_g=2500, capacity_ah=20.0, measured_ah=20.0))


def test_what_nobody_owns_has_no_price(choice: Choice) -> None:
    none = Within("bell", Reason("count", "None is owned."), "found", more=90)
    assert within_text(choice, none) == "bell is not in the kit. None is owned.\n"


@pytest.mark.parametrize(
    ("status", "told"),
    [
        ("time-limit", "What it would cost to take it is not known: the time was up."),
        ("no-kit", "A kit could hold it, but none that does runs for long enough."),
        ("blocked", "No kit can have it, whatever it weighs."),
    ],
)
def test_without_a_kit_it_is_told_which_of_three_things_that_means(choice: Choice, status: Any, told: str) -> None:
    text = within_text(choice, Within("box-20", AT_HOME, status))
    assert joined(text) == f"box-20 is not in the kit. There is something better. {told}"


def test_facts_that_keep_it_out_are_told_once(choice: Choice) -> None:
    # what was asked for is no news, nor is what the reason has said
    facts = (
        Fact("asked", "one box-20 is asked for"),
        Fact("better", "something better"),
        Fact("plug", "no lead joins them"),
    )
    reason = Reason("rule", "There is something better.")
    text = within_text(choice, Within("box-20", reason, "blocked", facts=facts))
    assert [line for line in text.splitlines() if line.startswith("- ")] == ["- no lead joins them"]


def test_what_it_costs_to_take_another_along(choice: Choice) -> None:
    """With the box of 2,500 g instead of that of 1,200 g it is 1.30 kg heavier."""
    found = Within("box-20", AT_HOME, "found", 1300, instead=(("box-20", 1),), gone=(("box-10", 2),))
    assert within_text(choice, found).splitlines()[-3:] == [
        "With it the best kit is 1.30 kg heavier.",
        "  in:  box-20",
        "  out: 2 box-10",
    ]
    tie = replace(found, more=0, instead=(), gone=())
    assert within_text(choice, tie).splitlines()[-1] == "With it: it costs nothing: a tie."


def test_the_kit_with_it_is_compared_in_spells_both_seen_and_unseen(choice: Choice) -> None:
    """Of 20 Ah x 12.8 V = 256 Wh the lamp leaves 256 - 80 = 176 Wh."""
    other = replace(choice, survival=Survival(500, 490, 475, 5000, 4910))
    other = replace(other, lowest=replace(other.lowest, margin_wh=176.9))  # type: ignore[type-var]
    mine = replace(choice, survival=Survival(500, 480, 475, 5000, 4801))
    found = Within("box-20", AT_HOME, "found", 1300, choice=other)
    # a margin is never told too high
    assert joined(within_text(mine, found)).endswith(
        "It survives 490 of 500 spells and 4,910 of 5,000 unseen (the chosen kit 480 and 4,801); in the hardest of "
        "them the margin is 176 Wh."
    )
    unmeasured = replace(found, choice=replace(other, survival=None))
    assert "survives" not in within_text(mine, unmeasured)
    # where nothing unseen was tried, none is told
    seen = replace(found, choice=replace(other, survival=Survival(500, 490, 475)))
    assert "It survives 490 of 500 spells (the chosen kit 480); " in joined(
        within_text(replace(choice, survival=Survival(500, 480, 475)), seen)
    )


def test_what_always_comes_along_says_who_asked_for_it(choice: Choice) -> None:
    assert given_text(choice, "lamp") == "lamp is in the kit: the operation names it.\n"
    assert joined(given_text(choice, "tape")) == "tape is in the kit: it is an extra, and these are always packed."


def at(hour: int, minute: int = 0) -> datetime:
    """On Friday, 4 June 2027."""
    return datetime(2027, 6, 4, hour, minute, tzinfo=ZONE)


def test_what_binds_a_kit_in_full(choice: Choice) -> None:
    binding = Binding(
        survived=Deciding("window 3", 2.4, at(9), at(16), was_full=True),
        missed=Deciding("window 7", -5.0, at(8), at(15), was_full=False),
        n_allowed=25,
        n_missed=20,
        worth=(
            Worth("battery", "", 0.96),
            Worth("panel", "fold-100", 0.04),
            Worth("controller", "mppt-5", 3.2, ((at(11), at(12, 30)), (at(13), at(14)))),
        ),
        tight=("10 A of 10 A from the box",),
        exhausted=("box-10", "fold-100"),
    )
    told = [joined(line) for line in "\n".join(bindings_section(choice, [("", binding)])).split("\n- ")]
    hardest, allowed, worth, clips, tight, owned = told[1:]
    nearest = "nearest that is not: no. 7, 5.0 Wh short at Fri 4 Jun 15:00."
    assert hardest == f"hardest spell survived: no. 3, margin 2.4 Wh at Fri 4 Jun 16:00; {nearest}"
    assert allowed == "of 25 spells that may fail, 20 do."
    since, of_battery, of_panel, of_controller = worth.replace("; ", ": ").split(": ")
    assert since == "there, counted from the last full battery at Fri 4 Jun 09:00"
    assert of_battery == "one Wh more of battery brings 1.0 Wh"
    # 0.04 would be told as none
    assert of_panel == "one W more of fold-100 brings nothing"
    assert of_controller == "one A more of mppt-5 brings 3.2 Wh."
    spans = "Fri 4 Jun 11:00 to 12:30, Fri 4 Jun 13:00 to 14:00"
    assert clips == f"mppt-5 passes no more from {spans}: more panel on it is of no use then."
    assert tight == "at its limit: 10 A of 10 A from the box."
    assert owned == "no more is owned of: box-10, fold-100."


HARDER = Edge("hours", 1, 9.0, 10.0, mass_g=2800, instead=(("box-20", 1),), gone=(("box-10", 1),))


@pytest.mark.parametrize(
    ("edge", "told"),
    [
        (HARDER, "hours: the same kit is best up to 9 h; at 10 h 2.80 kg (box-20 in; box-10 out)"),
        (replace(HARDER, instead=()), "hours: the same kit is best up to 9 h; at 10 h 2.80 kg (box-10 out)"),
        (replace(HARDER, mass_g=None), "hours: the same kit is best up to 9 h; at 10 h no kit works"),
        (replace(HARDER, changes=None), "hours: the same kit is best up to 9 h, as far as was looked"),
        (Edge("hours", -1, 5.0, None), "hours: the same kit is best down to 5 h, as far as was looked"),
        # a factor of 1.25 is a quarter more
        (Edge("load", 1, 1.25, 1.5), "load: it may be 25 % more; at 50 % more no kit works"),
        (Edge("load", 1, 1.0, 1.01), "load: no more than now; at 1 % more no kit works"),
        (Edge("confidence", 1, 0.975, None), "confidence: the same kit is best up to 97.5 %, as far as was looked"),
        # in the cold nothing is known between what was solved
        (
            Edge(
                *("coldest", -1, -2.0, -5.0),
                solved=(
                    Solve(-5.0, False, None, False),
                    Solve(-2.0, True, 1500, False),
                    Solve(-1.0, True, 1500, False),
                ),
            ),
            "coldest air: the same kit is best at -1 and -2 °C; at -5 °C no kit works",
        ),
    ],
)
def test_an_edge_says_how_far_it_holds_and_what_comes_then(choice: Choice, edge: Edge, told: str) -> None:
    assert edge_text(choice, edge) == told


def test_a_panel_is_told_at_the_hours_that_were_solved_alone(choice: Choice) -> None:
    # where no kit works, a panel is neither packed nor left at home
    some = (Solve(8, True, 1500, False), Solve(16, False, 1900, True), Solve(24, False, 1900, True))
    edge = Edge("panel hours", 1, None, None, solved=(*some, Solve(99, False, None, False)))
    said = "panel: of the hours that were solved it is packed at 16 and 24 h"
    assert edge_text(choice, edge) == f"{said}, and not at 8 h"
    assert edge_text(choice, replace(edge, solved=some[1:])) == said


def test_edges_that_are_not_known_are_not_passed_over(choice: Choice) -> None:
    assert edges_section(choice, Edges()) == []
    assert edges_section(choice, Edges(is_cut_short=True))[-1] == (
        "Some edges are not known: they took too long, or the time was up."
    )


def test_a_purchase_says_its_price_and_what_it_saves(choice: Choice) -> None:
    """At 900 g the new box is 300 g lighter than that of 1,200 g."""
    new = battery("new-y", name="thin box", mass_g=900, price_cents=900)
    bought = OnePurchase("found", new, 300, 1200, (("new-y", 1),), (("box-10", 1),))
    said = "thin box (new-y), EUR 9.00: 300 g lighter (in: new-y; out: box-10)"
    assert purchase_text(choice, bought) == said
    # an id that is the name too is said once
    plain = replace(bought, item=replace(new, name="new-y"))
    assert purchase_text(choice, plain).startswith("new-y, EUR 9.00: 300 g lighter")
    hurried = replace(bought, status="time-limit")
    assert purchase_text(choice, hurried) == f"{said}; something may save more, the time was up"
    assert purchase_text(choice, OnePurchase("none")) == "nothing in the catalogue makes it lighter by itself"
    assert purchase_text(choice, OnePurchase("time-limit")) == "not known"
    assert purchase_section(choice, None) == []


def test_a_purchase_for_price_is_told_in_money(choose_for: Make) -> None:
    """EUR 80 of a box against EUR 30: 5,000 hundredths less, 50 in the document."""
    choice = choose_for(battery(), least="price")
    new = battery("new-y", price_cents=3000)
    bought = OnePurchase("found", new, 5000, 1500, (("new-y", 1),), (("box-10", 1),))
    assert "EUR 50.00 cheaper" in purchase_text(choice, bought)
    value = kit_value(choice, [], Edges(), bought)["purchase"]
    assert (value["id"], value["price"], value["less"]) == ("new-y", 30.0, 50.0)
    none = kit_value(choice, [], Edges(), OnePurchase("none"))["purchase"]
    assert (none["status"], none["id"], none["price"], none["less"]) == ("none", None, None, 0)
