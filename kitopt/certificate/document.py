"""A certificate as JSON: what is written, what shape is read, and where two of them differ."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from kitopt.certificate.learned import CutRow, KitRow, Learned, SideRow, SpellRow
from kitopt.errors import BadInput, Fault
from kitopt.files.decode import read_text
from kitopt.files.faults import FaultList, quoted

SCHEMA = "kitopt/certificate-1"
LARGEST_BYTES = 100_000_000
TOLERANCE = 1e-6
"""Of a number, or of a thousandth where it is less: what is made again may differ by so much of it."""
_LISTED = 20

_WHOLE, _NUMBER, _TEXT = "a whole number", "a number", "text"
_TERMS = [(_WHOLE, _NUMBER)]
_AT = {"case": _WHOLE, "counts": _TERMS, "plant": _TERMS}
_ROWS: dict[str, dict[str, Any]] = {
    "cut": _AT
    | {"spells": [_WHOLE], "interval": [(_WHOLE, _WHOLE)], "margin_wh": [_NUMBER], "terms": _TERMS, "lower": _NUMBER},
    "spell": _AT
    | {"spell": _WHOLE, "interval": (_WHOLE, _WHOLE), "margin_wh": _NUMBER, "terms": _TERMS}
    | {"lower": _NUMBER, "floor": _NUMBER},
    "side": {"case": _WHOLE, "side": [_WHOLE], "plant": _TERMS, "units": [_WHOLE], "capacity_wh": _NUMBER},
    "kit": _AT,
}
_OF_ROW: dict[type, str] = {CutRow: "cut", SpellRow: "spell", SideRow: "side", KitRow: "kit"}
_COLUMN = {"counts": _TEXT, "lower": _NUMBER, "upper": _NUMBER, "is_whole": "yes or no", "weight": _NUMBER}
_RULE = {"rule": _TEXT, "text": _TEXT, "terms": _TERMS, "lower": "a number or null", "upper": "a number or null"}
_CASE = {"name": _TEXT, "spells": _WHOLE, "needed": _WHOLE, "others": "whole numbers or null", "margin_wh": [_NUMBER]}
_CLASS = {
    "bus": _TEXT,
    "columns": [_COLUMN],
    "fixed": _NUMBER,
    "rows": [_RULE],
    "cases": [_CASE],
    "learned": ["a learned row"],
}
_PACKED = {"id": _TEXT, "count": _WHOLE, "mass_g": _NUMBER, "price": "a number or null"}
_SURVIVED = {"survived": _WHOLE, "lowest_wh": _NUMBER}
SHAPE: dict[str, Any] = {
    "schema": _TEXT,
    "says": _TEXT,
    "made_with": _TEXT,
    "inputs": {
        "operation": {"file": _TEXT, "text": _TEXT},
        "inventory": "texts by name",
        "weather": "a file or null",
        "options": "options",
        "nices": [_TEXT],
    },
    "of": _TEXT,
    "bound": _NUMBER,
    "incumbent": {
        "class": _WHOLE,
        "counts": _TERMS,
        "objective": _NUMBER,
        "packed": [_PACKED],
        "mass_g": _NUMBER,
        "price": _NUMBER,
        "cases": [_SURVIVED],
        "others": [{"tried": _WHOLE, "needed": _WHOLE, **_SURVIVED}],
    },
    "classes": [_CLASS],
    "totals": {"columns": _WHOLE, "rows": _WHOLE, "cut": _WHOLE, "side": _WHOLE, "spell": _WHOLE, "kit": _WHOLE},
}
"""What a certificate looks like; lists hold what their only member is, pairs have two."""


def read_document(path: Path) -> dict[str, Any]:
    """Read a certificate whose shape is right, whatever it says.

    Raises
    ------
    BadInput
        With every fault of its shape.
    """
    faults = FaultList(str(path))
    text = read_text(path, faults, "save it as UTF-8", LARGEST_BYTES)
    value: Any = None
    if text is not None:
        try:
            value = json.loads(text, parse_constant=_refuse)
        except (ValueError, RecursionError) as error:
            line = error.lineno if isinstance(error, json.JSONDecodeError) else None
            told = error.msg if isinstance(error, json.JSONDecodeError) else str(error)
            faults.add(line, None, f"is no JSON ({told}), need what `kitopt pack --certificate` wrote.")
        else:
            schema = value.get("schema") if isinstance(value, dict) else None
            if schema != SCHEMA:
                found = quoted(schema) if schema is not None else "no schema"
                text = f"found {found}, need {SCHEMA}: this version of kitopt reads no other. Pack anew with it."
                faults.add(None, "schema", text)
            else:
                for where, told in _misshapen(value, SHAPE, ""):
                    faults.add(None, where, told)
                    if faults.is_hopeless:
                        break
    if faults.n:
        raise BadInput(faults.listed())
    return dict(value)


def _refuse(name: str) -> None:
    raise ValueError(f"{name} is no number")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1e9


def _is_text_of(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(text, str) for text in value.values())


def _is_options(value: Any) -> bool:
    each = value.values() if isinstance(value, dict) else [None]
    return all(isinstance(x, str) for one in each for x in (one if isinstance(one, list) else [one]))


_LEAVES: dict[str, Callable[[Any], bool]] = {
    _WHOLE: _is_whole,
    _NUMBER: _is_number,
    _TEXT: lambda value: isinstance(value, str),
    "yes or no": lambda value: isinstance(value, bool),
    "a number or null": lambda value: value is None or _is_number(value),
    "whole numbers or null": lambda value: value is None or (isinstance(value, list) and all(map(_is_whole, value))),
    "texts by name": _is_text_of,
    "a file or null": lambda value: value is None or (_is_text_of(value) and set(value) == {"file", "text"}),
    "options": _is_options,
}


def _misshapen(value: Any, shape: Any, where: str) -> Iterator[tuple[str, str]]:
    """Each place that is not as it should be, and what is found there."""
    if shape == "a learned row":
        sort = value.get("row") if isinstance(value, dict) else None
        if not isinstance(sort, str) or sort not in _ROWS:
            yield f"{where}.row", f"found {quoted(sort)}, need one of {', '.join(_ROWS)}."
            return
        shape = {"row": _TEXT, **_ROWS[sort]}
    if isinstance(shape, dict):
        if not isinstance(value, dict):
            yield where, f"found {quoted(value)}, need an object."
            return
        for key in dict.fromkeys([*shape, *value]):
            inner = f"{where}.{key}" if where else str(key)
            if key not in value or key not in shape:
                yield inner[:200], "is missing." if key in shape else "is not a key of a certificate."
            else:
                yield from _misshapen(value[key], shape[key], inner)
    elif isinstance(shape, list | tuple):
        n = len(shape) if isinstance(shape, tuple) else None
        if not isinstance(value, list) or (n is not None and len(value) != n):
            yield where, f"found {quoted(value)}, need a list{'' if n is None else f' of {n}'}."
            return
        for i, one in enumerate(value):
            yield from _misshapen(one, shape[0] if n is None else shape[i], f"{where}[{i}]")
    elif not _LEAVES[shape](value):
        yield where, f"found {quoted(value)}, need {shape}."


# -- rows ------------------------------------------------------------------------------------


def sort_of(row: Learned) -> str:
    """What a learned row is called."""
    return _OF_ROW[type(row)]


def row_value(row: Learned) -> dict[str, Any]:
    """A learned row for JSON."""
    found: dict[str, Any] = {"row": sort_of(row)}
    return found | {name: _plain(value) for name, value in vars(row).items()}


def _plain(value: Any) -> Any:
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


def bound_value(value: float) -> float | None:
    """A bound of a row; null where there is none."""
    return float(value) if math.isfinite(value) else None


# -- differences -----------------------------------------------------------------------------


def differences(told: Any, made: Any, where: str) -> Iterator[Fault]:
    """Where what a certificate tells is not what is made again; the first few of each place.

    The file of the faults is left empty.
    """
    if isinstance(made, Mapping):
        for key, value in made.items():
            yield from differences(told[key], value, f"{where}.{key}")
    elif isinstance(made, list):
        if len(told) != len(made):
            yield Fault("", None, where, f"has {len(told)} members, and what is made again has {len(made)}.")
        n = 0
        for i, (one, other) in enumerate(zip(told, made, strict=False)):
            for fault in differences(one, other, f"{where}[{i}]"):
                n += 1
                if n <= _LISTED:
                    yield fault
    elif not is_same(told, made):
        yield Fault("", None, where, f"says {_spelled(told)}, and made again it is {_spelled(made)}.")


def is_same(told: Any, made: Any) -> bool:
    """Whether a value is what is made again."""
    if not _is_number(told) or not _is_number(made):
        return bool(told == made)
    return bool(abs(told - made) <= TOLERANCE * max(abs(told), abs(made), 1e-3))


def _spelled(value: Any) -> str:
    return f"{value:.9g}" if isinstance(value, float) else quoted(value)
