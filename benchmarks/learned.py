"""What readings of panels bring: the mass of the demo's kits before any, and after ten of each panel on ten days.

"fixed" counts on 0.75 of the label for certain, "guess" on 0.75 ± 0.10, as plans do before anything is read; then ten
readings are taken of panels that are as good as guessed, a tenth better, and a tenth worse. A day's sun is off by up to
100 of 900 W/m² either way, meter and model by 3 % each, and one reading in twelve is spoiled: it shows a part only.

    python benchmarks/learned.py [--smoke]
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from kitopt.choice import pack
from kitopt.inventory import demo_folder, read_inventory
from kitopt.inventory.items import Inventory, Reading
from kitopt.inventory.learned import taken_up
from kitopt.inventory.spreads import COMMON_SHARE
from kitopt.operation import read_operation
from kitopt.sky import windows_for

START = datetime(2027, 5, 1, 12, tzinfo=UTC)
N_READINGS = 10
SPOILED_SHARE = 1 / 12
DEMOS = (
    "operations/coastal-checkpoint",
    "operations/canoe-lakes",
    "operations/frost-summit",
    "operations/winter-shelter",
    "plans/meadow-day",
    "plans/ridge-weekend",
    "plans/hilltop-morning",
)


def drawn_worths(inventory: Inventory, draw: np.random.Generator) -> dict[str, float]:
    """What an owner's panels are really worth, as guessed of them: alike in part."""
    common = draw.normal()
    found = {}
    for name, (worth, _, spread) in inventory.declared.items():
        level = math.sqrt(COMMON_SHARE) * common + math.sqrt(1.0 - COMMON_SHARE) * draw.normal()
        found[name] = worth * math.exp(spread * level - spread**2 / 2.0)
    return found


def after_readings(inventory: Inventory, worths: Mapping[str, float], draw: np.random.Generator) -> Inventory:
    """The inventory as plans count with it once ten readings of each panel are kept."""
    read = []
    for day in range(N_READINGS):
        sun = 1.0 + draw.uniform(-100.0, 100.0) / 900.0
        for i, (name, worth) in enumerate(worths.items()):
            seen = worth * sun * (1.0 + 0.03 * draw.normal()) * (1.0 + 0.03 * draw.normal())
            seen *= draw.uniform(0.3, 0.9) if draw.random() < SPOILED_SHARE else 1.0
            read.append(Reading(START + timedelta(days=day, minutes=i), name, max(float(seen), 0.03), 0.9))
    panels, _ = taken_up(inventory.panels, inventory.declared, read)
    return replace(inventory, panels=panels)


def with_worths(inventory: Inventory, worths: Mapping[str, float]) -> Inventory:
    """The inventory of somebody who knows what each panel is worth."""
    panels = (replace(one, output_factor=worths[one.id], worth_spread=0.0) for one in inventory.panels)
    return replace(inventory, panels=tuple(panels))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="one demo")
    given = parser.parse_args()
    guess = read_inventory(demo_folder())
    told = {name: worth for name, (worth, _, _) in guess.declared.items()}
    inventories = {"fixed": with_worths(guess, told), "guess": guess}
    for word, better in (("as good", 1.0), ("better", 1.1), ("worse", 0.9)):
        worths = {name: better * worth for name, worth in told.items()}
        inventories[word] = after_readings(guess, worths, np.random.default_rng(5))
    print(f"{'demo':20} " + " ".join(f"{word:>9}" for word in inventories) + "  [kg]")
    for name in DEMOS[:1] if given.smoke else DEMOS:
        file = Path(demo_folder()) / f"{name}.toml"
        operation = read_operation(file)
        sky = windows_for(operation)
        masses = []
        for inventory in inventories.values():
            choice = pack(operation, inventory, sky)
            masses.append(f"{choice.mass_g / 1000.0:9.3f}" if choice.status == "found" else f"{choice.status:>9}")
        print(f"{file.stem:20} " + " ".join(masses), flush=True)


if __name__ == "__main__":
    main()
