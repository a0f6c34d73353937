"""Odd places and odd days: the far south, the far north, the date line, islands, and clock changes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.distance import distance_km
from kitopt.operation.terms import Aim, Operation, Shares
from kitopt.sky import windows_for
from kitopt.sky.climate_data import FARTHEST_KM, NoClimate, cells_of
from kitopt.sky.moments import moments_of, solar_days

Make = Callable[..., Operation]


def test_south_of_the_equator_panels_face_north_and_december_is_bright(outing: Make) -> None:
    place, zone = (-36.8, 174.7), "Pacific/Auckland"
    june, december = (
        windows_for(outing(start=f"2026-{month}-15T00:00", hours=24.0, place=place, zone=zone, aim=Aim("fixed")), n=90)
        for month in ("06", "12")
    )
    assert december.poa_wm2["flat"].mean() > 2 * june.poa_wm2["flat"].mean()
    facing = float(june.aim_text.split("facing ")[1].split("°")[0])
    assert min(facing, 360 - facing) <= 30


def test_north_of_the_tropics_panels_face_south(outing: Make) -> None:
    sky = windows_for(outing(start="2026-01-15T00:00", hours=24.0, aim=Aim("fixed")), n=90)
    assert abs(float(sky.aim_text.split("facing ")[1].split("°")[0]) - 180) <= 30


def test_polar_night_is_dark_and_nothing_breaks(outing: Make) -> None:
    for aim in (Aim(), Aim("fixed"), Aim("re-aimed", every_h=3.0)):
        sky = windows_for(
            outing(start="2026-12-20T00:00", hours=48.0, place=(70.5, 25.0), zone="Europe/Oslo", aim=aim), n=5
        )
        assert sky.poa_wm2["flat"].max() == 0
        assert sky.poa_wm2["aimed"].max() == 0
        assert np.isfinite(sky.panel_degc["aimed"]).all()


def test_midnight_sun_shines_at_midnight(outing: Make) -> None:
    sky = windows_for(outing(start="2026-06-20T00:00", hours=24.0, place=(70.5, 25.0), zone="Europe/Oslo"), n=50)
    assert sky.poa_wm2["flat"].mean(axis=0).min() > 0


@pytest.mark.parametrize("longitude", [179.99, -179.99, 180.0, -180.0])
def test_the_date_line_changes_nothing(longitude: float, outing: Make) -> None:
    # Chukotka: the same sun on both sides of the line, and the cells that meet there
    sky = windows_for(outing(start="2026-04-10T00:00", hours=24.0, place=(68.0, longitude), zone="Asia/Anadyr"), n=200)
    noon = sky.poa_wm2["flat"].mean(axis=0).argmax()
    # Anadyr's clock is that of longitude 180
    assert 23 <= noon <= 25
    assert sky.poa_wm2["flat"].mean() > 40


def test_solar_days_turn_at_solar_midnight() -> None:
    noon_utc = np.datetime64("2026-03-01T12:00", "s").astype(np.int64)
    assert solar_days(np.array([noon_utc + 60.0]), 180.0)[0] - solar_days(np.array([noon_utc - 60.0]), 180.0)[0] == 1
    assert solar_days(np.array([noon_utc + 60.0]), 0.0)[0] == solar_days(np.array([noon_utc - 60.0]), 0.0)[0]


@pytest.mark.parametrize("place", [(21.3, -157.86), (38.7, -27.2), (78.2, 15.6), (-17.5, -149.5)])
def test_far_islands_are_asked_for_a_file_or_shares(outing: Make, place: tuple[float, float]) -> None:
    with pytest.raises(BadInput) as error:
        windows_for(outing(place=place), n=3)
    (fault,) = error.value.faults
    assert fault.column == "need.weather"
    assert "km away" in fault.text
    assert "weather file" in fault.text
    assert "shares" in fault.text


def test_near_islands_name_the_cell_that_stands_in(outing: Make) -> None:
    sky = windows_for(outing(place=(-51.7, -57.9), zone="Atlantic/Stanley"), n=3)
    note = next(note for note in sky.notes if "km away" in note)
    away = float(note.split(" km away")[0].split()[-1])
    # the distance by the spherical law of cosines, in longitude 63 W, latitude 51 S
    a, b = np.radians([51.7, 51.0])
    turn = np.radians(63.0 - 57.9)
    assert away == pytest.approx(6371 * np.arccos(np.sin(a) * np.sin(b) + np.cos(a) * np.cos(b) * np.cos(turn)), abs=1)
    assert away <= FARTHEST_KM


def test_land_needs_no_stand_in(outing: Make) -> None:
    assert not any("km away" in note for note in windows_for(outing(place=(47.0, 8.0)), n=2).notes)


def test_distance_wraps_around_the_globe() -> None:
    # a degree of the equator is 111.19 km on a sphere of 6,371 km
    away = distance_km(0.0, 179.5, np.array([0.0]), np.array([-179.5]))
    assert away[0] == pytest.approx(111.19, abs=0.01)


@pytest.mark.parametrize(
    ("longitude", "middle"), [(179.99, -180.0), (-179.99, -180.0), (178.6, -180.0), (178.4, 177.0), (-178.4, -177.0)]
)
def test_cells_meet_at_the_date_line(longitude: float, middle: float) -> None:
    # the grid is 3° wide, its first column at 180 W
    cells = cells_of(68.0, longitude)
    assert cells.is_own
    assert cells.parts[0][1].longitude_deg == middle


def test_bins_below_nothing_count_as_nothing() -> None:
    # the winter bins of a cell on the north coast of Spain go down to -31 Wm⁻² in the file
    cell = cells_of(43.46, -3.8).parts[0][1]
    assert cell.clearness.min() == 0.0
    assert (cell.cumulative[:, -1] == 1.0).all()


def test_no_cell_reaches_the_pole() -> None:
    with pytest.raises(NoClimate) as error:
        cells_of(-90.0, 0.0)
    assert error.value.distance_km > FARTHEST_KM


@pytest.mark.parametrize(
    ("start", "shown"),
    [
        # Madrid: the clock goes from 02:00 to 03:00 on 29 March 2026, from 03:00 to 02:00 on 25 October 2026
        ("2026-03-29T00:00", [0.25, 1.25, 3.25, 4.25]),
        ("2026-10-25T00:00", [0.25, 1.25, 2.25, 2.25, 3.25]),
    ],
)
def test_hours_elapse_across_a_clock_change(outing: Make, start: str, shown: list[float]) -> None:
    operation = outing(start=start, hours=24.0, weather=Shares((1.0,)))
    moments = moments_of(operation)
    assert moments.local_hours[: 2 * len(shown) : 2].tolist() == shown
    assert np.diff(moments.middle_s).tolist() == [1800.0] * 47
    # the sun knows nothing of clocks: noon stands as far from midnight UTC as on the day before
    sky = windows_for(operation)
    before = windows_for(outing(start="2026-03-28T00:00" if "03" in start[5:7] else "2026-10-24T00:00", hours=24.0,
                                weather=Shares((1.0,))))  # fmt: skip
    assert sky.poa_wm2["flat"].argmax() == before.poa_wm2["flat"].argmax()


def test_shades_and_temperature_follow_the_wall_clock_after_a_change(outing: Make) -> None:
    # from 26 October the clock is an hour later against the sun: the coldest step must still be that of 06:00
    sky = windows_for(outing(start="2026-10-24T12:00", hours=48.0, weather=Shares((1.0,))))
    moments = moments_of(outing(start="2026-10-24T12:00", hours=48.0))
    assert abs(moments.local_hours[sky.air_degc[0].argmin()] - 6.0) <= 0.25


def test_no_climate_day_is_brighter_than_a_cloudless_one(outing: Make) -> None:
    drawn = windows_for(outing(start="2026-10-10T00:00", hours=72.0), n=300).poa_wm2["flat"]
    cloudless = windows_for(outing(start="2026-10-10T00:00", hours=72.0, weather=Shares((1.0,)))).poa_wm2["flat"]
    assert (drawn <= cloudless * (1 + 1e-3) + 1e-6).all()
    whole = drawn.sum(axis=1) / cloudless.sum()
    assert 0.9 < whole.max() <= 1.001
    assert whole.min() < 0.5
