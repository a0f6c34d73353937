"""`kitopt reading` of a panel, a battery and a lead: what is kept of it, and every refusal of what was typed."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from in_process import kitopt

HEADERS = {
    "batteries": "id,mass_g,chemistry,nominal_v,capacity_ah,measured_ah,efficiency,depth_share,max_charge_a,"
    "max_discharge_a,lowest_charging_degc,fused,connector",
    "controllers": "id,mass_g,kind,max_charge_a,max_pv_v,efficiency,idle_ma,pv_connector,battery_connector,chemistries",
    "panels": "id,mass_g,rated_w,vmp_v,imp_a,voc_v,isc_a,power_per_degc,voc_per_degc,connector,tilts,folding,"
    "output_factor",
    "loads": "id,mass_g,idle_a,full_a,connector",
    "leads": "id,mass_g,from,to,length_m,awg,ways",
}
ROWS = {
    "batteries": "box-20,2500,lifepo4,12.8,20,20,0.98,0.9,10,20,0,yes,genderless-30",
    "controllers": "switch-10,140,pwm,10,50,1,9,pv-latch:socket,genderless-30,lifepo4",
    "panels": "leaf-60,1700,60,18,3.33,21.8,3.56,-0.004,-0.003,pv-latch:plug,yes,yes,0.75",
    "loads": "lamp,300,0.1,0.8,genderless-30",
    "leads": "pv-5,365,pv-latch:socket,pv-latch:plug,5,14,1",
}
DAY = """\
name = "A day"
start = 2027-06-12T10:00:00
hours = 6

[site]
latitude = 46.1
longitude = 14.5
coldest_degc = 20
warmest_degc = 20

[need]
weather = "no sun"

[[loads]]
id = "lamp"
mode = "on"
"""
THERE = ("--where", "46.1,14.5", "--at", "2027-06-12T12:00Z")


@pytest.fixture
def kit(tmp_path: Path) -> Path:
    """An inventory of one of each."""
    folder = tmp_path / "kit"
    folder.mkdir()
    for name, header in HEADERS.items():
        (folder / f"{name}.csv").write_text(f"{header}\n{ROWS[name]}\n", encoding="utf-8")
    return folder


def kept(folder: Path) -> list[dict[str, str]]:
    """The rows of readings.csv, without blank cells."""
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(file)]


def refused(*args: object) -> str:
    done = kitopt("reading", *args)
    assert (done.returncode, done.stdout) == (2, "")
    return " ".join(done.stderr.split())


def test_readings_are_kept_one_below_the_other_as_they_were_typed(kit: Path) -> None:
    lead = kitopt(
        *("reading", "pv-5", "--amps", 4.2, "--volts-near", 13.6, "--volts-far", 13.1, *THERE, "--inventory", kit),
        "--keep",
    )
    assert lead.returncode == 0, lead.stderr
    assert "readings.csv." in " ".join(lead.stderr.split())
    battery = kitopt("reading", "box-20", "--discharged", "17.2Ah", *THERE, "--inventory", kit, "--keep")
    assert battery.returncode == 0, battery.stderr
    one, other = kept(kit)
    # the place's clock is two hours ahead of universal time in June
    at = "2027-06-12T14:00+02:00"
    assert one == {"at": at, "lead": "pv-5", "amps": "4.2000", "near_v": "13.6000", "far_v": "13.1000"}
    assert other == {"at": at, "battery": "box-20", "discharged_ah": "17.2000"}
    # from then on what was read counts, of both
    again = kitopt("check", "--inventory", kit)
    assert again.returncode == 0, again.stderr
    learned = again.stdout[again.stdout.index("Learned from what was read") :]
    assert "box-20" in learned
    assert "pv-5" in learned


def test_a_panels_reading_is_kept_with_how_it_lay(kit: Path) -> None:
    args = ("reading", "leaf-60", "--amps", 2.1, "--aim", "35,180", *THERE, "--inventory", kit)
    done = kitopt(*args, "--keep")
    assert done.returncode == 0, done.stderr
    (row,) = kept(kit)
    assert (row["panel"], row["controller"], row["amps"], row["rated_w"]) == ("leaf-60", "switch-10", "2.1000", "60")
    assert (row["sky"], row["aim"]) == ("clear", "35,180")


def test_a_reading_without_a_current_says_what_to_read(kit: Path) -> None:
    said = refused("leaf-60", *THERE, "--inventory", kit)
    assert "--amps: no amperes are given; need --amps, such as --amps 3.2, or --test for what to read." in said


def test_nothing_is_kept_beside_an_invented_inventory_or_a_test(kit: Path) -> None:
    said = "--keep: found --keep without an inventory of your own, or beside --test; need --inventory and a reading."
    assert said in refused("fold-100", "--amps", 3, "--keep")
    assert said in refused("leaf-60", "--test", "--keep", *THERE, "--inventory", kit)
    assert not (kit / "readings.csv").exists()


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (("--amps", 2, "--volts", 13), "--amps, --volts"),
        (("--found", "pen=12"), "CONTROLLER or --found"),
    ],
)
def test_a_discharge_is_no_reading_of_a_panel(kit: Path, more: tuple[object, ...], named: str) -> None:
    said = refused("box-20", "--discharged", "17 Ah", *more, *THERE, "--inventory", kit)
    assert f"--discharged: found {named} beside a reading of a battery; need either a panel's reading or this" in said


def test_a_lead_is_read_at_both_ends_and_with_a_current(kit: Path) -> None:
    said = refused("pv-5", "--amps", 4, "--volts-near", 13.6, *THERE, "--inventory", kit)
    need = "not given; need the volts at both ends, such as --volts-near 13.6 --volts-far 13.1."
    assert f"--volts-far: {need}" in said
    assert f"--volts-near: {need}" in refused("pv-5", "--amps", 4, "--volts-far", 13, *THERE, "--inventory", kit)
    said = refused("pv-5", "switch-10", "--amps", 4, "--volts-near", 14, "--volts-far", 13, *THERE, "--inventory", kit)
    assert "--volts-near: found CONTROLLER or --found beside a reading of a lead" in said


def test_a_controller_is_no_battery_and_a_name_that_is_near_is_told(kit: Path) -> None:
    assert "found" in refused("switch-10", "--discharged", "17 Ah", *THERE, "--inventory", kit)
    assert "Did you mean box-20?" in refused("box-2", "--discharged", "17 Ah", *THERE, "--inventory", kit)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("--at", "1927-06-12T12:00"), '--at: found "1927-06-12T12:00", need a date with a time'),
        (("--at", "2227-06-12T12:00"), '--at: found "2227-06-12T12:00", need a date with a time'),
        (("--aim", "95,180"), '--aim: found "95,180", need flat, facing, or tilt and bearing in degrees'),
        (("--aim", "35,-10"), '--aim: found "35,-10", need flat, facing, or tilt and bearing in degrees'),
        (("--aim", "35,180,2"), '--aim: found "35,180,2", need flat, facing, or tilt and bearing in degrees'),
        (("--aim", "nan,180"), '--aim: found "nan,180", need flat, facing, or tilt and bearing in degrees'),
        (("--found", "look=perhaps"), '--found look: found "perhaps", need yes or no.'),
        (("--found", "look"), '--found: found "look", need TEST=VALUE with one of'),
    ],
)
def test_what_is_out_of_reach_is_told_as_it_was_typed(kit: Path, typed: tuple[str, ...], said: str) -> None:
    where = THERE[:2] if typed[0] == "--at" else THERE
    assert said in refused("leaf-60", "--amps", 2, *where, *typed, "--inventory", kit)


def test_a_place_may_be_an_operations_file(kit: Path) -> None:
    (kit / "day.toml").write_text(DAY, encoding="utf-8")
    at = ("--amps", 4.2, "--volts-near", 13.6, "--volts-far", 13.1, "--at", "2027-06-12T12:00")
    done = kitopt("reading", "pv-5", *at, "--where", kit / "day.toml", "--keep")
    assert done.returncode == 0, done.stderr
    # the inventory beside the operation is the owner's own, so it is kept there; and nothing is said of a demo
    assert kept(kit)[0]["at"] == "2027-06-12T12:00+02:00"
    assert "demo" not in done.stderr
