"""A kit that somebody names, such as the usual bag: does it do, what is missing, what is too much.

Only what is named may be packed, and of its batteries and panels as many as the rules and leads allow are used.
What is missing is the purchase of a stock that owns the named kit and offers the rest of the inventory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.circuits import best_circuits, problem_of, search_circuits
from kitopt.choice.found import Found
from kitopt.choice.kit import in_full
from kitopt.choice.measure import listed, measured, of_found, with_need
from kitopt.choice.offers import bought_of
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.program import COST, given
from kitopt.choice.search import Search
from kitopt.choice.serving import serving_most
from kitopt.choice.strongest import strongest_of
from kitopt.choice.terms import Choice, Made, Packed, Proof, Status
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

_SECONDS_STRONGEST = 60.0


@dataclass(frozen=True)
class NamedKit:
    """A named kit, judged.

    Attributes
    ----------
    named : tuple of Packed
        As it was named, with the loads and extras that are always packed.
    choice : Choice
        How it fares, wired as well as it can be: "found" when it does. When it does not, the choice holds no kit,
        but `survival`, and its `shortfall` the strongest that can be wired of what is named.
    used : tuple of Packed
        What is used of it.
    needless : tuple of Packed, or None
        When it does: what could stay at home, the rest being the best kit of these pieces. None if not known.
    missing : tuple of Packed
        When it does not: what else of the inventory is needed, as little as can be of what counts first.
    repair : {"found", "no-kit", "time-limit"}
        Whether that is proved the least, cannot be had at all, or is not proved.
    over_limit_g : int
        By how much the whole of it is above the operation's limit. [g]
    """

    named: tuple[Packed, ...]
    choice: Choice
    used: tuple[Packed, ...] = ()
    needless: tuple[Packed, ...] | None = None
    missing: tuple[Packed, ...] = ()
    repair: Status = "found"
    over_limit_g: int = 0

    @property
    def status(self) -> Status:
        """Whether it does, does not, or that is not known."""
        return self.choice.status

    @property
    def mass_g(self) -> int:
        """Mass of all that is named. [g]"""
        return sum(one.count * self.choice.inventory.by_id[one.id].mass_g for one in self.named)

    @property
    def idle(self) -> tuple[Packed, ...]:
        """What of it is not used."""
        return beyond(self.named, self.used)


def judge_kit(
    operation: Operation, inventory: Inventory, sky: Sky, counts: Mapping[str, int], *, budget: Budget = UNLIMITED
) -> NamedKit:
    """Judge a kit that is named, with as many nice loads as it runs; what they add to it is as they are named.

    Parameters
    ----------
    counts : mapping of item id to int
        Pieces of it, no more than are owned. Loads and extras count only where they go beyond what is always packed.
    """
    only = only_of(inventory, counts)
    if len(operation.circuits) > 1:
        return _in_circuits(operation, inventory, sky, counts, only, budget)
    fares: dict[tuple[str, ...], Found] = {}

    def as_named(at: Operation, _: float, part: Budget) -> Choice:
        found = fares[at.nices] = _search(at, only, sky, ("idle", "items", "mass"), part).alone(0)
        return of_found(at, inventory, sky, found, found.tried)

    told = serving_most(replace(operation, nice_at_most_g=None), as_named, budget)
    operation, found = told.operation, fares[told.operation.nices]
    always = given(operation, inventory)
    named = _named(operation, inventory, counts)
    grams = sum(one.count * inventory.by_id[one.id].mass_g for one in named)
    kit = NamedKit(
        named,
        replace(_judged(operation, inventory, sky, found, grams, budget), nices=told.nices),
        over_limit_g=_over_limit_g(operation, grams),
    )
    if kit.status == "found":
        best = _search(operation, only, sky, in_order(operation.least), budget).alone(0)
        if best.best is None or best.best.outcome.counts is None or not best.is_sure:
            return replace(kit, used=kit.choice.packed)
        least = best.best.program.in_all(best.best.outcome.counts)
        needless = beyond(named, listed(inventory, {**always, **least}))
        return replace(kit, used=kit.choice.packed, needless=needless)
    used = () if kit.choice.shortfall is None else kit.choice.shortfall.packed
    missing, status = _missing(operation, inventory, sky, counts, budget)
    return replace(kit, used=used, missing=missing, repair=status)


def _named(operation: Operation, inventory: Inventory, counts: Mapping[str, int]) -> tuple[Packed, ...]:
    always = given(operation, inventory)
    return listed(inventory, {i: max(counts.get(i, 0), always.get(i, 0)) for i in sorted({*counts, *always})})


def _over_limit_g(operation: Operation, grams: int) -> int:
    return 0 if operation.mass_limit_g is None else max(0, grams - operation.mass_limit_g)


def _in_circuits(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    counts: Mapping[str, int],
    only: Inventory,
    budget: Budget,
) -> NamedKit:
    """A named kit for several circuits. Which piece is in which is not said: they are put where they are best."""

    def as_named(at: Operation, _: float, part: Budget) -> Choice:
        return best_circuits(replace(at, mass_limit_g=None), only, sky, budget=part)

    told = serving_most(replace(operation, nice_at_most_g=None), as_named, budget)
    choice = replace(told, inventory=inventory, operation=operation.running(told.operation.nices))
    named = _named(choice.operation, inventory, counts)
    grams = sum(one.count * inventory.by_id[one.id].mass_g for one in named)
    kit = NamedKit(named, choice, over_limit_g=_over_limit_g(operation, grams))
    if choice.packed:
        proof = Proof("mass", float(grams), float(grams), True)
        does = in_full(replace(choice, status="found", proof=proof))
        needless = beyond(named, choice.packed) if choice.proof.proved else None
        return replace(kit, choice=does, used=choice.packed, needless=needless)
    missing, status = _missing(choice.operation, inventory, sky, counts, budget)
    return replace(kit, choice=in_full(choice, budget), missing=missing, repair=status)


def _search(operation: Operation, only: Inventory, sky: Sky, names: Sequence[str], budget: Budget) -> Search:
    return Search(Problem((Wanted((operation,)),), only, lambda _: sky), names, budget)


def _judged(operation: Operation, inventory: Inventory, sky: Sky, found: Found, grams: int, budget: Budget) -> Choice:
    """How the named pieces fare; the proof is of the mass that is carried."""
    status: Status = "found" if found.has_kits else "no-kit" if found.is_sure else "time-limit"
    proof = Proof("mass", None, None, status == "no-kit")
    base = Choice(
        operation,
        inventory,
        sky,
        status,
        proof,
        solved=found.tried,
        blocks=tuple((one.model.bus, tuple(one.model.blocks)) for one in found.tried),
    )
    if found.best is not None:
        assert found.best.outcome.counts is not None
        base = replace(base, proof=Proof("mass", float(grams), float(grams), True))
        return measured(base, Made(found.best.model, sky, found.best.outcome.counts))
    base = with_need(base, found.tried[0].model.bus if found.tried else None)
    if status == "time-limit":
        return base
    shortfall = strongest_of(base, found.tried, budget.slice(_SECONDS_STRONGEST))
    if shortfall.made is None:
        return replace(base, shortfall=shortfall)
    fares = measured(base, shortfall.made)
    return replace(base, shortfall=shortfall, survival=fares.survival, need_wh=fares.need_wh, made=fares.made)


def _missing(
    operation: Operation, inventory: Inventory, sky: Sky, counts: Mapping[str, int], budget: Budget
) -> tuple[tuple[Packed, ...], Status]:
    """What the rest of the inventory has to add."""
    offered = {
        item.id: item.count - counts.get(item.id, 0)
        for item in inventory.chosen_from
        if item.count > counts.get(item.id, 0)
    }
    cost = COST[operation.least]
    prices = {i: cost(inventory.by_id[i]) for i in offered}
    names = ("cost", "mass", "items")
    if len(operation.circuits) > 1:
        problem = problem_of(operation, inventory, sky, offered, prices)
        _, best = search_circuits(Search(problem, names, budget, offered), operation)
        found = Found(best.best, best.bound, best.is_sure)
    else:
        problem = Problem((Wanted((operation,)),), inventory, lambda _: sky, ((0,),), offered=offered, prices=prices)
        found = Search(problem, names, budget, offered).alone(0)
    bought = bought_of(found)
    if bought is None:
        return (), "no-kit" if found.is_sure else "time-limit"
    return listed(inventory, bought), "found" if found.is_sure else "time-limit"


def only_of(inventory: Inventory, counts: Mapping[str, int]) -> Inventory:
    """An inventory of the named pieces, with all loads and extras."""

    return inventory.counting(lambda item: counts.get(item.id) or None)


def beyond(packed: tuple[Packed, ...], other: tuple[Packed, ...]) -> tuple[Packed, ...]:
    """What one list has more of than another."""
    counts = {one.id: one.count for one in other}
    return tuple(replace(one, count=n) for one in packed if (n := one.count - counts.get(one.id, 0)) > 0)
