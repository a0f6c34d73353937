"""Fetches years of hourly weather over the network: the only part of kitopt that does."""

from __future__ import annotations

import os
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from kitopt.errors import BadInput, Fault
from kitopt.sky.power_file import NAMES, PowerData, power_text

TIMEOUT_S = 120.0

FIRST_YEAR = 2001
"""The hourly light of NASA POWER begins here."""


def fetch_weather(
    latitude_deg: float,
    longitude_deg: float,
    first_year: int,
    last_year: int,
    path: Path,
    *,
    timeout_s: float = TIMEOUT_S,
) -> Path:
    """Save hourly NASA POWER weather of whole years as a file that kitopt reads.

    One request a year; the file appears whole or not at all.

    Parameters
    ----------
    timeout_s : float
        Longest wait for the answer to one request. [s]

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    BadInput
        If the place or years cannot be, the service does not answer, or the file cannot be written.

    References
    ----------
    .. [1] NASA Prediction Of Worldwide Energy Resources (POWER), hourly API.
    """
    _check(latitude_deg, longitude_deg, first_year, last_year)
    years = [_one_year(latitude_deg, longitude_deg, year, timeout_s) for year in range(first_year, last_year + 1)]
    names = [name for name in NAMES if all(name in year.columns for year in years)]
    whole = PowerData(
        years[0].latitude_deg,
        years[0].longitude_deg,
        years[0].altitude_m,
        np.concatenate([year.start_s for year in years]),
        {name: np.concatenate([year.columns[name] for year in years]) for name in names},
    )
    _write(path, power_text(whole, "NASA/POWER Source Native Resolution Hourly Data, as fetched by kitopt"))
    return path


def _check(latitude_deg: float, longitude_deg: float, first_year: int, last_year: int) -> None:
    faults = []
    if not -90 <= latitude_deg <= 90:
        faults.append(Fault("latitude", None, None, f"found {latitude_deg:g}, need a number from -90 to 90."))
    if not -180 <= longitude_deg <= 180:
        faults.append(Fault("longitude", None, None, f"found {longitude_deg:g}, need a number from -180 to 180."))
    if not FIRST_YEAR <= first_year <= last_year:
        text = f"found {first_year} to {last_year}, need whole years in order, {FIRST_YEAR} or later."
        faults.append(Fault("years", None, None, text))
    if faults:
        raise BadInput(faults)


def _one_year(latitude_deg: float, longitude_deg: float, year: int, timeout_s: float) -> PowerData:
    import pvlib
    import requests

    def ask() -> Any:
        return pvlib.iotools.get_nasa_power(
            latitude_deg, longitude_deg, f"{year}-01-01", f"{year}-12-31", parameters=list(NAMES)
        )

    try:
        frame, meta = _within(timeout_s, ask)
        start_s = frame.index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]").astype(np.int64)
        return PowerData(
            float(meta["latitude"]),
            float(meta["longitude"]),
            float(meta["altitude"]),
            np.asarray(start_s, dtype=np.float64),
            {name: np.asarray(frame[name], dtype=np.float64) for name in NAMES if name in frame},
        )
    except (requests.RequestException, OSError, ValueError, KeyError, TypeError) as why:
        text = f"no usable answer for {year} ({why}): check the connection and try again later."
        raise BadInput([Fault("NASA POWER", None, None, text)]) from why


def _within(timeout_s: float, ask: Callable[[], Any]) -> Any:
    """Answer of a call that may never return.

    pvlib's function takes no time-out, and the libraries under it ignore the one of the socket module. So the call
    runs in a thread that is left behind when it is late; a daemon, so that it does not keep the program alive.

    Raises
    ------
    TimeoutError
        After `timeout_s`; otherwise whatever the call raises.
    """
    box: dict[str, Any] = {}

    def run() -> None:
        try:
            box["answer"] = ask()
        except Exception as why:  # carried over to the caller's thread, and raised there
            box["why"] = why

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(timeout_s)
    if thread.is_alive():
        raise TimeoutError(f"none within {timeout_s:g} s")
    if "why" in box:
        raise box["why"]
    return box["answer"]


def _write(path: Path, text: str) -> None:
    """Write whole or not at all."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            # temporary files are private; a weather file is an ordinary one
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(name, (path.stat().st_mode & 0o777) if path.exists() else 0o666 & ~mask)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as why:
        text = f"cannot be written ({why.strerror or why}): choose another place."
        raise BadInput([Fault(str(path), None, None, text)]) from why
