"""A certificate says what is so, and is refused wherever it says anything else."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from certified import mutant, write_meadow

from kitopt.certificate.inputs import unpacked
from kitopt.certificate.issue import certificate
from kitopt.certificate.learned import Origin
from kitopt.certificate.stated import classes_of
from kitopt.certificate.verify import verify
from kitopt.choice import pack
from kitopt.cli.certify import restated
from kitopt.errors import BadInput
from kitopt.inventory import read_inventory
from kitopt.operation import read_operation
from kitopt.sky import windows_for


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    file = write_meadow(tmp_path_factory.mktemp("meadow"))
    operation, inventory = read_operation(file), read_inventory(file.parent)
    made: dict[str, Any] = certificate(pack(operation, inventory, windows_for(operation)), {})
    # as it comes back from the disk
    return dict(json.loads(json.dumps(made)))


def written(folder: Path, value: dict[str, Any]) -> Path:
    file = folder / "certificate.json"
    file.write_text(json.dumps(value), encoding="utf-8")
    return file


def test_what_was_proved_holds_and_needs_no_other_file(right: dict[str, Any], tmp_path: Path) -> None:
    found = verify(written(tmp_path, right), restated)
    assert found.bound == right["incumbent"]["objective"]
    # weighed on the inventory's own scale: the masses of what is packed
    masses = {"box-10": 1200, "box-4": 520, "mppt-5": 180, "fold-20": 700, "fold-40": 1300, "pwm-5": 110, "lamp": 300}
    assert found.bound == sum(n * masses[i] for i, n in found.packed)
    # and by the weights of the program's own columns
    of_class = right["classes"][right["incumbent"]["class"]]
    counts = right["incumbent"]["counts"]
    assert found.bound == of_class["fixed"] + sum(n * of_class["columns"][j]["weight"] for j, n in counts)
    # some rows are learned from spells, some from sides, and some from spells beyond the first: else little was tried
    assert min(found.totals["cut"], found.totals["side"]) >= 2
    assert any(case["others"] for one in right["classes"] for case in one["cases"])


def test_every_mutant_is_refused_for_what_it_says(right: dict[str, Any], tmp_path: Path, mutant_numbers: range) -> None:
    for number in mutant_numbers:
        what, changed = mutant(right, number)
        with pytest.raises(BadInput) as refused:
            verify(written(tmp_path, changed), restated)
        text = str(refused.value)
        assert "is missing" not in text, (number, what)
        assert "need a" not in text, (number, what)
        assert str(tmp_path) in text
        assert text.count(str(tmp_path)) == len(refused.value.faults), "where it was unpacked to is told"
        assert "made again" in text or "comes from there" in text or "incumbent" in text, (number, what, text)


def test_what_is_missing_and_what_is_no_key_is_named(right: dict[str, Any], tmp_path: Path) -> None:
    changed = json.loads(json.dumps(right))
    del changed["totals"]["columns"]
    changed["incumbent"]["colour"] = "red"
    with pytest.raises(BadInput) as refused:
        verify(written(tmp_path, changed), restated)
    assert "totals.columns" in str(refused.value)
    assert "is missing" in str(refused.value)
    assert "incumbent.colour" in str(refused.value)
    assert "is not a key of a certificate" in str(refused.value)


def test_a_bound_that_is_told_too_high_is_found_by_another_solver(right: dict[str, Any], tmp_path: Path) -> None:
    # with every row that was learned left out, and the totals as if there had been none, all that is told is made again
    # just so; only who solves it sees that nothing is proved
    changed = json.loads(json.dumps(right))
    for one in changed["classes"]:
        one["learned"] = []
    changed["totals"] |= {"cut": 0, "side": 0, "spell": 0, "kit": 0}
    with pytest.raises(BadInput, match="another solver finds"):
        verify(written(tmp_path, changed), restated)


def test_rows_hold_for_every_kit_that_works(right: dict[str, Any]) -> None:
    """Each learned row, at whole counts that break it: the judge refuses them."""
    rng = np.random.default_rng(1)
    n_broken = 0
    with unpacked(right["inputs"], restated) as (operation, inventory):
        classes = list(classes_of(operation, inventory, windows_for(operation)))
    for one, value in zip(classes, right["classes"], strict=True):
        origins = [Origin(i, one.plan, case) for i, case in enumerate(one.plan.cases)]
        upper = np.floor(one.plan.upper).astype(int)
        for _ in range(4000):
            counts = rng.integers(0, upper + 1).astype(np.float64)
            if one.plan.broken_rows(counts):
                continue
            for row in value["learned"]:
                if row["case"] < len(origins) and row["row"] == "cut":
                    if sum(c * counts[j] for j, c in row["terms"]) < row["lower"] - 1e-6:
                        n_broken += 1
                        assert origins[row["case"]].fails(counts) is not None
                elif row["case"] < len(origins):
                    sides = origins[row["case"]].sides
                    has_wh = sum(wh * counts[j] for j, wh in sides.capacity_terms())
                    is_within = np.all(sides.of(counts) <= np.array(row["side"]))
                    if is_within and all(counts[j] for j in row["units"]) and has_wh < row["capacity_wh"] - 1e-3:
                        n_broken += 1
                        assert origins[row["case"]].fails(counts) is not None
    assert n_broken >= 20
