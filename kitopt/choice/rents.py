"""What kits that are needed at the same time would pay for a thing that there is not enough of for all of them.

Where each pays a *rent* for it beside its price, each can be chosen by itself, and what all of them cost and pay, less
the rents of all that there is, is never more than what the cheapest kits cost that there is enough for (Lagrange's
relaxation). The rents of which that tells most are looked for where the kits that are known so far tell most: a linear
program (Kelley's cutting planes), near the best so far.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kitopt.engine.solver import Program, solve

OWNED, OFFERED = "owned", "offered"
Thing = tuple[str, str]
"""Whether it is owned or offered, and its id."""
Limits = Mapping[Thing, int]
"""Of some things a kit may have no more than so many; of others, all that there are."""
Rents = Mapping[Thing, int]
"""What one of some things costs beside its price. [1/100]"""


@dataclass(frozen=True)
class Taking:
    """A kit by what it takes.

    Attributes
    ----------
    cents : int
        What it costs, without rents. [1/100]
    """

    takes: Limits
    cents: int

    def fits(self, limits: Limits) -> bool:
        """Whether what it takes is within limits."""
        return all(self.takes.get(thing, 0) <= n for thing, n in limits.items())

    def pays(self, rents: Rents) -> int:
        """What it costs with rents. [1/100]"""
        return self.cents + sum(n * rents.get(thing, 0) for thing, n in self.takes.items())


def better_rents(
    kits: Mapping[int, Sequence[Taking]], there: Mapping[Thing, int], near: Rents, reach: int, step: int
) -> tuple[dict[Thing, int], float]:
    """Rents of which the kits that are known tell most, and how much: other kits tell no more of them.

    Parameters
    ----------
    kits : mapping of int to sequence of Taking
        By the number of the kit.
    there : mapping
        The things that a rent may be paid for, and how many of each there are.
    near, reach : mapping, int
        None differs from these by more. [1/100]
    step : int
        They are multiples of this. [1/100]
    """
    program = Program()
    of_kit = {o: program.add_column(0.0, math.inf, integer=False, cost=-1.0) for o in kits}
    of_thing = {
        thing: program.add_column(
            max(0.0, near.get(thing, 0) - reach), near.get(thing, 0) + reach, integer=False, cost=n
        )
        for thing, n in there.items()
    }
    for o, some in kits.items():
        for kit in some:
            paid = [(of_thing[thing], -float(n)) for thing, n in kit.takes.items() if thing in of_thing]
            program.add_row([(of_kit[o], 1.0), *paid], upper=float(kit.cents))
    answer = solve(program, relaxed=True)
    assert answer.values is not None
    rents = {thing: step * round(answer.values[j] / step) for thing, j in of_thing.items()}
    return {thing: rent for thing, rent in rents.items() if rent}, -answer.objective
