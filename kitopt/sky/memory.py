"""Memory that a question would take, before any of it is taken."""

from __future__ import annotations

from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Operation, WeatherFile

LARGEST_BYTES = 2_000_000_000

_BYTES_A_STEP = 340
_BYTES_A_STEP_OF_A_FILE = 400
"""Of one step in one window. Light and air while they are made take 100 (climate) or 250 (a file), measured on the
demo's aim; the rest is an estimate: eight for each shape of panel, some twenty over all classes, and the judge."""


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
