"""What comes of heeding the trip-wires of `kitopt now`, over spells of weather that they were not set by.

Of the spells that the change could have saved, made at once, so many are lost all the same; of those that would have
lasted anyway so many are alarmed. The states are the demo's outings under way, with kits that are a little weak.

    python benchmarks/tripwires.py [--smoke] [--spells 500]
"""

from __future__ import annotations

import argparse
from datetime import timedelta
from pathlib import Path

import numpy as np

from kitopt.field.now import Now, State, now, rest_of
from kitopt.field.tripwires import Followed
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.sky import windows_for
from kitopt.sky.sources import FIRST_FRESH

DEMO = Path(__file__).parents[1] / "inventory"
STATES: tuple[tuple[str, dict[str, int], float, float], ...] = (
    ("operations/coastal-checkpoint", {"lfp-30": 1, "fold-50": 1, "pwm-10": 1}, 3, 0),
    ("operations/coastal-checkpoint", {"lfp-30": 1, "fold-80": 1, "mppt-10": 1}, 3, 2),
    ("operations/canoe-lakes", {"lfp-10": 1, "fold-20": 1, "pwm-5": 1, "usb-5v": 1}, 20, 2.5),
    ("plans/meadow-day", {"lfp-20-old": 1, "fold-50": 1, "mppt-10": 1}, 4, 4),
    ("plans/ridge-weekend", {"lfp-10": 2, "fold-50": 1, "mppt-10": 1}, 4, 9),
)
"""An outing, the kit in hand, hours since the start, and ampere-hours used since."""


def judged(state: int) -> Now:
    """The answer of one state."""
    name, kit, later_h, used_ah = STATES[state]
    operation = read_operation(DEMO / f"{name}.toml")
    rest = rest_of(operation, operation.start + timedelta(hours=later_h))
    return now(operation, rest, read_inventory(DEMO), kit, State("used", used_ah), windows_for)


def heeded(found: Now, spells: int) -> Followed:
    """What comes of it in other spells."""
    return found.heeded.under(found.action, lambda one: windows_for(one, n=spells, first=FIRST_FRESH))


def counts(followed: Followed) -> tuple[int, int, int, int]:
    """Spells lost of those that could have been saved, these; alarmed of those that would have lasted, these."""
    lost = followed.is_lost & followed.is_savable
    alarmed = (followed.tripped >= 0) & followed.would_last
    return int(np.sum(lost)), int(np.sum(followed.is_savable)), int(np.sum(alarmed)), int(np.sum(followed.would_last))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="a twentieth of the spells")
    parser.add_argument("--spells", type=int, default=500, help="of all states together")
    asked = parser.parse_args()
    each = max(1, (25 if asked.smoke else asked.spells) // len(STATES))
    total = np.zeros(4, dtype=int)
    for state, (name, _, later_h, used_ah) in enumerate(STATES):
        found = judged(state)
        told = counts(heeded(found, each))
        total += told
        print(f"{name:30} after {later_h:g} h, {used_ah:g} Ah used, chance {found.chance:.2f}: {_said(told)}")
    print(f"All: {_said(total)}")


def _said(told: tuple[int, int, int, int] | np.ndarray) -> str:
    lost, savable, alarmed, lasting = (int(one) for one in told)
    return f"lost {lost} of {savable} that could be saved, alarmed {alarmed} of {lasting} that would last"


if __name__ == "__main__":
    main()
