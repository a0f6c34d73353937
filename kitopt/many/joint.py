"""Several operations on one stock, and on what could be bought, as one plan.

Operations that overlap share the stock; others use the same pieces one after another. An operation
that several bus classes could serve has a kit for each, and a column that says whether that one is
made; one that may be left out has such a column too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import Budget
from kitopt.engine import Case, Objective, Outcome, Plan
from kitopt.engine.lazily import choose_lazily
from kitopt.engine.learned import CaseMemory
from kitopt.inventory.items import CHOSEN_KINDS, Inventory
from kitopt.many.side_by_side import Placed, SideBySide
from kitopt.many.terms import Outing, at_once
from kitopt.model.bus import BusClass, bus_classes
from kitopt.model.kit import KitModel
from kitopt.pack import (
    Choice,
    Proof,
    Solved,
    Status,
    build_model,
    build_plan,
    cases_under,
    measured,
    with_need,
)
from kitopt.sky.windows import Sky, SkyOf

Floats = NDArray[np.float64]
Terms = list[tuple[int, float]]


@dataclass
class Bench:
    """What is asked and what there is, with skies made once.

    Attributes
    ----------
    stock : Inventory
        Owned and offered together; each item's count is both.
    offered : mapping of item id to int
        How many of it could be bought; nothing when only owned things count.
    prices : mapping of item id to int
        What one that is offered costs. [1/100]
    """

    outings: tuple[Outing, ...]
    stock: Inventory
    offered: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, int] = field(default_factory=dict)
    skies: dict[int, Sky] = field(default_factory=dict)
    sky_of: SkyOf | None = None

    def sky(self, o: int) -> Sky:
        """The windows of one outing."""
        if o not in self.skies:
            assert self.sky_of is not None
            self.skies[o] = self.sky_of(self.outings[o].operation)
        return self.skies[o]

    def owned(self, item_id: str) -> int:
        """How many of an item are owned."""
        return self.stock.by_id[item_id].count - self.offered.get(item_id, 0)

    def with_purchases(self, allowed: Mapping[str, int]) -> Inventory:
        """What is owned, and so many of each offered item; what there is none of is left out."""

        def some(items: tuple[object, ...]) -> tuple[object, ...]:
            kept = []
            for item in items:
                n = self.owned(item.id) + min(allowed.get(item.id, 0), self.offered.get(item.id, 0))  # type: ignore[attr-defined]
                if n > 0 or item.id not in self.offered:  # type: ignore[attr-defined]
                    kept.append(replace(item, count=n))  # type: ignore[type-var]
            return tuple(kept)

        return replace(self.stock, **{kind: some(getattr(self.stock, kind)) for kind in CHOSEN_KINDS})  # type: ignore[arg-type]


class Joint:
    """The plan of some outings together."""

    def __init__(
        self,
        bench: Bench,
        numbers: Sequence[int],
        allowed: Mapping[str, int],
        *,
        classes: Mapping[int, Sequence[BusClass]] | None = None,
        may_skip: bool = False,
        change: Callable[[int, Case], Case] | None = None,
    ) -> None:
        self.bench, self.numbers = bench, list(numbers)
        self.stock = bench.with_purchases(allowed)
        self.side = SideBySide()
        self.buys = {
            item_id: self.side.add_column(min(n, bench.offered[item_id]))
            for item_id, n in sorted(allowed.items())
            if n > 0 and bench.offered.get(item_id, 0) > 0
        }
        self.skips: dict[int, int] = {}
        self.kits: dict[int, list[Placed]] = {}
        self.first_cases: list[int] = []
        every = bus_classes(self.stock.batteries)
        for o in self.numbers:
            self._add(o, every if classes is None else classes[o], may_skip, change)
        self._share_stock()

    def _add(
        self,
        o: int,
        classes: Sequence[BusClass],
        may_skip: bool,
        change: Callable[[int, Case], Case] | None,
    ) -> None:
        operation, sky = self.bench.outings[o].operation, self.bench.sky(o)
        is_free = may_skip or len(classes) != 1
        made: Terms = []
        kits = []
        for k, bus in enumerate(classes):
            column = self.side.add_column(1.0) if is_free else None
            model = build_model(operation, self.stock, bus, sky)
            cases = [c if change is None else change(o, c) for c in cases_under(model, sky)]
            self.first_cases.append(len(self.side.cases))
            kits.append(self.side.add_kit(model, cases, f"outing {o}, class {k}", column))
            if column is not None:
                made.append((column, 1.0))
        if may_skip:
            self.skips[o] = self.side.add_column(1.0)
            made.append((self.skips[o], 1.0))
        if is_free:
            if not made:
                made = [(self.side.add_column(0.0), 1.0)]
            self.side.add_row(made, 1.0, 1.0, "served", f"{operation.name} has one kit")
        self.kits[o] = kits

    def _share_stock(self) -> None:
        """What outings need at the same time is owned or bought."""
        chosen = tuple(self.bench.outings[o] for o in self.numbers)
        for together in at_once(chosen):
            kits = [kit for place in together for kit in self.kits[self.numbers[place]]]
            ids = sorted({i for kit in kits for column in kit.model.columns for i in column.uses})
            for item_id in ids:
                terms = [term for kit in kits for term in kit.uses(item_id)]
                most = sum(c * self.side.upper[j] for j, c in terms)
                owned = self.bench.owned(item_id)
                if most > owned:
                    bought = [(self.buys[item_id], -1.0)] if item_id in self.buys else []
                    text = f"{owned} × {item_id} owned"
                    self.side.add_row([*terms, *bought], upper=float(owned), rule="stock", text=text)

    def forbid_purchase(self, bought: Mapping[str, int]) -> None:
        """Rule out every purchase that has all of one."""
        if any(n > self.side.upper[self.buys[i]] for i, n in bought.items() if i in self.buys):
            return
        all_of: Terms = []
        for item_id, n in sorted(bought.items()):
            if item_id not in self.buys:
                return
            column = self.buys[item_id]
            most = self.side.upper[column]
            is_reached = self.side.add_column(1.0)
            terms = [(column, 1.0), (is_reached, -(most - n + 1))]
            self.side.add_row(terms, upper=n - 1.0, rule="purchase", text="another purchase")
            all_of.append((is_reached, 1.0))
        self.side.add_row(all_of, upper=len(all_of) - 1.0, rule="purchase", text="another purchase")

    # -- what is to be made small ------------------------------------------------------

    def objective(self, name: str) -> Objective:
        """Unserved outings, pieces bought, what they cost, or the mass or pieces of all kits."""
        by_id = self.stock.by_id
        terms: Terms = []
        if name == "unserved":
            terms = [(j, 1.0) for j in self.skips.values()]
        elif name == "bought":
            terms = [(j, 1.0) for j in self.buys.values()]
        elif name == "cost":
            terms = [(j, float(self.bench.prices[i])) for i, j in self.buys.items()]
        else:
            for kits in self.kits.values():
                for kit in kits:
                    for j, column in enumerate(kit.model.columns):
                        each = {i: by_id[i].mass_g if name == "mass" else 1 for i in column.uses}
                        terms.append((kit.first + j, float(sum(n * each[i] for i, n in column.uses.items()))))
        return Objective(name, self.side.weights(terms))

    def plan(self, name: str) -> Plan:
        """The plan with one objective, to be followed by others."""
        return self.side.plan([self.objective(name)])

    def solve(
        self,
        names: Sequence[str],
        *,
        budget: Budget,
        cutoff: float = math.inf,
        at_most: Mapping[str, float] | None = None,
    ) -> tuple[Outcome, dict[str, tuple[float, float]]]:
        """Make one quantity small after another.

        Parameters
        ----------
        cutoff : float
            Of the first quantity.
        at_most : mapping, optional
            Other quantities that may not be larger.

        Returns
        -------
        outcome : Outcome
            Of the first quantity, with the counts of the last.
        reached : dict of (value, bound)
            By quantity, of those that were looked at.
        """
        for name, most in (at_most or {}).items():
            row = self.objective(name).most(most)
            if row is not None and row.terms:
                self.side.rows.append(row)
        memories: dict[str, CaseMemory] = {}
        reached: dict[str, tuple[float, float]] = {}
        first: Outcome | None = None
        for name in names:
            plan = self.plan(name)
            objective = plan.objectives[0]
            if first is not None and not np.any(objective.weights):
                continue
            most = cutoff if first is None else float(objective.of(_counts(first)))
            outcome = choose_lazily(
                plan,
                self.first_cases,
                budget=budget,
                cutoff=most,
                memories=memories,
            )
            if outcome.counts is None:
                if first is None:
                    return outcome, reached
                # what is known already stands
                reached[name] = (most, outcome.bound if outcome.status == "time-limit" else most)
                break
            reached[name] = (outcome.objective, outcome.bound)
            first = outcome if first is None else replace(first, counts=outcome.counts)
            row = objective.most(outcome.objective)
            if row is not None and row.terms:
                self.side.rows.append(row)
            if outcome.status == "time-limit":
                break
        assert first is not None
        return first, reached

    def least_mass_with(
        self,
        bought: Mapping[str, int],
        memories: dict[str, CaseMemory],
        *,
        budget: Budget,
        cutoff: float = math.inf,
    ) -> Outcome:
        """The lightest kits with some of the purchases that the plan allows.

        Parameters
        ----------
        memories : dict of CaseMemory
            What was learned with other purchases; what holds for all is added.
        """
        upper = np.array(self.side.upper)
        missing = {i for i in self.buys if not bought.get(i) and not self.bench.owned(i)}
        for item_id, j in self.buys.items():
            upper[j] = min(upper[j], bought.get(item_id, 0))
        for kits in self.kits.values():
            for kit in kits:
                idle = [j for j, c in enumerate(kit.model.columns) if not missing.isdisjoint(c.uses)]
                upper[kit.first + np.array(idle, dtype=np.intp)] = 0.0
        here = {name: memory.fork(is_restriction=False) for name, memory in memories.items()}
        outcome = choose_lazily(
            replace(self.plan("mass"), upper=upper),
            self.first_cases,
            budget=budget,
            cutoff=cutoff,
            memories=here,
        )
        memories |= {name: memory.fork(is_restriction=False) for name, memory in here.items()}
        return outcome

    # -- what came of it ----------------------------------------------------------------

    def made(self, counts: Floats) -> dict[int, Placed]:
        """The kit of each outing that has one."""
        found = {}
        for o, kits in self.kits.items():
            for kit in kits:
                if kit.is_made(counts):
                    found[o] = kit
        return {o: kit for o, kit in found.items() if o not in self.skips or round(float(counts[self.skips[o]])) == 0}

    def used(self, counts: Floats) -> dict[int, dict[str, int]]:
        """How many of each item each outing takes."""
        return {o: used_by(kit.model, kit.counts(counts)) for o, kit in self.made(counts).items()}

    def choices(self, counts: Floats, proof: Proof, status: Status) -> dict[int, Choice]:
        """The kits, measured, by outing."""
        found = {}
        for o, kit in self.made(counts).items():
            operation, sky = self.bench.outings[o].operation, self.bench.sky(o)
            model = kit.model
            outcome = Outcome("found", kit.counts(counts), 0.0, 0.0, (), rounds=0)
            solved = Solved(model, build_plan(model, cases_under(model, sky)), outcome)
            blocks = ((model.bus, tuple(model.blocks)),)
            choice = Choice(operation, self.stock, sky, status, proof, blocks=blocks, solved=(solved,))
            found[o] = measured(with_need(choice, model.bus), solved)
        return found


def used_by(model: KitModel, counts: Floats) -> dict[str, int]:
    """How many of each item counts of a model take."""
    used: dict[str, int] = {}
    for column, n in zip(model.columns, counts, strict=True):
        for item_id, each in column.uses.items():
            if round(float(n)):
                used[item_id] = used.get(item_id, 0) + each * round(float(n))
    return used


def _counts(outcome: Outcome) -> Floats:
    assert outcome.counts is not None
    return outcome.counts
