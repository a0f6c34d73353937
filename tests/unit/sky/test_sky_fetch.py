"""Fetching, from a service played on this machine in the form that NASA POWER's hourly API documents.

The numbers are invented. The service can be slow, endless, garbled, cut short, of another place, or lead elsewhere;
nothing leaves the machine.
"""

from __future__ import annotations

import json
import os
import stat
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky import fetch, fetch_weather, windows_for
from kitopt.sky.weather_file import read_weather

Make = Callable[..., Operation]
Params = dict[str, str]

PLACE = (43.46, -3.8)


def answer_to(params: Params) -> dict[str, Any]:
    """What the service would send for one year."""
    begin, end = (datetime.strptime(params[key], "%Y%m%d") for key in ("start", "end"))
    hours = [begin + timedelta(hours=hour) for hour in range(((end - begin).days + 1) * 24)]
    # the sun is up by day, wherever it is asked about
    by_sun = [(at.hour + round((float(params["longitude"]) - PLACE[1]) / 15)) % 24 for at in hours]
    shine = [max(0.0, float(np.sin((hour - 5.5) / 13 * np.pi))) if 6 <= hour <= 18 else 0.0 for hour in by_sun]
    made = {
        "ALLSKY_SFC_SW_DWN": [600 * each for each in shine],
        "ALLSKY_SFC_SW_DNI": [500 * each for each in shine],
        "ALLSKY_SFC_SW_DIFF": [150 * each for each in shine],
        "T2M": [10.0 + at.hour / 4 for at in hours],
        "WS10M": [3.0] * len(hours),
    }
    stamps = [f"{at:%Y%m%d%H}" for at in hours]
    asked = params["parameters"].split(",")
    return {
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [float(params["longitude"]), float(params["latitude"]), 61.4],
        },
        "properties": {"parameter": {name: dict(zip(stamps, made[name], strict=True)) for name in asked}},
        "header": {
            "title": "NASA/POWER Source Native Resolution Hourly Data",
            "fill_value": -999.0,
            "time_standard": "UTC",
            "start": params["start"],
            "end": params["end"],
        },
        "messages": [],
        "parameters": {},
        "times": {"data": 1.0, "process": 0.1},
    }


@dataclass
class Service:
    """The service: what was asked, and how it answers."""

    url: str = ""
    asked: list[Params] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    body: Callable[[Params], bytes] = lambda params: json.dumps(answer_to(params)).encode()
    status: int = 200
    answer: Callable[[BaseHTTPRequestHandler, Params], None] | None = None
    gone: threading.Event = field(default_factory=threading.Event)

    def changed(self, change: Callable[[dict[str, Any]], None]) -> None:
        """Send the right answer with one thing changed."""

        def body(params: Params) -> bytes:
            answer = answer_to(params)
            change(answer)
            return json.dumps(answer).encode()

        self.body = body


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    """A service on this machine, asked instead of the real one."""
    played = Service()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            params = {key: values[0] for key, values in parse_qs(parts.query).items()}
            played.paths.append(parts.path)
            if params:
                played.asked.append(params)
            try:
                if played.answer is not None:
                    played.answer(self, params)
                    return
                content = played.body(params)
                self.send_response(played.status)
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)
            except ConnectionError:
                pass  # the other side has had enough

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    server.block_on_close = False
    played.url = f"http://127.0.0.1:{server.server_address[1]}/hourly"
    monkeypatch.setattr(fetch, "URL", played.url)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield played
    played.gone.set()
    server.shutdown()
    server.server_close()


def refused(path: Path, said: str, *, timeout_s: float = 30.0, **more: Any) -> None:
    """Nothing is written, and the fault says why."""
    before = sorted(os.listdir(path.parent))
    with pytest.raises(BadInput, match=said) as error:
        fetch_weather(*PLACE, 2020, 2020, path, timeout_s=timeout_s, **more)
    assert str(error.value).isprintable()
    assert sorted(os.listdir(path.parent)) == before


def test_years_are_fetched_saved_and_read_back(service: Service, tmp_path: Path, outing: Make) -> None:
    path = fetch_weather(*PLACE, 2019, 2020, tmp_path / "coast.csv")
    assert [(each["start"], each["end"]) for each in service.asked] == [
        ("20190101", "20191231"),
        ("20200101", "20201231"),
    ]
    assert all(each["time-standard"] == "utc" for each in service.asked)
    text = path.read_text()
    assert text.startswith("-BEGIN HEADER-\n")
    assert "Location: latitude 43.46 longitude -3.8" in text
    assert len(text.splitlines()) == text.splitlines().index("-END HEADER-") + 2 + (365 + 366) * 24
    sky = windows_for(outing(weather=WeatherFile(path), coldest_degc=None, warmest_degc=None))
    assert sky.source == "NASA POWER file coast.csv"
    assert len(sky.labels) == 2 * 41
    # the service's own air: 10 °C at midnight UTC, a quarter of a degree an hour
    assert sky.air_degc.min() >= 10.0
    assert sky.air_degc.max() <= 15.75
    assert sky.poa_wm2["flat"].max() > 300


def test_what_is_there_is_overwritten_only_when_told_and_nothing_is_asked_before(
    service: Service, tmp_path: Path
) -> None:
    path = tmp_path / "coast.csv"
    path.write_text("old")
    refused(path, "such a file already, and nothing is overwritten: name another, or add --force")
    assert (path.read_text(), service.asked) == ("old", [])
    path.chmod(0o600)
    fetch_weather(*PLACE, 2020, 2020, path, may_replace=True)
    assert path.read_text().startswith("-BEGIN HEADER-")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_devices_and_places_that_cannot_be_written_are_refused_before_anything_is_asked(
    service: Service, tmp_path: Path
) -> None:
    (tmp_path / "null").symlink_to("/dev/null")
    for path, said in (
        (tmp_path / "null", "device or pipe"),
        (tmp_path, "is a folder"),
        (tmp_path / "none" / "coast.csv", "there is no folder"),
    ):
        with pytest.raises(BadInput, match=said):
            fetch_weather(*PLACE, 2020, 2020, path, may_replace=True)
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    assert service.asked == []


def test_a_dangling_link_is_followed(service: Service, tmp_path: Path) -> None:
    link = tmp_path / "link.csv"
    link.symlink_to("coast.csv")
    fetch_weather(*PLACE, 2020, 2020, link)
    assert link.is_symlink()
    assert read_weather(tmp_path / "coast.csv").kind == "NASA POWER"


def test_saved_file_has_ordinary_rights(service: Service, tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_text("x")
    path = fetch_weather(*PLACE, 2020, 2020, tmp_path / "coast.csv")
    assert path.stat().st_mode == plain.stat().st_mode


@pytest.mark.parametrize(
    ("latitude", "longitude", "first", "last", "faulty"),
    [
        (120.0, 400.0, 2020, 2019, ["latitude", "longitude", "years"]),
        (float("nan"), float("inf"), 2020, 2020, ["latitude", "longitude"]),
        (1.0, 1.0, 2020, 20210, ["years"]),
        (1.0, 1.0, 20210, 20210, ["years"]),
        (1.0, 1.0, 1999, 2020, ["years"]),
    ],
)
def test_impossible_requests_are_refused_before_any_is_made(
    service: Service, tmp_path: Path, latitude: float, longitude: float, first: int, last: int, faulty: list[str]
) -> None:
    with pytest.raises(BadInput) as error:
        fetch_weather(latitude, longitude, first, last, tmp_path / "coast.csv")
    assert [fault.file for fault in error.value.faults] == faulty
    assert service.asked == []


def test_the_year_that_is_not_over_is_refused(service: Service, tmp_path: Path) -> None:
    this = datetime.now().year
    with pytest.raises(BadInput, match=f"from 2001 to {this - 1}"):
        fetch_weather(1.0, 1.0, 2020, this, tmp_path / "coast.csv")


def _set(path: list[Any], value: Any) -> Callable[[dict[str, Any]], None]:
    def change(answer: dict[str, Any]) -> None:
        for key in path[:-1]:
            answer = answer[key]
        answer[path[-1]] = value

    return change


def _all(value: Any) -> Callable[[dict[str, Any]], None]:
    def change(answer: dict[str, Any]) -> None:
        for column in answer["properties"]["parameter"].values():
            column.update(dict.fromkeys(column, value))

    return change


def _a_day_only(answer: dict[str, Any]) -> None:
    table = answer["properties"]["parameter"]
    for name, column in table.items():
        table[name] = dict(list(column.items())[:24])


def _another_year(answer: dict[str, Any]) -> None:
    table = answer["properties"]["parameter"]
    for name, column in table.items():
        table[name] = {"2016" + stamp[4:]: value for stamp, value in column.items()}


BEAM = ["properties", "parameter", "ALLSKY_SFC_SW_DNI"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_all(None), "cannot be used, and nothing was written: found 100 % .* missing"),
        (_all(-999.0), "cannot be used, and nothing was written: found 100 % .* missing"),
        (_all(float("nan")), "cannot be used, and nothing was written: found 100 % .* missing"),
        (_all("bright"), "another form"),
        (_all([]), "another form"),
        (_set([*BEAM, "2020070112"], float("inf")), "too large for any weather"),
        (_set(["geometry", "coordinates"], [-3.8, 999.0, 61.4]), "found the weather of 999, -3.8, need that of 43.46"),
        (_set(["geometry", "coordinates"], [-3.8, 44.46, 61.4]), "found the weather of 44.46, -3.8"),
        (_set(["geometry", "coordinates"], [176.2, 43.46, 61.4]), "found the weather of 43.46, 176.2"),
        (_set(["geometry", "coordinates"], [-3.8]), "need longitude, latitude and altitude"),
        (_set(["geometry", "coordinates"], [None, None, None]), "another form"),
        (_set(["geometry"], "\x1b[31mhere"), "another form"),
        (_set(BEAM, {}), "found 0 hours|different hours"),
        (_a_day_only, "found 24 hours, need the 8,784 of 2020"),
        (_another_year, "found 8,784 hours, need the 8,784 of 2020"),
    ],
)
def test_what_the_own_reader_refuses_is_not_written(
    service: Service, tmp_path: Path, change: Callable[[dict[str, Any]], None], said: str
) -> None:
    service.changed(change)
    refused(tmp_path / "coast.csv", said)


def test_numbers_beyond_all_measure_are_refused(service: Service, tmp_path: Path) -> None:
    right = service.body
    service.body = lambda params: right(params).replace(b'"2020070112": 3.0', b'"2020070112": 1e400')
    refused(tmp_path / "coast.csv", "too large for any weather in WS10M")


def test_one_place_has_many_names_across_the_date_line(service: Service, tmp_path: Path) -> None:
    service.changed(_set(["geometry", "coordinates"], [-179.9, 43.46, 61.4]))
    assert fetch_weather(43.46, 179.9, 2020, 2020, tmp_path / "coast.csv").is_file()


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "found nothing, need JSON"),
        (b" \n", "found nothing, need JSON"),
        (b"<html>\x1b[2J busy</html>", "found .*busy.*, need JSON"),
        (b"\xff\xfe\x00", "need JSON"),
        (b"[" * 100_000 + b"]" * 100_000, "nested too deeply"),
        (b"{}", "another form"),
        (b"[]", "another form"),
        (b"17", "another form"),
        (b'{"surprise": 1}', "another form"),
    ],
)
def test_empty_garbled_or_deeply_nested_json_is_a_clear_fault(
    service: Service, tmp_path: Path, body: bytes, said: str
) -> None:
    service.body = lambda params: body
    refused(tmp_path / "coast.csv", said)


def test_half_an_answer_is_none(service: Service, tmp_path: Path) -> None:
    whole = service.body

    def half(handler: BaseHTTPRequestHandler, params: Params) -> None:
        content = whole(params)
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(content)))
        handler.end_headers()
        handler.wfile.write(content[: len(content) // 2])

    service.answer = half
    refused(tmp_path / "coast.csv", "no usable answer for 2020")


def test_an_endless_answer_is_cut_off(service: Service, tmp_path: Path) -> None:
    sent = 0

    def endless(handler: BaseHTTPRequestHandler, params: Params) -> None:
        nonlocal sent
        handler.send_response(200)
        handler.end_headers()
        while not service.gone.is_set():
            sent += handler.wfile.write(b" " * 1_000_000)

    service.answer = endless
    refused(tmp_path / "coast.csv", "larger than 20 MB")
    # what lay in the system's own buffers beside
    assert sent < 60_000_000


def _drip(handler: BaseHTTPRequestHandler, gone: threading.Event) -> None:
    while not gone.wait(0.02):
        handler.wfile.write(b" ")
        handler.wfile.flush()


@pytest.mark.parametrize("what", ["nothing", "headers", "body"])
def test_a_slow_service_is_given_up(service: Service, tmp_path: Path, what: str) -> None:
    def slow(handler: BaseHTTPRequestHandler, params: Params) -> None:
        if what == "nothing":
            service.gone.wait(30)
            return
        if what == "headers":
            handler.wfile.write(b"HTTP/1.0 200 OK\r\nX: ")
        else:
            handler.send_response(200)
            handler.end_headers()
        _drip(handler, service.gone)

    service.answer = slow
    began = time.monotonic()
    refused(tmp_path / "coast.csv", "no usable answer for 2020", timeout_s=0.4)
    assert time.monotonic() - began < 60


def test_redirects_are_followed_a_few_times_and_not_for_ever(service: Service, tmp_path: Path) -> None:
    whole = service.body
    allowed = 3

    def lead(handler: BaseHTTPRequestHandler, params: Params) -> None:
        if len(service.paths) > allowed:
            handler.send_response(200)
            handler.end_headers()
            handler.wfile.write(whole(service.asked[0]))
            return
        handler.send_response(302)
        handler.send_header("Location", f"/moved{len(service.paths)}")
        handler.end_headers()
        # a page that never ends comes with it, and is not read
        _drip(handler, service.gone)

    service.answer = lead
    assert fetch_weather(*PLACE, 2020, 2020, tmp_path / "coast.csv", timeout_s=30).is_file()
    assert service.paths == ["/hourly", "/moved1", "/moved2", "/moved3"]
    allowed = 1000
    refused(tmp_path / "other.csv", "leads on more than 3 times")


@pytest.mark.parametrize(
    "url", ["file:///etc/passwd", "ftp://127.0.0.1/x", "https://127.0.0.1:9/x", "//[", "\x1b[31m:x"]
)
def test_a_redirect_to_another_kind_of_address_is_not_followed(service: Service, tmp_path: Path, url: str) -> None:
    def lead(handler: BaseHTTPRequestHandler, params: Params) -> None:
        handler.send_response(302)
        handler.send_header("Location", url)
        handler.end_headers()

    service.answer = lead
    refused(tmp_path / "coast.csv", "no usable answer for 2020")


def test_what_a_service_says_of_its_refusal_is_told(service: Service, tmp_path: Path) -> None:
    service.status = 429
    service.body = lambda params: b'{"messages": ["too many requests\\u001b[2J"]}'
    refused(tmp_path / "coast.csv", "status 429: .*too many requests")
    service.body = lambda params: b"<html>later</html>"
    refused(tmp_path / "coast.csv", "status 429: found .*later")


def test_nothing_is_left_when_the_service_fails_half_way(service: Service, tmp_path: Path) -> None:
    right = service.body
    service.body = lambda params: b"" if params["start"].startswith("2020") else right(params)
    with pytest.raises(BadInput, match="no usable answer for 2020"):
        fetch_weather(*PLACE, 2019, 2020, tmp_path / "coast.csv")
    assert list(tmp_path.iterdir()) == []


def test_nobody_answers_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # port 9 is for discarding (RFC 863); nothing listens there
    monkeypatch.setattr(fetch, "URL", "http://127.0.0.1:9/hourly")
    refused(tmp_path / "coast.csv", "check the connection")
