"""Instances of which the laws of choice are tried: in a third of them at least, the best is another without panels.

Else agreement with the oracle might be about batteries alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import cast

import pytest
from oracle.instances import Instance, numbered
from oracle.losses import backed_up
from oracle.many import STORED_DAYS, Several, several
from oracle.nices import wired_with_nices, with_nices
from oracle.wired_instances import wired

from kitopt.choice import pack
from kitopt.choice.standing import grab_kit
from kitopt.operation.plans import Event, Standing

N = {"plain": 120, "backed up": 60}
"""So many instances are counted, 30 where nothing stands here."""

Best = tuple[str, float | None]


def best_of_one(instance: Instance) -> Best:
    """Status and least objective of a kit."""
    choice = pack(instance.operation, instance.inventory, instance.sky)
    return choice.status, choice.proof.objective


def best_of_each(some: Several) -> tuple[Best, ...]:
    """The same of a kit for every task, each with all of the stock."""
    return tuple(best_of_one(Instance(task.operation, some.inventory, task.sky)) for task in some.tasks)


def best_grabbed(some: Several) -> Best:
    """The same of one bag for all tasks."""
    skies = {task.operation.name: task.sky for task in some.tasks}
    events = tuple(Event(task.operation.name, (task.operation,), ("",)) for task in some.tasks)
    standing = Standing("invented", "invented", events, (), "mass", STORED_DAYS)
    kit = grab_kit(standing, some.inventory, lambda operation: skies[operation.name])
    return kit.status, kit.proof.objective


CASES: dict[str, tuple[Callable[[int], Instance | Several], Callable[..., object]]] = {
    "plain": (numbered, best_of_one),
    "wired": (wired, best_of_one),
    "backed up": (backed_up, best_of_one),
    "nices": (with_nices, best_of_one),
    "wired nices": (wired_with_nices, best_of_one),
    "several": (lambda number: several(number, 2), best_of_each),
    "grabbed": (lambda number: several(number, 2, backup=True), best_grabbed),
}


@pytest.mark.parametrize("name", CASES)
def test_without_panels_a_third_of_the_answers_are_others(name: str) -> None:
    make, best = CASES[name]
    n_others, n = 0, N.get(name, 30)
    for number in range(n):
        made = make(number)
        dark = replace(made, inventory=replace(made.inventory, panels=()))
        n_others += best(made) != best(cast(Instance, dark))
        if n_others >= n / 3:
            return
    pytest.fail(f"{n_others} of {n}")
