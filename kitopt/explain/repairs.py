"""What would make it work, where no kit does: changes of different kinds, each tried by choosing again.

Single changes come first, each with the adapter or Y that it needs; where none of them works, pairs of the best.
"""

from __future__ import annotations

import contextlib
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from kitopt.ask import Asker, Change
from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.engine.halving import last_that_holds
from kitopt.errors import BadInput
from kitopt.explain.easier import Family, cheapest, families
from kitopt.explain.edges import steps
from kitopt.explain.take_along import take_along
from kitopt.inventory.items import Inventory
from kitopt.sky.windows import SkyOf

LESS_ASKED = ("hours", "confidence")
"""Changes that ask for less, and so always work at last: they end no search for one that does what was asked."""
_FEW_STEPS = 300
"""Where a kit is known, so many are taken to look for the best, and to tell whether one lasts longer."""
MOST_PAIRED = 10
"""Single changes of which pairs are made."""

Way = tuple[Change, ...]
"""A change, and what it takes along."""


@dataclass(frozen=True)
class Effort:
    """How much is tried: numbers of changes and of solves, never a time.

    Attributes
    ----------
    of_family : int
        Changes of one family.
    enough : int
        Single changes that work: more are not looked for.
    pairs, enough_pairs : int
        Pairs tried, and pairs that work.
    pieces : int
        Pieces of a catalogue that are bought together.
    solves : int
        Solves in all; what is begun is ended.
    at_once : int
        Families that are tried at once, in vain or not: one that takes long then keeps no other waiting.
    is_rough : bool
        Whether it is enough that a change brings so much at least, and that a kit weighs so much at most.
    steps : int or None
        What one question may take; what any may where it is None.
    """

    of_family: int
    enough: int
    pairs: int
    enough_pairs: int
    pieces: int
    solves: int
    at_once: int = 0
    is_rough: bool = False
    steps: int | None = None


BESIDE = Effort(
    of_family=4, enough=6, pairs=3, enough_pairs=1, pieces=1, solves=40, at_once=11, is_rough=True, steps=2_000
)
"""Beside an answer that is waited for."""
THOROUGH = Effort(of_family=8, enough=12, pairs=45, enough_pairs=3, pieces=2, solves=150)
"""Where it is what was asked."""


@dataclass(frozen=True)
class Repair:
    """A change that was tried, or two of them.

    Attributes
    ----------
    ways : tuple of Way
        One change, or a pair; each with what it takes along.
    gain_wh : float or None
        By how much the strongest kit's shortfall shrinks; None where nothing fitted together before. [Wh]
    shortfall_wh : float
        What is still missing; 0 where a kit works, infinite where nothing fits together. [Wh]
    mass_g : int or None
        Mass of the lightest (or cheapest) kit that works then. [g]
    is_rough : bool
        Whether another kit may do better than that.
    """

    ways: tuple[Way, ...]
    works: bool
    gain_wh: float | None
    shortfall_wh: float
    mass_g: int | None
    is_rough: bool = False

    @property
    def change(self) -> Change:
        """The first change."""
        return self.ways[0][0]

    @property
    def changes(self) -> tuple[Change, ...]:
        """All of them, in the order in which they can be made."""
        return in_place(*self.ways)

    @property
    def does_what_was_asked(self) -> bool:
        """Whether a kit works for as long and as surely as was asked."""
        return self.works and not any(change.family in LESS_ASKED for change in self.changes)


@dataclass(frozen=True)
class Repairs:
    """What works, what is not enough, and what was tried for that.

    Attributes
    ----------
    undecided : tuple of tuple of Way
        Tried, but the steps for one question did not suffice to tell.
    n_singles, n_pairs, n_solves : int
        What was tried.
    most_solves : int
        More were not allowed.
    is_cut_short : bool
        Whether the time was up before all was tried.
    has_more_pairs : bool
        Whether there are pairs that were not tried.
    """

    work: tuple[Repair, ...] = ()
    not_enough: tuple[Repair, ...] = ()
    is_cut_short: bool = False
    undecided: tuple[tuple[Way, ...], ...] = ()
    n_singles: int = 0
    n_pairs: int = 0
    n_solves: int = 0
    most_solves: int = 0
    has_more_pairs: bool = False


def repairs(
    choice: Choice,
    *,
    sky_of: SkyOf | None = None,
    catalogue: Inventory | None = None,
    budget: Budget = UNLIMITED,
    effort: Effort = BESIDE,
) -> Repairs:
    """Changes with which a kit works, at most one of each family and of each kind of thing; and what is not enough.

    Parameters
    ----------
    choice : Choice
        Of which no kit works.
    sky_of : callable, optional
        The weather of a changed operation; the choice's own, cut to its hours, when left out.
    catalogue : Inventory, optional
        What could be bought.
    """
    trying = _Trying(choice, Asker(choice, sky_of, budget), effort)
    trying.singles(families(choice, catalogue, budget))
    if not trying.does_what_was_asked and catalogue is not None and effort.pieces > 1:
        trying.purchases(catalogue)
    if not trying.does_what_was_asked:
        trying.pairs()
    return trying.told()


def in_place(*ways: Way) -> Way:
    """Changes in an order in which none moves what another speaks of: loads from the last."""
    return tuple(sorted((change for way in ways for change in way), key=lambda change: -change.place))


@dataclass
class _Tried:
    """What has been tried so far."""

    work: list[Repair] = field(default_factory=list)
    not_enough: list[Repair] = field(default_factory=list)
    undecided: list[tuple[Way, ...]] = field(default_factory=list)
    n_singles: int = 0
    n_solves: int = 0
    is_cut_short: bool = False

    def add(self, more: _Tried) -> None:
        """What was tried besides."""
        self.work += more.work
        self.not_enough += more.not_enough
        self.undecided += more.undecided
        self.n_singles += more.n_singles
        self.n_solves += more.n_solves
        self.is_cut_short |= more.is_cut_short


class _Trying:
    """Tries, and keeps what came of it."""

    def __init__(self, choice: Choice, asker: Asker, effort: Effort) -> None:
        self.choice, self.asker, self.effort = choice, asker, effort
        short = choice.shortfall
        self.before_wh = short.shortfall_wh if short is not None and short.packed else None
        self.tried, self.n_pairs, self.has_more_pairs = _Tried(), 0, False

    def told(self) -> Repairs:
        """What came of it."""
        tried = self.tried
        return Repairs(
            tuple(tried.work),
            tuple(one for one in tried.not_enough if math.isfinite(one.shortfall_wh)),
            tried.is_cut_short,
            tuple(tried.undecided),
            tried.n_singles,
            self.n_pairs,
            tried.n_solves,
            self.effort.solves,
            self.has_more_pairs,
        )

    def singles(self, by_family: Iterator[Family]) -> None:
        """One change at a time, up to the first of each family that works.

        As many families are told as must still work for it to be enough.
        """
        tried = self._each_of(by_family)
        while (n := self.effort.enough - len(self.tried.work)) > 0 and self.may_go_on():
            some = [*itertools.islice(tried, n)]
            if not some:
                return
            for one in some:
                self.tried.add(one)

    def _each_of(self, by_family: Iterator[Family]) -> Iterator[_Tried]:
        """What comes of each family: so many are tried at once as must still work, or as may be in vain."""
        while True:
            n = max(self.effort.enough - len(self.tried.work), self.effort.at_once)
            families = [*itertools.islice(by_family, n)]
            if not families:
                return
            part = replace(self.effort, solves=(self.effort.solves - self.tried.n_solves) // len(families))
            order = sorted(range(len(families)), key=lambda i: not families[i].takes_long)
            tried = at_once([partial(_of_family, self.choice, self.asker, part, families[i].changes) for i in order])
            yield from (one for _, one in sorted(zip(order, tried, strict=True)))

    def is_mended_by(self, change: Change) -> bool:
        """Try a change alone, then with what it takes along where that is not enough."""
        self.asker.budget.say(f"trying: {change.family} {change.id} {change.text}".rstrip())
        self.tried.n_singles += 1
        change, kit = self._longest(change) if change.family == "hours" else (change, None)
        after = self._ask((change,), kit=kit)
        if after is None:
            return False
        best = self._repair(((change,),), after)
        along = () if best.works else take_along(after, change)
        if along and self.may_go_on():
            way = (change, *along)
            after = self._ask(way)
            both = None if after is None else self._repair((way,), after)
            if both is not None and (both.works or both.shortfall_wh < best.shortfall_wh - 0.5):
                best = both
        self._keep(best)
        return best.works

    @property
    def does_what_was_asked(self) -> bool:
        """Whether something does."""
        return any(one.does_what_was_asked for one in self.tried.work)

    def purchases(self, catalogue: Inventory) -> None:
        """The cheapest pieces of a catalogue that do it together, which is one program."""
        if not self.may_go_on():
            return
        self.asker.budget.say("trying: purchases together")
        self.tried.n_solves += 1
        try:
            bought, _ = cheapest(self.choice, catalogue, self.asker.budget, self.effort.pieces)
        except BadInput:
            return  # an id stands for two kinds of things
        if len(bought) > 1:
            self.n_pairs += 1
            self._try(*((change,) for change in bought))

    def pairs(self) -> None:
        """Two of the best changes together, those first whose gains would do."""
        for ways in self._paired():
            if self.n_pairs >= self.effort.pairs or not self.may_go_on():
                self.has_more_pairs = True
                return
            self.n_pairs += 1
            self.asker.budget.say(f"trying together: {' and '.join(way[0].family for way in ways)}")
            self._try(*ways)
            if sum(one.works for one in self.tried.work if len(one.ways) > 1) >= self.effort.enough_pairs:
                return

    def _paired(self) -> list[tuple[Way, Way]]:
        """Pairs of the ten best single changes, by what their gains leave missing and then as they were tried."""
        best = [one for one in self.tried.not_enough if one.change.family not in LESS_ASKED]
        best = [one for one in best if one.gain_wh is None or one.gain_wh >= 0.5]
        best = sorted(best, key=lambda one: one.shortfall_wh)[:MOST_PAIRED]
        best = [one for one in self.tried.not_enough if one in best]
        before_wh = self.before_wh or 0.0
        order = []
        for n, (one, other) in enumerate(itertools.combinations(best, 2)):
            if _go_together(one.change, other.change):
                gains_wh = (one.gain_wh or 0.0) + (other.gain_wh or 0.0)
                order.append((max(0.0, before_wh - gains_wh), n, (one.ways[0], other.ways[0])))
        return [ways for *_, ways in sorted(order, key=lambda entry: entry[:2])]

    def may_go_on(self) -> bool:
        """Whether there is time, and something may still be solved."""
        if self.asker.budget.is_over:
            self.tried.is_cut_short = True
        return not self.tried.is_cut_short and self.tried.n_solves < self.effort.solves

    def _try(self, *ways: Way) -> None:
        """Try ways together and keep what they bring."""
        after = self._ask(*ways)
        if after is not None:
            self._keep(self._repair(ways, after))

    def _ask(self, *ways: Way, kit: Choice | None = None) -> Choice | None:
        """What comes of ways; None where it is not known.

        Parameters
        ----------
        kit : Choice, optional
            One that is known to work then.
        """
        is_rough, changes = self.effort.is_rough, in_place(*ways)
        most = _FEW_STEPS if is_rough and kit is not None else self.effort.steps
        with self._counted():
            after = self.asker.ask(*changes, is_in_full=True, is_rough=is_rough, steps=most)
        if after.status == "time-limit" and kit is not None and not self.asker.budget.is_over:
            short = self.choice.shortfall
            for packed in (kit.packed, () if short is None else short.packed):
                mine = self.asker.best_of_pieces(packed, *changes)
                if mine.packed and (not after.packed or (mine.proof.objective or 0) < (after.proof.objective or 0)):
                    after = replace(mine, proof=replace(mine.proof, proved=False))
        if after.status == "time-limit" and not after.packed:
            self.tried.undecided.append(ways)
            return None
        return after

    @contextlib.contextmanager
    def _counted(self) -> Iterator[None]:
        """Count what is solved here: the asker solves for other families too."""
        n_before = self.asker.n_solves
        yield
        self.tried.n_solves += self.asker.n_solves - n_before

    def _keep(self, one: Repair) -> None:
        (self.tried.work if one.works else self.tried.not_enough).append(one)

    def _repair(self, ways: Sequence[Way], after: Choice) -> Repair:
        brings_wh, left_wh, mass_g = 0.0, 0.0, None
        if after.packed:
            brings_wh = max(0.0, after.lowest.margin_wh) if after.lowest else 0.0
            mass_g = after.mass_g
        else:
            short = after.shortfall
            left_wh = short.shortfall_wh if short is not None and short.packed else math.inf
            brings_wh = -left_wh
        gain_wh = None if self.before_wh is None else self.before_wh + brings_wh
        is_best = after.proof.proved if after.packed else after.shortfall is None or after.shortfall.is_strongest
        return Repair(tuple(ways), after.packed != (), gain_wh, left_wh, mass_g, not is_best)

    def _longest(self, change: Change) -> tuple[Change, Choice | None]:
        """Of fewer hours the most for which any kit works, and a kit where one was found."""
        operation = self.choice.operation
        longer = [h for h in steps(change.value, operation.hours, operation.need.step_h) if h < operation.hours]
        changes = [change, *(Change("hours", value=h) for h in longer)]
        kits: dict[int, Choice] = {}
        few = _FEW_STEPS if self.effort.is_rough else None

        def has_kit(i: int) -> bool:
            kit = self.asker.any_kit(changes[i], steps=few)
            if kit is not None:
                kits[i] = kit
            return kit is not None

        with self._counted():
            last = last_that_holds(has_kit, 0, len(changes), guess=1)
        return changes[last], kits.get(last)


def _of_family(choice: Choice, asker: Asker, effort: Effort, changes: Iterator[Change]) -> _Tried:
    """The changes of one family up to the first that works: it needs nothing of what others come to."""
    trying = _Trying(choice, asker, effort)
    for change in itertools.islice(changes, effort.of_family):
        if not trying.may_go_on() or trying.is_mended_by(change):
            break
    return trying.tried


def _go_together(one: Change, other: Change) -> bool:
    """Whether two changes speak of different loads, and of different ones in their place."""
    is_same_radio = one.family == other.family == "radio" and one.value == other.value
    return one.place < 0 or other.place < 0 or (one.place != other.place and not is_same_radio)
