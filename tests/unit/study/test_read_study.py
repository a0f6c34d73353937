"""A study's file and its file of sites: what is read, and every fault at once, with line and column."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kitopt.errors import BadInput
from kitopt.study.read import read_study
from kitopt.study.terms import Question, Study


def faults_of(path: Path) -> list[tuple[str, int | None, str | None]]:
    with pytest.raises(BadInput) as caught:
        read_study(path)
    return [(Path(fault.file).name, fault.line, fault.column) for fault in caught.value.faults]


def test_every_site_day_and_pattern_is_a_plan(huts: Study) -> None:
    assert len(list(huts.questions())) == 3 * 2 * 2
    assert [when.label for when in huts.whens] == ["Jan", "Jul"]
    assert [pattern.name for pattern in huts.patterns] == ["night", "evening"]


def test_a_plan_is_the_pattern_at_the_site_in_the_middle_of_the_month(huts: Study) -> None:
    operation = huts.operation(Question(2, 0, 0, 0))
    assert operation.start == datetime(2027, 1, 15, 12, tzinfo=ZoneInfo("Europe/Vienna"))
    assert (operation.site.latitude_deg, operation.site.longitude_deg) == (47.9, 13.9)
    # twelve temperatures: January's is the first
    assert (operation.site.coldest_degc, operation.site.warmest_degc) == (-25.0, 20.0)
    assert huts.operation(Question(2, 1, 0, 0)).site.coldest_degc == 20.0


def test_dates_stand_instead_of_months(folder: Path) -> None:
    file = folder / "huts.toml"
    file.write_text(file.read_text().replace('months = ["jan", "jul"]', "dates = [2028-02-29]"))
    study = read_study(file)
    assert study.whens[0].label == "2028-02-29"
    assert study.operation(Question(0, 0, 0, 0)).start.date().isoformat() == "2028-02-29"


def test_a_time_that_clocks_skip_is_the_one_that_they_show(folder: Path) -> None:
    # Austria's clocks go from 02:00 to 03:00 on the last Sunday of March (Directive 2000/84/EC): the 28th in 2027
    night = folder / "night.toml"
    night.write_text(night.read_text().replace("T12:00:00", "T02:30:00"))
    file = folder / "huts.toml"
    file.write_text(file.read_text().replace('months = ["jan", "jul"]', "dates = [2027-03-28]"))
    start = read_study(file).operation(Question(0, 0, 0, 0)).start
    assert (start.hour, start.minute) == (3, 30)


def test_bad_rows_are_all_told_with_line_and_column(folder: Path) -> None:
    (folder / "sites.csv").write_text(
        "name,latitude,longitude,locator,coldest_degc,warmest_degc,horizon,priority,store\n"
        "One,91,13,,5,10,,1,\n"
        "Two,47,,,5,10,,1,\n"
        "Three,47,13,JN67,5,10,,1,\n"
        "One,47,13,,5 6,10,,1,\n"
        "Five,47,13,,12,10,,1,sched\n"
        "Six,47,13,,,10,12,0,\n",
        encoding="utf-8",
    )
    assert faults_of(folder / "huts.toml") == [
        ("sites.csv", 2, "latitude"),
        ("sites.csv", 3, "latitude"),
        ("sites.csv", 4, "locator"),
        ("sites.csv", 5, "coldest_degc"),
        ("sites.csv", 5, "name"),
        ("sites.csv", 6, "store"),
        ("sites.csv", 6, "coldest_degc"),
        ("sites.csv", 7, "horizon"),
        ("sites.csv", 7, "priority"),
    ]


def test_faults_of_all_files_are_told_together(folder: Path) -> None:
    (folder / "huts.toml").write_text(
        'sites = "sites.csv"\nmonths = ["jan"]\ndates = [2027-01-01]\nkits = ["box-99", "box-10:9"]\n'
        '[[patterns]]\nfile = "night.toml"\n[[patterns]]\nfile = "none.toml"\n'
        '[[stores]]\nname = "shed"\n[[stores]]\nname = "shed"\n',
        encoding="utf-8",
    )
    (folder / "night.toml").write_text((folder / "night.toml").read_text().replace('"lamp"', '"lamb"'))
    assert sorted(faults_of(folder / "huts.toml"), key=str) == sorted(
        [
            ("huts.toml", 3, "dates"),
            ("huts.toml", 4, "kits[1]"),
            ("huts.toml", 4, "kits[2]"),
            ("huts.toml", 8, "patterns[2].file"),
            ("huts.toml", 12, "stores[2].name"),
            ("night.toml", 15, "loads[1].id"),
        ],
        key=str,
    )


def test_a_fingerprint_changes_with_whatever_the_answer_depends_on(folder: Path, huts: Study) -> None:
    asked = list(huts.questions())
    marks = {huts.fingerprint(one, "1") for one in asked}
    assert len(marks) == len(asked)
    assert not marks & {huts.fingerprint(one, "2") for one in asked}
    # what stands where in a file changes no answer; another count of a battery may
    night = folder / "night.toml"
    night.write_text("# a remark\n" + night.read_text())
    assert {read_study(folder / "huts.toml").fingerprint(one, "1") for one in asked} == marks
    batteries = folder / "batteries.csv"
    batteries.write_text(batteries.read_text().replace("tin box,2", "tin box,1"))
    assert not marks & {read_study(folder / "huts.toml").fingerprint(one, "1") for one in asked}
