"""From the operation's weather source to its windows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import ceil

from kitopt.files.ahead import Ahead
from kitopt.operation.terms import Climate, NoSun, Operation, Shares, WeatherFile
from kitopt.sky.coarsen import coarsen
from kitopt.sky.kept_sky import kept_sky, sky_ahead
from kitopt.sky.memory import check_fits
from kitopt.sky.windows import Sky, asked_of_sky

_LONGEST_STEP_H = 0.5

_CHUNK_STEPS = 340_000
"""Steps of all windows in a chunk together: about 3 MB an array."""

FIRST_FRESH, FIRST_OTHER = 1_000_000, 2_000_000
"""Numbers of the first window that no choice has seen, and of the first of the many that a kit is tried by."""

N_OTHERS = 5000
"""Windows that a kit is tried by, and as many that only report."""


_in_hand: list[tuple[tuple[object, ...], tuple[Sky, ...]]] = []
"""The other windows that were last asked for, since one kit after another is tried by them."""


@dataclass(frozen=True)
class Others:
    """The many other windows of an operation's climate that a kit is tried by, a chunk at a time."""

    operation: Operation

    def __call__(self) -> Iterator[Sky]:
        """Draw them, or take them from hand."""
        asked = asked_of_sky(self.operation)
        parts = [part for known, some in _in_hand if known == asked for part in some]
        if parts:
            yield from parts
            return
        _in_hand.clear()
        for part in _in_chunks(self.operation, FIRST_OTHER, N_OTHERS):
            parts.append(part)
            yield part
        _in_hand[:] = [(asked, tuple(parts))]


def windows_for(operation: Operation, *, n: int | None = None, first: int = 0) -> Sky:
    """Weather windows of an operation.

    Parameters
    ----------
    n : int, optional
        How many windows; ``operation.need.windows`` when not given. No sun and daily shares are one window
        whatever is asked, and a file gives no more than it holds.
    first : int
        Number of the first window; only the climate goes on without end.

    Returns
    -------
    Sky
        Arrays of shape (n_windows, n_steps). Window number k is the same whatever `n` and `first`.

    Raises
    ------
    BadInput
        If the file cannot be used, the climate does not reach the place, a temperature is missing, or the windows
        would not fit in memory.
    """
    count = operation.need.windows if n is None else n
    is_climate = isinstance(operation.need.weather, Climate)
    finer, parts = _finer(operation)
    if parts > 1:
        sky = coarsen(windows_for(finer, n=count, first=first), parts)
    else:
        if is_climate:
            check_fits(operation, count)
        sky = kept_sky(operation, count, first, lambda: _made(operation, count, first))
    return replace(sky, others=Others(operation)) if is_climate and first < FIRST_FRESH else sky


def weather_ahead(operations: Iterable[Operation], *, is_judged: bool = False) -> list[Ahead]:
    """The windows of operations, then those that kits are tried by, as they will be asked for.

    Parameters
    ----------
    is_judged : bool
        Whether `fresh_windows` will be asked for as well.
    """
    of_all: list[Ahead] = []
    of_each: list[Ahead] = []

    def some(operation: Operation, n: int, first: int) -> list[Ahead]:
        return sky_ahead(_finer(operation)[0], n, first, lambda: windows_for(operation, n=n, first=first))

    for one in operations:
        # no sun takes no time
        if not isinstance(one.need.weather, NoSun):
            of_all += some(one, one.need.windows, 0)
        if isinstance(one.need.weather, Climate):
            for first in (FIRST_OTHER, FIRST_FRESH) if is_judged else (FIRST_OTHER,):
                for n, number in _chunks(one, first, N_OTHERS):
                    of_each += some(one, n, number)
    return of_all + of_each


def _finer(operation: Operation) -> tuple[Operation, int]:
    """An operation in steps that are short enough to be made, and how many of them make up one of its own."""
    step_h = operation.need.step_h
    # the sun moves too far in a longer step for its middle to speak for the whole
    parts = ceil(step_h / _LONGEST_STEP_H - 1e-9)
    if parts <= 1:
        return operation, 1
    need = replace(operation.need, step_h=step_h / parts)
    return replace(operation, hours=operation.n_steps * step_h, need=need), parts


def _made(operation: Operation, count: int, first: int) -> Sky:
    """The windows, made anew."""
    weather = operation.need.weather
    match weather:
        case Climate():
            from kitopt.sky.climate import climate_sky

            return climate_sky(operation, weather, count, first)
        case WeatherFile():
            from kitopt.sky.file_sky import file_sky

            return file_sky(operation, weather, count)
        case NoSun():
            from kitopt.sky.dark import dark_sky

            return dark_sky(operation)
        case Shares():
            from kitopt.sky.shares import share_sky

            return share_sky(operation, weather)


def fresh_windows(operation: Operation, total: int = N_OTHERS, chunk: int | None = None) -> Iterator[Sky]:
    """Windows that no choice has seen, a chunk at a time to bound memory; nothing where none can be drawn."""
    if isinstance(operation.need.weather, Climate):
        yield from _in_chunks(operation, FIRST_FRESH, total, chunk)


def _in_chunks(operation: Operation, first: int, total: int, chunk: int | None = None) -> Iterator[Sky]:
    for n, number in _chunks(operation, first, total, chunk):
        yield windows_for(operation, n=n, first=number)


def _chunks(operation: Operation, first: int, total: int, chunk: int | None = None) -> Iterator[tuple[int, int]]:
    """How many windows are made at a time, and the number of the first of them."""
    if chunk is None:
        chunk = max(1, _CHUNK_STEPS // operation.n_steps)
    for done in range(0, total, chunk):
        yield min(chunk, total - done), first + done
