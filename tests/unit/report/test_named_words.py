"""A kit that somebody names: what is said where it does, does not, or the time was up."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_choices import Make, battery

from kitopt.choice import Choice, Packed
from kitopt.choice.named import NamedKit
from kitopt.explain import Why
from kitopt.report.named import named_document, named_text

BAG = (Packed("box-10", "battery", 1), Packed("lamp", "load", 1))
SPARE = (Packed("box-10", "battery", 1),)


@pytest.fixture
def does(choose_for: Make) -> NamedKit:
    """The lamp of 300 g draws 80 Wh in 8 h, of which the box of 1,200 g holds 128."""
    return NamedKit(BAG, choose_for(battery(count=3)), used=BAG, needless=())


@pytest.fixture
def lacks(choose_for: Make) -> NamedKit:
    """In 16 h the lamp draws 160 Wh."""
    choice = choose_for(battery(), hours=16.0)
    assert choice.status == "no-kit"
    return NamedKit(BAG, choice, used=BAG, missing=SPARE)


def said(kit: NamedKit) -> str:
    return " ".join(named_text(kit, Why()).split())


def in_time(choice: Choice) -> Choice:
    return replace(choice, status="time-limit", packed=(), survival=None)


def test_in_brief_there_is_the_answer_and_the_list(does: NamedKit) -> None:
    lines = named_text(does, Why(), is_brief=True).splitlines()
    assert lines[0].startswith("Hut: this kit does, 8 h with 1.50 kg")
    assert lines[1] == ""
    # EUR 80 of the box and 10 of the lamp
    assert lines[-1].split() == ["total", "2", "EUR", "90.00", "1.50", "kg"]
    assert "Balance" not in "".join(lines)


def test_what_is_too_much_is_named_or_said_to_be_nothing_or_not_known(does: NamedKit) -> None:
    assert "Too much nothing." in said(does)
    assert "Too much not known: the time was up." in said(replace(does, needless=None))
    heavy = replace(does, named=(Packed("box-10", "battery", 2), BAG[1]), needless=SPARE)
    assert "Too much box-10 (1.20 kg): the rest is the lightest kit of these that does." in said(heavy)
    assert named_document(replace(does, needless=None), Why())["named"]["too_much"] is None
    assert named_document(does, Why())["named"]["too_much"] == []


def test_what_is_missing_is_told_as_far_as_it_is_proved(lacks: NamedKit) -> None:
    what = "Missing box-10 (1.20 kg): with that it does"
    assert f"{what}, and nothing lighter would make it do." in said(lacks)
    assert f"{what}; whether less would be enough is not known." in said(replace(lacks, repair="time-limit"))
    hurried = replace(lacks, repair="time-limit", missing=())
    assert "Missing not known: the time was up." in said(hurried)
    never = replace(lacks, repair="no-kit", missing=())
    assert "Missing nothing that is owned would make it do." in said(never)
    told = named_document(never, Why())["named"]
    assert (told["does"], told["missing_status"], told["missing"]) == (False, "no-kit", [])


def test_a_kit_that_does_not_says_how_far_it_falls_short(lacks: NamedKit) -> None:
    # 160 Wh less the 128 in the box
    assert "Wired as well as it can be it falls 32 Wh short" in said(lacks)
    apart = replace(lacks, choice=replace(lacks.choice, shortfall=None))
    assert "Nothing of it fits together." in said(apart)


def test_without_the_time_it_is_neither_yes_nor_no(does: NamedKit) -> None:
    kit = NamedKit(BAG, in_time(does.choice))
    text = said(kit)
    assert text.startswith("Hut: the time was up before it was known whether this kit does for 8 h.")
    assert "Missing" not in text
    assert "Too much" not in text
    assert named_document(kit, Why())["named"]["does"] is None
    assert named_document(kit, Why())["named"]["chance"] is None


def test_above_the_limit_it_is_said_by_how_much(lacks: NamedKit) -> None:
    # 1,500 g, of which 1,000 are allowed
    assert "Too heavy 500 g above the 1.00 kg that the operation allows." in said(replace(lacks, over_limit_g=500))


def test_what_is_wired_to_nothing_is_named(does: NamedKit) -> None:
    kit = replace(does, named=(Packed("box-10", "battery", 2), BAG[1]), needless=SPARE)
    assert "Not used box-10: in the bag, but wired to nothing." in said(kit)
    assert "Not used" not in said(does)
    assert [one["id"] for one in named_document(kit, Why())["named"]["not_used"]] == ["box-10"]
