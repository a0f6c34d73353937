"""What the choice of counts came to."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.learned import CaseMemory

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a plan came to.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
    counts : ndarray or None
        The best counts known, always judged; None when there are none.
    objective, bound : float
        Of the first objective; equal when proved. Of "no-kit" all that is worse than the bound is open: infinite where
        it is known that there is none at all.
    reached : mapping of name to (value, bound)
        Every objective that was looked at.
    memories : tuple of CaseMemory
        The learned rows, one memory a case.
    rounds : int
        Proposals judged.
    is_put_off : bool
        Whether it was left as soon as its sides were too many to be listed, or many had no kit, with whatever was found
        until then.
    """

    status: Literal["found", "no-kit", "time-limit"]
    counts: Floats | None
    objective: float
    bound: float
    memories: tuple[CaseMemory, ...] = ()
    rounds: int = 0
    reached: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    is_put_off: bool = False

    @property
    def proved(self) -> bool:
        """Whether nothing better can exist."""
        return self.status != "time-limit"

    @property
    def is_settled(self) -> bool:
        """Whether every objective that was looked at is proved."""
        return all(bound >= value - 1e-6 for value, bound in self.reached.values())

    def without_counts(self) -> Outcome:
        """What is known where the counts in hand failed what is not in the plan, or were not tried: the bound."""
        return replace(self, status="time-limit", counts=None, objective=math.inf, reached={})
