"""Where one load's peak rules most batteries out: that load in a circuit of its own, by one solve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from kitopt.ask import Asker, Change
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Battery
from kitopt.model.need import draws, peak_a
from kitopt.sky.windows import SkyOf

_NOMINAL_V = 12.8
"""At which peaks are compared where there is no kit. [V]"""


@dataclass(frozen=True)
class Split:
    """What comes of a circuit of its own for one load.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
        Whether there are kits for the two circuits.
    id : str
        The load.
    peak_a : float
        Of all loads together. [A]
    kept_out : tuple of str
        Batteries that do not carry this peak, and would carry that of the other loads.
    less : int or None
        By how much the kits together are better by what counts first, negative where they are worse; None where
        there was no kit before, or is none now.
    mass_g : int or None
        Of both. [g]
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    """

    status: Literal["found", "no-kit", "time-limit"]
    id: str
    peak_a: float
    kept_out: tuple[str, ...]
    less: int | None = None
    mass_g: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()


def split(choice: Choice, *, sky_of: SkyOf | None = None, budget: Budget = UNLIMITED) -> Split | None:
    """Try the load with the highest peak in a circuit of its own; None where no peak keeps most batteries out.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best, or the proof that none works.
    """
    ruler = _ruler(choice)
    if ruler is None or not choice.proof.proved:
        return None
    place, together_a, kept_out = ruler
    use = choice.operation.loads[place]
    budget.say(f"{use.id} in a circuit of its own")
    apart = Change("circuit", use.id, use.id, place, replace(use, circuit=use.id))
    answer = Asker(choice, sky_of, budget).ask(apart)
    before = Split("time-limit", use.id, together_a, kept_out)
    if not answer.packed or not answer.proof.proved:
        return replace(before, status="no-kit" if answer.status == "no-kit" else "time-limit")
    known, now = choice.proof.objective, answer.proof.objective
    assert now is not None
    return replace(
        before,
        status="found",
        less=None if known is None else round(known - now),
        mass_g=answer.mass_g,
        instead=beyond(answer.packed, choice.packed),
        gone=beyond(choice.packed, answer.packed),
    )


def _ruler(choice: Choice) -> tuple[int, float, tuple[str, ...]] | None:
    """The load without whose peak most batteries could come in, by its place; the peak; and those batteries."""
    operation = choice.operation
    parts = draws(operation, choice.inventory, choice.bus.nominal_v if choice.bus else _NOMINAL_V)
    if len(operation.circuits) > 1 or operation.batteries == "parallel" or len(parts) < 2:
        return None
    place = max(range(len(parts)), key=lambda i: float(parts[i].peak_a.max()))
    rest_a = peak_a([part for i, part in enumerate(parts) if i != place])
    blocks = (block for _, some in choice.blocks for block in some if block.rule == "discharge-limit")
    ids = sorted({block.items[0] for block in blocks})
    things = [choice.inventory.by_id[i] for i in ids]
    freed = tuple(one.id for one in things if isinstance(one, Battery) and one.max_discharge_a >= rest_a)
    owned = sum(1 for one in choice.inventory.batteries if one.count > 0)
    return (place, peak_a(parts), freed) if 2 * len(freed) > owned else None
