"""The kit in hand: what is taken where none is named, what is refused, and what is written of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from in_process import kitopt as run
from oracle.dark import FIRST, Box, Night, write_plan, write_stock
from oracle.instances import battery, load

import kitopt
from kitopt.interface.in_hand import Lasting, now, review
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation

OWNED = [Box("big", 1, 10, 1200), Box("small", 3, 4, 500)]
"""128 Wh and 51.2 Wh each."""
START = FIRST.replace(tzinfo=ZoneInfo("UTC"))

Both = tuple[Operation, Inventory]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A night of 16.3 W for 6 h, which takes 97.8 Wh, as files."""
    some = [Night("long", 16, 6)]
    write_stock(tmp_path, OWNED, some)
    write_plan(tmp_path, "operations", some)
    return tmp_path


@pytest.fixture
def night(folder: Path) -> Both:
    """The same, read."""
    return kitopt.read_operation(folder / "long.toml"), kitopt.read_inventory(folder)


def refused(*asked: Any, **more: Any) -> list[str]:
    with pytest.raises(kitopt.BadInput) as caught:
        now(*asked, **more)
    return [str(fault) for fault in caught.value.faults]


def test_without_a_kit_it_is_the_one_that_is_packed(night: Both) -> None:
    # two small ones have 102.4 Wh and 1,000 g, and the big one 1,200 g; full, they last
    found = now(*night, charge=1.0, at=START)
    assert found.answer.kit == {"small": 2}
    assert found.status == "found"
    # 1 of 8 Ah is gone, whatever was foreseen by then
    later = now(*night, used_ah=1.0, at=START + timedelta(hours=1))
    assert later.answer.charge.low_share == pytest.approx(7 / 8)


def test_where_nothing_works_the_kit_has_to_be_told(night: Both) -> None:
    operation, owned = night
    # 24 h of 16.3 W are 391 Wh, and all that is owned holds 281.6 Wh
    (said,) = refused(replace(operation, hours=24.0), owned, charge=1.0, at=START)
    assert said == "--kit: no kit for long is known; need the kit in hand, such as --kit lfp-30,fold-50."
    (said,) = refused(operation, owned, charge=1.0, at=START, kit="lamp-long")
    assert said == "--kit: found no battery; need one at least, such as lfp-30."


@pytest.mark.parametrize(
    ("told", "n"), [({}, 0), ({"used_ah": 1.0, "volts": 13.1}, 2), ({"used_ah": 0.0, "charge": 0.5, "volts": 13.1}, 3)]
)
def test_one_thing_is_told_of_the_charge(night: Both, told: dict[str, float], n: int) -> None:
    (said,) = refused(*night, at=START, **told)
    assert said == f"--used: found {n} of --used, --charge and --volts; need one of them, such as --used 9Ah."


def test_a_battery_or_load_alone_is_no_part_of_an_operation(night: Both) -> None:
    need = "found beside an operation; need --kit there, or no operation."
    assert refused(*night, charge=1.0, at=START, battery="big", load="lamp-long") == [f"--battery: {need}"]
    assert refused(*night, charge=1.0, at=START, load="lamp-long") == [f"--load: {need}"]


def test_banks_and_circuits_are_refused_since_what_is_in_which_is_not_said(night: Both, tmp_path: Path) -> None:
    operation, owned = night
    (said,) = refused(replace(operation, charge="apart"), owned, charge=1.0)
    assert 'charge: found "apart"; need "together"' in said
    apart = tuple(replace(operation.loads[0], circuit=name) for name in ("one", "other"))
    (said,) = refused(replace(operation, loads=apart), owned, charge=1.0)
    assert "loads.circuit: found several circuits; need one: which battery is in which is not said." in said
    with pytest.raises(kitopt.BadInput, match="found several circuits"):
        review(tmp_path / "log.csv", replace(operation, loads=apart), owned)


def alone(**more: Any) -> Lasting:
    """A battery of 10 Ah, of which 9 may be used and 0.9 are held back, full; a radio and a lamp."""
    radio = load("radio", idle_a=0.2, full_a=2.0, role=("hf",))
    owned = Inventory("invented", batteries=(battery("box", 10.0),), loads=(radio, load("lamp", full_a=0.6)))
    asked = {"charge": 1.0, "at": datetime(2027, 6, 12, 14), "battery": "box", **more}
    return now(None, owned, **asked)


def test_a_radio_alone_talks_half_of_the_time_and_a_lamp_alone_is_on() -> None:
    # half of 0.2 A and half of 0.4 x 2 A, as voice on one sideband draws, are 0.5 A: 8.1 / 0.5 = 16.2 h
    assert alone(load="radio").answer.lasts_h == pytest.approx(16.0)
    # 8.1 / 0.6 = 13.5 h
    assert alone(load="lamp").answer.lasts_h == pytest.approx(13.5)


def test_both_faults_of_a_battery_and_a_load_are_told() -> None:
    with pytest.raises(kitopt.BadInput) as caught:
        alone(battery=None, load="lamb")
    missing, wrong = (str(fault) for fault in caught.value.faults)
    assert missing == "--battery: not given; need an operation, or both --battery and --load."
    assert wrong.startswith("--load: found")
    assert wrong.endswith("Did you mean lamp?")


def test_a_page_of_what_is_in_hand_holds_what_is_left_and_claims_no_proof(folder: Path) -> None:
    page = folder / "now.html"
    asked = ("now", folder / "long.toml", "--kit", "small:2", "--used", "1 Ah", "--at", "2027-01-15T13:00")
    done = run(*asked, "--page", page, "--inventory", folder)
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert "Ampere-hours on what is held here count from" in text
    assert "Proved" not in text


def test_a_log_without_a_kit_is_held_against_the_one_that_is_packed(night: Both, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    # 1.5 A for 6 h, in hours: 9 Ah out
    rows = [f"{START + timedelta(hours=h):%Y-%m-%d %H:%M},1.5" for h in range(7)]
    log.write_text("time,load A\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = review(log, *night)
    assert found.status == "found"
    told = found.to_dict()
    assert (told["kit"], told["out_ah"]) == ([{"id": "small", "count": 2}], 9.0)
    assert told["planned_out_ah"] == pytest.approx(97.8 / 12.8, abs=1e-3)
    # both give 8 Ah, so this cannot have been: at 8 / 1.5 h they were empty
    assert told["lowest"]["empty"] is True
    assert "Out 9.0 Ah, planned 7.6: 18 % more." in found.to_text()
