"""What commands refuse before any work, each with the option and what would do; and two answers that are short."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest
from in_process import kitopt

from kitopt.inventory import demo_folder


def refused(*args: object) -> str:
    done = kitopt(*args)
    assert (done.returncode, done.stdout) == (2, "")
    return " ".join(done.stderr.split())


def test_a_review_needs_its_operation_after_its_logs(hut: Path) -> None:
    plan = hut / "hut.toml"
    said = refused("review", plan)
    assert "hut.toml: no log stands before it; need LOG.csv, then its operation." in said
    said = refused("review", hut / "log.csv", plan, hut / "more.csv")
    assert "more.csv: no operation follows it; need the file of what was planned, such as day.toml." in said


def test_a_review_has_one_kit_for_all_outings_or_one_for_each(hut: Path) -> None:
    plan = hut / "hut.toml"
    logs = ("a.csv", "b.csv", "c.csv")
    said = refused("review", *logs, plan, "--kit", "box-10", "--kit", "box-4")
    assert "--kit: found 2 kits for 3 outings; need one for all, or one for each in their order." in said


def test_a_certificate_is_of_one_best_kit_and_a_table_of_none_that_is_named(hut: Path) -> None:
    plan, proof = hut / "hut.toml", hut / "proof.json"
    said = "--certificate: found with --kit or --against: it is of the best kit for one question."
    assert said in refused("pack", plan, "--certificate", proof, "--kit", "box-10")
    assert said in refused("pack", plan, "--certificate", proof, "--against", "hours")
    said = refused("pack", plan, "--kit", "box-10", "--against", "hours", "--page", hut / "kit.html")
    assert "--against: found with --kit; a kit that is named is not weighed." in said
    assert "--against: found with --page, --sheet or --out, which hold one plan: leave one out." in said
    assert not proof.exists()


def test_why_takes_one_item_and_one_operation(hut: Path) -> None:
    plan = hut / "hut.toml"
    said = refused("why", "box-4", "box-10", plan)
    assert "Found 2 items and 1 operations, need one of each at most. See kitopt why --help." in said
    assert "Found 0 items and 2 operations" in refused("why", plan, plan)


def test_a_grab_kit_is_carried_so_its_price_is_not_made_least() -> None:
    standing = next((demo_folder() / "plans").glob("*grab*.toml"))
    said = refused("grab-kit", standing, "--least", "price")
    assert '--least: found "price", need mass or items: a grab-kit is carried.' in said


def test_mass_against_hours_lists_the_lightest_for_each(hut: Path) -> None:
    done = kitopt("pack", hut / "hut.toml", "--against", "hours", "--json")
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)["kits"]
    hours = [row["value"] for row in rows]
    masses = [row["mass_g"] for row in rows]
    # the one that is asked for is among them; what lasts longer is never as light
    assert 16 in hours
    assert hours == sorted(hours)
    assert all(one < other for one, other in pairwise(masses))
    text = kitopt("pack", hut / "hut.toml", "--against", "hours").stdout
    assert all(f"{hour:g}" in text for hour in hours)


@pytest.mark.parametrize("is_json", [False, True])
def test_connectors_that_are_known_are_told_with_what_an_inventory_says_of_its_own(hut: Path, is_json: bool) -> None:
    (hut / "connectors.csv").write_text("family,max_a\nhut-plug,7\n", encoding="utf-8")
    how = ["--json"] if is_json else []
    plain = kitopt("check", "--connectors", *how)
    own = kitopt("check", "--connectors", "--inventory", hut, *how)
    assert (plain.returncode, own.returncode) == (0, 0), own.stderr
    # a family of the program's is in both, one of the owner's only beside the inventory
    assert "genderless" in plain.stdout
    assert "genderless" in own.stdout
    assert "hut-plug" not in plain.stdout
    assert "hut-plug" in own.stdout
    if is_json:
        assert json.loads(own.stdout)["schema"] == json.loads(plain.stdout)["schema"]
