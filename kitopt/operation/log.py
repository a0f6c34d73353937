"""A logged outing: a CSV file of times and currents, its columns known by their words and units in any order."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput
from kitopt.files.decode import read_text
from kitopt.files.faults import FaultList, quoted
from kitopt.files.marks import decimal_mark
from kitopt.files.table import Row, Table, read_table
from kitopt.files.unknown import is_unknown
from kitopt.inventory.cells import number

Floats = NDArray[np.float64]

LONGEST_S = 900.0
"""What was logged stands until the next row, or for three usual intervals, or for so long where that is more. [s]"""
_INTERVALS = 3.0

_TIME = frozenset(("time", "date", "datetime", "timestamp", "moment", "at", "when"))
_WORDS = {
    "in": frozenset(("in", "charge", "charging", "solar", "pv", "panel", "panels", "controller", "input")),
    "out": frozenset(("out", "load", "loads", "discharge", "discharging", "used", "drawn", "output")),
    "net": frozenset(("net", "battery", "batt", "shunt")),
}
"""Which way a current flows, by the words of its column; net is positive where the battery is charged."""
_UNITS = {"a": "A", "ma": "mA", "w": "W", "ah": "Ah", "v": "V", "amps": "A", "amperes": "A", "volts": "V", "watts": "W"}
_MOST = {"A": 200.0, "mA": 200_000.0, "W": 5000.0, "V": 100.0}
"""What is more was logged in another unit, or is a slip: no kit that is carried reaches it."""
_VOLTS = frozenset(("volts", "voltage", "v"))


@dataclass(frozen=True, eq=False)
class Log:
    """What was logged, row by row.

    Attributes
    ----------
    start_s : ndarray, shape (n,)
        Seconds of universal time since 1970.
    length_s : ndarray, shape (n,)
        How long each row stands. [s]
    in_a, out_a : ndarray, shape (n,)
        Into and out of the battery, neither below zero. [A]
    volts : ndarray, shape (n,), or None
        Of the battery. [V]
    gaps : tuple of (start, length)
        When nothing was logged. [s]
    columns : tuple of (name, meaning)
        What each column was taken as.
    of : mapping of item id to ndarray
        What items gave or drew by columns of their own; of a battery what went in. [A]
    is_net : bool
        Whether what goes out is told by what the battery gives alone, the controllers' own draw with it.
    """

    start_s: Floats
    length_s: Floats
    in_a: Floats
    out_a: Floats
    volts: Floats | None
    gaps: tuple[tuple[float, float], ...]
    columns: tuple[tuple[str, str], ...]
    of: Mapping[str, Floats] = field(default_factory=dict)
    is_net: bool = False
    file: str = "LOG.csv"


@dataclass(frozen=True)
class _Meant:
    """What a column is: which way, in what unit, and of which item where it is of one alone."""

    way: str
    unit: str
    item: str = ""


def read_log(path: Path, zone: ZoneInfo, nominal_v: float, ways: Mapping[str, str] | None = None) -> Log:
    """Read a log; times without an offset are on the clock of the place.

    Parameters
    ----------
    nominal_v : float
        Turns watts into amperes where no volts are logged. [V]
    ways : mapping of item id to "in", "out" or "net"
        Items of which a column may be: one whose name holds the id.

    Raises
    ------
    BadInput
        With every fault: no time or no current among its columns, a cell that is no number, times out of order.
    """
    faults = FaultList(str(path))
    text = read_text(path, faults, 'save it as "CSV UTF-8"')
    table = None if text is None else read_table(text, faults)
    if table is None:
        raise BadInput(faults.listed())
    meant = {name: one for name in table.columns if (one := _meant(name, ways or {})) is not None}
    times = [name for name, one in meant.items() if one.way == "time"]
    currents = [name for name, one in meant.items() if one.way in ("in", "out", "net")]
    if not times or not currents:
        names = ", ".join(table.columns)
        need = "need a column of times, and one of amperes that go in or out, such as time, solar_a, load_a"
        faults.add(table.header_line, None, f"found {names}; {need}.")
        raise BadInput(faults.listed())
    start_s, values = _numbers(table, times, {n: m for n, m in meant.items() if m.way != "time"}, zone, faults)
    if not faults.n and len(start_s) < 2:
        faults.add(table.header_line, None, f"rows with a time: found {len(start_s)}, need two at least.")
    if faults.n:
        raise BadInput(faults.listed())
    usual_s = float(np.median(np.diff(start_s)))
    length_s = np.append(np.diff(start_s), usual_s)
    longest_s = max(_INTERVALS * usual_s, LONGEST_S)
    gaps = tuple(
        (float(s) + usual_s, float(n) - usual_s) for s, n in zip(start_s, length_s, strict=True) if n > longest_s
    )
    length_s = np.where(length_s > longest_s, usual_s, length_s)
    volts = next((values[name] for name, one in meant.items() if one.unit == "V"), None)
    of: dict[str, Floats] = {}
    parts: dict[tuple[str, bool], Floats] = {}
    for name in currents:
        one, amps = meant[name], _amps(values[name], meant[name].unit, length_s, volts, nominal_v)
        amps = amps if one.way == "net" else _one_way(amps)
        parts[one.way, bool(one.item)] = parts.get((one.way, bool(one.item)), 0.0) + amps
        if one.item:
            of[one.item] = of.get(one.item, 0.0) + amps
    # a column of the whole, else the sum of those of items
    way_a = {way: parts.get((way, False), parts.get((way, True))) for way in _WORDS}
    in_a, out_a = _both_ways(way_a["in"], way_a["out"], way_a["net"])
    if all(meant[name].unit == "Ah" for name in currents):
        # what a counter shows last says nothing of what comes after it
        start_s, length_s, in_a, out_a = start_s[:-1], length_s[:-1], in_a[:-1], out_a[:-1]
        volts, of = (None if volts is None else volts[:-1]), {item: amps[:-1] for item, amps in of.items()}
    told = tuple((name, ", ".join(filter(None, (one.item, one.way, one.unit)))) for name, one in meant.items())
    return Log(start_s, length_s, in_a, out_a, volts, gaps, told, of, way_a["out"] is None, str(path))


def _one_way(amps: Floats) -> Floats:
    """What flows one way, with whichever sign it was logged; a value against all the others is none. [A]"""
    return np.maximum(amps if float(amps.sum()) >= 0.0 else -amps, 0.0)


def _both_ways(in_a: Floats | None, out_a: Floats | None, net_a: Floats | None) -> tuple[Floats, Floats]:
    """What goes in and out; of what is not told, as much as the battery's own current leaves. [A]"""
    none = np.zeros(len(next(one for one in (in_a, out_a, net_a) if one is not None)))
    if net_a is not None:
        if in_a is None:
            in_a = np.maximum(net_a + (none if out_a is None else out_a), 0.0)
            out_a = np.maximum(-net_a, 0.0) if out_a is None else out_a
        elif out_a is None:
            out_a = np.maximum(in_a - net_a, 0.0)
    return none if in_a is None else in_a, none if out_a is None else out_a


def _meant(name: str, ways: Mapping[str, str]) -> _Meant | None:
    """What a column is, by the words and the unit in its name; None where it is neither time, current nor volts."""
    lower = name.lower()
    # the longest, so that hf-10 is not found in hf-10w
    item = max((one for one in ways if one.lower() in lower), key=len, default="")
    words = re.findall(r"[a-z]+", lower.replace(item.lower(), " ") if item else lower)
    if _TIME & set(words):
        return _Meant("time", "")
    unit = next((_UNITS[word] for word in reversed(words) if word in _UNITS), "")
    if _VOLTS & set(words) or unit == "V":
        return _Meant("volts", "V")
    if item:
        return _Meant(ways[item], unit or "A", item)
    found = [way for way, some in _WORDS.items() if some & set(words)]
    # "battery in" is what goes in
    way = next((one for one in found if one != "net"), found[0] if found else "")
    return _Meant(way, unit or "A") if way else None


def _numbers(
    table: Table, times: list[str], meant: dict[str, _Meant], zone: ZoneInfo, faults: FaultList
) -> tuple[Floats, dict[str, Floats]]:
    """Times and values of every row that has a time; a blank is what stood before."""
    decimal = decimal_mark(cell for row in table.rows for name, cell in row.cells.items() if name in meant)
    start_s: list[float] = []
    values: dict[str, list[float]] = {name: [] for name in meant}
    for row in table.rows:
        if faults.is_hopeless:
            break
        moment = _moment(row, times, zone, faults)
        if moment is None:
            continue
        if start_s and moment <= start_s[-1]:
            faults.add(row.line, times[0], "found a time that is no later than that of the row before; sort the rows.")
            continue
        start_s.append(moment)
        for name, one in meant.items():
            cell = row.cells.get(name, "")
            before = values[name][-1] if values[name] else 0.0
            try:
                value = before if is_unknown(cell) else number(cell, one.unit, decimal)
            except ValueError:
                value = before
                faults.add(row.lines[name], name, f"found {quoted(cell)}, need a number in {one.unit}.")
            most = _MOST.get(one.unit, math.inf)
            if abs(value) > most:
                need = f"need {most:,.0f} {one.unit} at most; is the unit in the name of the column right?"
                faults.add(row.lines[name], name, f"found {quoted(cell)}, {need}")
            values[name].append(value)
    return np.array(start_s), {name: np.array(some) for name, some in values.items()}


def _moment(row: Row, times: list[str], zone: ZoneInfo, faults: FaultList) -> float | None:
    text = " ".join(row.cells[name] for name in times if name in row.cells)
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        faults.add(row.line, times[0], f"found {quoted(text)}, need a date and time, such as 2027-06-12 12:30.")
        return None
    return (moment.replace(tzinfo=zone) if moment.tzinfo is None else moment).timestamp()


def _amps(values: Floats, unit: str, length_s: Floats, volts: Floats | None, nominal_v: float) -> Floats:
    """A column as mean amperes over each row. [A]"""
    if unit == "Ah":
        # a counter that only grows; where it is set back it begins anew
        return np.append(np.maximum(np.diff(values), 0.0), 0.0) * 3600.0 / length_s
    if unit == "W":
        return values / (nominal_v if volts is None else np.maximum(volts, 1.0))
    return values / 1000.0 if unit == "mA" else values
