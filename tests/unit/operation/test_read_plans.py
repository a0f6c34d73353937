"""The files for many kits: what is read from them, and every fault with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.inventory import demo_folder
from kitopt.operation.read_plans import read_programme, read_standing

PLANS = demo_folder() / "plans"


def faults_of(path: Path, text: str) -> list[str]:
    path.write_text(text.replace("FOLDER", str(PLANS)), encoding="utf-8")
    read = read_standing if "events" in text else read_programme
    with pytest.raises(BadInput) as told:
        read(path)
    return [f"{fault.line}: {fault.text}" for fault in told.value.faults]


def test_temperatures_belong_to_the_months_in_the_order_written(tmp_path: Path) -> None:
    path = tmp_path / "events.toml"
    path.write_text(
        f'months = ["dec", "January"]\n[[events]]\nfile = "{PLANS}/hilltop-morning.toml"\ncoldest_degc = [-9, -7]\n',
        encoding="utf-8",
    )
    (event,) = read_standing(path).events
    assert event.labels == ("Dec", "Jan")
    assert [(date.start.month, date.site.coldest_degc) for date in event.dates] == [(12, -9.0), (1, -7.0)]


@pytest.mark.parametrize("months", ['["junn"]', '["may", "May"]', "[]", "7", '["may", 7]'])
def test_months_that_are_none_are_told(tmp_path: Path, months: str) -> None:
    text = f'months = {months}\n[[events]]\nfile = "FOLDER/hilltop-morning.toml"\n'
    (fault,) = faults_of(tmp_path / "events.toml", text)
    assert fault.startswith("1: ")
    assert 'need "all", or some months, each once, such as ["may", "oct"]' in fault


def test_all_months_are_twelve(tmp_path: Path) -> None:
    path = tmp_path / "events.toml"
    path.write_text(f'months = "all"\n[[events]]\nfile = "{PLANS}/hilltop-morning.toml"\n', encoding="utf-8")
    (event,) = read_standing(path).events
    assert [date.start.month for date in event.dates] == list(range(1, 13))


def test_temperatures_that_belong_to_no_month_are_told(tmp_path: Path) -> None:
    text = 'months = ["dec", "jan"]\n[[events]]\nfile = "FOLDER/hilltop-morning.toml"\nwarmest_degc = [9, 8, 7]\n'
    (fault,) = faults_of(tmp_path / "events.toml", text)
    assert fault == "4: temperatures: found 3, need 2, one for each month named."


def test_a_start_of_a_season_that_clocks_skip_is_told(tmp_path: Path) -> None:
    """Directive 2000/84/EC: from 02:00 to 03:00 on 28 March 2027 in Central Europe; the meadow is there."""
    text = '[[operations]]\nfile = "FOLDER/meadow-day.toml"\nstart = 2027-03-28T02:30:00\n'
    (fault,) = faults_of(tmp_path / "season.toml", text)
    assert fault.startswith("3: clocks there skip this time; need another, such as 2027-03-28 03:30")


def test_every_fault_of_a_season_has_its_line(tmp_path: Path) -> None:
    text = (
        'name = "Year"\n\n[[operations]]\nfile = "nowhere.toml"\n\n'
        '[[operations]]\nfile = "FOLDER/meadow-day.toml"\nstart = "soon"\n'
    )
    first, second = faults_of(tmp_path / "season.toml", text)
    assert first.startswith("4: ")
    assert "nowhere.toml" in first
    assert second.startswith("8: ")
    assert '"soon"' in second
