"""Results: as a dict, as text, as a table; light enough to be sent elsewhere, and the same there."""

from __future__ import annotations

import json
import pickle
from dataclasses import replace
from pathlib import Path

import pytest
from oracle.dark import LAMP_G, Box, Night, told, write_plan, write_stock

import kitopt
from kitopt.inventory.items import Connector

OWNED = [Box("big", 1, 10, 1200), Box("small", 3, 4, 500)]
"""128 Wh and 51.2 Wh each."""


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    """A night of 16.3 W for 6 h, which takes 97.8 Wh, and one of 10.3 W for 4 h, 41.2 Wh; files."""
    some = [Night("long", 16, 6), Night("short", 10, 4, 24)]
    write_stock(tmp_path, OWNED, some)
    write_plan(tmp_path, "operations", some)
    return tmp_path


def packed(folder: Path, **asked: object) -> kitopt.Result:
    operation = kitopt.read_operation(folder / "long.toml")
    return kitopt.pack(operation, kitopt.read_inventory(folder), reasons=False, **asked)  # type: ignore[arg-type]


def test_the_dict_is_what_the_command_prints(nights: Path) -> None:
    result = packed(nights)
    printed = told("pack", nights / "long.toml", "--no-reasons")
    assert printed.pop("exit") == 0
    assert json.loads(json.dumps(result.to_dict())) == printed
    # two small ones have 102.4 Wh and 1,000 g
    assert (result.status, printed["mass_g"]) == ("found", 1000 + LAMP_G)


def test_the_same_keywords_as_the_command_has(nights: Path) -> None:
    assert packed(nights, with_="big").to_dict()["mass_g"] == 1200 + LAMP_G
    assert packed(nights, with_={"small": 3}).to_dict()["mass_g"] == 1500 + LAMP_G
    assert packed(nights, without=["small:2"]).to_dict()["mass_g"] == 1200 + LAMP_G
    assert packed(nights, without="small", with_=["big"]).to_dict()["mass_g"] == 1200 + LAMP_G
    named = packed(nights, kit={"big": 1, "small": 1})
    assert [one["id"] for one in named.to_dict()["named"]["too_much"]] == ["small"]
    # 51.2 Wh of 97.8 Wh, and one more small one does
    short = packed(nights, kit="small")
    assert short.status == "no-kit"
    assert [(one["id"], one["count"]) for one in short.to_dict()["named"]["missing"]] == [("small", 1)]
    assert short.to_dict()["kit"] == []


def test_a_table_has_a_row_for_each_item_of_each_kit(nights: Path) -> None:
    frame = packed(nights).to_frame()
    assert list(frame["id"]) == ["small", "lamp-long"]
    assert frame["total_mass_g"].sum() == 1000 + LAMP_G
    programme = kitopt.read_programme(nights / "plan.toml")
    shared = kitopt.share(programme, kitopt.read_inventory(nights), without={"big": 1})
    frame = shared.to_frame()
    assert list(zip(frame["operation"], frame["id"], frame["count"], strict=True)) == [
        *(("long", "small", 2), ("long", "lamp-long", 1)),
        *(("short", "small", 1), ("short", "lamp-short", 1)),
    ]


def test_a_table_of_a_named_kit_holds_what_was_named(nights: Path) -> None:
    frame = packed(nights, kit={"big": 1, "small": 1}).to_frame()
    pieces = dict(zip(frame["id"], frame["count"], strict=True))
    assert (pieces["big"], pieces["small"]) == (1, 1)
    assert frame["total_mass_g"].sum() == 1200 + 500 + LAMP_G


def test_nothing_is_bought_without_a_catalogue(nights: Path) -> None:
    with pytest.raises(kitopt.BadInput, match="--catalogue: no catalogue: name a folder, or put one beside"):
        kitopt.buy(kitopt.read_programme(nights / "plan.toml"), kitopt.read_inventory(nights))


def test_a_pickled_choice_at_50_windows_is_light_and_the_same() -> None:
    demo = kitopt.demo_folder()
    operation = kitopt.read_operation(demo / "operations" / "coastal-checkpoint.toml")
    operation = replace(operation, need=replace(operation.need, windows=50))
    result = kitopt.pack(operation, kitopt.read_inventory(demo), reasons=False)
    sent = pickle.dumps(result)
    assert len(sent) < 1_000_000
    assert pickle.loads(sent).to_dict() == result.to_dict()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"with_": "bag"}, 'found "bag"'),
        ({"with_": "big:2"}, "found 2 × big, but 1 owned"),
        ({"with_": "big:x"}, "need ID or ID:N"),
        ({"with_": "big:0"}, "need ID or ID:N"),
        ({"with_": "big", "without": "big"}, "0 are left"),
        ({"without": "lamp-long"}, "is a load"),
        ({"with_": "big,big"}, "twice"),
        ({"kit": "small:4"}, "found 4 × small, but 3 owned"),
        ({"kit": ""}, "found nothing"),
        ({"kit": "big", "without": "small"}, "the one or the other"),
    ],
)
def test_what_makes_no_sense_is_refused(nights: Path, asked: dict[str, str], said: str) -> None:
    with pytest.raises(kitopt.BadInput, match=said.replace("(", r"\(")):
        packed(nights, **asked)


def test_why_is_asked_of_a_result(nights: Path) -> None:
    result = packed(nights)
    # without one of two small ones the big one is lightest: 1,200 g for 1,000 g
    assert kitopt.why(result, "small").to_dict()["without"]["mass_g_more"] == 200
    with pytest.raises(kitopt.BadInput, match="Did you mean small"):
        kitopt.why(result, "smal")
    with pytest.raises(kitopt.BadInput, match="just chosen"):
        kitopt.why(pickle.loads(pickle.dumps(result)), "small")


def test_why_is_asked_with_the_options_of_pack(nights: Path) -> None:
    def why(*options: str) -> dict[str, object]:
        return dict(told("why", "small", nights / "long.toml", *options)["without"])

    assert why()["mass_g_more"] == 200
    # 16.3 W for 3 h are 48.9 Wh, for which one small one will do: without it the big one is 700 g heavier
    assert why("--hours", "3")["mass_g_more"] == 700
    # of two that are needed without the big one there is but one
    assert why("--without", "big")["status"] == "no-kit"
    assert why("--with", "small:3")["status"] == "no-kit"


def test_what_stands_in_the_way_travels_too(nights: Path) -> None:
    # a lead that is not there: nothing fits together, whatever the weather
    (nights / "leads.csv").write_text("id,mass_g,from,to,length_m,awg\nlong,100,plug-2,plug-2,2,12\n", encoding="utf-8")
    operation = kitopt.read_operation(nights / "long.toml")
    operation = replace(operation, station_connector=Connector("plug-2"))
    result = kitopt.pack(operation, kitopt.read_inventory(nights), reasons=False)
    assert result.status == "no-kit"
    assert pickle.loads(pickle.dumps(result)).to_dict() == result.to_dict()


def test_a_page_claims_no_proof_but_the_one_that_was_made(nights: Path) -> None:
    assert f"Proved lightest: nothing below {1000 + LAMP_G:,} g works." in packed(nights).hold().to_page()
    # what somebody named is not the lightest of anything
    assert "Proved" not in packed(nights, kit={"big": 1, "small": 1}).hold().to_page()
    # of several kits all together: two small ones for the long night, one for the short, and a lamp each
    programme = kitopt.read_programme(nights / "plan.toml")
    shared = kitopt.share(programme, kitopt.read_inventory(nights)).hold().to_page()
    assert shared.count("proved lightest") == 2
    assert shared.count(f"All kits together: proved lightest: nothing below {1500 + 2 * LAMP_G:,} g works.") == 2
