"""The lowest margin of one kit in one window: a loop over the steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from kitopt.inventory.items import Battery
from oracle.legal import LoadedUnit
from oracle.world import CHARGING_V, World

TOLERANCE_WH = 1e-5
Passes = Callable[[float], bool]
"""Whether a kit meets a share of the need."""

MOST_RATED = 100.0
"""Times the 20-hour current: no battery is drained so, and the law is straight from there on."""


class Bank:
    """A kit's batteries, judged by the weakest of them."""

    def __init__(self, world: World, batteries: Sequence[tuple[Battery, int]], units: Sequence[LoadedUnit]) -> None:
        first = batteries[0][0]
        self.batteries, self.plugged = list(batteries), list(units)
        self.world, self.chemistry, self.nominal_v = world, first.chemistry, first.nominal_v
        need = world.operation.need
        company = [*(b for b, _ in batteries), *world.company]
        self.charge_efficiency = min(b.efficiency for b in company)
        self.discharge_efficiency = min(b.discharge_efficiency for b in company)
        self.lowest_charging_degc = max(b.lowest_charging_degc for b in company)
        # at 85 % of full charge an AGM battery takes its charge limit; the slowest and the smallest count
        self.taper_h: float | None = max(0.15 * b.measured_ah / b.max_charge_a for b in company)
        ratings_w = [(n, b.measured_ah * b.nominal_v / 20) for b, n in batteries]
        self.rated_w = min(b.measured_ah * b.nominal_v / 20 for b in company)
        if world.operation.batteries == "parallel":
            self.rated_w = sum(n * watts for n, watts in ratings_w)
        if self.chemistry != "agm":
            self.taper_h = None
        self.capacity_wh = sum(n * b.measured_ah * b.nominal_v * b.depth_share for b, n in batteries)
        self.start_wh = 0.0
        for battery, n in batteries:
            usable_wh = battery.measured_ah * battery.nominal_v * battery.depth_share
            charge_wh = need.start_charge_share * usable_wh
            days = world.operation.stored_days
            if days is None and battery.charged_on is not None:
                days = (world.operation.start.date() - battery.charged_on).days
            if days is not None:
                # 3 % of the whole capacity in 30 days; the trade's figure for both chemistries
                charge_wh -= 0.03 * max(0, days) / 30 * battery.measured_ah * battery.nominal_v
            self.start_wh += n * max(0.0, charge_wh)
        self.reserve_wh = need.reserve_wh
        self.charge_limit_w = sum(n * b.max_charge_a for b, n in batteries) * self.nominal_v
        self.charging_v = CHARGING_V[self.chemistry] * self.nominal_v
        self.load_w = world.load(self.nominal_v)[0]
        self.idle_w = sum(c.idle_ma / 1000 * self.nominal_v for c, _ in units)
        self.units = [
            (
                c.max_charge_a * self.nominal_v,
                [(n, world.panel_w(p, c, self.nominal_v, self.charging_v)) for p, n in panels],
            )
            for c, panels in units
            if panels
        ]

    def margin_wh(self, window: int, share: float = 1.0, stop_below: bool = False) -> float:
        """Lowest charge minus what must be held back, with that share of loads and fixed reserve.

        With `stop_below`, any negative value may come back for a failing window.
        """
        world, need = self.world, self.world.operation.need
        load_w = self.load_w
        locked = world.locked_share(self.chemistry)[window]
        degc = world.battery_degc[window]
        reserve_wh = need.reserve_share * self.capacity_wh + share * self.reserve_wh
        charge_wh, lowest_wh = self.start_wh, float("inf")
        before_wh, drawn_wh = charge_wh, 0.0
        for t in range(world.n_steps):
            hours = world.step_min[t] / 60
            passed_w = 0.0
            for limit_w, panels in self.units:
                power_w = 0.0
                for n, panel_w in panels:
                    power_w += n * panel_w[window][t]
                passed_w += min(power_w, limit_w)
            draw_w = self.idle_w + share * load_w[t]
            # the sun of an interval of weather may come last: until then its start is all there is
            if t == 0 or world.cell[t] != world.cell[t - 1]:
                before_wh, drawn_wh = charge_wh, 0.0
            drawn_wh += self.leaves_w(draw_w, share) * hours
            charge_wh = self.after_wh(charge_wh, passed_w - draw_w, degc[t], hours, share)
            free_wh = before_wh - drawn_wh - reserve_wh - locked[t] * self.capacity_wh
            if degc[t] < -20:
                free_wh = min(free_wh, (passed_w - draw_w) * hours)
            if free_wh < lowest_wh:
                lowest_wh = free_wh
                if stop_below and lowest_wh < -TOLERANCE_WH:
                    return lowest_wh
        return lowest_wh

    def leaves_w(self, drawn_w: float, share: float) -> float:
        """What leaves the store: for AGM above the 20-hour current more than is drawn, by W. Peukert's law."""
        if self.chemistry == "agm":
            rated_w = self.rated_w if self.world.operation.batteries == "parallel" else share * self.rated_w
            if drawn_w > MOST_RATED * rated_w:
                # straight on from there, where no battery could follow
                drawn_w = 1.10 * MOST_RATED**0.10 * drawn_w - 0.10 * MOST_RATED**1.10 * rated_w
            elif drawn_w > rated_w:
                drawn_w *= (drawn_w / rated_w) ** 0.10
        return drawn_w / self.discharge_efficiency

    def after_wh(self, charge_wh: float, net_w: float, degc: float, hours: float, share: float) -> float:
        """Charge after some time of a steady net power."""
        if net_w <= 0:
            stored_w = -self.leaves_w(-net_w, share)
        elif degc < self.lowest_charging_degc or (self.chemistry == "lifepo4" and degc > 55):
            stored_w = 0.0
        elif self.world.operation.batteries == "parallel":
            stored_w = self.charge_efficiency * min(net_w, self.charge_limit_w)
        else:
            stored_w = self.charge_efficiency * net_w
        most_wh = self.capacity_wh - charge_wh
        if self.taper_h is not None:
            most_wh *= 1 - math.exp(-hours / self.taper_h)
        return charge_wh + min(stored_w * hours, most_wh)

    def passes(self, share: float = 1.0) -> bool:
        """Whether enough windows are survived."""
        allowed = self.world.n_windows - self.world.n_needed
        n_failed = 0
        survived = []
        # what others failed first: most that fail are then known soon
        for window in self.world.hard_first:
            if self.margin_wh(window, share, stop_below=True) >= -TOLERANCE_WH:
                survived.append(window)
                continue
            n_failed += 1
            if n_failed > allowed:
                self.world.hard_first.sort(key=survived.__contains__)
                return False
        return True

    def share_met(self) -> float:
        """Largest share of loads and fixed reserve at which it passes, to 1e-6; 0 if none."""
        return largest_share(self.passes)


def largest_share(passes: Passes, within: float = 1e-6) -> float:
    """Largest share of the need at which a judge is content; 0 if none."""
    if passes(1.0):
        return 1.0
    low, high = 0.0, 1.0
    while high - low > within:
        middle = (low + high) / 2
        if passes(middle):
            low = middle
        else:
            high = middle
    return low


def best_share_of(judges: Iterable[Passes], within: float = 1e-4) -> float:
    """Largest share at which any of some judges is content; -1 where there are none."""
    best = -1.0
    for passes in judges:
        # most kits cannot even do what the best does
        if best < 0 or passes(min(1.0, best + within)):
            best = max(best, largest_share(passes, within))
    return best
