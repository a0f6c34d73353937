"""What to buy for a season: 12 operations of 300 windows with a catalogue of hundreds of types.

Everything is invented, in ranges that are common for such things. Prints seconds, the ratio to the
smallest catalogue, the proof and the most memory held.

    python benchmarks/season.py [--smoke] [--types 300 1000] [--seconds 600] [--overlap] [--singles]
"""

from __future__ import annotations

import argparse
import csv
import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from kitopt.budget import Budget
from kitopt.choice.season import buy
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Inventory
from kitopt.operation.read_plans import read_programme
from kitopt.sky import windows_for

PLUG = "genderless-30"
OPERATION = """
name = "Outing {number}"
start = 2027-{month:02d}-{day:02d}T{hour:02d}:00:00
hours = {hours}
[site]
latitude = {latitude}
longitude = 14.5
altitude_m = 300
timezone = "Europe/Ljubljana"
coldest_degc = {cold}
warmest_degc = {warm}
[need]
confidence = 0.95
reserve = "10 %"
weather = "climate"
windows = {windows}
seed = {number}
[aim]
mode = "flat"
[goal]
least = "mass"
[[loads]]
id = "station"
mode = "ssb"
transmit = {transmit}
priority = "must"
[[loads]]
id = "node"
mode = "data"
transmit = 0.1
priority = "must"
"""


def written(path: Path, rows: list[dict[str, object]]) -> None:
    """Write one file of an inventory."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def panels(rng: np.random.Generator, n: int, name: str) -> list[dict[str, object]]:
    """Folding and framed panels of 10 to 120 W."""
    rows: list[dict[str, object]] = []
    for i in range(n):
        watts = int(rng.integers(2, 25)) * 5
        folds = bool(rng.random() < 0.7)
        grams = watts * (rng.uniform(20, 32) if folds else rng.uniform(45, 70)) + 120
        price = round(watts * rng.uniform(1.2, 3.0) + 10)
        rows.append(
            {"id": f"{name}{i:03d}", "mass_g": round(grams), "price": price, "rated_w": watts, "vmp_v": 18, "voc_v": 22}
            | {"connector": PLUG, "folding": "yes" if folds else "no"}
        )
    return rows


def batteries(rng: np.random.Generator, n: int, name: str) -> list[dict[str, object]]:
    """LiFePO4 batteries of 3 to 40 Ah."""
    rows: list[dict[str, object]] = []
    for i in range(n):
        ah = float(np.round(np.exp(rng.uniform(np.log(3), np.log(40))), 1))
        grams = ah * rng.uniform(95, 130) + 60
        price = round(ah * rng.uniform(5, 10) + 15)
        rows.append(
            {"id": f"{name}{i:03d}", "mass_g": round(grams), "price": price, "chemistry": "lifepo4", "nominal_v": 12.8}
            | {"capacity_ah": ah, "max_discharge_a": max(10, round(ah)), "max_charge_a": max(3, round(ah / 2))}
            | {"fused": "yes", "connector": PLUG}
        )
    return rows


def controllers(rng: np.random.Generator, n: int, name: str) -> list[dict[str, object]]:
    """PWM and MPPT controllers of 3 to 15 A."""
    rows: list[dict[str, object]] = []
    for i in range(n):
        amps, kind = int(rng.integers(3, 16)), "mppt" if rng.random() < 0.6 else "pwm"
        price = round(amps * (rng.uniform(5, 9) if kind == "mppt" else rng.uniform(1.5, 3)) + 8)
        rows.append(
            {"id": f"{name}{i:03d}", "mass_g": int(rng.integers(60, 260)), "price": price, "kind": kind}
            | {"max_charge_a": amps, "max_pv_v": 30, "idle_ma": int(rng.integers(3, 20))}
            | {"pv_connector": PLUG, "battery_connector": PLUG}
        )
    return rows


def season(
    folder: Path, n_types: int, n_windows: int, n_operations: int, *, is_overlapping: bool
) -> tuple[Path, Inventory, Inventory]:
    """Write an inventory, a catalogue of so many types and a season; read the first two back."""
    rng = np.random.default_rng(7)
    owned, offered = folder / "owned", folder / f"catalogue-{n_types}"
    n_controllers = max(1, n_types // 15)
    n_panels = (n_types - n_controllers) // 2
    for where, sizes, name in (
        (owned, (3, 3, 2), "own"),
        (offered, (n_panels, n_types - n_controllers - n_panels, n_controllers), "new"),
    ):
        where.mkdir(parents=True, exist_ok=True)
        written(where / "panels.csv", panels(rng, sizes[0], f"{name}-panel-"))
        written(where / "batteries.csv", batteries(rng, sizes[1], f"{name}-battery-"))
        written(where / "controllers.csv", controllers(rng, sizes[2], f"{name}-controller-"))
    loads: list[dict[str, object]] = [
        {"id": "station", "mass_g": 900, "idle_a": 0.5, "full_a": 5, "connector": PLUG},
        {"id": "node", "mass_g": 200, "idle_a": 0.06, "full_a": 0.3, "connector": PLUG},
    ]
    written(owned / "loads.csv", loads)
    written(offered / "loads.csv", [{"id": "no-load", "mass_g": 100, "idle_a": 0, "full_a": 0.1, "connector": PLUG}])
    names = []
    draw = np.random.default_rng(3)
    for i in range(n_operations):
        together = is_overlapping and i % 4 == 3
        month = 1 + (i - together) * 12 // n_operations
        cold = round(-6 + 10 * (1 - np.cos((month - 1) / 12 * 2 * np.pi)))
        text = OPERATION.format(
            number=i + 1,
            month=month,
            day=12,
            hour=int(draw.integers(7, 12)),
            hours=int(draw.integers(20, 61)),
            latitude=round(float(draw.uniform(43, 48)), 2),
            cold=cold,
            warm=cold + 9,
            windows=n_windows,
            transmit=round(float(draw.uniform(0.1, 0.4)), 2),
        )
        (folder / f"outing-{i + 1}.toml").write_text(text, encoding="utf-8")
        names.append(f'[[operations]]\nfile = "outing-{i + 1}.toml"\n')
    file = folder / "season.toml"
    file.write_text('name = "A season"\n\n' + "\n".join(names), encoding="utf-8")
    return file, read_inventory(owned), read_inventory(offered)


def main() -> None:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="3 operations, 20 windows, 20 types")
    parser.add_argument("--types", type=int, nargs="+", default=[30, 300])
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--overlap", action="store_true", help="every fourth operation overlaps the one before")
    parser.add_argument("--singles", action="store_true", help="rank single purchases too")
    options = parser.parse_args()
    sizes, n_windows, n_operations = ([10, 20], 20, 3) if options.smoke else (options.types, 300, 12)
    first = None
    for n_types in sizes:
        with tempfile.TemporaryDirectory() as folder:
            file, owned, offered = season(
                Path(folder), n_types, n_windows, n_operations, is_overlapping=options.overlap
            )
            programme = read_programme(file)
            began = time.perf_counter()
            found = buy(
                programme, owned, offered, windows_for, budget=Budget.of(options.seconds), with_singles=options.singles
            )
            took = time.perf_counter() - began
        first = first or took
        memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        bound = "none" if found.proof.bound is None else f"{found.proof.bound / 100:.2f}"
        print(
            f"{n_types} types: {found.status}, {len(found.choices)} of {n_operations} served for "
            f"{found.cost_cents / 100:.2f} (bound {bound}), {found.mass_g} g, lightest proved {found.is_lightest}, "
            f"{took:.1f} s, ×{took / first:.1f}, {memory_mb:.0f} MB",
            flush=True,
        )


if __name__ == "__main__":
    main()
