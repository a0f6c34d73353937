"""Every demo kit is followed plug by plug, and does without each of its leads in turn or says what is missing."""

from __future__ import annotations

import shutil
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from plugs import (
    check_devices,
    check_fuses_are_known,
    check_kit,
    check_meeting,
    check_order,
    check_path,
    check_protection,
    check_stock,
)

import kitopt
from kitopt.choice import Choice, pack
from kitopt.choice.named import only_of
from kitopt.explain.fuses import fuses_to_fit
from kitopt.explain.ruled_out import blocks_that_matter, told
from kitopt.inventory import read_inventory
from kitopt.inventory.demo import demo_folder
from kitopt.inventory.items import Lead
from kitopt.operation import read_operation
from kitopt.operation.read_plans import read_programme, read_standing
from kitopt.operation.terms import NoSun, Operation
from kitopt.sky import windows_for
from kitopt.sky.windows import Sky

NAMES = [path.stem for path in sorted((demo_folder() / "operations").glob("*.toml"))]
WINDOWS = 20


@cache
def asked(name: str) -> tuple[Operation, Sky]:
    operation = read_operation(demo_folder() / "operations" / f"{name}.toml")
    operation = replace(operation, need=replace(operation.need, windows=WINDOWS))
    return operation, windows_for(operation)


@cache
def demo_kit(name: str) -> Choice:
    operation, sky = asked(name)
    return pack(operation, read_inventory(demo_folder()), sky)


@pytest.mark.parametrize("name", NAMES)
def test_every_device_of_a_demo_kit_has_a_complete_path(name: str) -> None:
    check_kit(demo_kit(name))
    check_fuses_are_known(demo_kit(name))


def plan_kits(name: str) -> list[Choice]:
    """Every kit of a demo plan, as it is set up on its outing."""
    inventory, path = read_inventory(demo_folder()), demo_folder() / "plans" / f"{name}.toml"

    def few(operation: Operation) -> Operation:
        return replace(operation, need=replace(operation.need, windows=WINDOWS))

    if name == "grab-kit":
        standing = read_standing(path)
        events = tuple(replace(one, dates=tuple(map(few, one.dates))) for one in standing.events)
        return list(kitopt.grab_kit(replace(standing, events=events), inventory).answer.choices)
    programme = read_programme(path)
    outings = tuple(replace(one, operation=few(one.operation)) for one in programme.outings)
    programme = replace(programme, outings=outings)
    if name == "club":
        sheets = kitopt.share(programme, inventory).answer.sheets
        return [sheet.choice for sheet in sheets if sheet.choice is not None]
    catalogue = read_inventory(demo_folder() / "catalogue")
    return list(kitopt.buy(programme, inventory, catalogue, singles=False).answer.choices.values())


@pytest.mark.parametrize(("name", "n_kits"), [("club", 3), ("grab-kit", 2), ("season", 4)])
def test_every_device_of_a_plans_kits_has_a_complete_path(name: str, n_kits: int) -> None:
    kits = plan_kits(name)
    assert len(kits) == n_kits
    for choice in kits:
        check_kit(choice)
        check_fuses_are_known(choice)


@pytest.mark.parametrize("name", NAMES)
def test_each_holder_that_is_packed_gets_one_fuse(name: str) -> None:
    # batteries in turn with leads alike once counted as one lead, and a fuse too few was told
    choice = demo_kit(name)
    fitted: Counter[str] = Counter()
    for fit in fuses_to_fit(choice):
        fitted[fit.lead] += fit.count
    by_id = choice.inventory.by_id
    packed = {p.id: p.count for p in choice.packed if isinstance(lead := by_id[p.id], Lead) and lead.fuse_holder}
    assert fitted == packed


def test_every_circuit_has_a_complete_path_of_its_own() -> None:
    owned = read_inventory(demo_folder())
    # one bus class and few things are enough to look at plugs
    few = {"lfp-3": 2, "lfp-4": 1, "lfp-6": 1, "lfp-10": 2, "fold-20": 1, "pwm-5": 1}
    few |= {one.id: one.count for one in (*owned.leads, *owned.converters)}
    operation = read_operation(demo_folder() / "operations" / "coastal-checkpoint.toml")
    loads = tuple(replace(use, circuit="small" if use.id == "area-light" else "") for use in operation.loads)
    need = replace(operation.need, windows=1, weather=NoSun())
    operation = replace(operation, loads=loads, hours=6.0, need=need, start=operation.start.replace(hour=18))
    choice = pack(operation, only_of(owned, few), windows_for(operation))
    assert choice.status == "found"
    assert [name for name, _ in choice.circuits] == ["", "small"]
    total: Counter[str] = Counter()
    for part in choice.parts:
        assert any(wire.kind == "battery" for wire in part.wiring)
        for wire in part.wiring:
            check_path(part, wire)
        check_stock(part)
        check_devices(part)
        check_meeting(part)
        check_order(part)
        check_protection(part)
        check_fuses_are_known(part)
        total.update({one.id: one.count for one in part.packed})
    # nothing is in two circuits, and nothing more is packed than what they have, beside the extras
    assert all(n <= owned.by_id[i].count for i, n in total.items())
    assert total == Counter({one.id: one.count for one in choice.packed if one.kind != "extra"})


def without(folder: Path, lead_id: str) -> Path:
    """The demo inventory without one row of its leads."""
    copy = folder / "inventory"
    shutil.copytree(demo_folder(), copy)
    path = copy / "leads.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(f"{lead_id},")]
    assert len(kept) == len(lines) - 1
    path.write_text("".join(kept), encoding="utf-8")
    return copy


@pytest.mark.parametrize("name", NAMES)
def test_without_any_lead_that_it_uses_a_kit_changes_or_says_what_is_missing(name: str, tmp_path: Path) -> None:
    operation, sky = asked(name)
    before = demo_kit(name)
    leads = [one.id for one in before.packed if one.kind == "lead"]
    assert leads
    for lead_id in leads:
        gone = before.inventory.by_id[lead_id]
        assert isinstance(gone, Lead)
        after = pack(operation, read_inventory(without(tmp_path / lead_id, lead_id)), sky)
        if after.status == "found":
            assert after.packed != before.packed
            assert lead_id not in {one.id for one in after.packed}
            assert after.mass_g >= before.mass_g
            for wire in after.wiring:
                check_path(after, wire)
            check_stock(after)
            check_protection(after)
            check_fuses_are_known(after)
            check_devices(after)
            check_meeting(after)
        else:
            assert after.status == "no-kit"
            said = " ".join(told(after, block) for block in blocks_that_matter(after))
            assert any(str(end) in said for end in (gone.from_connector, gone.to_connector)), said


def test_without_a_lead_that_it_does_not_use_a_kit_stays(tmp_path: Path) -> None:
    name = "frost-summit"
    operation, sky = asked(name)
    before = demo_kit(name)
    packed = {one.id for one in before.packed}
    unused = [lead for lead in before.inventory.leads if lead.id not in packed]
    for lead in unused[::10]:
        after = pack(operation, read_inventory(without(tmp_path / lead.id, lead.id)), sky)
        assert after.packed == before.packed, lead.id
