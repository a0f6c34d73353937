"""Which guesses decide: the value at which a blank, filled in by the program, would give another answer.

Every guess is put at the ends of what is usual for it, many at once: where no better kit appears, or the chosen one
still does, none of them decides. A better kit rests on a few of them, which the judge tells; from the value at which it
is none any more it is asked whether there is another, so that the threshold lies between two neighbouring values.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from operator import ne
from typing import Any, Literal

from kitopt.ask import Asker, Change, Question
from kitopt.ask.asker import bus_ids
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.choice.program import given
from kitopt.engine.halving import last_that_holds
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Assumed, Connector
from kitopt.inventory.ranges import usual
from kitopt.model.bus import BusClass, bus_classes

MOST_SOLVES = 24
"""More are not made, however many guesses are left: the same input, the same advice."""
MOST_PARTED = 4
"""Of more guesses it is not asked one by one whether a better kit rests on them: the half of them is."""
_ATTRIBUTE = {"awg": "area_mm2"}
"""Columns that an item holds under another name."""
_NOT_ASKED = ("nominal_v", "supply_v", "fuse_at_m")
"""They name what a thing is or where it sits, not how good it is."""
_FLAGS = {"tilts": True, "folding": False, "fused": True}
"""Columns of yes or no, and which of these lets more into a kit."""

Towards = Literal["better", "worse"]


@dataclass(frozen=True)
class Threshold:
    """The value from which on a guess, proved wrong, gives another answer.

    Attributes
    ----------
    guess : Assumed
        What was filled in.
    column : str
        The column that is told: area_mm2 where a gauge was guessed.
    towards : {"better", "worse"}
        Whether the answer is then better than it is, or worse.
    is_above : bool
        Whether it changes at the threshold and above, not below.
    at : float or bool
        The first value with another answer.
    objective, mass_g : int or None
        Of that answer; None where no kit works.
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    """

    guess: Assumed
    column: str
    towards: Towards
    is_above: bool
    at: float | bool
    objective: int | None
    mass_g: int | None
    instead: Pieces = ()
    gone: Pieces = ()


@dataclass(frozen=True)
class LookUp:
    """What is worth looking up, and what it took to know.

    Attributes
    ----------
    is_cut_short : bool
        Whether some guesses were not asked about: the solves or the time were used up.
    """

    thresholds: tuple[Threshold, ...] = ()
    n_guesses: int = 0
    n_solves: int = 0
    is_cut_short: bool = False


@dataclass(frozen=True)
class _Doubt:
    """A guess, and one end of what is usual for it."""

    guess: Assumed
    column: str
    here: float | bool | None
    end: float | bool
    towards: Towards
    is_of_kit: bool = False

    @property
    def id(self) -> str:
        """The item or family."""
        return self.guess.id

    def at(self, value: float | bool) -> Change:
        """The guess proved wrong."""
        return Change("guess", self.id, (self.column, value))


def look_up(choice: Choice, *, budget: Budget = UNLIMITED, most_solves: int = MOST_SOLVES) -> LookUp:
    """The thresholds of all guesses that decide: of what is packed in both directions, of the rest for the better.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best, or the proof that none works.
    """
    if not choice.proof.proved:
        return LookUp()
    doubts = sorted(_doubts(choice), key=lambda one: not one.is_of_kit)
    looking = _Looking(choice, Asker(choice, budget=budget, most_solves=most_solves))
    looking.better([one for one in doubts if one.towards == "better"])
    looking.worse([one for one in doubts if one.towards == "worse"])
    return LookUp(
        tuple(looking.found), len({(d.id, d.column) for d in doubts}), looking.asker.n_solves, looking.is_cut_short
    )


class _Looking:
    """Asks about many doubts at once, and then about those that a better kit rests on."""

    def __init__(self, choice: Choice, asker: Asker) -> None:
        self.choice, self.asker = choice, asker
        self.objective = math.inf if choice.proof.objective is None else choice.proof.objective
        self.found: list[Threshold] = []
        self.is_cut_short = False
        self._hopeless: set[frozenset[str]] = set()
        """Classes with no better kit even where all guesses are at their better ends."""
        self._of_family: dict[str, set[str]] = {}
        for item in choice.inventory.by_id.values():
            for value in vars(item).values():
                if isinstance(value, Connector):
                    self._of_family.setdefault(value.family, set()).add(item.id)

    # -- for the better ------------------------------------------------------------------

    def better(self, doubts: Sequence[_Doubt]) -> None:
        """Find the thresholds of those that let a better kit in."""
        changes = [one.at(one.end) for one in doubts]
        kits = []
        if doubts and len(self.choice.operation.circuits) > 1:
            # each circuit has a class of its own, so all are asked about at once
            kit = self._better(doubts, changes)
            if kit is not None and kit.packed:
                self._among(doubts, kit)
            return
        for bus in bus_classes(
            Question(self.choice.operation, self.choice.inventory).under(*changes).inventory.batteries
        ):
            if doubts and self._may_be(bus, doubts):
                kit = self._better(doubts, changes, skips=partial(ne, bus))
                if kit is None:
                    return
                kits += [kit] if kit.packed else []
                if kit.packed:
                    continue
            self._hopeless.add(bus_ids(bus))
        if kits:
            self._among(doubts, min(kits, key=lambda kit: kit.proof.objective or 0))

    def _among(self, doubts: Sequence[_Doubt], kit: Choice) -> None:
        """The same, where a better kit is known with all of them at their better ends."""
        needed = self._needed(doubts, kit)
        if len(needed) == 1:
            self._threshold(needed[0], kit)
            parts = [[one for one in doubts if one not in needed]]
        else:
            # what it rests on is parted: what decides alone is then soon found
            order = [*needed, *(one for one in doubts if one not in needed)]
            parts = [order[0::2], order[1::2]]
        for part in parts:
            if part:
                changes = [one.at(one.end) for one in part]
                better = self._better(part, changes)
                if better is not None and better.packed:
                    self._among(part, better)

    def _needed(self, doubts: Sequence[_Doubt], kit: Choice) -> list[_Doubt]:
        """Of some doubts those on which a kit rests: without any one of them it is none."""
        packed = {one.id for one in kit.packed}
        needed = [one for one in doubts if packed & self._touched(one)]
        for one in list(needed) if len(needed) <= MOST_PARTED else ():
            others = [other for other in needed if other is not one]
            if self.asker.still_does(kit, *(other.at(other.end) for other in others), is_tried=False):
                needed = others
        return needed

    def _may_be(self, bus: BusClass, doubts: Sequence[_Doubt]) -> bool:
        """Whether a kit of a class may hold any of what the doubts are about."""
        here = {one.id for one in bus.batteries}
        other = {one.id for one in self.choice.inventory.batteries} - here
        return bus_ids(bus) not in self._hopeless and any(self._touched(one) - other for one in doubts)

    def _threshold(self, doubt: _Doubt, kit: Choice) -> None:
        """The first value at which there is a better kit, one being known at the end."""
        values = list(_values(doubt))
        at = len(values) - 1
        while at >= 0:
            at = 1 + last_that_holds(partial(self._fails, kit, doubt, values), -1, at)
            if at == 0:
                break
            before = self._better([doubt], [doubt.at(values[at - 1])])
            if before is None:
                return
            if not before.packed:
                break
            kit, at = before, at - 1
        most = kit.proof.objective
        best = self._best(math.inf if most is None else most, [doubt], [doubt.at(values[at])])
        if best is not None:
            self._keep(doubt, values[at], best)

    def _fails(self, kit: Choice, doubt: _Doubt, values: Sequence[float | bool], i: int) -> bool:
        return not self.asker.still_does(kit, doubt.at(values[i]))

    # -- for the worse -------------------------------------------------------------------

    def worse(self, doubts: Sequence[_Doubt]) -> None:
        """Find the thresholds of those with which the chosen kit is none any more."""
        if not doubts or self.asker.still_does(self.choice, *(one.at(one.end) for one in doubts)):
            return
        if len(doubts) > 1:
            self.worse(doubts[: len(doubts) // 2])
            self.worse(doubts[len(doubts) // 2 :])
            return
        (doubt,) = doubts
        values = list(_values(doubt))
        last = last_that_holds(lambda i: self.asker.still_does(self.choice, doubt.at(values[i])), -1, len(values) - 1)
        change = doubt.at(values[last + 1])
        answer = self._asked([change], lambda: self.asker.ask_harder(change))
        # where the chosen one is none any more, another may be as good
        if answer is not None and answer.proof.objective != self.choice.proof.objective:
            self._keep(doubt, values[last + 1], answer)

    # -- what both ask -------------------------------------------------------------------

    def _better(
        self,
        doubts: Sequence[_Doubt],
        changes: Sequence[Change],
        skips: Callable[[BusClass], bool] = lambda bus: False,
    ) -> Choice | None:
        """Any kit that is better than the chosen one."""
        return self._best(self.objective - 1.0, doubts, changes, skips, enough=self.objective - 1.0)

    def _best(
        self,
        cutoff: float,
        doubts: Sequence[_Doubt],
        changes: Sequence[Change],
        skips: Callable[[BusClass], bool] = lambda bus: False,
        enough: float = -math.inf,
    ) -> Choice | None:
        """A best kit within a cutoff: one that is better than the chosen one holds what doubts are about."""
        touched = {i for one in doubts for i in self._touched(one)}
        packed = given(self.choice.operation, self.choice.inventory)
        return self._asked(
            changes,
            lambda: self.asker.within(
                cutoff,
                *changes,
                with_any_of=None if touched & packed.keys() else touched,
                enough=enough,
                skips=lambda bus: skips(bus) or not self._may_be(bus, doubts),
            ),
        )

    def _asked(self, changes: Sequence[Change], ask: Callable[[], Choice]) -> Choice | None:
        """The answer; None where it is not known, or where no more may be asked."""
        if self.asker.is_used_up:
            self.is_cut_short = True
            return None
        self.asker.budget.say(f"guesses: {', '.join(f'{change.id} {change.text}' for change in changes[:2])}")
        answer = ask()
        if not answer.proof.proved and not answer.packed:
            self.is_cut_short = True
            return None
        return answer.light

    def _touched(self, doubt: _Doubt) -> set[str]:
        """Items that a doubt is about: one, or all of a connector family."""
        return {doubt.id} if doubt.id in self.choice.inventory.by_id else self._of_family.get(doubt.id, set())

    def _keep(self, doubt: _Doubt, at: float | bool, answer: Choice) -> None:
        here = doubt.here if isinstance(doubt.here, int | float) else -math.inf
        objective = answer.proof.objective
        self.found.append(
            Threshold(
                doubt.guess,
                doubt.column,
                doubt.towards,
                doubt.end > here,
                at,
                None if objective is None else round(objective),
                answer.mass_g if answer.packed else None,
                beyond(answer.packed, self.choice.packed),
                beyond(self.choice.packed, answer.packed),
            )
        )


def _values(doubt: _Doubt) -> Iterator[float | bool]:
    """Values of two digits from the guess to the end of what is usual, and that end; of yes and no the other."""
    if isinstance(doubt.end, bool):
        yield doubt.end
        return
    assert not isinstance(doubt.here, bool)
    start = doubt.here if doubt.here is not None else doubt.end
    step = 10.0 ** (math.floor(math.log10(abs(start))) - 1) if start else 1.0
    sign = 1.0 if doubt.end > start else -1.0
    n = math.floor(start / step * sign + 1e-9) + 1
    while sign * (doubt.end - sign * n * step) > 1e-9 * step:
        yield float(f"{sign * n * step:.6g}")
        n += 1
    yield float(doubt.end)


# -- what may be wrong, and how far ------------------------------------------------------


def _doubts(choice: Choice) -> Iterator[_Doubt]:
    packed = choice.packed or (choice.shortfall.packed if choice.shortfall else ())
    ids = {one.id for one in packed}
    families = {
        value.family
        for item_id in ids
        for value in vars(choice.inventory.by_id[item_id]).values()
        if isinstance(value, Connector)
    }
    given = {use.id for use in choice.operation.loads}
    loads = {load.id for load in choice.inventory.loads}
    for guess in choice.inventory.assumed:
        is_of_kit = guess.id in ids or guess.id in families
        if guess.column in _NOT_ASKED or (guess.id in loads and guess.id not in given):
            continue
        for doubt in _ends(choice, guess):
            # without a kit nothing can be worse, and what is left at home does no harm
            if doubt.towards == "better" or (is_of_kit and choice.packed):
                yield replace(doubt, is_of_kit=is_of_kit)


def _ends(choice: Choice, guess: Assumed) -> Iterator[_Doubt]:
    """Both ends of what is usual for a guess, the better and the worse."""
    column = _ATTRIBUTE.get(guess.column, guess.column)
    item = choice.inventory.by_id.get(guess.id)
    here: Any = float(guess.value) if item is None else getattr(item, column, None)
    if column in _FLAGS:
        yield _Doubt(guess, column, here, not here, "better" if here != _FLAGS[column] else "worse")
        return
    span = usual(guess.file.removesuffix(".csv"), item, column)
    if span is None or (here is None and column != "voc_per_degc"):
        return
    # the table's factor is against the owner: as good as the worst of what is usual
    here = span.low if here is None else here
    is_high_worse = span.worse == "high"
    if span.high > here + 1e-9 * abs(here):
        yield _Doubt(guess, column, here, span.high, "worse" if is_high_worse else "better")
    if span.low < here - 1e-9 * abs(here):
        yield _Doubt(guess, column, here, span.low, "better" if is_high_worse else "worse")
