"""``--json``: exactly one document on standard output, whatever happens, with every key of the contract."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]

KEYS = {
    *("schema", "status", "proof", "kit", "mass_g", "price", "windows", "lowest", "need_wh", "peak_a", "wiring"),
    *("reasons", "not_packed", "no_sun_hours", "assumed", "cautions", "made_with", "strongest", "kits"),
}


def only_document(text: str) -> dict[str, Any]:
    def refuse(name: str) -> None:
        pytest.fail(f"{name} is no JSON")

    document = json.loads(text, parse_constant=refuse)
    assert isinstance(document, dict)
    return document


def test_a_kit_that_is_found(hut: Path, run: Run) -> None:
    # by hand, as in tests/golden/no_sun_two_kinds_in_turn.txt, but box-4 measures 0.9 x 4 Ah = 3.6 Ah:
    # 37.32 Wh free each, and 103.68 + 2 x 37.32 = 178.3 Wh still covers 160 Wh
    result = run("pack", "hut.toml", "--json")
    assert result.returncode == 0
    plan = only_document(result.stdout)
    assert plan.keys() >= KEYS
    assert plan["schema"] == "kitopt/plan-1"
    assert plan["status"] == "found"
    assert {(one["id"], one["kind"], one["count"]) for one in plan["kit"]} == {
        ("box-10", "battery", 1),
        ("box-4", "battery", 2),
        ("lamp", "load", 1),
    }
    entry = next(one for one in plan["kit"] if one["id"] == "box-4")
    assert (entry["mass_g"], entry["total_mass_g"], entry["price"], entry["total_price"]) == (500, 1000, None, None)
    assert plan["mass_g"] == 1200 + 1000 + 300
    assert plan["price"] == 80 + 10
    assert plan["unpriced"] == ["box-4"]
    assert plan["proof"] == {"of": "mass", "objective": 2500, "bound": 2500, "gap": 0.0, "proved": True}
    assert plan["windows"] == {
        "tried": 1,
        "survived": 1,
        "needed": 1,
        "second": None,
        "fresh": {"tried": 0, "survived": None},
    }
    assert plan["need_wh"] == pytest.approx(160)
    assert plan["peak_a"] == pytest.approx(10 / 12.8, abs=1e-3)
    usable_wh = 12.8 * 0.9 * (10 + 2 * 3.6)
    assert plan["lowest"]["charge_wh"] == pytest.approx(usable_wh - 160, abs=1e-2)
    assert plan["lowest"]["charge_ah"] == pytest.approx((usable_wh - 160) / 12.8, abs=1e-2)
    assert plan["lowest"]["margin_wh"] == pytest.approx(0.9 * usable_wh - 160, abs=1e-2)
    assert datetime.fromisoformat(plan["lowest"]["time"]) == datetime.fromisoformat("2027-01-16T04:00:00+01:00")
    assert plan["lowest"]["time"].endswith("+01:00")
    assert plan["no_sun_hours"] == 16
    assert [(one["from"], one["to"], one["leads"]) for one in plan["wiring"]] == [
        ("box-10", "station", []),
        ("box-4", "station", []),
        ("station", "lamp", []),
    ]
    assert plan["strongest"] is None
    assert set(plan["not_packed"]) == {"agm-7"}
    assert plan["not_packed"]["agm-7"]["rule"] == "bus-class"
    assert {(one["id"], one["column"], one["value"]) for one in plan["assumed"]} >= {("box-4", "measured_ah", "3.6")}
    assert plan["assumed"][-1]["id"] == "agm-7"  # what is not packed comes last
    assert plan["cautions"][-1]["rule"] == "no-rule-failed"
    assert "swaps" in {one["rule"] for one in plan["cautions"]}
    made = plan["made_with"]
    assert (made["operation"], made["seed"], made["weather"], made["step_minutes"]) == ("hut.toml", 1, "no sun", 30)


def test_prices_are_told_in_units_and_proved_in_units(hut: Path, run: Run) -> None:
    # box-4 has no price and is never chosen; two box-10 cost 160, the lamp 10
    plan = only_document(run("pack", "hut.toml", "--json", "--least", "price").stdout)
    assert plan["proof"] == {"of": "price", "objective": 170, "bound": 170, "gap": 0.0, "proved": True}
    assert plan["price"] == 170
    assert plan["not_packed"]["box-4"]["rule"] == "prices"
    assert any(one["rule"] == "prices" and one["level"] == "ask" for one in plan["cautions"])


def test_no_kit(hut: Path, run: Run) -> None:
    # 2 x 103.68 + 3 x 37.32 = 319.33 Wh against 600 Wh
    result = run("pack", "hut.toml", "--json", "--hours", "60")
    assert result.returncode == 3
    plan = only_document(result.stdout)
    assert plan.keys() >= KEYS
    assert (plan["status"], plan["kit"], plan["lowest"]) == ("no-kit", [], None)
    assert plan["strongest"]["shortfall_wh"] == pytest.approx(600 - 0.9 * 12.8 * 0.9 * (20 + 3 * 3.6), abs=1)
    assert {(one["id"], one["count"]) for one in plan["strongest"]["kit"]} == {("box-10", 2), ("box-4", 3), ("lamp", 1)}
    assert datetime.fromisoformat(plan["strongest"]["time"]) == datetime.fromisoformat("2027-01-18T00:00:00+01:00")


def test_no_kit_for_a_rule(hut: Path, run: Run) -> None:
    loads = hut / "loads.csv"
    loads.write_text(loads.read_text(encoding="utf-8").replace(",0,10,", ",0,400,"), encoding="utf-8")
    result = run("pack", "hut.toml", "--json", "--hours", "0.5")
    assert result.returncode == 3
    plan = only_document(result.stdout)
    assert plan["strongest"]["kit"] == []
    # 400 W / 12.8 V = 31 A: more than any of them gives in turn
    ruled = {one["text"].split()[0] for one in plan["cautions"] if one["level"] == "block"}
    assert ruled == {"box-10", "box-4", "agm-7"}
    assert {plan["not_packed"][one]["rule"] for one in ruled} == {"discharge-limit"}


@pytest.mark.parametrize(
    ("args", "file"),
    [
        (("pack", "hut.toml", "--json", "--confidence", "95"), "--confidence"),
        (("pack", "hut.toml", "--json", "--windows", "0"), "--windows"),
        (("pack", "hut.toml", "--json", "--nonsense"), "--nonsense"),
        (("pack", "hut.toml", "--json", "more.toml"), "kitopt pack"),
        (("pack", "--json", "missing.toml"), "missing.toml"),
        (("check", "--json", "missing.toml"), "missing.toml"),
        (("pack", "--json", "hut.toml", "--inventory", "nowhere"), "nowhere"),
        (("pakc", "--json"), "kitopt"),
        (("--json",), "--json"),
        (("pack", "--json", "--hours"), "--hours"),
    ],
)
def test_bad_input(hut: Path, run: Run, args: tuple[str, ...], file: str) -> None:
    result = run(*args)
    assert result.returncode == 2
    document = only_document(result.stdout)
    assert document.keys() == {"schema", "status", "faults"}
    assert document["status"] == "bad-input"
    assert [fault["file"] for fault in document["faults"]] == [file]
    assert document["faults"][0].keys() == {"file", "line", "column", "text"}
    assert "Traceback" not in result.stderr


def test_faults_of_options_and_files_come_together(hut: Path, run: Run) -> None:
    operation = hut / "hut.toml"
    operation.write_text(operation.read_text(encoding="utf-8").replace("hours = 16", 'hours = "x"'), encoding="utf-8")
    (hut / "loads.csv").write_text("id,mass_g\n", encoding="utf-8")
    document = only_document(run("pack", "hut.toml", "--json", "--seed", "-1").stdout)
    files = [fault["file"] for fault in document["faults"]]
    assert files[:2] == ["--seed", "hut.toml"]
    assert "loads.csv" in files


def test_check(hut: Path, run: Run) -> None:
    result = run("check", "hut.toml", "--json")
    assert result.returncode == 0
    document = only_document(result.stdout)
    assert document["schema"] == "kitopt/check-1"
    assert document["inventory"]["batteries"] == 6
    assert ("box-4", "measured_ah", "3.6") in {(one["id"], one["column"], one["value"]) for one in document["assumed"]}


def test_a_defect_is_one_document_and_one_line(hut: Path, run: Run) -> None:
    # a defect is planted: Python reads this file before anything else
    (hut / "sitecustomize.py").write_text(
        "import kitopt.choice\ndef pack(*a, **k):\n    raise ValueError('first\\nsecond')\nkitopt.choice.pack = pack\n",
        encoding="utf-8",
    )
    result = run("pack", "hut.toml", "--json", PYTHONPATH=str(hut))
    assert result.returncode == 1
    assert only_document(result.stdout)["status"] == "defect"
    assert result.stderr == "kitopt: a defect in kitopt, please report it: ValueError: first second\n"
    assert "Traceback" in run("pack", "hut.toml", PYTHONPATH=str(hut), KITOPT_TRACEBACK="1").stderr


def test_a_bound_without_end_is_null() -> None:
    from kitopt.report.encode import number

    assert number(math.inf) is None
    assert number(None) is None
    assert str(number(-0.0001)) == "0.0"
