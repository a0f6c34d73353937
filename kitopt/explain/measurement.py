"""The one measurement that would change the kit most: what is not known for sure, put at both ends of its interval.

A panel's worth, and ampere-hours that nobody measured. Where the kit stays what it is at both ends, measuring is idle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kitopt.ask import Asker, Change
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.spreads import CAPACITY_SPREAD, NINETY_SPREADS, ONE_READING_SPREAD

MOST_SOLVES = 5
"""More are not made, however much is not known: the same input, the same advice."""


@dataclass(frozen=True)
class Thing:
    """What may be measured: one column of one item, and between which values nine in ten lie."""

    id: str
    column: str
    here: float
    low: float
    high: float
    is_packed: bool
    spread_after: float | None = None
    """Of a worth, once it was read."""

    def at(self, value: float) -> tuple[Change, ...]:
        """It proved to be so much, and is known then."""
        found = Change("guess", self.id, (self.column, value))
        if self.spread_after is None:
            return (found,)
        return found, Change("guess", self.id, ("worth_spread", self.spread_after))


@dataclass(frozen=True)
class End:
    """The answer at one end.

    Attributes
    ----------
    value : float
        The worth, or ampere-hours. [Ah]
    more : int or None
        How much worse than the kit as it is, by what counts first; negative: better, None: no kit works.
    mass_g : int or None
        Of that kit.
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    """

    value: float
    more: int | None
    mass_g: int | None
    instead: Pieces = ()
    gone: Pieces = ()


@dataclass(frozen=True)
class Measurement:
    """One thing, and the answers at both ends of its interval; None where the kit stays as good."""

    thing: Thing
    low: End | None
    high: End | None

    @property
    def change(self) -> float:
        """How much hangs on it: infinite where at one end no kit works."""
        ends = [end for end in (self.low, self.high) if end is not None]
        return sum(math.inf if end.more is None else abs(end.more) for end in ends)


@dataclass(frozen=True)
class Measuring:
    """What is worth measuring, and what it took to know.

    Attributes
    ----------
    best : Measurement or None
        None where the kit hangs on nothing of this.
    is_cut_short : bool
        Whether something was not asked about: the solves or the time were used up.
    """

    best: Measurement | None = None
    n_things: int = 0
    n_solves: int = 0
    is_cut_short: bool = False


NOTHING_MEASURED = Measuring()


def measuring(choice: Choice, *, budget: Budget = UNLIMITED, most_solves: int = MOST_SOLVES) -> Measuring:
    """Find the one measurement that would change a kit most.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best.
    """
    if not choice.proof.proved or not choice.packed:
        return NOTHING_MEASURED
    things = sorted(_things(choice), key=lambda one: (not one.is_packed, one.id, one.column))
    asking = _Asking(choice, Asker(choice, budget=budget, most_solves=most_solves))
    found = list(asking.each(things))
    best = max(found, key=lambda one: one.change, default=None)
    is_idle = best is None or best.change == 0.0
    return Measuring(None if is_idle else best, len(things), asking.asker.n_solves, asking.is_cut_short)


class _Asking:
    def __init__(self, choice: Choice, asker: Asker) -> None:
        self.choice, self.asker = choice, asker
        assert choice.proof.objective is not None
        self.objective = float(choice.proof.objective)
        self.is_cut_short = False

    def each(self, things: Sequence[Thing]) -> Iterator[Measurement]:
        """What is packed at both ends; what is not can only help, and all of it together first."""
        left = [one for one in things if not one.is_packed]
        for one in things:
            if one.is_packed:
                yield Measurement(one, self._at(one, one.low, math.inf), self._at(one, one.high, self.objective - 1.0))
        if left and self._best(self.objective - 1.0, *(change for one in left for change in one.at(one.high))):
            for one in left:
                yield Measurement(one, None, self._at(one, one.high, self.objective - 1.0))

    def _at(self, thing: Thing, value: float, cutoff: float) -> End | None:
        answer = self._best(cutoff, *thing.at(value))
        if answer is not None and math.isfinite(cutoff):
            # within a cutoff any kit is an answer
            answer = self._best(math.inf, *thing.at(value))
        if answer is None:
            return None
        objective = answer.proof.objective
        if not answer.packed or objective is None:
            return End(value, None, None)
        more = round(objective - self.objective)
        if more == 0:
            return None
        now = self.choice.packed
        return End(value, more, answer.mass_g, beyond(answer.packed, now), beyond(now, answer.packed))

    def _best(self, cutoff: float, *changes: Change) -> Choice | None:
        """A best kit within a cutoff; None where there is none below one, where it is not known, or not asked."""
        if self.asker.is_used_up:
            self.is_cut_short = True
            return None
        self.asker.budget.say(f"measuring: {changes[0].id}")
        answer = self.asker.within(cutoff, *changes)
        if not answer.proof.proved:
            self.is_cut_short = True
            return None
        return answer if answer.packed or math.isinf(cutoff) else None


def _things(choice: Choice) -> Iterator[Thing]:
    """Panels that are owned, unless all light is told to be none, and batteries of the kit that nobody measured."""
    packed = {one.id for one in choice.packed}
    for panel in choice.inventory.panels:
        if panel.count and panel.worth_spread > 0.0 and any(wm2.any() for wm2 in choice.sky.useful_wm2.values()):
            away = math.exp(NINETY_SPREADS * panel.worth_spread)
            # the median of a lognormal with that mean
            middle = panel.output_factor * math.exp(-(panel.worth_spread**2) / 2.0)
            after = 1.0 / math.hypot(1.0 / panel.worth_spread, 1.0 / ONE_READING_SPREAD)
            ends = (middle / away, middle * away)
            yield Thing(panel.id, "output_factor", panel.output_factor, *ends, panel.id in packed, after)
    guessed = {one.id for one in choice.inventory.assumed if one.column == "measured_ah" and not one.is_learned}
    for battery in choice.inventory.batteries:
        if battery.id in guessed and battery.id in packed:
            away = math.exp(NINETY_SPREADS * CAPACITY_SPREAD)
            here = battery.measured_ah
            yield Thing(battery.id, "measured_ah", here, here / away, here * away, is_packed=True)
