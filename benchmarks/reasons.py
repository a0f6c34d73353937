"""Time of the reasons of all packed items over that of the plain solve, demo operation by demo operation.

Processor seconds, since other work on the machine would spoil a ratio of clocks. Each operation runs in a process
of its own: the first solve of a process does work that later ones are spared.

    python benchmarks/reasons.py [--smoke] [--most 4] [NAME ...]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

INVENTORY = Path(__file__).parents[1] / "inventory"
CHECKED = "coastal-checkpoint"
"""The operation of 26 h, whose ratio is held to."""


def measure(name: str, windows: int | None) -> float:
    """Print one line about an operation and return the ratio."""
    from dataclasses import replace

    from kitopt.choice import pack
    from kitopt.explain import without_each
    from kitopt.inventory import read_inventory
    from kitopt.operation import read_operation
    from kitopt.sky import windows_for

    operation = read_operation(INVENTORY / "operations" / f"{name}.toml")
    if windows is not None:
        operation = replace(operation, need=replace(operation.need, windows=windows))
    inventory, sky = read_inventory(INVENTORY), windows_for(operation)
    began = time.process_time()
    choice = pack(operation, inventory, sky)
    plain_s = time.process_time() - began
    began = time.process_time()
    found = without_each(choice)
    reasons_s = time.process_time() - began
    ratio = reasons_s / plain_s
    print(f"{name:20} plain {plain_s:6.2f} s  {len(found):2} reasons {reasons_s:6.2f} s  ×{ratio:.2f}", flush=True)
    return ratio


def main() -> None:
    """Read the options and run; exit 1 where the ratio held to is exceeded."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="the checked operation alone, with few windows, unchecked")
    parser.add_argument("--most", type=float, default=4.0, help=f"largest ratio allowed for {CHECKED}")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("names", nargs="*", default=[])
    asked = parser.parse_args()
    if asked.smoke:
        measure(CHECKED, 50)
        return
    if asked.here:
        ratio = measure(asked.names[0], None)
        sys.exit(1 if asked.names[0] == CHECKED and ratio > asked.most else 0)
    names = asked.names or sorted(path.stem for path in (INVENTORY / "operations").glob("*.toml"))
    codes = [
        subprocess.run([sys.executable, __file__, "--here", "--most", str(asked.most), name], check=False).returncode
        for name in names
    ]
    sys.exit(max(codes))


if __name__ == "__main__":
    main()
