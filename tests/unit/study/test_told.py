"""What is told of a study: text, JSON, a page without a network, and the command from end to end."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from kitopt.cli.options import Options
from kitopt.cli.request import TIME_LIMIT
from kitopt.cli.study import run_study
from kitopt.errors import BadInput
from kitopt.study.found import Asking, Region
from kitopt.study.page import _Frame, region_page
from kitopt.study.processes import Here
from kitopt.study.read import read_study
from kitopt.study.terms import Place, Study
from kitopt.study.text import region_document, region_text


@pytest.fixture
def short(folder: Path) -> Region:
    """One in which the cold hut's night has no kit, and the catalogue offers what mends it."""
    night = folder / "night.toml"
    # 30 h of the lamp are 300 Wh: all batteries hold 2 x 115.2 + 3 x 46.08 = 368.64 Wh, of which .9 can be used at
    # 20 °C, 331.8 Wh, and .675 at -10 °C, 248.8 Wh
    night.write_text(night.read_text().replace("hours = 16", "hours = 30"))
    sites = folder / "sites.csv"
    sites.write_text(sites.read_text().replace(",-25 ", ",20 "))
    offered = folder / "catalogue"
    offered.mkdir()
    header, tin, small = (folder / "batteries.csv").read_text().splitlines()
    (offered / "batteries.csv").write_text(f"{header}\n{tin.replace(',2,1200,80', ',1,1200,80')}\n{small}\n")
    (offered / "loads.csv").write_text((folder / "loads.csv").read_text())
    return Asking(read_study(folder / "huts.toml"), Here()).region()


def test_what_fails_is_told_with_what_mends_it(short: Region) -> None:
    # the cold hut lacks 300 - .675 x 368.64 = 51.2 Wh; one box-10 more gives .675 x 115.2 = 77.8, a box-4 only 31.1
    text = " ".join(region_text(short).split())
    assert "10 pass, 2 have no kit that works" in text
    assert re.search(r"Cold hut +-51 Wh +-51 Wh", region_text(short))
    assert "Cold hut, Jan, night: short of 51 Wh at 01-16 18:00." in text
    assert "mended by" in text
    assert "The purchase that mends most: one box-10 (80.00)" in text
    assert "any 2 of 2 sites are served at once in every month, but for Cold hut." in text


def test_the_document_says_the_same(short: Region) -> None:
    told = json.loads(json.dumps(region_document(short)))
    assert (told["schema"], told["status"]) == ("kitopt/study-1", "found")
    assert told["plans"] == {"asked": 12, "answered": 12, "known_before": 0, "pass": 10, "no_kit": 2, "fault": 0}
    cold = next(site for site in told["sites"] if site["site"] == "Cold hut")
    assert [day["passes"] for day in cold["days"]] == [False, False]
    assert cold["days"][0]["short_wh"] == pytest.approx(300 - 0.675 * 368.64, abs=0.001)
    assert told["purchase"] == {"id": "box-10", "price": 80.0, "mends": ["Cold hut"]}
    assert told["failing"][0]["is_mended"] is True


def test_what_one_standard_kit_more_saves_is_money_where_the_price_counts(folder: Path) -> None:
    # 20 h of the lamp are 200 Wh: two box-10 hold .9 x 230.4 = 207 at 20 °C, and with two box-4, .675 x 322.6 = 218 at
    # -10 °C, each the cheapest that does; so two sites are spared two box-4 at 40.00 by a kit of their own
    for name in ("night", "evening"):
        text = (folder / f"{name}.toml").read_text().replace("hours = 16", "hours = 20")
        (folder / f"{name}.toml").write_text(f'{text}\n[goal]\nleast = "price"\n')
    huts = folder / "huts.toml"
    huts.write_text("standard_kits = 1\n" + huts.read_text().replace('["jan", "jul"]', '["jul"]'))
    text = " ".join(region_text(Asking(read_study(huts), Here()).region()).split())
    assert "1 serves 3 of 3 sites in every plan, each site the cheapest that passes there" in text
    assert "One more would serve no other site, and save 160.00 over all sites." in text


class _Reader(HTMLParser):
    """Elements with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))


def test_the_page_has_a_mark_for_each_site_and_day_and_asks_for_nothing(short: Region) -> None:
    text = region_page(short)
    reader = _Reader()
    reader.feed(text)
    maps = [attrs for tag, attrs in reader.seen if tag == "svg" and attrs.get("role") == "img"]
    assert [one["aria-label"] for one in maps] == [
        "Jan: everything passes at 2 of 3 sites",
        "Jul: everything passes at 2 of 3 sites",
    ]
    # one of each sort explains the marks
    marks = [(tag, attrs["class"]) for tag, attrs in reader.seen if tag in ("circle", "rect")]
    assert marks.count(("circle", "passes")) == 4 + 1
    assert marks.count(("rect", "fails")) == 2 + 1
    assert not re.search(r"(?:src|href|url)\s*[=(]", text)
    assert "<script" not in text


def _places(study: Study, *pairs: tuple[float, float]) -> Iterator[Place]:
    for latitude, longitude in pairs:
        place = study.places[0]
        yield replace(place, site=replace(place.site, latitude_deg=latitude, longitude_deg=longitude))


def test_a_map_is_as_wide_and_high_as_there(huts: Study) -> None:
    # at 60° a degree of longitude is half as long as one of latitude
    places = list(_places(huts, (59.5, 10), (60.5, 10), (60, 10), (60, 11)))
    south, north, west, east = (_Frame(places).at(place.site) for place in places)
    assert (east[0] - west[0]) / (south[1] - north[1]) == pytest.approx(0.5)
    assert south[1] > north[1]


def test_a_map_goes_on_over_the_date_line(huts: Study) -> None:
    west, east = _places(huts, (-17, 179), (-17, -179))
    frame = _Frame([west, east])
    assert frame.wide_deg == pytest.approx(2.0)
    assert frame.at(west.site)[0] < frame.at(east.site)[0]


def test_the_command_keeps_rows_and_writes_a_page(folder: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "kitopt",
        "study",
        "huts.toml",
        "--processes",
        "1",
        "--json",
        "--page",
        "huts.html",
    ]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["plans"]["pass"], told["rows"]) == (12, "huts.parquet")
    assert (folder / "huts.html").read_text().startswith("<!DOCTYPE html>")
    assert (folder / "huts.parquet").is_file()


def test_the_time_is_up_and_the_exit_says_so(folder: Path) -> None:
    answer = run_study(folder / "huts.toml", None, Options(seconds="0.001"), processes="1")
    assert answer.exit_code == TIME_LIMIT
    assert "12 not asked yet: run it again" in " ".join(answer.text.split())


def test_every_fault_is_told_before_any_work(folder: Path) -> None:
    (folder / "sites.csv").write_text("name,latitude,longitude,coldest_degc,warmest_degc,store\nA,95,1,2,3,\n")
    with pytest.raises(BadInput) as caught:
        run_study(folder / "huts.toml", None, Options(), rows=folder / "rows.csv", processes="0", cluster="tcp://a:1")
    assert [(Path(fault.file).name, fault.line, fault.column) for fault in caught.value.faults] == [
        ("--processes", None, None),
        ("--rows", None, None),
        ("--cluster", None, None),
        ("sites.csv", 2, "latitude"),
    ]
    assert [one for one in folder.iterdir() if one.suffix == ".parquet"] == []


def test_a_folder_is_no_study(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    with pytest.raises(BadInput) as caught:
        run_study(Path("."), None, Options())
    assert [str(fault) for fault in caught.value.faults] == [".: not a file; need a file here."]
