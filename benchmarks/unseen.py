"""Whether kits keep their promise on windows that no choice has seen: the demos and random operations.

A kit keeps it where the share of 5,000 unseen windows that it survives is at least its confidence less two standard
errors, the square root of q (1 - q) / n each. Prints those that do not, and the shares' mean by confidence.

    python benchmarks/unseen.py [--smoke] [--operations 100] [--windows 500]
"""

from __future__ import annotations

import argparse
import itertools
import math
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from second_opinion import INVENTORY, outing, part_of

from kitopt.choice import pack, with_fresh
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Inventory
from kitopt.operation import read_operation
from kitopt.operation.terms import Operation
from kitopt.sky import fresh_windows, windows_for

MOST_BROKEN_SHARE = 2 / 104


def asked_for(windows: int, folder: Path) -> Iterator[tuple[Operation, Inventory]]:
    """The demos, then random outings with random parts of the demo inventory, without end."""
    inventory = read_inventory(INVENTORY)
    for path in sorted((INVENTORY / "operations").glob("*.toml")):
        operation = read_operation(path)
        yield replace(operation, need=replace(operation.need, windows=windows)), inventory
    for number in itertools.count():
        file = folder / f"{number}.toml"
        file.write_text(outing(number, windows), encoding="utf-8")
        yield read_operation(file), part_of(inventory, number)


def main() -> None:
    """Read the options and run; exit 1 where too many kits break their promise."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="the demos with 50 windows, unchecked")
    parser.add_argument("--operations", type=int, default=100)
    parser.add_argument("--windows", type=int, default=500)
    asked = parser.parse_args()
    n, windows = (4, 50) if asked.smoke else (4 + asked.operations, asked.windows)
    kept, broken, without = 0, 0, 0
    shares: dict[float, list[float]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as name:
        for operation, inventory in asked_for(windows, Path(name)):
            # an outing without a kit promises nothing, so it does not count
            if kept + broken == n:
                break
            choice = pack(operation, inventory, windows_for(operation))
            survival = with_fresh(choice, lambda operation=operation: fresh_windows(operation)).survival
            if survival is None or not survival.fresh_tried or survival.fresh_survived is None:
                without += 1
                continue
            q, tried = float(operation.need.confidence), survival.fresh_tried
            share = survival.fresh_survived / tried
            shares[q].append(share)
            least = q - 2 * math.sqrt(q * (1 - q) / tried)
            kept, broken = kept + (share >= least), broken + (share < least)
            if share < least:
                print(f"{operation.name}: {share:.1%} of {tried:,} unseen, asked for {q:.0%}", flush=True)
    for q, some in sorted(shares.items()):
        print(
            f"{q:.0%} asked: {len(some)} kits survive {sum(some) / len(some):.1%} on average, {min(some):.1%} at least"
        )
    print(f"{kept} of {kept + broken} keep their promise; {without} have no kit")
    if not asked.smoke and broken > MOST_BROKEN_SHARE * (kept + broken):
        sys.exit(1)


if __name__ == "__main__":
    main()
