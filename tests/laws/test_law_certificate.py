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


def refusals(folder: Path, changed: dict[str, Any]) -> dict[str, str]:
    """What a changed certificate is refused for, by the place of it."""
    with pytest.raises(BadInput) as refused:
        verify(written(folder, changed), restated)
    return {str(fault.column): fault.text for fault in refused.value.faults}


@pytest.mark.parametrize(
    ("kit", "place", "text"),
    [
        ({"class": 2}, "class", "there is no such class."),
        ({"class": -1}, "class", "there is no such class."),
        # half a battery, more than are owned, what is no column, and a column twice
        ({"counts": [[0, 0.5]]}, "counts", "are no counts of the columns of its class."),
        ({"counts": [[0, 3.0]]}, "counts", "are no counts of the columns of its class."),
        ({"counts": [[99, 1.0]]}, "counts", "are no counts of the columns of its class."),
        ({"counts": [[0, 1.0], [0, 1.0]]}, "counts", "are no counts of the columns of its class."),
        # a panel that hangs on a controller which stays at home
        ({"counts": [[0, 2.0], [4, 1.0]]}, "counts", "break needs: fold-20 needs mppt-5."),
    ],
)
def test_a_kit_that_nobody_can_pack_is_refused_before_all_else(
    right: dict[str, Any], tmp_path: Path, kit: dict[str, Any], place: str, text: str
) -> None:
    changed = right | {"incumbent": right["incumbent"] | kit}
    assert refusals(tmp_path, changed) == {f"incumbent.{place}": text}


def test_a_kit_that_does_not_last_is_refused_under_both_sets_of_spells(right: dict[str, Any], tmp_path: Path) -> None:
    # 36 h of 4.2 W are 151 Wh, and the box alone holds 128. Nine tenths of 40 spells are 36; of 5,000 they are 4,500
    # and, with one standard error, the root of 5,000 x 0.9 x 0.1, 21.2 more
    alone = [pair for pair in right["incumbent"]["counts"] if pair[0] != 1]
    told = refusals(tmp_path, right | {"incumbent": right["incumbent"] | {"counts": alone}})
    assert told["incumbent.cases[0]"] == "survives fewer than the 36 needed."
    assert told["incumbent.others[0]"] == "survives fewer than the 4522 needed."


def test_a_certificate_that_leaves_a_class_out_is_refused(right: dict[str, Any], tmp_path: Path) -> None:
    # of lead-acid nothing would be proved
    told = refusals(tmp_path, right | {"classes": right["classes"][:1]})
    assert told == {"classes": "has 1, and the files make 2."}


def test_rows_that_come_from_nowhere_are_refused_each_by_its_place(right: dict[str, Any], tmp_path: Path) -> None:
    changed = json.loads(json.dumps(right))
    learned = changed["classes"][0]["learned"]
    cut = next(row for row in learned if row["row"] == "cut" and row["case"] == 0)
    side = next(row for row in learned if row["row"] == "side")
    # a kit that works, ruled out: the worst that could be told
    best = {"row": "kit", "case": 0, "counts": right["incumbent"]["counts"], "plant": []}
    of_spell = {key: cut[key] for key in ("case", "counts", "plant", "terms", "lower")}
    of_spell |= {"row": "spell", "interval": [0, 1], "margin_wh": 0.0, "floor": 0.0}
    n = len(learned)
    wrong: list[dict[str, Any]] = [
        cut | {"case": len(changed["classes"][0]["cases"])},
        cut | {"case": -1},
        cut | {"counts": [[99, 1.0]]},
        cut | {"spells": []},
        cut | {"spells": [40]},
        cut | {"spells": [-1]},
        of_spell | {"spell": 40},
        side | {"side": side["side"][:-1]},
        side | {"side": [-1, *side["side"][1:]]},
        best,
        best | {"counts": [[0, 0.5]]},
    ]
    learned.extend(wrong)
    told = refusals(tmp_path, changed)
    for k in range(n, n + len(wrong)):
        assert told[f"classes[0].learned[{k}]"] == "nothing that is learned comes from there."


@pytest.mark.parametrize("spells", [[], [5000], [-1, 3], [4, 3]])
def test_other_spells_that_there_are_not_are_refused(right: dict[str, Any], tmp_path: Path, spells: list[int]) -> None:
    changed = json.loads(json.dumps(right))
    next(case for case in changed["classes"][0]["cases"] if case["others"])["others"] = spells
    assert refusals(tmp_path, changed)["classes[0].cases"] == "names other spells that there are not."
