"""One outing to be powered: one TOML file to frozen typed values.

The readers are loaded on first use, so that importing the terms costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kitopt.operation.check import check_against
    from kitopt.operation.clock import share_of_steps, step_starts
    from kitopt.operation.find import find_inventory
    from kitopt.operation.maidenhead import locator_of, place_of
    from kitopt.operation.read import read_operation

__all__ = [
    "check_against",
    "find_inventory",
    "locator_of",
    "place_of",
    "read_operation",
    "share_of_steps",
    "step_starts",
]

_HOMES = {
    "check_against": "check",
    "find_inventory": "find",
    "locator_of": "maidenhead",
    "place_of": "maidenhead",
    "read_operation": "read",
    "share_of_steps": "clock",
    "step_starts": "clock",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
