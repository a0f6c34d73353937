"""Amounts with a unit of their own, such as "3 lb 2 oz", to the unit that a column is kept in."""

from __future__ import annotations

import functools
from typing import Any

_SPELLINGS = {
    "amps": "ampere",  # pint reads attometre per second
    "AH": "Ah",
    "mAH": "mAh",
    "'": "foot",
    "′": "foot",
    '"': "inch",
    "″": "inch",
    "mm2": "mm**2",
    "sqmm": "mm**2",
    "F": "degF",
    "°F": "degF",
    "C": "degC",
    "°C": "degC",
}

# the commonest, so that most files need not load pint, which takes a third of a second
_WITHOUT_PINT = {
    ("kg", "g"): 1000.0,
    ("mA", "A"): 0.001,
    ("A", "mA"): 1000.0,
    ("mAh", "Ah"): 0.001,
    ("cm", "m"): 0.01,
}


@functools.cache
def _registry() -> Any:
    # a third of a second: only a cell that needs a conversion pays for it
    import pint

    return pint.UnitRegistry()


@functools.lru_cache(maxsize=1000)
def _unit(text: str, target: str) -> Any:
    """Return pint's unit for what was written, by its letters' case if that fits and without it if not."""
    import pint

    registry = _registry()
    wanted = registry.parse_units(target).dimensionality
    for spelling in (_SPELLINGS.get(text, text), text.lower()):
        try:
            unit = registry.parse_units(spelling)
        except (pint.PintError, ValueError, AssertionError, TypeError):
            continue
        if unit.dimensionality == wanted:
            return unit
    raise ValueError(f"{text} is not a unit of this column")


def to_unit(parts: list[tuple[float, str]], target: str) -> float:
    """Return the sum of amounts in the target unit.

    Parameters
    ----------
    parts : list of (float, str)
        Amounts with their units, such as ``[(3, "lb"), (2, "oz")]``.
    target : str
        Unit of the result, as pint spells it.

    Raises
    ------
    ValueError
        If a unit is unknown or measures something else, or if temperatures are added.
    """
    if len(parts) == 1:
        amount, unit = parts[0]
        if unit == target:
            return amount
        if (unit, target) in _WITHOUT_PINT:
            return amount * _WITHOUT_PINT[unit, target]
    elif target == "degC":
        raise ValueError("temperatures cannot be added")
    registry = _registry()
    total = 0.0
    for amount, unit in parts:
        total += float(registry.Quantity(amount, _unit(unit, target)).to(target).magnitude)
    return total
