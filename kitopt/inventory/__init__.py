"""What is owned: a folder of CSV files to frozen typed values.

The readers are loaded on first use, so that importing the item types costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kitopt.inventory.demo import demo_folder, demo_operation
    from kitopt.inventory.read import read_inventory

__all__ = ["demo_folder", "demo_operation", "read_inventory"]


def __getattr__(name: str) -> Any:
    if name == "read_inventory":
        from kitopt.inventory.read import read_inventory

        return read_inventory
    if name in ("demo_folder", "demo_operation"):
        from kitopt.inventory import demo

        return getattr(demo, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
