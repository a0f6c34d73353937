"""Memory that a question would take, before any of it is taken."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable

from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Climate, Operation, WeatherFile

LARGEST_BYTES = 2_000_000_000

_BYTES_A_STEP = 340
_BYTES_A_STEP_OF_A_FILE = 400
"""Of one step in one window. Light and air while they are made take 100 (climate) or 250 (a file), measured on the
demo's aim; the rest is an estimate: eight for each shape of panel, some twenty over all classes, and the judge."""


_BYTES_KEPT = 150
"""Of one step in one window of a sky that is kept while others are made: eight each for light, useful light and cells,
flat and aimed, and as many again for shapes and cases; a standing kit for 24 dates took 52."""


def check_all_fit(operations: Iterable[Operation], file: str) -> None:
    """Refuse a plan whose skies, all kept at once, would take more than 2 GB.

    Parameters
    ----------
    operations : iterable of Operation
        One for each sky.
    file : str
        What the plan was read from.

    Raises
    ------
    BadInput
        With the most windows for each that fit.
    """
    # no sun and daily shares are one window each; a file may hold fewer than are asked for
    skies = [
        (one, one.need.windows if isinstance(one.need.weather, Climate | WeatherFile) else 1) for one in operations
    ]

    def taken(most: int) -> int:
        kept = [min(n, most) * one.n_steps for one, n in skies]
        return _BYTES_KEPT * sum(kept) + (_BYTES_A_STEP - _BYTES_KEPT) * max(kept, default=0)

    asked = max((n for _, n in skies), default=0)
    if taken(asked) <= LARGEST_BYTES:
        return
    fit = bisect_right(range(asked), LARGEST_BYTES, key=taken) - 1
    text = (
        f"the weather of {len(skies):,} dates, {asked:,} windows each, takes about {taken(asked) / 1e9:.1f} GB of "
        f"memory, need at most {LARGEST_BYTES / 1e9:g} GB: {fit:,} windows each fit (--windows), or take longer steps "
        "(--step), fewer hours or fewer dates."
    )
    raise BadInput([Fault(file, None, None, text)])


def check_fits(operation: Operation, n_windows: int) -> None:
    """Refuse a question that would take more than 2 GB.

    Parameters
    ----------
    n_windows : int
        Windows that would be laid out at once.

    Raises
    ------
    BadInput
        With the most windows that fit, and the other ways out.
    """
    is_file = isinstance(operation.need.weather, WeatherFile)
    each = (_BYTES_A_STEP_OF_A_FILE if is_file else _BYTES_A_STEP) * operation.n_steps
    if n_windows * each <= LARGEST_BYTES:
        return
    fit = LARGEST_BYTES // each
    text = (
        f"found {n_windows:,} windows of {operation.n_steps:,} steps, which take about {n_windows * each / 1e9:.1f} GB "
        f"of memory, need at most {LARGEST_BYTES / 1e9:g} GB: {fit:,} windows fit, or take longer steps or fewer hours."
    )
    raise BadInput([Fault(operation.file, None, "need.windows", text)])
