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
from typing import Any

import numpy as np
import pytest

from kitopt.cli.options import Options
from kitopt.cli.request import TIME_LIMIT
from kitopt.cli.study import run_study
from kitopt.errors import BadInput
from kitopt.study.found import Asking, Region, Standard
from kitopt.study.page import _Frame, region_page
from kitopt.study.processes import Here
from kitopt.study.read import read_study
from kitopt.study.row import Row, RowStatus
from kitopt.study.standard import pick
from kitopt.study.stock import Stock
from kitopt.study.summary import Cell
from kitopt.study.terms import Place, Study, When
from kitopt.study.text import MOST_LINES, cell_text, change_text, lacks_text, region_document, region_text


def _row(status: RowStatus, **more: Any) -> Row:
    return Row("Hut", "2027-01-15", "night", "i", "", "1", status, **more)


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


def test_inventories_and_kits_are_counted_with_the_plans(folder: Path) -> None:
    huts = folder / "huts.toml"
    other = folder / "other"
    other.mkdir()
    for name in ("batteries.csv", "loads.csv"):
        (other / name).write_text((folder / name).read_text())
    huts.write_text('kits = ["box-4:3"]\ninventories = [".", "other"]\n' + huts.read_text())
    text = " ".join(region_text(Asking(read_study(huts), Here()).region()).split())
    assert "Huts: 24 plans, 3 sites × 2 days × 2 patterns × 2 inventories × 1 kit." in text
    # three box-4 give .9 x 138.24 Wh, and .675 of it at -10 °C: the evening's 60 Wh, nowhere the night's 160 (the far
    # hut is cold before dawn alone)
    assert "12 pass, 12 have no kit that works." in text


def test_of_many_sites_those_alone_are_listed_at_which_something_fails(short: Region) -> None:
    study, many = short.study, range(MOST_LINES)
    warm, cold, far = study.places
    places = (warm, cold, far, *(replace(warm, name=f"Warm {n}") for n in many))
    table = [*short.table, *(short.table[0] for _ in many)]
    text = region_text(replace(short, study=replace(study, places=places), table=table))
    assert re.search(r"^Cold hut +-51 Wh +-51 Wh$", text, re.MULTILINE)
    assert not re.search(r"^Warm", text, re.MULTILINE)
    # 63 sites, one of which fails
    assert "(62 more sites: everything passes there.)" in text


def test_where_too_many_fail_the_rest_is_counted(short: Region) -> None:
    study, n = short.study, MOST_LINES + 5
    cold, (_, when, row) = study.places[1], short.fails[0]
    fails = [(place, when, row) for place in range(n)]
    region = replace(
        short,
        study=replace(study, places=tuple(replace(cold, name=f"Cold {i}") for i in range(n))),
        table=[short.table[1]] * n,
        fails=fails,
        changes={},
        stocks=(),
    )
    text = region_text(region)
    assert text.count(", Jan, night: short of 51 Wh") == MOST_LINES
    assert "(5 more in the rows.)" in text
    # whether everything passes at the five that are not shown is not said
    assert "(5 more sites.)" in text
    assert "mended by" not in text


def test_days_that_find_no_place_beside_each_other_go_below(short: Region) -> None:
    study = short.study
    months = tuple(When(month, 15) for month in range(1, 13))
    text = region_text(
        replace(short, study=replace(study, whens=months), table=[[line[0]] * 12 for line in short.table])
    )
    heads = [line.split()[1:] for line in text.splitlines() if line.startswith("Site ")]
    assert len(heads) > 1
    assert [label for head in heads for label in head] == [when.label for when in months]
    # a name stands once in each of the tables
    assert len(re.findall(r"^Cold hut +-51 Wh", text, re.MULTILINE)) == len(heads)


def test_a_name_that_is_too_long_is_cut_and_seen_to_be(short: Region) -> None:
    study = short.study
    places = (replace(study.places[0], name="A hut with a long name above the lake"), *study.places[1:])
    assert re.search(
        r"^A hut with a long na… +passes", region_text(replace(short, study=replace(study, places=places))), re.M
    )


@pytest.mark.parametrize(
    ("row", "cell", "lacks"),
    [
        (_row("fault", fault="there is no such file."), "fault", "there is no such file"),
        (_row("no-kit", lacks="no lead joins them"), "no join", "no lead joins them"),
        (_row("no-kit", margin_wh=-0.2, lacks="0 Wh"), "-1 Wh", "short of 0 Wh"),
        (
            _row("no-kit", margin_wh=-1234.4, lacks="1234 Wh", hardest="2027-01-16T18:00:00+01:00"),
            "-1,234 Wh",
            "short of 1234 Wh at 01-16 18:00",
        ),
    ],
)
def test_a_plan_that_fails_says_in_eight_letters_and_in_words_why(row: Row, cell: str, lacks: str) -> None:
    assert cell_text(Cell((row,), is_whole=True)) == cell
    assert lacks_text(row) == lacks


def test_a_plan_that_is_not_asked_yet_is_no_failure() -> None:
    assert cell_text(Cell((), is_whole=False)) == "?"


def test_a_change_is_said_to_mend_only_what_it_mends() -> None:
    assert change_text(_row("found", lacks="one more box-10")) == "mended by one more box-10"
    nearest = "no single change that was tried is enough; nearest: one more box-10"
    assert change_text(_row("no-kit", lacks="one more box-10")) == nearest
    assert change_text(_row("no-kit")) == "no change that was tried helps"


def test_no_purchase_is_told_as_such_and_none_is_looked_for_beside_named_kits(short: Region) -> None:
    said = "No single piece of the catalogue mends all of what fails at any site."
    assert said in " ".join(region_text(replace(short, piece=None)).split())
    named = replace(short.study, kits=((("box-4", 3),),))
    for region in (replace(short, study=named), replace(short, study=replace(short.study, catalogue=None))):
        assert "The purchase that mends most" not in region_text(replace(region, stocks=()))
        assert said not in " ".join(region_text(replace(region, piece=None)).split())


def _with_standard(region: Region, passes: list[list[bool]], chances: tuple[float | None, ...] = (None,) * 3) -> Region:
    """One standard kit, picked among a box-10 and a box-4; the cold hut counts as two."""
    which, weights, masses = np.array(passes), [1.0, 2.0, 1.0], (1200, 500)
    picked, more = (pick(which, weights, masses, n) for n in (1, 2))
    kits = ((("box-10", 1),), (("box-4", 1),))
    return replace(region, standard=(Standard(0, kits, masses, picked, more, chances, is_price=False),))


def test_one_more_standard_kit_is_said_to_serve_whom_it_serves(short: Region) -> None:
    # the box-10 serves the cold hut alone, the box-4 the warm one, and neither the far one
    region = _with_standard(short, [[False, True], [True, False], [False, False]], (None, 0.953, None))
    text = " ".join(region_text(region).split())
    assert "Standard kits: 1 serves 1 of 3 sites in every plan, each site the lightest that passes there" in text
    assert "- box-10:1 (1.20 kg): 1 site, 95.3 % at the least" in text
    assert "One more would serve Warm hut too." in text
    assert "Not served even so: Far hut, its plans need kits that differ, and no one of them passes all." in text
    (told,) = region_document(region)["standard"]
    assert (told["weight"], told["not_served"]) == (2.0, ["Warm hut", "Far hut"])
    assert told["kits"] == [{"kit": [{"id": "box-10", "count": 1}], "mass_g": 1200, "sites": ["Cold hut"]}]
    assert told["chances"] == {"Cold hut": 0.953}
    assert (told["one_more"]["serves"], told["one_more"]["weight"]) == (["Warm hut"], 3.0)


def test_a_site_without_any_kit_says_what_it_lacks_beside_the_standard_kits(short: Region) -> None:
    # everywhere else the box-4 does, which is the lighter one: another could only be heavier
    text = " ".join(region_text(_with_standard(short, [[True, True], [False, False], [True, True]])).split())
    assert "- box-4:1 (500 g): 2 sites One more would bring nothing." in text
    assert "Not served even so: Cold hut, short of 51 Wh at 01-16 18:00." in text


def test_standard_kits_of_several_inventories_say_of_which_they_are(short: Region) -> None:
    study = short.study
    several = replace(study, inventories=(study.inventories[0], replace(study.inventories[0], folder="/elsewhere")))
    region = _with_standard(replace(short, study=several), [[True, False]] * 3)
    assert f"Standard kits from {several.labels[0]}: 1 serves 3 of 3 sites" in " ".join(region_text(region).split())


def test_a_store_that_holds_nothing_says_so(short: Region) -> None:
    empty = Stock("shed", 2, 0, (), ("Warm hut", "Cold hut"))
    other = Stock("barn", 1, 4, (("box-10", 2), ("box-4", 1)), ())
    text = " ".join(region_text(replace(short, stocks=(empty, other))).split())
    assert text.count("What each store holds, loads and extras aside") == 1
    assert "- shed: nothing; it serves none of Warm hut, Cold hut." in text
    assert "- barn: 2 box-10, 1 box-4; so any 1 of 4 sites are served at once in every month." in text
