"""Pages of kits in hand: nothing is chosen for them, so they are soon made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from kitopt.choice import Choice
from kitopt.choice.in_hand import of_wired, wired
from kitopt.facts.bags import heaps
from kitopt.facts.carried import Carried, carried
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.report.in_brief import what_it_does
from kitopt.report.page import KitOnPage, page
from kitopt.report.sheet import sheet
from kitopt.sky import windows_for

DEMO = Path(__file__).parents[2] / "inventory"
KITS: dict[str, dict[str, int]] = {
    # several batteries in turn on fused leads of their own, a panel through an adapter
    "operations/coastal-checkpoint": {
        **{"lfp-10": 2, "lfp-30": 1, "lfp-4": 1, "mppt-5": 1, "fold-20": 1, "fused-10": 1, "fused-20": 2},
        **{"pack-g": 1, "round-5m": 1, "strip-4": 1, "to-pv-round-in": 1},
    },
    # leads not named: taken to be there
    "operations/canoe-lakes": {"lfp-10": 1, "fold-20": 1, "pwm-5": 1, "usb-5v": 1},
    "plans/meadow-day": {"lfp-20-old": 1, "fold-50": 1, "mppt-10": 1},
}
WINDOWS = 500


@cache
def kit_in_hand(name: str) -> Choice:
    operation = read_operation(DEMO / f"{name}.toml")
    operation = replace(operation, need=replace(operation.need, windows=WINDOWS))
    sky = windows_for(operation)
    return of_wired(*wired(operation, read_inventory(DEMO), sky, KITS[name]), sky)


@cache
def carried_of(name: str) -> Carried:
    return carried(kit_in_hand(name))[0]


def held_kit(name: str) -> KitOnPage:
    choice = kit_in_hand(name)
    inside = heaps(choice.inventory, choice.packed, choice.parts)
    return KitOnPage(choice.operation.name, what_it_does(choice), choice, inside, (carried_of(name),))


@cache
def page_of(name: str) -> str:
    return page(kit_in_hand(name).operation.name, [held_kit(name)])


def digest_of(name: str) -> str:
    """Of a page's bytes and a sheet's."""
    pdf, _ = sheet(name, [held_kit(name)])
    return sha256(page_of(name).encode() + pdf).hexdigest()


@dataclass
class Opened:
    """A page in the browser, and what went wrong on it."""

    page: Any
    faults: list[str]


Open = Callable[..., Opened]
