"""Files out of step with the sun. Shifts are made by the tests: an hour of time zone is an hour of clock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky import windows_for
from kitopt.sky.weather_file import read_weather

Make = Callable[..., Operation]


def _in_zone(greensboro: Path, path: Path, zone: str, *, with_column: bool = True) -> Path:
    lines = greensboro.read_text().splitlines()
    head = lines[0].split(",")
    assert head[3] == "-5.0"
    lines[0] = ",".join([*head[:3], zone, *head[4:]])
    if not with_column:
        column = lines[1].split(",").index("ETR (W/m^2)")
        lines[2:] = [",".join([*(row := line.split(","))[:column], "-9900", *row[column + 1 :]]) for line in lines[2:]]
    path.write_text("\n".join(lines) + "\n")
    return path


def test_a_file_in_step_is_left_alone(greensboro: Path, tmp_path: Path) -> None:
    assert read_weather(greensboro).late_s == 0.0
    assert read_weather(_in_zone(greensboro, tmp_path / "w.csv", "-5.0", with_column=False)).late_s == 0.0


@pytest.mark.parametrize("with_column", [True, False], ids=["its own sun", "its light alone"])
@pytest.mark.parametrize(("zone", "minutes"), [("-6.0", -60), ("-4.0", 60), ("-4.5", 30)])
def test_the_shift_is_found(greensboro: Path, tmp_path: Path, zone: str, minutes: int, with_column: bool) -> None:
    record = read_weather(_in_zone(greensboro, tmp_path / "w.csv", zone, with_column=with_column))
    assert record.late_s / 60 == pytest.approx(minutes, abs=3 if with_column else 6)


def test_a_corrected_file_gives_the_light_that_it_had_and_says_so(
    outing: Make, greensboro: Path, tmp_path: Path
) -> None:
    right = outing(weather=WeatherFile(greensboro), place=(36.1, -79.95), zone="America/New_York")
    wrong = replace(right.need, weather=WeatherFile(_in_zone(greensboro, tmp_path / "w.csv", "-6.0")))
    ours, expected = windows_for(replace(right, need=wrong)), windows_for(right)
    assert any("60 min after the sun" in note and "60 min earlier" in note for note in ours.notes)
    assert not any("out of step" in note for note in expected.notes)
    assert np.abs(ours.poa_wm2["flat"].mean() / expected.poa_wm2["flat"].mean() - 1) < 0.01


def test_a_file_of_another_place_is_refused(greensboro: Path, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as error:
        read_weather(_in_zone(greensboro, tmp_path / "w.csv", "-9.0"))
    assert "4.0 h after the sun" in error.value.faults[0].text
    assert "time zone" in error.value.faults[0].text


def test_typical_years_are_told_by_kind_and_by_months_of_different_years(greensboro: Path) -> None:
    # TMY3, months from 1980 to 2003: NREL/TP-581-43156
    assert read_weather(greensboro).is_typical


def test_a_typical_year_says_that_bad_years_are_missing(outing: Make, greensboro: Path) -> None:
    sky = windows_for(outing(weather=WeatherFile(greensboro), place=(36.1, -79.95), zone="America/New_York"), n=5)
    assert any("typical year" in note and "bad years" in note for note in sky.notes)
