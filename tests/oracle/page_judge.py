"""The page's judge in plain loops, fed with the same bytes: written from the meaning of the bytes, not from the script.

Energies are in watt-hours. Each spell is walked forwards from a charge; what it needs is looked for by halving.
"""

from __future__ import annotations

import math
from base64 import b64decode
from typing import Any

TOLERANCE_WH = 1e-5


class PageJudge:
    """A kit and its spells of weather as the page carries them."""

    def __init__(self, data: dict[str, Any]) -> None:
        self.data = data
        self.n_steps = len(data["step_h"])
        self.n_intervals = data["interval"][-1] + 1
        length_h = [0.0] * self.n_intervals
        for i, hours in zip(data["interval"], data["step_h"], strict=True):
            length_h[i] += hours
        codes, lit = b64decode(data["gains"]), data["lit"]
        self.sun_w = [[0.0] * self.n_intervals for _ in range(data["n"])]
        for k in range(data["n"]):
            for j, i in enumerate(lit):
                self.sun_w[k][i] = codes[k * len(lit) + j] * data["unit_wh"] / length_h[i]
        marks = []
        for mark, times in zip(data["marks"][::2], data["marks"][1::2], strict=True):
            marks += [mark] * times
        self.marks = self._by_spell(marks)
        self.held_wh = self._by_spell(self._held())

    def _by_spell(self, flat: list[Any]) -> list[list[Any]]:
        rows = [flat[i : i + self.n_intervals] for i in range(0, len(flat), self.n_intervals)]
        return rows if len(rows) > 1 else rows * self.data["n"]

    def _held(self) -> list[float]:
        data, last = self.data, self.n_intervals - 1
        knots = sorted({*range(0, last + 1, data["cold_every"]), last})
        codes = b64decode(data["cold"])
        found = []
        for row in range(len(codes) // len(knots)):
            shares = [data["cold_low"] + code * data["cold_step"] for code in codes[row * len(knots) :][: len(knots)]]
            for i in range(last + 1):
                j = max(n for n, knot in enumerate(knots) if knot <= i)
                share = shares[j]
                if knots[j] < i:
                    share += (i - knots[j]) / (knots[j + 1] - knots[j]) * (shares[j + 1] - shares[j])
                found.append(data["held_wh"] + (1 - share) * data["full_wh"])
        return found

    def demand_w(self, chosen: list[int]) -> list[float]:
        """What is drawn with some loads used otherwise. [W]"""
        found = []
        for t in range(self.n_steps):
            watts = self.data["demand_w"][t]
            for way in chosen:
                watts += self.data["ways"][way]["more_w"][t]
            found.append(max(0.0, watts))
        return found

    def _out_w(self, watts: float) -> float:
        data = self.data
        if data["peukert"] != 1 and watts > data["rated_w"]:
            watts *= min(watts / data["rated_w"], 100.0) ** (data["peukert"] - 1)
        return watts / data["discharge_efficiency"]

    def lasts(self, k: int, demand_w: list[float], step: int, charge_wh: float) -> bool:
        """Whether a spell is survived from a charge at the start of a step."""
        data = self.data
        now_wh = before_wh = charge_wh
        drawn_wh = 0.0
        for t in range(step, self.n_steps):
            i, hours = data["interval"][t], data["step_h"][t]
            if t == step or data["interval"][t - 1] != i:
                before_wh, drawn_wh = now_wh, 0.0
            net_w = self.sun_w[k][i] - demand_w[t]
            drawn_wh += self._out_w(demand_w[t]) * hours
            if before_wh - drawn_wh - self.held_wh[k][i] < -TOLERANCE_WH:
                return False
            if not self.marks[k][i] & 2 and net_w * hours < -TOLERANCE_WH:
                return False
            if net_w < 0:
                gain_wh = -self._out_w(-net_w) * hours
            else:
                taken_w = net_w if data["limit_w"] is None else min(net_w, data["limit_w"])
                may = bool(self.marks[k][i] & 1)
                gain_wh = min(net_w / data["discharge_efficiency"], data["charge_efficiency"] * taken_w * may) * hours
            if data["taper_h"] is None:
                now_wh = min(data["full_wh"], now_wh + gain_wh)
            else:
                kept = math.exp(-hours / data["taper_h"])
                now_wh = min(now_wh + gain_wh, kept * now_wh + (1 - kept) * data["full_wh"])
        return True

    def survived(self, demand_w: list[float], step: int, charge_wh: float) -> int:
        """How many spells are survived."""
        return sum(self.lasts(k, demand_w, step, charge_wh) for k in range(self.data["n"]))

    def needed_wh(self, k: int, demand_w: list[float], step: int) -> float:
        """The least charge from which a spell is survived, to a thousandth; infinite where none is enough."""
        low, high = 0.0, self.data["full_wh"]
        if not self.lasts(k, demand_w, step, high):
            return math.inf
        while high - low > 1e-3:
            middle = (low + high) / 2
            if self.lasts(k, demand_w, step, middle):
                high = middle
            else:
                low = middle
        return high
