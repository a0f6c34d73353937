"""ASTM G173-03 reference spectra (tables carried by pvlib): 900.14 Wm⁻² facing the sun and 1000.37 Wm⁻² on a plane
tilted 37°, at air mass 1.5 through an average clear atmosphere. The clear sky of a mid-latitude summer place at the
same air mass must lie near both."""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.light import Light
from kitopt.sky.plane import plane_wm2
from kitopt.sky.sun import sun_at


def test_clear_sky_at_air_mass_one_and_a_half() -> None:
    import pvlib

    spectra = pvlib.spectrum.get_reference_spectra(standard="ASTM G173-03")
    sums = {name: float(np.trapezoid(spectra[name], spectra.index)) for name in ("direct", "global")}
    assert sums["direct"] == pytest.approx(900.14, abs=0.05)
    assert sums["global"] == pytest.approx(1000.37, abs=0.05)

    place = Place(40.0, -105.0, 1500.0)
    minutes = np.datetime64("2026-04-15T13:00", "s").astype(np.int64) + np.arange(360)[None, :] * 60.0
    sun = sun_at(minutes, place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(minutes, place, sun)
    light = Light(place, minutes, sun, clear, clear.dni_wm2, clear.dhi_wm2)
    at = int(np.argmin(np.abs(sun.zenith_deg[0] - 48.19)))
    facing = plane_wm2(light, 37.0, float(sun.azimuth_deg[0, at]))
    assert clear.dni_wm2[0, at] == pytest.approx(sums["direct"], rel=0.1)
    assert facing[0, at] == pytest.approx(sums["global"], rel=0.1)
