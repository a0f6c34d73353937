"""Fetching, against a stored reply in the form that NASA POWER's hourly API documents; nothing leaves the machine."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky import fetch_weather, windows_for

Make = Callable[..., Operation]


class Reply:
    """What the service would send for one year: invented numbers in its documented form."""

    def __init__(self, url: str, params: dict[str, Any]) -> None:
        self.ok = True
        begin, end = (datetime.strptime(params[key], "%Y%m%d") for key in ("start", "end"))
        hours = [begin + timedelta(hours=hour) for hour in range(((end - begin).days + 1) * 24)]
        shine = [max(0.0, float(np.sin((at.hour - 5.5) / 13 * np.pi))) if 6 <= at.hour <= 18 else 0.0 for at in hours]
        made = {
            "ALLSKY_SFC_SW_DWN": [600 * each for each in shine],
            "ALLSKY_SFC_SW_DNI": [500 * each for each in shine],
            "ALLSKY_SFC_SW_DIFF": [150 * each for each in shine],
            "T2M": [10.0 + at.hour / 4 for at in hours],
            "WS10M": [3.0] * len(hours),
        }
        asked = params["parameters"].split(",")
        self.body = json.dumps(
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [params["longitude"], params["latitude"], 61.4]},
                "properties": {
                    "parameter": {
                        name: dict(zip([f"{at:%Y%m%d%H}" for at in hours], made[name], strict=True)) for name in asked
                    }
                },
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
        )

    def json(self) -> Any:
        return json.loads(self.body)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Requests that were made."""
    import requests

    seen: list[dict[str, Any]] = []

    def get(url: str, params: dict[str, Any], **kwargs: Any) -> Reply:
        seen.append(params)
        return Reply(url, params)

    monkeypatch.setattr(requests, "get", get)
    return seen


def test_years_are_fetched_saved_and_read_back(asked: list[dict[str, Any]], tmp_path: Path, outing: Make) -> None:
    path = fetch_weather(43.46, -3.8, 2019, 2020, tmp_path / "coast.csv")
    assert [(each["start"], each["end"]) for each in asked] == [("20190101", "20191231"), ("20200101", "20201231")]
    assert all(each["time-standard"] == "utc" for each in asked)
    text = path.read_text()
    assert text.startswith("-BEGIN HEADER-\n")
    assert "Location: latitude 43.46 longitude -3.8" in text
    assert len(text.splitlines()) == text.splitlines().index("-END HEADER-") + 2 + (365 + 366) * 24
    sky = windows_for(outing(weather=WeatherFile(path), coldest_degc=None, warmest_degc=None))
    assert sky.source == "NASA POWER file coast.csv"
    assert len(sky.labels) == 2 * 41
    # the reply's own air: 10 °C at midnight UTC, a quarter of a degree an hour
    assert sky.air_degc.min() >= 10.0
    assert sky.air_degc.max() <= 15.75
    assert sky.poa_wm2["flat"].max() > 300


def test_a_service_that_never_answers_is_given_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import requests

    release = threading.Event()

    def get(url: str, params: dict[str, Any], **kwargs: Any) -> Reply:
        release.wait(30)
        raise requests.ConnectionError("late")

    monkeypatch.setattr(requests, "get", get)
    began = time.monotonic()
    try:
        with pytest.raises(BadInput, match=r"none within 0\.2 s"):
            fetch_weather(43.46, -3.8, 2020, 2020, tmp_path / "coast.csv", timeout_s=0.2)
    finally:
        release.set()
    assert time.monotonic() - began < 10
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_left_when_the_service_fails_half_way(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import requests

    def get(url: str, params: dict[str, Any], **kwargs: Any) -> Reply:
        if params["start"].startswith("2020"):
            raise requests.ConnectionError("no route")
        return Reply(url, params)

    monkeypatch.setattr(requests, "get", get)
    with pytest.raises(BadInput, match=r"2020.*no route"):
        fetch_weather(43.46, -3.8, 2019, 2020, tmp_path / "coast.csv")
    assert list(tmp_path.iterdir()) == []


def test_an_old_file_stays_when_the_service_fails(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import requests

    class Refusal:
        ok = False

        def json(self) -> Any:
            return {"messages": ["too many requests"]}

    monkeypatch.setattr(requests, "get", lambda url, params, **kwargs: Refusal())
    path = tmp_path / "coast.csv"
    path.write_text("old")
    with pytest.raises(BadInput, match="too many requests"):
        fetch_weather(43.46, -3.8, 2020, 2020, path)
    assert path.read_text() == "old"


def test_nonsense_and_lies_in_the_reply_are_one_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import requests

    class Nonsense:
        ok = True

        def json(self) -> Any:
            return {"surprise": 1}

    monkeypatch.setattr(requests, "get", lambda url, params, **kwargs: Nonsense())
    with pytest.raises(BadInput, match="no usable answer"):
        fetch_weather(43.46, -3.8, 2020, 2020, tmp_path / "coast.csv")


def test_impossible_requests_are_refused_before_any_is_made(asked: list[dict[str, Any]], tmp_path: Path) -> None:
    with pytest.raises(BadInput) as error:
        fetch_weather(120.0, 400.0, 2020, 2019, tmp_path / "coast.csv")
    assert [fault.file for fault in error.value.faults] == ["latitude", "longitude", "years"]
    assert asked == []


def test_file_that_cannot_be_written(asked: list[dict[str, Any]], tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        fetch_weather(43.46, -3.8, 2020, 2020, tmp_path / "none" / "coast.csv")


def test_saved_file_has_ordinary_rights(asked: list[dict[str, Any]], tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_text("x")
    path = fetch_weather(43.46, -3.8, 2020, 2020, tmp_path / "coast.csv")
    assert path.stat().st_mode == plain.stat().st_mode
