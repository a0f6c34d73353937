"""Current that the controllers of a kit push into the station, from the curve of each panel's five parameters."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kitopt.files.kept import Kept, kept
from kitopt.inventory.items import Panel
from kitopt.second_opinion.diode import in_light, label_of
from kitopt.second_opinion.kit import Circuit, Feed
from kitopt.sky.windows import Laid, Sky

Floats = NDArray[np.float64]

STEP_DOWN_V = 1.0
"""What a controller that tracks needs above its own output to step down from; from memory. [V]"""

MADE_BY = ("second_opinion",)
"""Folder whose code makes what is kept."""

_GRID_V = 0.2
_LIGHT_WM2 = np.array(
    [1.0, 10, 20, 35, 50, 75, 100, 150, 200, 275, 350, 450, 550, 650, 750, 850, 950, 1050, 1200, 1500]
)
_HEAT_DEGC = 6.0


def curve_a(panel: Panel, volts: Floats, light_wm2: Floats, cell_degc: Floats, ohm: float = 0.0) -> Floats:
    """Current of a panel whose label is true. [A]

    De Soto's five parameters in the equation of one diode.

    Parameters
    ----------
    volts : ndarray
        At the far end of its lead; broadcast with the others. [V]
    light_wm2, cell_degc : ndarray
        Irradiance in its plane above zero [Wm⁻²], temperature of its cells [°C].
    ohm : float
        Of its lead. [Ω]
    """
    import pvlib

    diode = in_light(label_of(panel), light_wm2, cell_degc)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # a lead is resistance in series like the panel's own
        current = pvlib.pvsystem.i_from_v(volts, *diode._replace(series_ohm=diode.series_ohm + ohm))
    # a diode keeps the night from drawing current
    return np.maximum(np.nan_to_num(np.asarray(current, dtype=np.float64), nan=0.0), 0.0)


class Curves:
    """Current of some feeds over voltage, light and heat, ready to be read off.

    Parameters
    ----------
    feeds : sequence of Feed
        All on one controller.
    coldest_degc, hottest_degc : float
        Between which cell temperatures will lie. [°C]
    """

    def __init__(self, feeds: Sequence[Feed], coldest_degc: float, hottest_degc: float) -> None:
        n_heat = 2 + int(np.ceil(max(hottest_degc - coldest_degc, 0.0) / _HEAT_DEGC))
        self._heat = np.linspace(coldest_degc - 0.5, hottest_degc + 0.5, n_heat)
        highest_v = max(feed.panel.voc_v * (1.05 + 0.005 * max(0.0, 25.0 - coldest_degc)) for feed in feeds)
        self.volts = np.arange(0.0, highest_v + 2 * _GRID_V, _GRID_V)
        self._tables: dict[tuple[Laid, Panel], Floats] = {}
        for feed in feeds:
            # the worth of a panel is current: its volts are those of its cells
            worth = feed.n_joined * feed.panel.output_factor
            table = feed.count * worth * self._one_a(feed, feed.ohm * worth)
            key = (_way(feed), feed.panel)
            self._tables[key] = self._tables.get(key, 0.0) + table

    def _one_a(self, feed: Feed, ohm: float) -> Floats:
        """Current of one panel at every light, heat and voltage. [A]"""
        panel = feed.panel
        label = (panel.vmp_v, panel.imp_a, panel.voc_v, panel.isc_a, panel.voc_per_degc)
        grid = (self._heat[0], self._heat[-1], len(self._heat), len(self.volts))

        def make() -> Kept:
            light, heat = _LIGHT_WM2[:, None, None], self._heat[None, :, None]
            return Kept({"one_a": curve_a(panel, self.volts, light, heat, ohm)})

        return kept(f"curve {label} {[float(n) for n in grid]} {ohm!r}", MADE_BY, make).arrays["one_a"]

    @property
    def kinds(self) -> tuple[tuple[Laid, Panel], ...]:
        """The panels, and how they lie."""
        return tuple(self._tables)

    def amps(self, kind: tuple[Laid, Panel], light_wm2: Floats, cell_degc: Floats) -> Floats:
        """Current of all panels of a kind at every voltage of the grid, where they are worth their mean.

        Parameters
        ----------
        light_wm2, cell_degc : ndarray, same shape

        Returns
        -------
        ndarray, that shape and (n_volts,) after it. [A]
        """
        table = self._tables[kind]
        dull = np.minimum(light_wm2 / _LIGHT_WM2[0], 1.0)
        g, wg = _between(_LIGHT_WM2, light_wm2)
        h, wh = _between(self._heat, cell_degc)
        low = table[g, h] * (1 - wh) + table[g, h + 1] * wh
        high = table[g + 1, h] * (1 - wh) + table[g + 1, h + 1] * wh
        return np.asarray((low * (1 - wg) + high * wg) * dull[..., None])


def _between(points: Floats, values: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Index of the point below each value, and how far it is to the next, ready for one more axis."""
    index = np.clip(np.searchsorted(points, values, side="right") - 1, 0, len(points) - 2)
    weight = np.clip((values - points[index]) / (points[index + 1] - points[index]), 0.0, 1.0)
    return index, weight[..., None]


def delivered_a(circuit: Circuit, volts: Floats, amps: Floats, station_v: Floats) -> Floats:
    """Current that a controller delivers to the station.

    One that tracks holds its panels where they give most, but never lower than a volt above its own output unless it
    steps up; one that does not ties them to it. Some start only above a voltage of the open panels. The lead to the
    station raises what it has to reach.

    Parameters
    ----------
    volts : ndarray, shape (n_volts,)
        Evenly spaced from 0, at the controller's input. [V]
    amps : ndarray, shape (..., n_volts)
        Current of all its panels there. [A]
    station_v : ndarray, shape (n_station,)

    Returns
    -------
    ndarray, shape (..., n_station)
    """
    controller = circuit.controller
    step_v = volts[1] - volts[0]
    if controller.kind == "mppt":
        power = volts * amps
        best_w = np.maximum.accumulate(power[..., ::-1], axis=-1)[..., ::-1]
        most_w = np.inf if controller.max_pv_w is None else controller.max_pv_w

    def at(values: Floats, where_v: Floats) -> Floats:
        # the grid ends beyond every open circuit: nothing flows there
        position = np.clip(where_v / step_v, 0.0, len(volts) - 1.0 - 1e-9)
        low = position.astype(np.intp)
        weight = position - low
        left = np.take_along_axis(values, low, axis=-1)
        right = np.take_along_axis(values, low + 1, axis=-1)
        return np.asarray(left + weight * (right - left))

    given = np.zeros((*amps.shape[:-1], len(station_v)))
    for _ in range(1 if circuit.ohm == 0.0 else 3):
        own_v = np.asarray(station_v + given * circuit.ohm)
        if controller.kind == "mppt":
            lowest_v = np.zeros_like(own_v) if controller.boost else own_v + STEP_DOWN_V
            passed_w = np.minimum(at(best_w, lowest_v), most_w)
            given = controller.efficiency * passed_w / own_v
        else:
            given = controller.efficiency * at(amps, own_v)
        given = np.minimum(given, controller.max_charge_a)
    if controller.start_above_v is not None:
        given = given * (at(amps, np.full_like(given, controller.start_above_v)) > 0.0)
    return given


def harvest_table_a(
    circuits: Sequence[Circuit],
    sky: Sky,
    windows: NDArray[np.intp],
    station_v: Floats,
    lit: dict[Laid, tuple[Floats, Floats]],
) -> Floats:
    """Current of all controllers together over the station's voltage, in dim and in bright light.

    Parameters
    ----------
    windows : ndarray of int, shape (n_windows,)
        Those of the sky that are looked at.
    lit : mapping of way to (dim, bright)
        Irradiance in the panels' plane, each (n_windows, n_steps). [Wm⁻²]

    Returns
    -------
    ndarray, shape (n_steps, 2, n_station, n_windows)
        Dim first. [A]
    """
    n_steps = next(iter(sky.poa_wm2.values())).shape[1]
    table = np.zeros((n_steps, 2, len(station_v), len(windows)))
    for circuit in circuits:
        if not circuit.feeds:
            continue
        heats = {way: _of(values, windows) for way, values in sky.panel_degc.items()}
        curves = Curves(
            circuit.feeds,
            min(float(heats[_way(feed)].min()) for feed in circuit.feeds),
            max(float(heats[_way(feed)].max()) for feed in circuit.feeds),
        )
        shares = {kind: sky.worth_shares(kind[1]) for kind in curves.kinds}
        for t in range(n_steps):
            if not any(lit[way][1][:, t].any() for way, _ in curves.kinds):
                continue
            amps = np.zeros((2, len(windows), len(curves.volts)))
            for way, panel in curves.kinds:
                both, share = np.stack([lit[way][0][:, t], lit[way][1][:, t]]), shares[way, panel]
                one_a = curves.amps((way, panel), both, np.broadcast_to(heats[way][:, t], both.shape))
                amps += one_a if share is None else one_a * share[windows][:, None]
            table[t] += np.swapaxes(delivered_a(circuit, curves.volts, amps, station_v), 1, 2)
    return table


def _way(feed: Feed) -> Laid:
    return "aimed" if feed.panel.tilts else "flat"


def _of(values: Floats, windows: NDArray[np.intp]) -> Floats:
    """Rows of some windows; one row stands for all."""
    return values[windows] if values.shape[0] > 1 else np.broadcast_to(values, (len(windows), values.shape[1]))
