"""Items forced in and out, and kits that are named, in nights without sun: held to counting out every way.

See `oracle.dark`: a set of batteries does when ampere-hours times volts reach watts times hours.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from oracle.dark import LAMP_G, Box, Night, batteries_of, every_set, sums, told, write_plan, write_stock

N_INSTANCES = 16


def boxes(rng: random.Random, n: int = 3, most: int = 2) -> list[Box]:
    return [
        Box(f"b{i}", rng.randint(1, most), (ah := rng.randint(2, 20)), ah * rng.choice([60, 90, 130]) + i)
        for i in range(n)
    ]


def options(force_in: dict[str, int], force_out: dict[str, int]) -> list[str]:
    found = [f"--with={i}:{n}" for i, n in force_in.items()]
    return found + [f"--without={i}:{n}" for i, n in force_out.items()]


def bounds(rng: random.Random, owned: list[Box]) -> tuple[dict[str, int], dict[str, int]]:
    """One box forced in, and another out or in part."""
    one, other = rng.sample(owned, 2)
    return {one.id: rng.randint(1, one.count)}, {other.id: rng.randint(1, other.count)}


def obeys(some: dict[str, int], owned: list[Box], force_in: dict[str, int], force_out: dict[str, int]) -> bool:
    left = {b.id: b.count - force_out.get(b.id, 0) for b in owned}
    return all(some.get(i, 0) >= n for i, n in force_in.items()) and all(n <= left[i] for i, n in some.items())


def lightest(owned: list[Box], needs_wh: float, force_in: dict[str, int], force_out: dict[str, int]) -> int | None:
    masses = [
        mass_g
        for some in every_set(owned)
        if obeys(some, owned, force_in, force_out)
        for wh, mass_g, _ in [sums(owned, some)]
        if wh >= needs_wh
    ]
    return min(masses, default=None)


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_the_lightest_kit_keeps_what_is_forced(number: int, tmp_path: Path) -> None:
    rng = random.Random(number)
    owned, night = boxes(rng), Night("n0", rng.randint(3, 20), rng.randint(1, 14))
    write_stock(tmp_path, owned, [night])
    write_plan(tmp_path, "operations", [night])
    force_in, force_out = bounds(rng, owned)
    found = told("pack", tmp_path / "n0.toml", "--no-reasons", *options(force_in, force_out))
    best_g = lightest(owned, night.needs_wh, force_in, force_out)
    assert found["status"] == ("no-kit" if best_g is None else "found")
    if best_g is not None:
        assert found["mass_g"] == best_g + LAMP_G
        assert obeys(dict(batteries_of(found["kit"])), owned, force_in, force_out)


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_a_grab_kit_has_what_is_forced_in_its_bag(number: int, tmp_path: Path) -> None:
    rng = random.Random(100 + number)
    owned = boxes(rng)
    some = [Night(f"n{i}", rng.randint(3, 20), rng.randint(1, 14)) for i in range(2)]
    write_stock(tmp_path, owned, some)
    plan = write_plan(tmp_path, "events", some)
    force_in, force_out = bounds(rng, owned)
    found = told("grab-kit", plan, *options(force_in, force_out))
    best_g = lightest(owned, max(night.needs_wh for night in some), force_in, force_out)
    assert found["status"] == ("no-kit" if best_g is None else "found")
    if best_g is not None:
        assert found["mass_g"] == best_g + 2 * LAMP_G


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_each_kit_of_several_keeps_what_is_forced(number: int, tmp_path: Path) -> None:
    # one after the other, so that each may have all there is
    rng = random.Random(200 + number)
    owned = boxes(rng)
    some = [Night("n0", rng.randint(3, 12), rng.randint(1, 9)), Night("n1", rng.randint(3, 12), rng.randint(1, 9), 24)]
    write_stock(tmp_path, owned, some)
    plan = write_plan(tmp_path, "operations", some)
    force_in, force_out = bounds(rng, owned)
    found = told("share", plan, *options(force_in, force_out))
    best = [lightest(owned, night.needs_wh, force_in, force_out) for night in some]
    assert found["status"] == ("no-kit" if None in best else "found")
    if None not in best:
        assert [kit["mass_g"] for kit in found["kits"]] == [g + LAMP_G for g in best if g is not None]


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_a_named_kit_does_just_when_its_energy_does(number: int, tmp_path: Path) -> None:
    rng = random.Random(300 + number)
    owned, night = boxes(rng), Night("n0", rng.randint(3, 20), rng.randint(1, 14))
    write_stock(tmp_path, owned, [night])
    write_plan(tmp_path, "operations", [night])
    named = rng.choice([some for some in every_set(owned) if some])
    text = ",".join(f"{i}:{n}" for i, n in named.items())
    found = told("pack", tmp_path / "n0.toml", "--kit", text)
    gives_wh, mass_g, _ = sums(owned, named)
    does = gives_wh >= night.needs_wh
    about = found["named"]
    assert (found["exit"], about["does"], about["chance"]) == ((0, True, 1.0) if does else (3, False, 0.0))
    assert about["mass_g"] == mass_g + LAMP_G
    if does:
        # too much is all but the lightest part that does
        parts = [s for s in every_set(owned) if all(n <= named.get(i, 0) for i, n in s.items())]
        part_g = min(g for s in parts if s for wh, g, _ in [sums(owned, s)] if wh >= night.needs_wh)
        assert sum(one["total_mass_g"] for one in about["too_much"]) == mass_g - part_g
        return
    assert found["strongest"]["shortfall_wh"] == pytest.approx(night.needs_wh - gives_wh, abs=0.01)
    wholes = [s for s in every_set(owned) if all(s.get(i, 0) >= n for i, n in named.items())]
    whole_g = min((g for s in wholes for wh, g, _ in [sums(owned, s)] if wh >= night.needs_wh), default=None)
    if whole_g is None:
        assert (about["missing"], about["missing_status"]) == ([], "no-kit")
    else:
        assert sum(one["total_mass_g"] for one in about["missing"]) == whole_g - mass_g
