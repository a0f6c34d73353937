"""The lowest margin of one kit in one window: a loop over the steps."""

from __future__ import annotations

from collections.abc import Sequence

from kitopt.inventory.items import Battery
from oracle.legal import LoadedUnit
from oracle.world import CHARGING, World

TOLERANCE_WH = 1e-5


class Bank:
    """A kit's batteries, judged by the weakest of them."""

    def __init__(self, world: World, batteries: Sequence[tuple[Battery, int]], units: Sequence[LoadedUnit]) -> None:
        first = batteries[0][0]
        self.batteries, self.plugged = list(batteries), list(units)
        self.world, self.chemistry, self.nominal_v = world, first.chemistry, first.nominal_v
        need = world.operation.need
        self.charge_efficiency = min(b.efficiency for b, _ in batteries)
        self.discharge_efficiency = min(b.discharge_efficiency for b, _ in batteries)
        self.lowest_charging_degc = max(b.lowest_charging_degc for b, _ in batteries)
        self.capacity_wh = sum(n * b.measured_ah * b.nominal_v * b.depth_share for b, n in batteries)
        self.start_wh = 0.0
        for battery, n in batteries:
            usable_wh = battery.measured_ah * battery.nominal_v * battery.depth_share
            charge_wh = need.start_charge_share * usable_wh
            if battery.charged_on is not None:
                days = (world.operation.start.date() - battery.charged_on).days
                # 3 % of the whole capacity in 30 days; the trade's figure for both chemistries
                charge_wh -= 0.03 * max(0, days) / 30 * battery.measured_ah * battery.nominal_v
            self.start_wh += n * max(0.0, charge_wh)
        self.charge_limit_w = sum(n * b.max_charge_a for b, n in batteries) * CHARGING * self.nominal_v
        self.load_w = world.load(self.nominal_v)[0]
        self.idle_w = sum(c.idle_ma / 1000 * self.nominal_v for c, _ in units)
        self.units = [
            (
                c.max_charge_a * CHARGING * self.nominal_v,
                [(n, world.panel_w(p, c, self.nominal_v)) for p, n in panels],
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
        is_parallel = world.operation.batteries == "parallel"
        reserve_wh = need.reserve_share * self.capacity_wh + share * need.reserve_wh
        charge_wh, lowest_wh = self.start_wh, float("inf")
        for t in range(world.n_steps):
            passed_w = 0.0
            for limit_w, panels in self.units:
                power_w = 0.0
                for n, panel_w in panels:
                    power_w += n * panel_w[window][t]
                passed_w += min(power_w, limit_w)
            net_w = passed_w - self.idle_w - share * load_w[t]
            if net_w <= 0:
                stored_w = net_w / self.discharge_efficiency
            elif degc[t] < self.lowest_charging_degc:
                stored_w = 0.0
            elif is_parallel:
                stored_w = self.charge_efficiency * min(net_w, self.charge_limit_w)
            else:
                stored_w = self.charge_efficiency * net_w
            charge_wh = min(self.capacity_wh, charge_wh + stored_w * world.step_min[t] / 60)
            free_wh = charge_wh - reserve_wh - locked[t] * self.capacity_wh
            if free_wh < lowest_wh:
                lowest_wh = free_wh
                if stop_below and lowest_wh < -TOLERANCE_WH:
                    return lowest_wh
        return lowest_wh

    def passes(self, share: float = 1.0) -> bool:
        """Whether enough windows are survived."""
        allowed = self.world.n_windows - self.world.n_needed
        n_failed = 0
        for window in range(self.world.n_windows):
            if self.margin_wh(window, share, stop_below=True) < -TOLERANCE_WH:
                n_failed += 1
                if n_failed > allowed:
                    return False
        return True

    def share_met(self) -> float:
        """Largest share of loads and fixed reserve at which it passes, to 1e-6; 0 if none."""
        if self.passes():
            return 1.0
        low, high = 0.0, 1.0
        while high - low > 1e-6:
            middle = (low + high) / 2
            if self.passes(middle):
                low = middle
            else:
                high = middle
        return low
