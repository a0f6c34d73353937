"""Readings of panels, batteries and leads become part of the inventory that plans count with."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from in_process import kitopt

from kitopt.inventory import read_inventory
from kitopt.inventory.items import CapacityTest, LeadTest
from kitopt.inventory.measured import capacity, resistance

Write = Callable[..., Path]
AT = "2027-06-{:02d}T12:00+00:00"
NOON = datetime(2027, 6, 1, 12, tzinfo=UTC)
PANELS = "id,mass_g,rated_w,connector,output_factor\nleaf,1700,60,x:plug,\ntold,1700,60,x:plug,0.8\n"


def read(write: Write, rows: list[str], **files: str) -> Path:
    lines = [f"{AT.format(day + 1)},{row}" for day, row in enumerate(rows)]
    head = "at,panel,amps,worth,rated_w,battery,discharged_ah,lead,near_v,far_v"
    return write(readings__csv="\n".join([head, *lines]) + "\n", **{"panels__csv": PANELS, **files})


def test_a_worth_is_as_sure_as_it_is_known(write: Write) -> None:
    leaf, told = read_inventory(write(panels__csv=PANELS)).panels
    assert (leaf.output_factor, leaf.worth_spread) == (0.75, 0.13)
    assert (told.output_factor, told.worth_spread) == (0.8, 0.06)


def test_what_was_read_of_a_panel_takes_the_place_of_what_was_assumed(write: Write) -> None:
    """Ten days of 0.65, each good to 7.7 %: about 2.4 % then, and hardly anything of the 0.75 assumed before."""
    inventory = read_inventory(read(write, ["leaf,2,0.65,,,,,,"] * 10))
    leaf, told = inventory.panels
    assert leaf.output_factor == pytest.approx(0.65, rel=0.02)
    assert leaf.worth_spread == pytest.approx(0.024, rel=0.25)
    # nothing was read of it, and its owner has told its worth
    assert (told.output_factor, told.worth_spread) == (0.8, 0.06)
    (one,) = [one for one in inventory.assumed if one.column == "output_factor"]
    assert (one.id, one.file, one.is_learned) == ("leaf", "readings.csv", True)
    assert "10 readings of 10 days" in one.rule


def test_plans_count_with_a_meter_that_is_told_to_be_off(write: Write) -> None:
    """4 % in all readings alike, on top of the 2.4 % that ten days leave: 4.7 %, against 13 % before: 4.4 %."""
    leaf, _ = read_inventory(read(write, ["leaf,2,0.65,,,,,,"] * 10, inventory__toml='meter = "4 %"\n')).panels
    assert leaf.worth_spread == pytest.approx(0.044, rel=0.1)


def test_a_label_written_later_leaves_the_watts_that_were_read(write: Write) -> None:
    """Read over 100 W, 0.42 of it are 42 W, of a panel of 60 W 0.70."""
    for panels in (PANELS, PANELS.replace("leaf,1700,60", "leaf,1700,?")):
        leaf, _ = read_inventory(read(write, ["leaf,2,0.42,100,,,,,"] * 10, panels__csv=panels)).panels
        assert leaf.rated_w * leaf.output_factor == pytest.approx(42.0, rel=0.02)


def test_a_gross_blunder_hardly_moves_a_battery() -> None:
    """Three discharges of 17 Ah; a fourth that stopped at 9 Ah moves what is known by less than 1 %."""
    tests = [CapacityTest(NOON, "box", ah) for ah in (17.0, 17.2, 16.8)]
    before, after = (capacity("box", 18.0, True, some) for some in (tests, [*tests, CapacityTest(NOON, "box", 9.0)]))
    assert before.middle == pytest.approx(17.0, rel=0.02)
    assert after.middle == pytest.approx(before.middle, rel=0.01)


def test_a_lead_is_its_volts_over_its_amperes() -> None:
    """0.5 V at 4.2 A are 0.119 Ω; one reading in ten times that does not count."""
    tests = [LeadTest(NOON, "pv", 4.2, lost) for lost in (0.5, 0.49, 0.51)]
    assert resistance("pv", tests).middle == pytest.approx(0.5 / 4.2, rel=0.02)
    assert resistance("pv", [*tests, LeadTest(NOON, "pv", 4.2, 5.0)]).middle == pytest.approx(0.5 / 4.2, rel=0.03)


@pytest.mark.parametrize(
    ("row", "column", "text"),
    [
        ("leaf,2,0.7,,box,,,,", "panel", "panel and battery; need one"),
        (",2,0.7,,,,,,", "panel", "neither panel, battery nor lead"),
        ("leaf,2,,,,,,,", "worth", "a reading of a panel needs it"),
        (",,,,box,,,,", "discharged_ah", "a reading of a battery needs it"),
        (",2,,,,,pv,13,13.5", "far_v", "loses volts"),
    ],
)
def test_half_a_reading_is_a_fault(faults_of: Callable[..., list[object]], row: str, column: str, text: str) -> None:
    head = "at,panel,amps,worth,rated_w,battery,discharged_ah,lead,near_v,far_v\n"
    (fault,) = faults_of(readings__csv=f"{head}{AT.format(1)},{row}\n", panels__csv=PANELS)
    assert (fault.column, fault.line) == (column, 2)  # type: ignore[attr-defined]
    assert text in fault.text  # type: ignore[attr-defined]


BATTERIES = (
    "id,mass_g,chemistry,nominal_v,capacity_ah,measured_ah,efficiency,depth_share,max_charge_a,max_discharge_a,"
    "lowest_charging_degc,fused,connector\nbox-20,2500,lifepo4,12.8,20,18,0.98,0.9,10,20,0,yes,genderless-30\n"
)
LEADS = "id,mass_g,from,to,length_m,awg,ways\npv-5,365,pv-latch:socket,pv-latch:plug,5,14,1\n"


def test_what_was_read_of_nothing_here_is_told_with_its_line(write: Write) -> None:
    """Each once, where it is first met in the file."""
    rows = [
        "laef,2,0.65,,,,,,",
        "leaf,2,0.65,,,,,,",
        "laef,2,0.7,,,,,,",
        ",,,,box-02,17,,,",
        ",4.2,,,,,pv-55,13.6,13.1",
    ]
    folder = read(write, rows, batteries__csv=BATTERIES, leads__csv=LEADS)
    met = [(2, "panel", "laef", "leaf"), (5, "battery", "box-02", "box-20"), (6, "lead", "pv-55", "pv-5")]
    told = [
        f'readings.csv, line {line}, column {kind}: readings of "{name}", which is no {kind} here, are ignored. '
        f"Did you mean {near}?"
        for line, kind, name, near in met
    ]
    assert [text for text in read_inventory(folder).warnings if "readings" in text] == told
    learned, checked = (kitopt(command, "--inventory", folder) for command in ("learned", "check"))
    assert (learned.returncode, checked.returncode) == (0, 0)
    for text in told:
        assert f"warning: {text}\n" in learned.stderr
        assert text in " ".join(checked.stdout.split())


def test_a_discharge_beyond_the_label_is_told_and_left_out(write: Write) -> None:
    """1.3 times 20 Ah are 26 Ah, which still count, and no more."""
    rows = [",,,,box-20,17,,,", ",,,,box-20,40,,,", ",,,,box-20,26.1,,,"]
    folder = read(write, rows, batteries__csv=BATTERIES)
    inventory = read_inventory(folder)
    assert [one.discharged_ah for one in inventory.capacity_tests] == [17.0]
    assert [text for text in inventory.warnings if "discharged_ah" in text] == [
        f"readings.csv, line {line}, column discharged_ah: found {ah} Ah, {share} % of the label of box-20; "
        "need 26 Ah at most; this reading is ignored, read box-20 again."
        for line, ah, share in ((3, "40", 200), (4, "26.1", 130))
    ]
    kept = read_inventory(read(write, [*rows, ",,,,box-20,26,,,"], batteries__csv=BATTERIES)).capacity_tests
    assert [one.discharged_ah for one in kept] == [17.0, 26.0]


def test_plans_count_with_the_ohms_that_were_read_of_a_lead(write: Write) -> None:
    """0.5 V lost at 4.2 A are 0.119 ohm; of the other lead nothing was read, and nothing is known."""
    folder = read(write, [",4.2,,,,,pv-5,13.6,13.1"] * 3, leads__csv=f"{LEADS}pv-2,150,x,y,2,14,1\n")
    inventory = read_inventory(folder)
    assert {lead.id: lead.read_ohm for lead in inventory.leads} == {
        "pv-5": pytest.approx(0.5 / 4.2, rel=0.02),
        "pv-2": None,
    }
    (said,) = [one for one in inventory.assumed if one.file == "readings.csv"]
    assert (said.id, said.column, said.is_learned) == ("pv-5", "mohm", True)
