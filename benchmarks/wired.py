"""One kit from an inventory of 40 leads, 12 panels, 10 batteries and 6 controllers, at 500 windows.

Takes the demo inventory, thins or repeats its kinds to those numbers of types, and packs the
26 h checkpoint; prints seconds and the ratio to the demo.

    python benchmarks/wired.py [--smoke]
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from itertools import cycle, islice
from typing import TypeVar

from kitopt.choice import pack
from kitopt.inventory import demo_folder, demo_operation, read_inventory
from kitopt.inventory.items import Inventory, Item
from kitopt.operation import read_operation
from kitopt.sky import windows_for

T = TypeVar("T", bound=Item)


def resized(items: tuple[T, ...], n: int) -> tuple[T, ...]:
    """So many types: the first ones, then copies that differ a little in mass."""
    found = []
    for i, item in enumerate(islice(cycle(items), n)):
        again = i // len(items)
        name = f"{item.id}-{again}" if again else item.id
        found.append(replace(item, id=name, mass_g=item.mass_g + 7 * again))
    return tuple(sorted(found, key=lambda one: one.id))


def widened(inventory: Inventory) -> Inventory:
    """The demo inventory at the sizes of the benchmark."""
    return replace(
        inventory,
        leads=resized(inventory.leads, 40),
        panels=resized(inventory.panels, 12),
        batteries=resized(inventory.batteries, 10),
        controllers=resized(inventory.controllers, 6),
    )


def main() -> None:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="20 windows instead of 500")
    n = 20 if parser.parse_args().smoke else 500
    operation = read_operation(demo_operation())
    demo = read_inventory(demo_folder())
    sky = windows_for(operation, n=n)
    first = None
    for name, inventory in (("demo", demo), ("40 leads, 12 panels, 10 batteries, 6 controllers", widened(demo))):
        began = time.perf_counter()
        choice = pack(operation, inventory, sky)
        took = time.perf_counter() - began
        first = first or took
        print(
            f"{name}: {choice.status}, {choice.mass_g} g, proved {choice.proof.proved}, "
            f"{took:.1f} s, ×{took / first:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
