"""Where the invented demo inventory lies."""

from __future__ import annotations

from pathlib import Path

from kitopt.errors import BadInput, Fault


def demo_folder() -> Path:
    """Return the folder of the demo inventory.

    It travels in the wheel; in a checkout it is the top-level ``inventory`` folder.

    Raises
    ------
    BadInput
        If neither is there, as in a package that was built without it.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "demo", package.parent / "inventory"):
        if (folder / "batteries.csv").is_file():
            return folder
    raise BadInput(
        [
            Fault(
                str(package / "demo"), None, None, "the demo inventory is missing; name an operation, or install again."
            )
        ]
    )


def demo_operation() -> Path:
    """Return the file of the first demo operation."""
    return demo_folder() / "operations" / "coastal-checkpoint.toml"
