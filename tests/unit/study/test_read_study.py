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


def told_of(path: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read_study(path)
    return [fault.text for fault in caught.value.faults]


def test_a_day_is_told_by_months_or_by_dates_and_not_by_neither(folder: Path) -> None:
    file = folder / "huts.toml"
    file.write_text(file.read_text().replace('months = ["jan", "jul"]\n', ""))
    # it stands nowhere, so it is told of the top of the file
    assert faults_of(file) == [("huts.toml", 1, "months")]
    assert told_of(file) == ['found neither months nor dates; need one, such as months = ["jan"].']


def test_standard_kits_are_not_chosen_among_kits_that_are_named(folder: Path) -> None:
    file = folder / "huts.toml"
    file.write_text('standard_kits = 2\nkits = ["box-4:3"]\n' + file.read_text())
    assert faults_of(file) == [("huts.toml", 1, "standard_kits")]
    assert told_of(file) == ["found beside kits; need one: standard kits are chosen among those found."]


def test_a_pattern_has_a_name_of_its_own(folder: Path) -> None:
    # rows are known by it
    evening = folder / "evening.toml"
    evening.write_text(evening.read_text().replace('"evening"', '"night"'))
    assert faults_of(folder / "huts.toml") == [("huts.toml", 9, "patterns[2].file")]
    assert told_of(folder / "huts.toml") == ['found another pattern of the name "night"; need a name for each.']


def test_two_inventories_need_two_names(folder: Path) -> None:
    for way in ("one", "other"):
        (folder / way / "kit").mkdir(parents=True)
        for name in ("batteries.csv", "loads.csv"):
            (folder / way / "kit" / name).write_text((folder / name).read_text())
    file = folder / "huts.toml"
    file.write_text('inventories = ["one/kit", "other/kit"]\n' + file.read_text())
    assert faults_of(file) == [("huts.toml", 1, "inventories")]
    assert told_of(file) == ["found two folders of one name (kit, kit); need a name for each."]


def test_folders_that_are_typed_stand_instead_of_those_in_the_file(folder: Path) -> None:
    (folder / "huts.toml").write_text('inventories = ["nowhere"]\n' + (folder / "huts.toml").read_text())
    assert "nowhere" in str([Path(fault) for fault, _, _ in faults_of(folder / "huts.toml")])
    assert read_study(folder / "huts.toml", [folder]).labels == (folder.name,)


def test_without_any_inventory_the_faults_of_the_file_are_told_beside(folder: Path) -> None:
    for name in ("batteries.csv", "loads.csv"):
        (folder / name).unlink()
    (folder / "huts.toml").write_text((folder / "huts.toml").read_text().replace('"jan", "jul"', '"jan", "jum"'))
    faults = faults_of(folder / "huts.toml")
    assert ("huts.toml", 3, "months") in faults
    assert len(faults) == 2


def test_an_inventory_with_a_fault_and_a_load_that_nobody_owns_are_told(folder: Path) -> None:
    loads = folder / "loads.csv"
    loads.write_text(loads.read_text().replace("lamp,lamp,1,300", "lamp,lamp,1,much"))
    assert faults_of(folder / "huts.toml") == [("loads.csv", 2, "mass_g")]


def test_the_air_is_needed_where_no_weather_file_brings_it(folder: Path) -> None:
    (folder / "sites.csv").write_text("name,latitude,longitude,coldest_degc\nOne,47,13,5\nTwo,47,13,\n")
    assert faults_of(folder / "huts.toml") == [
        ("sites.csv", 2, "warmest_degc"),
        ("sites.csv", 3, "coldest_degc"),
        ("sites.csv", 3, "warmest_degc"),
    ]
    assert "only a weather file brings it" in told_of(folder / "huts.toml")[0]


def test_a_file_of_sites_without_a_site_is_a_fault(folder: Path) -> None:
    (folder / "sites.csv").write_text("name,latitude,longitude\n")
    assert faults_of(folder / "huts.toml") == [("sites.csv", None, None)]
    assert told_of(folder / "huts.toml") == ["found no site; need a row for each."]


def test_hills_are_read_by_their_azimuth(folder: Path) -> None:
    (folder / "sites.csv").write_text(
        "name,latitude,longitude,coldest_degc,warmest_degc,horizon\nOne,47,13,0,0,270:12 180:5\n"
    )
    assert read_study(folder / "huts.toml").places[0].site.horizon_deg == ((180.0, 5.0), (270.0, 12.0))


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("horizon", "180-5"),
        ("horizon", "180:91"),
        ("horizon", "361:5"),
        ("coldest_degc", "1 2 3"),
        ("coldest_degc", "-91"),
        ("coldest_degc", "61"),
    ],
)
def test_what_is_no_hill_and_no_year_of_air_is_told(folder: Path, column: str, cell: str) -> None:
    cells = {"coldest_degc": "0", "warmest_degc": "0", "horizon": ""} | {column: cell}
    (folder / "sites.csv").write_text(
        f"name,latitude,longitude,{','.join(cells)}\nOne,47,13,{','.join(cells.values())}\n"
    )
    assert faults_of(folder / "huts.toml") == [("sites.csv", 2, column)]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("dates", '"2027-06-12"'),
        ("dates", "[]"),
        ("dates", '["2027-06-12"]'),
        ("dates", "[2027-06-12T12:00:00]"),
        ("dates", "[1949-12-31]"),
        ("dates", "[2201-01-01]"),
        ("dates", "[2027-06-12, 2027-06-12]"),
        ("kits", '"box-4:3"'),
        ("kits", "[]"),
        ("kits", "[3]"),
        ("kits", '[" "]'),
        ("kits", '["box-4:3", "box-4:3"]'),
        ("inventories", '["."," "]'),
    ],
)
def test_a_list_is_read_whole_or_told(folder: Path, key: str, value: str) -> None:
    text = (folder / "huts.toml").read_text()
    if key == "dates":
        text = text.replace('months = ["jan", "jul"]\n', "")
    (folder / "huts.toml").write_text(f"{key} = {value}\n{text}")
    found = faults_of(folder / "huts.toml")
    assert ("huts.toml", 1, key) in found
    needed = {"dates": "a list of dates without quotes, each once", "kits": "a list of kits, each once"}
    assert any(needed.get(key, "a list of folders, each once") in text for text in told_of(folder / "huts.toml"))
