"""What every source promises: shapes, numbers of windows, and weather that does not change with the question."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Aim, Climate, LoadUse, NoSun, Operation, Shares, WeatherFile
from kitopt.sky import fresh_windows, not_made, windows_for
from kitopt.sky.draws import day_ranks

Make = Callable[..., Operation]

AIMS = [
    Aim(),
    Aim("fixed", tilt_deg=40.0, azimuth_deg=170.0),
    Aim("fixed"),
    Aim("re-aimed", every_h=2.0),
    Aim("re-aimed", every_h=4.0),
]
# in 26 h the last block of four hours is cut in half
AIM_NAMES = ["flat", "fixed", "chosen", "every 2 h", "every 4 h"]


@pytest.mark.parametrize("aim", AIMS, ids=AIM_NAMES)
@pytest.mark.parametrize("source", ["climate", "file", "shares", "no sun"])
def test_shapes_and_bounds(outing: Make, greensboro: Path, source: str, aim: Aim) -> None:
    weather = {
        "climate": Climate(),
        "file": WeatherFile(greensboro),
        "shares": Shares((0.5, 0.2)),
        "no sun": NoSun(),
    }[source]
    operation = outing(weather=weather, aim=aim, place=(36.1, -79.95), zone="America/New_York")
    sky = windows_for(operation, n=12)
    n = {"climate": 12, "file": 12, "shares": 1, "no sun": 1}[source]
    assert sky.n_windows == n
    assert sky.start == operation.start
    assert len(set(sky.labels)) == n
    assert sky.can_refresh == (source == "climate")
    assert sky.aim_text
    whole = np.zeros((n, 52))
    for laid in ("flat", "aimed"):
        for array in (sky.poa_wm2[laid], sky.panel_degc[laid]):
            assert array.shape in {(1, 52), (n, 52)}
            assert np.isfinite(array + whole).all()
        assert (sky.poa_wm2[laid] >= 0).all()
        assert (sky.poa_wm2[laid] < 1400).all()
        # panels in the light are never colder than the air
        assert (sky.panel_degc[laid] >= sky.air_degc - 1e-9).all()
    assert sky.air_degc.shape in {(1, 52), (n, 52)}
    assert sky.battery_degc.shape in {(1, 52), (n, 52)}
    if aim.mode == "flat":
        assert np.array_equal(sky.poa_wm2["flat"], sky.poa_wm2["aimed"])
    if source == "no sun":
        assert not sky.poa_wm2["aimed"].any()
    else:
        assert sky.poa_wm2["flat"].max() > 50


@pytest.mark.parametrize("aim", AIMS, ids=AIM_NAMES)
def test_a_window_is_bit_for_bit_the_same_whatever_is_asked(outing: Make, aim: Aim) -> None:
    operation = outing(aim=aim)
    sky = windows_for(operation, n=40)
    others = {
        "fewer": windows_for(operation, n=7),
        "longer": windows_for(replace(operation, hours=75.5), n=40),
        "loads": windows_for(replace(operation, loads=(LoadUse("hf", wh_per_day=500.0),)), n=40),
        "need": windows_for(replace(operation, need=replace(operation.need, windows=3, reserve_share=0.3)), n=40),
    }
    for name, other in others.items():
        rows = other.n_windows
        for laid in ("flat", "aimed"):
            assert np.array_equal(other.poa_wm2[laid][:, :52], sky.poa_wm2[laid][:rows]), name
            assert np.array_equal(other.panel_degc[laid][:, :52], sky.panel_degc[laid][:rows]), name
        assert np.array_equal(other.battery_degc[:, :52], sky.battery_degc[:rows]), name
    later = windows_for(operation, n=5, first=30)
    assert later.labels == sky.labels[30:35]
    assert np.array_equal(later.poa_wm2["aimed"], sky.poa_wm2["aimed"][30:35])


def test_a_day_keeps_its_luck_when_the_operation_starts_on_another(outing: Make) -> None:
    one = windows_for(outing(start="2026-12-30T00:00", hours=96.0), n=30).poa_wm2["flat"]
    other = windows_for(outing(start="2027-01-01T00:00", hours=24.0), n=30).poa_wm2["flat"]
    np.testing.assert_allclose(one[:, 96:144], other, rtol=1e-9)
    assert one.max() > 50


def test_the_29th_of_february_has_a_draw_of_its_own(outing: Make) -> None:
    long = windows_for(outing(start="2028-02-28T00:00", hours=72.0), n=200).poa_wm2["flat"].reshape(200, 3, 48).sum(2)
    ordinary = windows_for(outing(start="2027-02-28T00:00", hours=48.0), n=200)
    short = ordinary.poa_wm2["flat"].reshape(200, 2, 48).sum(2)
    # the sun differs a little between the years, the luck not at all
    assert np.corrcoef(long[:, 0], short[:, 0])[0, 1] > 0.999
    assert np.corrcoef(long[:, 2], short[:, 1])[0, 1] > 0.999
    assert np.corrcoef(long[:, 1], short[:, 1])[0, 1] < 0.7


def test_seeds_differ(outing: Make) -> None:
    one, other = (windows_for(outing(need={"seed": seed}), n=50).poa_wm2["flat"] for seed in (1, 2))
    assert not np.array_equal(one, other)
    assert abs(np.corrcoef(one.sum(axis=1), other.sum(axis=1))[0, 1]) < 0.45


def test_fresh_windows_are_unseen_and_come_in_chunks(outing: Make) -> None:
    operation = outing()
    chunks = list(fresh_windows(operation, total=250, chunk=100))
    assert [sky.n_windows for sky in chunks] == [100, 100, 50]
    labels = [label for sky in chunks for label in sky.labels]
    assert labels[0] == "window 1000000"
    assert len(set(labels)) == 250
    assert not set(labels) & set(windows_for(operation).labels)


@pytest.mark.parametrize("weather", [NoSun(), Shares((0.4,))])
def test_no_fresh_windows_where_nothing_is_drawn(outing: Make, weather: NoSun | Shares) -> None:
    assert list(fresh_windows(outing(weather=weather))) == []


def test_default_number_is_the_needs(outing: Make) -> None:
    assert windows_for(outing(need={"windows": 17})).n_windows == 17


@pytest.mark.parametrize("weather", [NoSun(), Shares((0.4,)), Climate()])
@pytest.mark.parametrize("given", [(None, None), (6.0, None), (None, 19.0)])
def test_missing_temperatures_name_both_keys(
    outing: Make, weather: NoSun | Shares | Climate, given: tuple[float | None, float | None]
) -> None:
    with pytest.raises(BadInput) as error:
        windows_for(outing(weather=weather, coldest_degc=given[0], warmest_degc=given[1]))
    assert len(error.value.faults) == given.count(None)
    for fault in error.value.faults:
        assert fault.file == "outing.toml"
        assert fault.column in {"site.coldest_degc", "site.warmest_degc"}
        assert "coldest_degc" in fault.text
        assert "warmest_degc" in fault.text


def test_many_long_windows_stay_within_memory(outing: Make) -> None:
    # 5,000 windows of a week, in chunks: no chunk holds more than its own arrays
    sizes = [sky.poa_wm2["aimed"].nbytes for sky in fresh_windows(outing(hours=168.0), total=2000, chunk=500)]
    assert sizes == [500 * 336 * 8] * 4


@pytest.mark.parametrize("step_h", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("source", ["climate", "file", "shares", "no sun"])
def test_longer_steps_are_means_of_shorter_ones(outing: Make, greensboro: Path, source: str, step_h: float) -> None:
    weather = {
        "climate": Climate(),
        "file": WeatherFile(greensboro),
        "shares": Shares((0.5, 0.2)),
        "no sun": NoSun(),
    }[source]
    fine = windows_for(outing(weather=weather, hours=24.0, aim=Aim("re-aimed", every_h=6.0)), n=4)
    coarse = windows_for(
        outing(weather=weather, hours=24.0, aim=Aim("re-aimed", every_h=6.0), need={"step_h": step_h}), n=4
    )
    assert coarse.step_h == step_h
    n_parts = round(step_h / 0.5)
    for laid in ("flat", "aimed"):
        expected = fine.poa_wm2[laid].reshape(fine.n_windows, -1, n_parts).mean(axis=2)
        np.testing.assert_allclose(coarse.poa_wm2[laid], expected)
    assert coarse.air_degc.shape[1] == 24 / step_h


def test_importing_the_sky_imports_no_heavy_library() -> None:
    code = "import sys, kitopt.sky; print(sorted({'pvlib', 'pandas', 'scipy', 'requests'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_sun_needs_no_solar_library() -> None:
    code = (
        "import sys; from datetime import datetime; from zoneinfo import ZoneInfo\n"
        "from kitopt.operation.terms import Need, NoSun, Operation, Site; from kitopt.sky import windows_for\n"
        "zone = ZoneInfo('UTC'); site = Site(1.0, 2.0, 3.0, zone, 4.0, 5.0)\n"
        "windows_for(Operation('', '', datetime(2026, 1, 1, tzinfo=zone), 5.0, site, (), Need(weather=NoSun())))\n"
        "print('pvlib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_luck_is_drawn_once_for_all_places_and_cannot_be_spoilt() -> None:
    windows, days = np.arange(7, 27), np.array([3, 4, 5])
    ranks = day_ranks(5, windows, days)
    assert day_ranks(5, windows.copy(), days.copy()) is ranks
    assert not ranks.flags.writeable
    # a memory that is asked for other days or windows gives these
    assert np.array_equal(day_ranks(5, windows[4:6], days), ranks[4:6])
    assert np.array_equal(day_ranks(5, windows, days[1:]), ranks[:, 1:])
    assert not np.array_equal(day_ranks(6, windows, days), ranks)


def test_windows_that_were_not_made_are_none_of_the_right_length(outing: Make) -> None:
    """What is told of the weather where the time is up at once: 26 h in half hours, in no window."""
    sky = not_made(outing())
    assert sky.n_windows == 0
    assert {one.shape for one in (*sky.poa_wm2.values(), *sky.panel_degc.values(), sky.air_degc)} == {(0, 52)}
