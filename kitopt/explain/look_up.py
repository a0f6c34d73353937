"""Which guesses decide: the value at which a blank, filled in by the program, would give another answer.

Every guess is put at the ends of what is usual for it, many at once: where no better kit appears, or the chosen one
still does, none of them decides. What is left is halved until the threshold lies between two neighbouring values.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from kitopt.ask import Asker, Change, Question
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Made, build_model, cases_under
from kitopt.engine import Case
from kitopt.engine.halving import last_that_holds
from kitopt.engine.judge import simulate
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Assumed, Connector
from kitopt.inventory.ranges import usual
from kitopt.model.bus import bus_classes

MOST_SOLVES = 24
"""More are not made, however many guesses are left: the same input, the same advice."""
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
    looking = _Looking(choice, Asker(choice, budget=budget), most_solves)
    for towards in ("better", "worse"):
        looking.among([one for one in doubts if one.towards == towards])
    return LookUp(
        tuple(looking.found), len({(d.id, d.column) for d in doubts}), looking.asker.n_solves, looking.is_cut_short
    )


class _Looking:
    """Asks about many doubts at once, and about halves of those that decide."""

    def __init__(self, choice: Choice, asker: Asker, most_solves: int) -> None:
        self.choice, self.asker, self.most_solves = choice, asker, most_solves
        self.objective = math.inf if choice.proof.objective is None else choice.proof.objective
        self.found: list[Threshold] = []
        self.is_cut_short = False

    def among(self, doubts: Sequence[_Doubt]) -> None:
        """Find the thresholds of those that decide."""
        if not doubts or not self._decides([one.at(one.end) for one in doubts], doubts[0].towards):
            return
        if len(doubts) == 1:
            self._threshold(doubts[0])
            return
        half = len(doubts) // 2
        self.among(doubts[:half])
        self.among(doubts[half:])

    def _decides(self, changes: Sequence[Change], towards: Towards) -> bool:
        """Whether there is a better kit, or the chosen one is none any more; what is not known decides nothing."""
        if towards == "worse":
            return not _is_still_a_kit(
                self.choice, Question(self.choice.operation, self.choice.inventory).under(*changes)
            )
        answer = self._best(self.objective - 1.0, *changes)
        return answer is not None and answer.packed != ()

    def _best(self, cutoff: float, *changes: Change) -> Choice | None:
        """A best kit within a cutoff; None where it is not known, or where no more may be asked."""
        if self.asker.n_solves >= self.most_solves or self.asker.budget.is_over:
            self.is_cut_short = True
            return None
        self.asker.budget.say(f"guesses: {', '.join(f'{change.id} {change.text}' for change in changes[:2])}")
        answer = self.asker.within(cutoff, *changes)
        if not answer.proof.proved:
            self.is_cut_short = True
            return None
        return answer

    def _threshold(self, doubt: _Doubt) -> None:
        values: list[float | bool] = [doubt.end] if isinstance(doubt.end, bool) else list(_grid(doubt))
        last = last_that_holds(
            lambda i: not self._decides([doubt.at(values[i])], doubt.towards), -1, len(values) - 1, guess=0
        )
        # the least of all kits: where the chosen one is none any more, another may be as good
        answer = self._best(math.inf, doubt.at(values[last + 1]))
        if answer is None or answer.proof.objective == self.choice.proof.objective:
            return
        here = doubt.here if isinstance(doubt.here, int | float) else -math.inf
        objective = answer.proof.objective
        self.found.append(
            Threshold(
                doubt.guess,
                doubt.column,
                doubt.towards,
                doubt.end > here,
                values[last + 1],
                None if objective is None else round(objective),
                answer.mass_g if answer.packed else None,
                beyond(answer.packed, self.choice.packed),
                beyond(self.choice.packed, answer.packed),
            )
        )


def _is_still_a_kit(choice: Choice, question: Question) -> bool:
    """Whether the chosen kit, joined as it is, does what was asked; nothing is solved for that."""
    survives = np.ones(choice.sky.n_windows, dtype=bool)
    n_needed = 0
    for part in choice.parts:
        assert part.made is not None
        own = question
        if choice.circuits:
            operation = question.operation.circuit(part.made.model.operation.loads[0].circuit)
            # what is always packed belongs to no circuit
            own = Question(operation, replace(question.inventory, extras=part.made.model.inventory.extras))
        cases = _cases_still(choice, part.made, own)
        if cases is None:
            return False
        verdicts = [simulate(case.conditions, case.plant(part.made.counts)) for case in cases]
        n_needed = cases[0].n_needed
        survives &= verdicts[0].survives
        lost = zip(cases[1:], verdicts[1:], strict=True)
        if any(np.count_nonzero(verdict.survives) < case.n_needed for case, verdict in lost):
            return False
    return bool(np.count_nonzero(survives) >= n_needed)


def _cases_still(choice: Choice, made: Made, question: Question) -> list[Case] | None:
    """What a kit, joined as it is, must pass; None where a rule forbids it now."""
    before, after = (bus_classes(one.batteries) for one in (made.model.inventory, question.inventory))
    if len(before) != len(after):
        return None
    model = build_model(question.operation, question.inventory, after[before.index(made.model.bus)], choice.sky)
    if [column.uses for column in model.columns] != [column.uses for column in made.model.columns]:
        return None
    if any(n > column.upper + 1e-9 for n, column in zip(made.counts, model.columns, strict=True)):
        return None
    if any(
        not row.lower - 1e-6 <= sum(c * made.counts[j] for j, c in row.terms) <= row.upper + 1e-6 for row in model.rows
    ):
        return None
    cases = cases_under(model, choice.sky, counts=made.counts)
    return [case for case in cases if case.is_asked(made.counts)]


def _grid(doubt: _Doubt) -> Iterator[float]:
    """Values of two digits from the guess to the end of what is usual, and that end."""
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
