"""Which batteries a panel side rules out: each of them takes all that the units pass, one after another.

The rules say so in rows with binaries, of which a linear program makes next to nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from kitopt.engine.needs import Needs

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
Places = NDArray[np.intp]
_ALL = slice(None)

_SLACK_A = 1e-3
"""Rows are kept to within less than this."""


@dataclass(frozen=True)
class Charging:
    """What the units of a kit pass, and what each battery may take of it. [A]

    A kit with batteries that may take less than its units pass breaks a row of the plan, whatever this says.

    Attributes
    ----------
    join_a : mapping of own column to float
        What panels that are joined so make their unit pass, where it is not at its limit.
    unit_a : tuple of float
        The limit of each unit.
    battery_a : mapping of own column to float
        Of those that may not take all that there is.
    """

    join_a: Mapping[int, float]
    unit_a: tuple[float, ...]
    battery_a: Mapping[int, float]


class Levels:
    """Sides in order of what they pass: at each level one battery more is ruled out.

    Attributes
    ----------
    n : int
        How many levels there are.
    """

    def __init__(self, charging: Charging | None, needs: Needs) -> None:
        charging = charging or Charging({}, (), {})
        self._limits = np.array(sorted(set(charging.battery_a.values())))
        self.n = len(self._limits) + 1
        self._of_battery = {
            j: int(np.searchsorted(self._limits, most_a)) + 1 for j, most_a in charging.battery_a.items()
        }
        class_a = np.array(
            [min(charging.join_a.get(int(j), 0.0) / needs.joined[j] for j in own) for own in needs.columns]
        )
        units = sorted(set(needs.unit.tolist()))
        self._unit_a = np.array([charging.unit_a[u] if charging.unit_a else 0.0 for u in units])
        self._passed_a = np.where(needs.unit[:, None] == np.array(units, dtype=np.intp), class_a[:, None], 0.0)
        # panels that hang on no unit yet may all hang on the one that passes least
        self._least_unit_a = float(np.min(self._unit_a, initial=np.inf))
        self._kind_a = np.full(needs.n_kinds, np.inf)
        np.minimum.at(self._kind_a, needs.kind, class_a)

    def from_which(self, battery: int) -> int:
        """The level from which on a battery, by its own column, is ruled out; past the last where it never is."""
        return self._of_battery.get(battery, self.n)

    def of(
        self,
        n: int,
        *,
        sides: Counts | None = None,
        classes: Places | slice = _ALL,
        sets: Counts | Floats | None = None,
    ) -> Places:
        """The level of each of some sides, or of sets of panels whatever they hang on, shape (n,)."""
        if self.n == 1:
            return np.zeros(n, dtype=np.intp)
        passed_a = np.zeros(n)
        if sides is not None:
            passed_a = np.sum(np.minimum(sides @ self._passed_a[classes], self._unit_a), axis=1)
        if sets is not None:
            passed_a = np.maximum(passed_a, np.minimum(np.atleast_2d(sets) @ self._kind_a, self._least_unit_a))
        return np.searchsorted(self._limits, passed_a - _SLACK_A)
