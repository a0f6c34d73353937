"""Amounts with a unit of their own, such as "3 lb 2 oz", to the unit that a column is kept in."""

from __future__ import annotations

# international yard and pound agreement of 1959: lb = 0.45359237 kg, yd = 0.9144 m
_POUND_G = 453.59237
_FOOT_M = 0.3048
_MILLI = 0.001

# grains are never meant: "gr" is how many write grams
_OF: dict[str, dict[float, str]] = {
    "g": {
        1.0: "g gr gm gram grams gramme grammes",
        1000.0: "kg kgs kilo kilos kilogram kilograms",
        _MILLI: "mg",
        _POUND_G: "lb lbs pound pounds",
        _POUND_G / 16: "oz ounce ounces",
    },
    "m": {
        1.0: "m metre metres meter meters",
        0.01: "cm",
        _MILLI: "mm",
        1000.0: "km",
        _FOOT_M: "ft foot feet ' ′",
        _FOOT_M / 12: 'in inch inches " ″',
        3 * _FOOT_M: "yd yard yards",
    },
    "cm": {
        1.0: "cm centimetre centimetres centimeter centimeters",
        0.1: "mm",
        100.0: "m metre metres meter meters",
        100 * _FOOT_M: "ft foot feet ' ′",
        100 * _FOOT_M / 12: 'in inch inches " ″',
    },
    "W": {1.0: "W watt watts", _MILLI: "mW", 1000.0: "kW"},
    "V": {1.0: "V volt volts", _MILLI: "mV", 1000.0: "kV"},
    "A": {1.0: "A amp amps ampere amperes", _MILLI: "mA", 1e-6: "µA μA uA"},
    "mA": {1.0: "mA", 1000.0: "A amp amps ampere amperes", _MILLI: "µA μA uA"},
    "Ah": {1.0: "Ah", _MILLI: "mAh"},
    "Wh": {1.0: "Wh", 1000.0: "kWh", _MILLI: "mWh", 1 / 3600: "J", 1 / 3.6: "kJ"},
    "mohm": {1.0: "mohm mΩ", 1000.0: "ohm ohms Ω"},
    "mm**2": {1.0: "mm² mm2 sqmm", 100.0: "cm²"},
}
UNITS = {target: {name: factor for factor, names in of.items() for name in names.split()} for target, of in _OF.items()}
"""By the unit that a column is kept in: every unit that its cells may carry, and by what it is multiplied."""

# from degrees: offset first, then factor
_DEGREES = {
    **dict.fromkeys(("C", "°C", "degC", "celsius"), (0.0, 1.0)),
    **dict.fromkeys(("F", "°F", "degF", "fahrenheit"), (-32.0, 5 / 9)),
}


def _factor(unit: str, target: str) -> float:
    """What a unit is multiplied by: by its letters' case if that fits and without it if not."""
    units = UNITS.get(target, {})
    if unit in units:
        return units[unit]
    small = {name.lower(): factor for name, factor in units.items()}
    # an M at the start of a symbol is mega, which nobody carries; MAH stands on many batteries
    if unit.lower() in small and (not unit.startswith("M") or unit in ("MAH", "MOHM", "MM", "MM²")):
        return small[unit.lower()]
    raise ValueError(f"{unit} is not a unit of this column")


def to_unit(parts: list[tuple[float, str]], target: str) -> float:
    """Return the sum of amounts in the target unit.

    Parameters
    ----------
    parts : list of (float, str)
        Amounts with their units, such as ``[(3, "lb"), (2, "oz")]``.
    target : str
        Unit of the result: a key of `UNITS`, or "degC".

    Raises
    ------
    ValueError
        If a unit is unknown or measures something else, or if temperatures are added.
    """
    if target == "degC":
        if len(parts) != 1:
            raise ValueError("temperatures cannot be added")
        amount, unit = parts[0]
        known = {name.lower(): found for name, found in _DEGREES.items()}
        if unit.lower() not in known:
            raise ValueError(f"{unit} is not a unit of temperature")
        offset, factor = known[unit.lower()]
        return (amount + offset) * factor
    return sum(amount * _factor(unit, target) for amount, unit in parts)
