"""The best kit by chance and hours: a small table, filled by a few questions and by what follows from them.

A kit that works for some hours at some chance works for fewer at a lower one, so the best kit's mass never falls
with the hours nor with the chance. Where two kits in opposite corners are one and the same, it is the best of all
cells between them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from kitopt.ask import Asker, Change
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Packed
from kitopt.sky.windows import SkyOf

MOST_SOLVES = 6
"""Questions that are solved for one table."""
_SHARES = tuple(map(Fraction, ("0.5", "0.8", "0.9", "0.95", "0.98", "0.99")))
_TIMES = (0.5, 1.0, 1.5, 2.0)
_ORDER = ((0, 1), (0, -1), (-1, 0), (1, 0), (1, -1), (-1, 1), (0, 2), (1, 1), (-1, -1), (-1, 2), (1, 2))
"""Which cells are asked for first, as (rows up, columns right) from the cell of the plan."""


@dataclass(frozen=True)
class Cell:
    """What is known of the best kit: which, or between what masses it lies.

    Attributes
    ----------
    kit : int or None
        Number among the kits, in order of mass; None where it is not known.
    is_none : bool
        Whether it is known that none works.
    least_g, most_g : int or None
        Bounds of its mass; None for no bound. [g]
    """

    kit: int | None = None
    is_none: bool = False
    least_g: int | None = None
    most_g: int | None = None


@dataclass(frozen=True)
class Grid:
    """Rows by falling chance, columns by rising hours.

    Attributes
    ----------
    asked : (row, column)
        Of the plan.
    kits : tuple of tuple of Packed
        Without loads and extras, lightest first; `masses_g` with them. [g]
    """

    shares: tuple[Fraction, ...]
    hours: tuple[float, ...]
    cells: tuple[tuple[Cell, ...], ...]
    asked: tuple[int, int]
    kits: tuple[tuple[Packed, ...], ...]
    masses_g: tuple[int, ...]
    n_solves: int


Found = dict[tuple[int, int], Choice]


def grid(choice: Choice, sky_of: SkyOf, *, most_solves: int = MOST_SOLVES, budget: Budget = UNLIMITED) -> Grid | None:
    """The table around a plan; None where the plan's kit is not proved lightest, or of several circuits.

    Parameters
    ----------
    most_solves : int
        Questions that may be solved; with none only what follows from the plan is told.
    """
    operation = choice.operation
    if choice.status != "found" or operation.least != "mass" or choice.circuits or not choice.solved:
        return None
    shares = tuple(reversed(_around(sorted({*_SHARES, operation.need.confidence}), operation.need.confidence)))
    step_h = operation.need.step_h
    hours = tuple(sorted({max(step_h, step_h * round(n * operation.hours / step_h)) for n in _TIMES}))
    row, column = shares.index(operation.need.confidence), hours.index(operation.hours)
    found: Found = {(row, column): choice}
    asker = Asker(choice, sky_of, budget, most_solves)
    for up, right in _ORDER:
        at = (row - up, column + right)
        if asker.is_used_up:
            break
        if not (0 <= at[0] < len(shares) and 0 <= at[1] < len(hours)) or _inferred(found, at).kit is not None:
            continue
        changes = [Change("hours", value=hours[at[1]])] if at[1] != column else []
        changes += [Change("confidence", value=shares[at[0]])] if at[0] != row else []
        one = asker.ask(*changes)
        if one.status != "time-limit" and (one.operation.nices == operation.nices or not one.packed):
            found[at] = one
    kits = sorted({_pieces(one): one.mass_g for one in found.values() if one.packed}.items(), key=lambda kit: kit[1])
    number = {pieces: n for n, (pieces, _) in enumerate(kits)}
    cells = tuple(tuple(_cell(_inferred(found, (r, c)), number) for c in range(len(hours))) for r in range(len(shares)))
    return Grid(
        shares,
        hours,
        cells,
        (row, column),
        tuple(pieces for pieces, _ in kits),
        tuple(mass_g for _, mass_g in kits),
        asker.n_solves,
    )


def _around(shares: list[Fraction], asked: Fraction) -> list[Fraction]:
    """The share that is asked for, with one below and one above."""
    i = shares.index(asked)
    return shares[max(0, i - 1) : i + 2]


def _pieces(choice: Choice) -> tuple[Packed, ...]:
    return tuple(one for one in choice.packed if one.kind not in ("load", "extra"))


@dataclass(frozen=True)
class _Known:
    kit: tuple[Packed, ...] | None = None
    is_none: bool = False
    least_g: int | None = None
    most_g: int | None = None


def _inferred(found: Found, at: tuple[int, int]) -> _Known:
    """What the cells that were solved tell of one: rows fall in chance, columns rise in hours."""
    easier = [one for (r, c), one in found.items() if r >= at[0] and c <= at[1]]
    harder = [one for (r, c), one in found.items() if r <= at[0] and c >= at[1]]
    if any(not one.packed for one in easier):
        return _Known(is_none=True)
    least_g = max((one.mass_g for one in easier), default=None)
    most_g = min((one.mass_g for one in harder if one.packed), default=None)
    same = [one for one in harder if one.packed and one.mass_g == least_g]
    if least_g is not None and least_g == most_g:
        return _Known(_pieces(same[0]), False, least_g, most_g)
    return _Known(None, False, least_g, most_g)


def _cell(known: _Known, number: dict[tuple[Packed, ...], int]) -> Cell:
    return Cell(None if known.kit is None else number[known.kit], known.is_none, known.least_g, known.most_g)
