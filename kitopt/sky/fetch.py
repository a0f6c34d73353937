"""Fetches years of hourly weather over the network: the only part of kitopt that does.

Nothing of an answer is believed: size, time and redirects are bounded, place and hours must be those asked for, and
the file is written only when kitopt's own reader takes it.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import urljoin, urlsplit

import numpy as np

from kitopt.errors import BadInput, Fault
from kitopt.files.faults import quoted
from kitopt.files.writing import check_target, write_file
from kitopt.sky.power_file import MISSING, NAMES, PowerData, power_text
from kitopt.sky.weather_file import weather_of

if TYPE_CHECKING:
    import requests

T = TypeVar("T")

URL = "https://power.larc.nasa.gov/api/temporal/hourly/point"

TIMEOUT_S = 120.0

FIRST_YEAR = 2001
"""The hourly light of NASA POWER begins here."""

LARGEST_ANSWER_BYTES = 20_000_000
"""A year of five quantities is about one megabyte."""

_MOST_REDIRECTS = 3

_NEAR_DEG = 0.5
"""The service's cells are half a degree high and five eighths wide; the answer names the point or its cell."""


class _NoAnswer(Exception):
    """The service said something that cannot be used."""


def fetch_weather(
    latitude_deg: float,
    longitude_deg: float,
    first_year: int,
    last_year: int,
    path: Path,
    *,
    may_replace: bool = False,
    timeout_s: float = TIMEOUT_S,
) -> Path:
    """Save hourly NASA POWER weather of whole years as a file that kitopt reads.

    One request a year; the file appears whole or not at all.

    Parameters
    ----------
    may_replace : bool
        Whether a file that is there may be replaced.
    timeout_s : float
        Longest wait for the whole answer to one request. [s]

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    BadInput
        If the place or years cannot be, the service does not answer or answers what cannot be used, or the file cannot
        be written, which is found out first.

    References
    ----------
    .. [1] NASA Prediction Of Worldwide Energy Resources (POWER), hourly API.
    """
    _check(latitude_deg, longitude_deg, first_year, last_year)
    check_target(path, may_replace=may_replace, otherwise="name another, or add --force to replace it")
    years = [_one_year(latitude_deg, longitude_deg, year, timeout_s) for year in range(first_year, last_year + 1)]
    names = [name for name in NAMES if all(name in year.columns for year in years)]
    whole = replace(
        years[0],
        start_s=np.concatenate([year.start_s for year in years]),
        columns={name: np.concatenate([year.columns[name] for year in years]) for name in names},
    )
    text = power_text(whole, "NASA/POWER Source Native Resolution Hourly Data, as fetched by kitopt")
    try:
        weather_of(text.encode(), path)
    except BadInput as why:
        raise _fault(f"sent weather that cannot be used, and nothing was written: {why.faults[0].text}") from why
    write_file(path, text, may_replace=may_replace)
    return path


def _fault(text: str) -> BadInput:
    return BadInput([Fault("NASA POWER", None, None, text)])


def _check(latitude_deg: float, longitude_deg: float, first_year: int, last_year: int) -> None:
    faults = []
    if not -90 <= latitude_deg <= 90:
        faults.append(Fault("latitude", None, None, f"found {latitude_deg:g}, need a number from -90 to 90."))
    if not -180 <= longitude_deg <= 180:
        faults.append(Fault("longitude", None, None, f"found {longitude_deg:g}, need a number from -180 to 180."))
    last_whole = datetime.now(UTC).year - 1
    if not FIRST_YEAR <= first_year <= last_year <= last_whole:
        text = f"found {first_year} to {last_year}, need whole years in order, from {FIRST_YEAR} to {last_whole}."
        faults.append(Fault("years", None, None, text))
    if faults:
        raise BadInput(faults)


def _one_year(latitude_deg: float, longitude_deg: float, year: int, timeout_s: float) -> PowerData:
    import requests

    params = {
        "latitude": f"{latitude_deg:.5f}",
        "longitude": f"{longitude_deg:.5f}",
        "start": f"{year}0101",
        "end": f"{year}1231",
        "community": "re",
        "parameters": ",".join(NAMES.values()),
        "format": "json",
        "header": "true",
        "time-standard": "utc",
    }
    try:
        answer = _within(timeout_s, lambda: _asked(URL, params, time.monotonic() + timeout_s))
        return _data(answer, latitude_deg, longitude_deg, year)
    except (requests.RequestException, OSError, _NoAnswer) as why:
        text = f"no usable answer for {year} ({why}): check the connection and try again later."
        raise _fault(text) from why


def _within(timeout_s: float, ask: Callable[[], T]) -> T:
    """Answer of a call that may never return.

    Looking up a name, and headers that come letter by letter, know no time limit. So the call runs in a thread that is
    left behind when it is late; a daemon, so that it does not keep the program alive.

    Raises
    ------
    TimeoutError
        After `timeout_s`; otherwise whatever the call raises.
    """
    answers: list[T] = []
    errors: list[Exception] = []

    def run() -> None:
        try:
            answers.append(ask())
        except Exception as why:  # carried over to the caller's thread, and raised there
            errors.append(why)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(timeout_s)
    if errors:
        raise errors[0]
    if not answers:
        raise TimeoutError(f"none within {timeout_s:g} s")
    return answers[0]


def _asked(url: str, params: dict[str, str] | None, until_s: float) -> Any:
    """The JSON that a service answers; what a redirect leads to counts as its answer."""
    import requests

    scheme = urlsplit(url).scheme
    with requests.Session() as session:
        # even when told not to follow, the library reads what comes with a redirect whole, however long
        session.get_redirect_target = lambda resp: None  # type: ignore[method-assign]
        for _ in range(_MOST_REDIRECTS + 1):
            wait_s = max(0.01, until_s - time.monotonic())
            response = session.get(url, params=params, stream=True, allow_redirects=False, timeout=wait_s)
            with response:
                if not response.is_redirect:
                    return _json(response, until_s)
                leads_to, params = response.headers["location"], None
                try:
                    url = urljoin(url, leads_to)
                    is_like = urlsplit(url).scheme == scheme
                except ValueError:
                    is_like = False
                if not is_like:
                    raise _NoAnswer(f"it leads to {quoted(leads_to)}, which is no {scheme}")
    raise _NoAnswer(f"it leads on more than {_MOST_REDIRECTS} times")


def _json(response: requests.Response, until_s: float) -> Any:
    body = bytearray()
    for piece in response.iter_content(65_536):
        body += piece
        if len(body) > LARGEST_ANSWER_BYTES:
            raise _NoAnswer(f"it is larger than {LARGEST_ANSWER_BYTES / 1e6:g} MB")
        if time.monotonic() > until_s:
            raise TimeoutError("it takes too long")
    try:
        answer = json.loads(body)
    except ValueError:
        said = quoted(body[:300].decode(errors="replace").strip()) if body.strip() else "nothing"
        raise _NoAnswer(f"{_status(response)}found {said}, need JSON") from None
    except RecursionError:
        raise _NoAnswer(f"{_status(response)}found JSON nested too deeply") from None
    if not response.ok:
        messages = answer.get("messages") if isinstance(answer, dict) else None
        raise _NoAnswer(f"{_status(response)}{quoted(messages or answer)}")
    return answer


def _status(response: requests.Response) -> str:
    return "" if response.ok else f"status {response.status_code}: "


def _data(answer: Any, latitude_deg: float, longitude_deg: float, year: int) -> PowerData:
    """The weather in an answer.

    Raises
    ------
    _NoAnswer
        If it is of another form, place or year than asked for.
    """
    try:
        place = [float(one) for one in answer["geometry"]["coordinates"][:3]]
        table = answer["properties"]["parameter"]
        missing = float(answer["header"].get("fill_value", MISSING))
        hours = list(table[NAMES["dni"]])
        values = {name: _values(table[theirs], hours) for name, theirs in NAMES.items() if theirs in table}
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, OverflowError) as why:
        raise _NoAnswer(f"found another form than the service documents: {type(why).__name__} {quoted(why)}") from None
    if len(place) < 3 or not np.isfinite(place).all():
        raise _NoAnswer(f"found the place {quoted(place)}, need longitude, latitude and altitude")
    away_deg = abs(place[0] - longitude_deg) % 360.0
    if max(min(away_deg, 360.0 - away_deg), abs(place[1] - latitude_deg)) > _NEAR_DEG:
        raise _NoAnswer(
            f"found the weather of {place[1]:g}, {place[0]:g}, need that of {latitude_deg:g}, {longitude_deg:g}"
        )
    begin, end = np.datetime64(f"{year}-01-01", "h"), np.datetime64(f"{year + 1}-01-01", "h")
    at = np.arange(begin, end)
    wanted = [f"{day:%Y%m%d%H}" for day in at.tolist()]
    if hours != wanted:
        raise _NoAnswer(f"found {len(hours):,} hours, need the {len(wanted):,} of {year}, each once and in order")
    columns = {name: np.where(np.abs(column - missing) < 1e-6, np.nan, column) for name, column in values.items()}
    for name, column in columns.items():
        if np.isinf(column).any():
            raise _NoAnswer(f"found a number too large for any weather in {NAMES[name]}")
    return PowerData(place[1], place[0], place[2], at.astype("datetime64[s]").astype(np.float64), columns)


def _values(column: dict[str, Any], hours: list[str]) -> Any:
    if list(column) != hours:
        raise ValueError("its columns have different hours")
    return np.array([np.nan if value is None else float(value) for value in column.values()], dtype=np.float64)
