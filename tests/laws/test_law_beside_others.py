"""Several kits in one program: each is bounded beside what the others need, which rules out nothing that is right."""

from __future__ import annotations

import random
from typing import Any

import pytest
from oracle.circuits import with_circuits
from oracle.many import several, smallest_bags
from test_law_many import chosen_of, grabbed

from kitopt.choice import pack
from kitopt.engine import Outcome
from kitopt.engine.search import _Chooser


class Heard:
    """What is known of the others, for each search that looked for several kits within a cutoff."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.ended: list[tuple[_Chooser, Outcome]] = []
        self.narrowed: list[_Chooser] = []
        narrow, run = _Chooser._narrow, _Chooser.run

        def heard_narrow(chooser: _Chooser, objective: Any, cutoff: float) -> None:
            before = [listing.floor for listing in chooser._listings]
            narrow(chooser, objective, cutoff)
            after = [listing.floor for listing in chooser._listings]
            assert all(a >= b - 1e-6 for a, b in zip(after, before, strict=True))
            if any(a > b + 1e-6 for a, b in zip(after, before, strict=True)):
                self.narrowed.append(chooser)

        def heard_run(chooser: _Chooser) -> Outcome:
            outcome = run(chooser)
            self.ended.append((chooser, outcome))
            return outcome

        monkeypatch.setattr(_Chooser, "_narrow", heard_narrow)
        monkeypatch.setattr(_Chooser, "run", heard_run)

    def rows_that_the_best_keeps(self) -> int:
        """How many rows were told beside others; the best of each search keeps them all."""
        n_rows = 0
        for chooser, outcome in self.ended:
            for listing in chooser._listings if outcome.status == "found" else []:
                rows = listing._asked.known[len(chooser.plan.known) :]
                assert all(row.holds(outcome.counts) for row in rows if outcome.counts is not None)
                n_rows += len(rows)
        return n_rows


def test_the_best_bag_keeps_what_is_known_of_its_kits(monkeypatch: pytest.MonkeyPatch) -> None:
    # where few sides are looked at first, the others are listed beside what is found; in these it tells more
    monkeypatch.setattr("kitopt.engine.by_sides._FIRST_SIDES", 1.0)
    heard, n_rows = Heard(monkeypatch), 0
    for number in (170, 212, 538, 562, 644, 654, 690):
        heard.ended.clear()
        least = random.Random(number).choice(["mass", "items"])
        some = several(number, 2, backup=True)
        kit = grabbed(some, least)
        assert kit.proof.proved, number
        assert chosen_of(kit) in smallest_bags(some, least)[1], number
        n_rows += heard.rows_that_the_best_keeps()
    assert n_rows > 20
    assert len(heard.narrowed) >= 7


def test_the_best_circuits_keep_what_is_known_of_each(monkeypatch: pytest.MonkeyPatch) -> None:
    heard, n_rows = Heard(monkeypatch), 0
    for number in range(40):
        heard.ended.clear()
        instance = with_circuits(number)
        assert pack(instance.operation, instance.inventory, instance.sky).proof.proved
        n_rows += heard.rows_that_the_best_keeps()
    assert n_rows > 50
