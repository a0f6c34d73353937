"""Light and air become a Sky: panels are held into the light as the operation says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Operation
from kitopt.sky.aims import aim_panels
from kitopt.sky.light import Light
from kitopt.sky.moments import moments_of
from kitopt.sky.plane import light_on, useful_wm2
from kitopt.sky.shade import above_horizon, open_sky, passing
from kitopt.sky.temperature import (
    BATTERY_LAG_H,
    daily_air_degc,
    grounded_panel_degc,
    kept_warm_degc,
    open_panel_degc,
)
from kitopt.sky.windows import Laid, Sky

Array = NDArray[np.float64]

Sampler = Callable[[Operation, int], Light]

_SAMPLE_H = 72.0
_SAMPLE_WINDOWS = 90

UNKNOWN_WIND_MS = 1.0
"""A light air, where the wind is not known. [m/s]"""


@dataclass(frozen=True)
class Air:
    """Air over the windows' steps; arrays of shape (n_windows, n_steps) or (1, n_steps).

    Attributes
    ----------
    air_degc, battery_degc : ndarray
        Air, and the batteries' cells, which follow it three hours late. [°C]
    wind_ms : ndarray or float
        Wind at the panels. [m/s]
    coldest_degc : float
        Lowest air temperature in the daily round or in the windows. [°C]
    """

    air_degc: Array
    battery_degc: Array
    wind_ms: Array | float
    coldest_degc: float


@dataclass(frozen=True)
class Words:
    """What a source says of itself."""

    labels: tuple[str, ...]
    source: str
    notes: tuple[str, ...] = ()
    can_refresh: bool = False


def usual_air(operation: Operation) -> Air:
    """The operation's own coldest and warmest temperature, as a daily round.

    Raises
    ------
    BadInput
        If one of the two is not given.
    """
    site = operation.site
    if site.coldest_degc is None or site.warmest_degc is None:
        missing = [name for name in ("coldest_degc", "warmest_degc") if getattr(site, name) is None]
        text = (
            "not given, and this weather source has no air temperature: give both coldest_degc and warmest_degc "
            "under [site], such as coldest_degc = 6 and warmest_degc = 19, or name a weather file that has it."
        )
        raise BadInput([Fault(operation.file, None, f"site.{name}", text) for name in missing])
    rounds = [
        daily_air_degc(moments_of(operation, earlier_h).local_hours, site.coldest_degc, site.warmest_degc)[None, :]
        for earlier_h in (0.0, BATTERY_LAG_H)
    ]
    return Air(rounds[0], rounds[1], UNKNOWN_WIND_MS, min(site.coldest_degc, site.warmest_degc))


def assemble(operation: Operation, light: Light, air: Air, words: Words, sample: Sampler) -> Sky:
    """Panels in the light, as the operation aims them.

    Parameters
    ----------
    sample : callable
        Gives light like this over another operation's hours, at most so many windows; a missing fixed aim is chosen
        from whole days, so that it stays when the hours change.
    """
    site, step_h = operation.site, operation.need.step_h

    def seen(bare: Light, over: Operation) -> Light:
        if not site.horizon_deg and not site.shade:
            return bare
        beam, diffuse = passing(over)
        seen = replace(bare, beam_share=beam * above_horizon(bare.sun, site.horizon_deg), sky_share=diffuse[None, :])
        return replace(seen, open_sky=open_sky(site.horizon_deg)) if site.horizon_deg else seen

    def whole_days() -> Light:
        local = operation.start.astimezone(site.timezone)
        over = replace(
            operation,
            start=local.replace(hour=0, minute=0, second=0, microsecond=0),
            hours=_SAMPLE_H,
            need=replace(operation.need, step_h=0.5),
        )
        return seen(sample(over, _SAMPLE_WINDOWS), over)

    light = seen(light, operation)
    flat = light_on(light, 0.0, 180.0)
    flat_wm2, flat_useful_wm2 = flat.total_wm2, useful_wm2(light, flat)
    flat_degc = grounded_panel_degc(flat_wm2, air.air_degc, air.wind_ms)
    poa: dict[Laid, Array] = {"flat": flat_wm2, "aimed": flat_wm2}
    useful: dict[Laid, Array] = {"flat": flat_useful_wm2, "aimed": flat_useful_wm2}
    panel: dict[Laid, Array] = {"flat": flat_degc, "aimed": flat_degc}
    aimed = aim_panels(operation.aim, light, step_h, whole_days)
    if operation.aim.mode != "flat":
        on_plane = light_on(light, aimed.tilt_deg, aimed.azimuth_deg)
        poa["aimed"], useful["aimed"] = on_plane.total_wm2, useful_wm2(light, on_plane)
        panel["aimed"] = open_panel_degc(poa["aimed"], air.air_degc, air.wind_ms)
    return Sky(
        start=operation.start,
        step_h=step_h,
        poa_wm2=poa,
        useful_wm2=useful,
        panel_degc=panel,
        air_degc=air.air_degc,
        battery_degc=kept_warm_degc(air.battery_degc, site.cells_degc),
        coldest_degc=min(air.coldest_degc, air.coldest_degc if site.coldest_degc is None else site.coldest_degc),
        labels=words.labels,
        source=words.source,
        notes=words.notes,
        can_refresh=words.can_refresh,
        aim_text=aimed.text,
    )
