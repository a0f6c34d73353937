"""The sky's own formulas against pvlib, a reference library: same papers, same constants.

pvlib 0.16.1 is checked by its authors against the papers that the functions name; it takes longer to import than most
commands may take, so kitopt writes the formulas out.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.plane import _from_above, through_glass, weak_light_wm2
from kitopt.sky.split import diffuse_share
from kitopt.sky.sun import ahead_of_clock_min, declination_rad, incidence_cos, pressure_at, sun_at
from kitopt.sky.temperature import grounded_panel_degc, open_panel_degc

AT_S = 1.8e9 + np.arange(0.0, 86400.0 * 500, 5417.0)
TIMES = pd.DatetimeIndex((AT_S * 1000).astype("datetime64[ms]"), tz="UTC")
PLACES = [(43.49, -3.79, 35.0), (-33.9, 151.2, 20.0), (27.7, 86.7, 5300.0), (69.6, 18.9, 0.0), (0.0, 179.99, 0.0)]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("place", PLACES)
def test_sun_and_clear_sky(place: tuple[float, float, float]) -> None:
    latitude, longitude, altitude = place
    pressure = pvlib.atmosphere.alt2pres(altitude)
    assert pressure_at(altitude) == pytest.approx(pressure, rel=1e-12)
    sun = sun_at(AT_S, *place)
    theirs = pvlib.solarposition.spa_python(
        TIMES, latitude, longitude, altitude=altitude, pressure=pressure, temperature=12.0
    )
    assert np.abs(sun.zenith_deg - theirs["apparent_zenith"]).max() < 1e-9
    assert np.abs(sun.azimuth_deg - theirs["azimuth"]).max() < 1e-9
    extra = np.asarray(pvlib.irradiance.get_extra_radiation(TIMES.day_of_year))
    assert np.abs(sun.extra_wm2 - extra).max() < 1e-9
    turbidity = np.asarray(pvlib.clearsky.lookup_linke_turbidity(TIMES, latitude, longitude))
    airmass = pvlib.atmosphere.get_absolute_airmass(pvlib.atmosphere.get_relative_airmass(sun.zenith_deg), pressure)
    clear = clear_sky(AT_S, Place(*place), sun)
    given = pvlib.clearsky.ineichen(sun.zenith_deg, airmass, turbidity, altitude=altitude, dni_extra=extra)
    up = (sun.zenith_deg < 89.9) & (turbidity > 0)
    assert up.sum() > 1000
    for name in ("ghi", "dni", "dhi"):
        assert np.abs(getattr(clear, f"{name}_wm2") - given[name])[up].max() < 1e-9, name


def test_a_panel_in_the_light() -> None:
    sun = sun_at(AT_S, *PLACES[0])
    facing = incidence_cos(sun, 35.0, 200.0)
    theirs = pvlib.irradiance.aoi_projection(35.0, 200.0, sun.zenith_deg, sun.azimuth_deg)
    assert np.abs(facing - theirs).max() < 1e-12
    high = sun.zenith_deg < 80.0
    dni, dhi = np.full_like(AT_S, 700.0), np.full_like(AT_S, 120.0)
    beam, even = _from_above(sun, dni, dhi, 35.0, np.maximum(facing, 0.0))
    sky = pvlib.irradiance.haydavies(
        35.0, 200.0, dhi, dni, sun.extra_wm2, sun.zenith_deg, sun.azimuth_deg, return_components=True
    )
    around = beam - dni * np.maximum(facing, 0.0)
    assert np.abs(around - sky["poa_circumsolar"])[high].max() < 1e-9
    assert np.abs(even - sky["poa_isotropic"])[high].max() < 1e-9


def test_glass_weak_light_and_heat() -> None:
    degrees = np.linspace(0.0, 90.0, 181)
    assert through_glass(np.cos(np.radians(degrees))) == pytest.approx(pvlib.iam.physical(degrees), abs=1e-9)
    light = np.linspace(0.0, 1300.0, 131)
    huld = pvlib.pvarray.huld(light, np.asarray(25.0), 1000.0, cell_type="csi", k_version="pvgis5")
    assert weak_light_wm2(light) == pytest.approx(huld, abs=1e-9)
    faiman = pvlib.temperature.faiman(light, 15.0, 2.0, u0=25.0, u1=6.84)
    assert open_panel_degc(light, np.asarray(15.0), 2.0) == pytest.approx(faiman)
    back = pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"]["insulated_back_glass_polymer"]
    assert grounded_panel_degc(light, np.asarray(15.0), 2.0) == pytest.approx(
        pvlib.temperature.sapm_cell(light, 15.0, 2.0, **back)
    )


def test_the_years_round_and_the_share_of_diffuse_light() -> None:
    day = np.arange(1.0, 367.0)
    assert declination_rad(day) == pytest.approx(pvlib.solarposition.declination_spencer71(day))
    assert ahead_of_clock_min(day) == pytest.approx(pvlib.solarposition.equation_of_time_spencer71(day))
    kt = np.linspace(0.0, 1.0, 101)
    extra = float(pvlib.irradiance.get_extra_radiation(80))
    erbs = pvlib.irradiance.erbs(kt * extra, np.zeros_like(kt), 80)
    assert diffuse_share(kt)[1:] == pytest.approx(erbs["dhi"][1:] / (kt[1:] * extra), abs=1e-9)
