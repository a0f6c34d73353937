"""What a search of one kit tells another process: it can be sent, and is taken over whole, however late it is."""

from __future__ import annotations

import pickle
import random

from oracle.many import dated, several

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.search import Search


def test_a_kit_is_taken_over_as_it_was_found_even_when_the_time_is_up() -> None:
    n_found = 0
    for number in range(8):
        some = dated(several(number, 2), random.Random(number))
        skies = {task.operation.name: task.sky for task in some.tasks}
        wanted = tuple(Wanted((task.operation,)) for task in some.tasks)
        problem = Problem(wanted, some.inventory, lambda operation, skies=skies: skies[operation.name], ((0, 1),))
        first = Search(problem, ["mass", "items"], UNLIMITED, told="none")
        found = first.alone(0)
        told = pickle.loads(pickle.dumps(first.in_brief(0)))
        taken = Search(problem, ["mass", "items"], Budget.of(0.0), told="none").take(0, told)
        assert (taken.value, taken.bound, taken.is_sure) == (found.value, found.bound, found.is_sure)
        if found.best is not None and taken.best is not None:
            n_found += 1
            assert taken.best.order() == found.best.order()
            assert found.best.outcome.counts is not None
            assert taken.best.program.used(found.best.outcome.counts) == found.best.program.used(
                found.best.outcome.counts
            )
        assert (found.best is None) == (taken.best is None)
    assert n_found >= 3
