"""One operation and its weather as plain lists, minute by minute where hours matter."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

from kitopt.inventory.items import Battery, Controller, Inventory, Panel
from kitopt.operation.terms import LoadUse, Operation
from kitopt.sky.windows import Sky
from oracle.volts import full_w, fuse_over_current, needs_converter, own_v, suits
from oracle.worth import worth_shares

Lists = list[list[float]]

CHARGING_V = {"lifepo4": 13.4 / 12.8, "agm": 13.8 / 12.0, "li-ion": 15.6 / 14.4}
"""Voltage of a battery being charged over its nominal voltage; from memory."""

COLD = {
    "lifepo4": [(-20.0, 0.70), (0.0, 0.85), (20.0, 1.0)],
    "li-ion": [(-20.0, 0.70), (0.0, 0.85), (20.0, 1.0)],
    "agm": [
        ((f - 32) / 1.8, share)
        for f, share in [(20, 0.63), (30, 0.71), (40, 0.77), (50, 0.84), (60, 0.90), (70, 0.96), (80, 1.00)]
    ],
}
"""Share of the capacity at cell temperatures: trade pages that disagree; AGM a "simplified IEEE method"."""


def capacity_share(chemistry: str, degc: float) -> float:
    """Straight lines between the points, level above the warmest."""
    points = COLD[chemistry]
    if degc >= points[-1][0]:
        return points[-1][1]
    if degc < points[0][0]:
        (cold, low), (warm, high) = points[:2]
        return max(0.0, low - (high - low) * (cold - degc) / (warm - cold))
    for (cold, low), (warm, high) in itertools.pairwise(points):
        if degc <= warm:
            return low + (high - low) * (degc - cold) / (warm - cold)
    raise AssertionError("unreachable")


class World:
    """What every kit of one nominal voltage meets."""

    def __init__(self, operation: Operation, inventory: Inventory, sky: Sky, whole: Operation | None = None) -> None:
        """With `whole`, that operation's loads cut the steps, although only some of them are drawn."""
        self.operation, self.inventory = operation, inventory
        self.company: tuple[Battery, ...] = ()
        """Batteries that lie in the same bag: the weakest of all judges a kit."""
        self.n_windows = len(sky.labels)
        self.hard_first = list(range(self.n_windows))
        self.step_min, self.cell, self.n_swaps = _pieces(whole or operation)
        self.n_steps = len(self.step_min)
        self.coldest_degc = sky.coldest_degc
        self.useful = {way: self._lists(array.tolist()) for way, array in sky.useful_wm2.items()}
        self.panel_degc = {way: self._lists(array.tolist()) for way, array in sky.panel_degc.items()}
        self.battery_degc = self._lists(sky.battery_degc.tolist())
        self.worth = {panel.id: worth_shares(sky, panel) for panel in inventory.panels}
        self.n_needed = math.ceil(operation.need.confidence * self.n_windows)
        self._panel_w: dict[tuple[str, str, float, float], Lists] = {}
        self._load_w: dict[float, tuple[list[float], float]] = {}
        self._peak_a: dict[tuple[str, float, bool], float] = {}
        self._cold: dict[str, Lists] = {}

    def _lists(self, rows: Lists) -> Lists:
        """Weather piece by piece, [window][piece]."""
        spread = [[row[cell] for cell in self.cell] for row in rows]
        return spread if len(rows) == self.n_windows else [spread[0]] * self.n_windows

    # -- loads -------------------------------------------------------------------------

    def load(self, nominal_v: float) -> tuple[list[float], float]:
        """Mean watts of every step, and the highest amperes of any minute, at the loads."""
        if nominal_v not in self._load_w:
            self._load_w[nominal_v] = self._count_load(self.operation.loads, nominal_v, {})
        return self._load_w[nominal_v]

    def peak_a(self, chemistry: str, nominal_v: float) -> float:
        """Highest amperes of any minute at the battery, the worst converter's losses included."""
        return self._at_battery(chemistry, nominal_v, {})

    def _at_battery(self, chemistry: str, nominal_v: float, weights: dict[str, float]) -> float:
        key = (chemistry, nominal_v, bool(weights))
        if key not in self._peak_a:
            over = {}
            for load in self.inventory.loads:
                over[load.id] = 1.0
                if needs_converter(load, chemistry, nominal_v):
                    fit = [c.efficiency for c in self.inventory.converters if c.count and suits(c, load, nominal_v)]
                    over[load.id] = min(fit, default=1.0)
                over[load.id] /= weights.get(load.id, 1.0)
            self._peak_a[key] = self._count_load(self.operation.loads, nominal_v, over)[1]
        return self._peak_a[key]

    def fuse_a(self, chemistry: str, nominal_v: float) -> float:
        """Least fuse that holds all loads of any minute at the battery."""
        return self._at_battery(chemistry, nominal_v, {u.id: fuse_over_current(u) for u in self.operation.loads})

    def one_load_w(self, load_id: str, nominal_v: float) -> list[float]:
        """Mean watts of every step that one unit of a load draws."""
        uses = tuple(replace(use, count=1) for use in self.operation.loads if use.id == load_id)
        return self._count_load(uses, nominal_v, {})[0]

    def _count_load(
        self, uses: tuple[LoadUse, ...], nominal_v: float, efficiency: dict[str, float]
    ) -> tuple[list[float], float]:
        start = self.operation.start
        minute_of_day = start.hour * 60 + start.minute
        watts, peak_a = [], 0.0
        elapsed = 0
        for length in self.step_min:
            energy = 0.0
            for minute in range(elapsed, elapsed + length):
                now = (minute_of_day + minute) % 1440
                total, key_down_a = 0.0, 0.0
                for use in uses:
                    mean_w, most_w = self._one_load(use, now, nominal_v)
                    total += use.count * mean_w
                    key_down_a += use.count * most_w / nominal_v / efficiency.get(use.id, 1.0)
                energy += total
                peak_a = max(peak_a, key_down_a)
            watts.append(energy / length)
            elapsed += length
        return watts, peak_a

    def _one_load(self, use: LoadUse, now: int, nominal_v: float) -> tuple[float, float]:
        load = next(x for x in self.inventory.loads if x.id == use.id)
        idle_w = load.idle_w if load.idle_w is not None else (load.idle_a or 0.0) * own_v(load, nominal_v)
        most_w = full_w(load, nominal_v)
        if not use.spans or any(_inside(now, s.start_min, s.end_min) for s in use.spans):
            tau = use.transmit_share
            return (1 - tau) * idle_w + tau * use.full_share * most_w, (most_w if tau > 0 else idle_w)
        return (idle_w, idle_w) if use.quiet == "listen" else (0.0, 0.0)

    # -- panels ------------------------------------------------------------------------

    def panel_w(self, panel: Panel, controller: Controller, nominal_v: float, charging_v: float) -> Lists:
        """Amperes times nominal volts of one panel behind a controller that has no limit, [window][step]."""
        key = (panel.id, controller.id, nominal_v, charging_v)
        if key not in self._panel_w:
            self._panel_w[key] = self.joined_w(panel, controller, nominal_v, charging_v)
        return self._panel_w[key]

    def joined_w(
        self, panel: Panel, controller: Controller, nominal_v: float, charging_v: float, n: int = 1, ohm: float = 0.0
    ) -> Lists:
        """The same of panels joined in parallel behind a lead."""
        rated_w = n * panel.rated_w * panel.output_factor
        full_a = n * panel.imp_a * panel.output_factor
        # losses are rounded up to half percents of the panels' power
        lost_share = math.ceil(200 * full_a**2 * ohm / rated_w - 1e-9) / 200
        per_degc = panel.voc_per_degc if panel.voc_per_degc is not None else -0.0035
        way = "aimed" if panel.tilts else "flat"
        lists = []
        for k in range(self.n_windows):
            row = []
            for t in range(self.n_steps):
                suns, degc = self.useful[way][k][t] / 1000, self.panel_degc[way][k][t]
                hot = 1 + per_degc * (degc - 25)
                knee_v, open_v = panel.vmp_v * hot, panel.voc_v * hot
                drop_v = suns * full_a * ohm
                if controller.kind == "mppt":
                    warm = max(0.0, 1 + panel.power_per_degc * (degc - 25))
                    watts = rated_w * max(0.0, suns * warm - lost_share * suns**2) * controller.efficiency
                    amps = watts / charging_v
                    if not controller.boost and knee_v - drop_v < charging_v + 1:
                        amps = min(amps, suns * full_a) if knee_v - drop_v >= charging_v else 0.0
                elif knee_v >= charging_v + drop_v:
                    # a source of current up to the knee
                    amps = suns * full_a
                else:
                    # then a straight line to open circuit
                    amps = suns * full_a * max(0.0, (open_v - charging_v - drop_v) / (open_v - knee_v))
                if controller.start_above_v is not None and open_v <= controller.start_above_v:
                    amps = 0.0
                row.append(amps * nominal_v * self.worth[panel.id][k])
            lists.append(row)
        return lists

    # -- cold --------------------------------------------------------------------------

    def locked_share(self, chemistry: str) -> Lists:
        """Share of the usable capacity that the cold locks away, [window][step]."""
        if chemistry not in self._cold:
            self._cold[chemistry] = [[1 - capacity_share(chemistry, c) for c in row] for row in self.battery_degc]
        return self._cold[chemistry]


def _pieces(operation: Operation) -> tuple[list[int], list[int], list[int]]:
    """Minutes of each piece of time within which neither weather nor any load's state changes, and its weather.

    Then how often two banks have changed places before it.
    """
    start_min = operation.start.hour * 60 + operation.start.minute
    whole_min, step_min = round(operation.hours * 60), round(operation.need.step_h * 60)
    lengths: list[int] = []
    cells: list[int] = []
    swapped: list[int] = []
    before: object = None
    n_swaps = 0
    for minute in range(whole_min):
        now = (start_min + minute) % 1440
        states = [any(_inside(now, s.start_min, s.end_min) for s in use.spans) for use in operation.loads]
        if operation.charge == "apart" and minute > 0 and now in operation.swap:
            n_swaps += 1
        state = (minute // step_min, states, n_swaps)
        if state != before:
            lengths.append(0)
            swapped.append(n_swaps)
            cells.append(minute // step_min)
        lengths[-1] += 1
        before = state
    return lengths, cells, swapped


def _inside(now: int, start_min: int, end_min: int) -> bool:
    if start_min < end_min:
        return start_min <= now < end_min
    return now >= start_min or now < end_min
