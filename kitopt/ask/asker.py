"""The asker: puts questions that differ a little from one choice, never the same twice.

A question that only forbids kits starts from the rows that its choice has learned; any other is asked from
the start. What one question may cost is a number of steps, never a time: the same input, the same advice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kitopt.ask.again import Again
from kitopt.ask.change import Change, Question
from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice import Choice, Packed, Proof
from kitopt.choice.kit import best_kit, in_full
from kitopt.choice.laid import Layouts
from kitopt.choice.named import only_of
from kitopt.choice.strongest import Before
from kitopt.inventory.items import Item
from kitopt.model.bus import BusClass
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Laid, Sky, SkyOf, is_under_one_sky

MOST_STEPS = 10_000
"""What one question may take; one that takes more stays open."""


class Asker:
    """Asks again, starting from one choice.

    Parameters
    ----------
    choice : Choice
        Proved best, or proved that no kit works.
    sky_of : callable, optional
        The weather of a changed operation, its windows being what they are; the choice's own, cut to its hours,
        when left out.
    most_solves : int, optional
        After so many solves it is used up.
    """

    def __init__(
        self,
        choice: Choice,
        sky_of: SkyOf | None = None,
        budget: Budget = UNLIMITED,
        most_solves: float = math.inf,
    ) -> None:
        self.choice, self.budget, self._most_solves = choice, budget, most_solves
        self._asked = Question(choice.operation, choice.inventory)
        self._sky_of = sky_of or (lambda operation: shortened(choice.sky, operation))
        # what is forbidden by rules, or hopeless in this weather, is so in any harder question
        self._never = {
            bus_ids(one.model.bus) for one in choice.solved if len(one.kits) == 1 and math.isinf(one.outcome.bound)
        }
        self._known = [(self._asked, choice)] if choice.proof.proved else []
        self._again: list[tuple[Question, Again]] = []
        self._last = (choice.operation, choice.sky)
        self._layouts = choice.solved[0].program.problem.layouts if choice.solved else Layouts()
        self.n_solves = 0
        """Questions that were solved for, not known already."""

    @property
    def is_used_up(self) -> bool:
        """Whether no more is to be asked: the solves or the time are used up."""
        return self.n_solves >= self._most_solves or self.budget.is_over

    def ask(
        self, *changes: Change, is_in_full: bool = False, is_rough: bool = False, steps: int | None = None
    ) -> Choice:
        """The best kit after some changes; status "time-limit" where time or steps do not suffice to tell.

        Parameters
        ----------
        is_in_full : bool
            Whether it is to be known how the kit fares, or which is the strongest where none works.
        is_rough : bool
            Whether the strongest of what the strongest kit held before will do, where it is any stronger.
        steps : int, optional
            What it may take, where that is less than what any question may.
        """
        question = self._asked.under(*changes)
        known = _of(self._known, question)
        choice = self._answer(question, steps=steps) if known is None else known
        if is_in_full:
            choice = in_full(choice, self._part(), self._before(changes, is_rough=is_rough))
        if choice.proof.proved or steps is None:
            self._keep(question, choice)
        return choice

    def _before(self, changes: Sequence[Change], *, is_rough: bool) -> Before | None:
        """The strongest kit without some changes."""
        short, owned = self.choice.shortfall, self.choice.inventory.by_id
        if short is None or not short.packed:
            return None
        if not all(change.adds for change in changes):
            return Before(short, None) if is_rough else None
        added = [change.thing.id for change in changes if isinstance(change.thing, Item)]
        return Before(short, {i: owned[i].count if i in owned else 0 for i in added})

    def ask_harder(self, *changes: Change) -> Choice:
        """The same where no kit is allowed that was not before, and each is the worse for it."""
        question = self._asked.under(*changes)
        known = _of(self._known, question)
        least = -math.inf if self.choice.proof.bound is None else self.choice.proof.bound
        choice = known or self._answer(question, least=least, skips=lambda bus: bus_ids(bus) in self._never)
        self._keep(question, choice)
        return choice

    def any_kit(self, *changes: Change, steps: int | None = None) -> Choice | None:
        """Some kit that works after some changes, whichever it is; None where none is known."""
        question = self._asked.under(*changes)
        known: Choice = _of(self._known, question) or self._answer(
            question, is_any_good=True, enough=math.inf, steps=steps
        )
        return known if known.packed else None

    def still_does(self, kit: Choice, *changes: Change, is_tried: bool = True) -> bool:
        """Whether what a kit is made of still makes one after some changes, that costs no more: no solve is counted.

        Parameters
        ----------
        is_tried : bool
            Whether it must survive the many other windows too.
        """
        most = math.inf if kit.proof.objective is None else kit.proof.objective
        return self._of_pieces(kit.packed, changes, is_tried=is_tried, cutoff=most, enough=most).packed != ()

    def best_of_pieces(self, packed: Sequence[Packed], *changes: Change) -> Choice:
        """The best kit of some pieces after some changes, and how it fares: no solve is counted."""
        found = self._of_pieces(packed, changes)
        return in_full(found) if found.packed else found

    def _of_pieces(
        self, packed: Sequence[Packed], changes: Sequence[Change], *, is_tried: bool = True, **more: Any
    ) -> Choice:
        question = self._asked.under(*changes)
        sky = self._sky(question.operation)
        only = only_of(question.inventory, {one.id: one.count for one in packed})
        of_sky = sky if is_tried else replace(sky, others=None)
        return best_kit(question.operation, only, of_sky, budget=self.budget, is_any_good=True, **more)

    def within(self, cutoff: float, *changes: Change, **more: Any) -> Choice:
        """A best kit after changes of the inventory, where one costs no more than that; "no-kit" where none does.

        Parameters
        ----------
        more
            What else is known or asked, as for `Search`: with_any_of, skips, least, enough.
        """
        question = self._asked.under(*changes)
        if self.budget.is_over:
            return self._unknown(question)
        return self._best(question, self.choice.sky, cutoff=cutoff, is_any_good=math.isfinite(cutoff), **more)

    def ask_each(self, rules: Sequence[Change], say: Callable[[int], None] = lambda i: None) -> list[Choice]:
        """The best kit under each of some rules, looked at side by side; `say` is told the index of each before."""
        new = [i for i, rule in enumerate(rules) if _of(self._known, self._asked.under(rule)) is None]
        answers = self._again_from(self._asked).under_each(
            [(rules[i],) for i in new], self._part(len(new)), lambda n: say(new[n])
        )
        for i, answer in zip(new, answers, strict=True):
            self._keep(self._asked.under(rules[i]), answer)
        late = dict(zip(new, answers, strict=True))
        return [late[i] if i in late else self.ask(rule) for i, rule in enumerate(rules)]

    def _answer(self, question: Question, **known: Any) -> Choice:
        base = Question(question.operation, question.inventory)
        before = None if not question.rules else _of(self._known, base)
        if question.rules and (before is None or not (before.solved or _of(self._again, base))):
            before = self._answer(base)
        if self.budget.is_over or (before is not None and not before.proof.proved):
            return self._unknown(question)
        if before is not None:
            self._keep(base, before)
            self.n_solves += 1
            (choice,) = self._again_from(base).under_each([question.rules], self._part())
            return choice
        try:
            sky = self._sky(question.operation)
        except OutOfTime:
            return self._unknown(question)
        return self._best(question, sky, **known)

    def _best(self, question: Question, sky: Sky, *, steps: int | None = None, **more: Any) -> Choice:
        self.n_solves += 1
        return best_kit(
            question.operation,
            question.inventory,
            sky,
            budget=self._part() if steps is None else self.budget.steps(steps),
            layouts=self._layouts,
            told="allowed",
            **more,
        )

    def _sky(self, operation: Operation) -> Sky:
        """The windows of an operation: the choice's own where it asks for these or the first hours of them."""
        mine = self._asked.operation
        if is_under_one_sky(operation, mine):
            return self.choice.sky
        if (
            self.choice.sky.can_refresh
            and operation.hours < mine.hours
            and operation == replace(mine, hours=operation.hours)
        ):
            return shortened(self.choice.sky, operation)
        if operation != self._last[0]:
            self._last = (operation, self._sky_of(operation))
        return self._last[1]

    def _unknown(self, question: Question) -> Choice:
        operation = question.operation
        proof = Proof(operation.least, None, None, False)
        return Choice(operation, question.inventory, self.choice.sky, "time-limit", proof)

    def _again_from(self, base: Question) -> Again:
        again = _of(self._again, base)
        if again is None:
            again = Again(_of(self._known, base) or self.choice)
            self._again.append((base, again))
        return again

    def _keep(self, question: Question, choice: Choice) -> None:
        """Keep an answer; what was learned for it, which is most of its size, only of the last."""
        if not self.budget.is_over:
            others = [(q, self._light(c)) for q, c in self._known if q != question]
            self._known = [*others, (question, choice)]

    def _light(self, known: Choice) -> Choice:
        is_done = bool(known.packed) or known.shortfall is not None
        is_one = not known.circuits and known is not self.choice
        return known.light if is_done and is_one else known

    def _part(self, n: int = 1) -> Budget:
        """What some questions may take."""
        return self.budget.steps(MOST_STEPS * n)


def bus_ids(bus: BusClass) -> frozenset[str]:
    """The batteries of a class, by which it is known again where what is known of them is other."""
    return frozenset(one.id for one in bus.batteries)


def _of(known: Sequence[tuple[Question, Any]], question: Question) -> Any | None:
    """What is known of a question; questions hold mappings, so none has a hash."""
    return next((found for asked, found in known if asked == question), None)


@dataclass(frozen=True)
class Shortened:
    """Other windows over an operation's hours, which are no more than theirs."""

    others: Callable[[], Iterable[Sky]]
    operation: Operation

    def __call__(self) -> Iterator[Sky]:
        """Cut them."""
        return (shortened(part, self.operation) for part in self.others())


def shortened(sky: Sky, operation: Operation) -> Sky:
    """The same weather over an operation's hours, which are no more than before."""
    n = operation.n_steps

    def cut(by_way: Any) -> dict[Laid, Any]:
        return {way: array[:, :n] for way, array in by_way.items()}

    return replace(
        sky,
        others=None if sky.others is None else Shortened(sky.others, operation),
        poa_wm2=cut(sky.poa_wm2),
        useful_wm2=cut(sky.useful_wm2),
        panel_degc=cut(sky.panel_degc),
        air_degc=sky.air_degc[:, :n],
        battery_degc=sky.battery_degc[:, :n],
    )
