"""A problem, or some of its kits, laid out as one plan: columns, rows, cases and objectives.

A kit that several bus classes could serve is there once for each, with a column that says whether that
one is made; one that may be left out has such a column too. What kits share is one row an item.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from kitopt.budget import UNLIMITED, Budget, check_time
from kitopt.choice.laid import at_date, trial_under
from kitopt.choice.problem import Change, Problem
from kitopt.choice.side_by_side import Floats, Placed, SideBySide
from kitopt.engine import Objective, Outcome, Plan, Row, Trial
from kitopt.engine.lazily import choose_lazily
from kitopt.engine.learned import CaseMemory
from kitopt.engine.prices import ALONE
from kitopt.inventory.items import Inventory, Item, has_no_price
from kitopt.model.bus import BusClass
from kitopt.model.kit import Join, KitModel
from kitopt.model.panel_side import meets_station
from kitopt.operation.extras import always_packed
from kitopt.operation.terms import Operation

UNPRICED_CENTS = 10**7
"""Stands in for a missing price where price is not what counts first, so that a known price wins."""

Classes = Mapping[int, Sequence[BusClass]]
"""By kit, the bus classes that it may be of."""

COST: dict[str, Callable[[Item], int]] = {
    "mass": lambda item: item.mass_g,
    "price": lambda item: UNPRICED_CENTS if has_no_price(item) else item.price_cents or 0,
    "items": lambda _: 1,
}
"""What one piece adds to each quantity that kits have."""


class Program:
    """The plan of some kits of a problem.

    Parameters
    ----------
    allowed : mapping of item id to int
        How many of what is offered may be bought.
    may_skip : bool
        Whether a kit may be left out.
    change : callable, optional
        Changes each case, such as to a share of its need.

    Raises
    ------
    OutOfTime
    """

    def __init__(
        self,
        problem: Problem,
        classes: Classes,
        allowed: Mapping[str, int] | None = None,
        *,
        may_skip: bool = False,
        change: Change | None = None,
        budget: Budget = UNLIMITED,
    ) -> None:
        allowed = allowed or {}
        self.problem, self.numbers = problem, sorted(classes)
        self.stock = problem.with_purchases(allowed)
        self.memories: dict[str, CaseMemory] = {}
        self.side = SideBySide()
        self.skips: dict[int, int] = {}
        self.kits: dict[int, list[Placed]] = {}
        self.bag: dict[str, int] = {}
        self.first_cases: list[int] = []
        self.known: list[Row] = []
        with budget.in_force():
            for o in self.numbers:
                self._add(o, classes[o], may_skip, change)
            # after the kits: one that is alone has the first columns, and its rows as they were laid
            self.buys = {
                item_id: self.side.add_column(min(n, problem.offered[item_id]))
                for item_id, n in sorted(allowed.items())
                if n > 0 and problem.offered.get(item_id, 0) > 0
            }
            if problem.is_one_bag:
                self._pack_one_bag()
            else:
                self._share_stock()

    def _add(self, o: int, classes: Sequence[BusClass], may_skip: bool, change: Change | None) -> None:
        skies = self.problem.skies(o)
        darkest = int(np.argmin([float(np.mean(sky.poa_wm2["flat"])) for sky in skies]))
        is_free = may_skip or len(classes) != 1
        made: list[tuple[int, float]] = []
        self.kits[o] = []
        for k, bus in enumerate(classes):
            check_time()
            column = self.side.add_column(1.0) if is_free else None
            laid = self.problem.layouts.of(self.problem.dated(o, self.stock, bus))
            model, dated = laid.model, list(laid.cases)
            if change is not None:
                dated = [tuple(change(o, case) for case in cases) for cases in dated]
            before = len(self.side.cases) + sum(len(cases) for cases in dated[:darkest])
            self.first_cases += range(before, before + len(dated[darkest]))
            trials = self._trials(o, model, change)
            self.kits[o].append(self.side.add_kit(o, model, dated, f"kit {o}, class {k}, ", column, trials))
            if column is not None:
                made.append((column, 1.0))
        if may_skip:
            self.skips[o] = self.side.add_column(1.0)
            made.append((self.skips[o], 1.0))
        if is_free:
            made = made or [(self.side.add_column(0.0), 1.0)]
            text = f"{self.problem.wanted[o].operation.name} has one kit"
            self.side.add_row(made, 1.0, 1.0, rule="served", text=text)

    def _trials(self, o: int, model: KitModel, change: Change | None) -> list[Trial]:
        """What a kit must survive besides its cases, at each of its dates."""
        changed = (lambda case: case) if change is None else partial(change, o)
        dates = zip(self.problem.wanted[o].dates, self.problem.skies(o), strict=True)
        found = [trial_under(at_date(model, date), sky, f"date {d}", changed) for d, (date, sky) in enumerate(dates)]
        return [trial for trial in found if trial is not None]

    def _pack_one_bag(self) -> None:
        """What a kit takes is in the bag; what it does not need is taken out."""
        kits = [kit for some in self.kits.values() for kit in some]
        least: dict[str, int] = {}
        for o in self.numbers:
            for bound in self.problem.wanted[o].operation.bounds:
                least[bound.id] = max(least.get(bound.id, 0), bound.least)
        for item_id in sorted({i for kit in kits for i in kit.items()} | {i for i, n in least.items() if n}):
            item = self.stock.by_id[item_id]
            pack = self.bag[item_id] = self.side.add_column(float(item.count), float(least.get(item_id, 0)))
            for kit in kits:
                terms = [*kit.uses(item_id), (pack, -1.0)]
                self.side.add_row(terms, upper=0.0, rule="packed", text=f"{item_id} comes out of the bag")

    def _share_stock(self) -> None:
        """What kits need at the same time is owned or bought."""
        here = [tuple(o for o in together if o in self.kits) for together in self.problem.at_once]
        for together in sorted({some for some in here if some and not any(set(some) < set(other) for other in here)}):
            kits = [kit for o in together for kit in self.kits[o]]
            if len(kits) == 1 and not self.buys:
                continue  # its own rows say so
            for item_id in sorted({i for kit in kits for i in kit.items()}):
                terms = [term for kit in kits for term in kit.uses(item_id)]
                owned = self.problem.owned(item_id)
                if sum(c * self.side.upper[j] for j, c in terms) > owned:
                    bought = [(self.buys[item_id], -1.0)] if item_id in self.buys else []
                    text = f"{owned} × {item_id} owned"
                    self.side.add_row([*terms, *bought], upper=float(owned), rule="stock", text=text)

    def closed(self, plan: Plan, bought: Mapping[str, int]) -> Plan:
        """A plan of this program with no more purchases than some of those that it allows."""
        upper = np.array(plan.upper)
        for item_id, j in self.buys.items():
            upper[j] = min(upper[j], bought.get(item_id, 0))
            if not bought.get(item_id) and not self.problem.owned(item_id):
                for kits in self.kits.values():
                    for kit in kits:
                        upper[[column for column, _ in kit.uses(item_id)]] = 0.0
        return replace(plan, upper=upper, widest=plan.upper)

    def forbid_purchase(self, bought: Mapping[str, int]) -> None:
        """Rule out every purchase that has all of one."""
        if any(i not in self.buys or n > self.side.upper[self.buys[i]] for i, n in bought.items()):
            return
        all_of: list[tuple[int, float]] = []
        for item_id, n in sorted(bought.items()):
            column = self.buys[item_id]
            is_reached = self.side.add_column(1.0)
            terms = [(column, 1.0), (is_reached, -(self.side.upper[column] - n + 1))]
            self.side.add_row(terms, upper=n - 1.0, rule="purchase", text="another purchase")
            all_of.append((is_reached, 1.0))
        self.side.add_row(all_of, upper=len(all_of) - 1.0, rule="purchase", text="another purchase")

    def with_any_of(self, ids: Collection[str], least: int = 1) -> Iterator[Row]:
        """Each kit holds so many of some items at least."""
        for kits in self.kits.values():
            terms = {j: 1.0 for kit in kits for item_id in kit.items() if item_id in ids for j, _ in kit.uses(item_id)}
            text = f"{least} of {', '.join(sorted(ids))}"
            yield Row(tuple(sorted(terms.items())), lower=float(least), rule="asked", text=text)

    def least_row(self, o: int, place: int, name: str, least: float) -> Row | None:
        """What one kit has of a quantity at the least, if it is made: known from choosing it alone."""
        kit, by_id = self.kits[o][place], self.stock.by_id
        carried = given(kit.model.operation, self.stock).items()
        least -= sum(n * ((by_id[i].price_cents or 0) if name == "price" else COST[name](by_id[i])) for i, n in carried)
        weights = self.side.weights([(j, c * COST[name](by_id[i])) for i in kit.items() for j, c in kit.uses(i)])
        terms = [(int(j), float(weights[j])) for j in np.flatnonzero(weights)]
        if not terms or not 0.0 < least < math.inf:
            return None
        made = [] if kit.made is None else [(kit.made, -least)]
        lower = -1e-6 if made else least - 1e-6
        return Row((*terms, *made), lower, rule=ALONE, text=f"what kit {o} has alone at the least")

    # -- what is to be made small ------------------------------------------------------

    def objective(self, name: str) -> Objective:
        """Kits left out, batteries and panels left idle, pieces bought, their cost, or mass, price or pieces packed."""
        if name == "unserved":
            return Objective(name, self.side.weights([(j, 1.0) for j in self.skips.values()]))
        if name == "idle":
            stored = [item for item in (*self.stock.batteries, *self.stock.panels) if item.count > 0]
            terms = [(j, -c) for (kit,) in self.kits.values() for item in stored for j, c in kit.uses(item.id)]
            return Objective(name, self.side.weights(terms), sum(item.count for item in stored))
        if name in ("bought", "cost"):
            each = {i: 1 if name == "bought" else self.problem.prices[i] for i in self.buys}
            return Objective(name, self.side.weights([(j, float(each[i])) for i, j in self.buys.items()]))
        if name == "ends":
            kits = [kit for some in self.kits.values() for kit in some]
            return Objective(
                name, self.side.weights([(kit.first + j, 1.0) for kit in kits for j in _by_station_ends(kit.model)])
            )
        cost, by_id = COST[name], self.stock.by_id
        one = {item_id: float(cost(item)) for item_id, item in by_id.items()}
        terms = [(j, one[i]) for i, j in self.bag.items()]
        if not self.bag:
            kits = [kit for some in self.kits.values() for kit in some]
            terms = [(j, c * one[i]) for kit in kits for i in kit.items() for j, c in kit.uses(i)]
        known = (lambda item: item.price_cents or 0) if name == "price" else cost
        return Objective(name, self.side.weights(terms), sum(n * known(by_id[i]) for i, n in self.carried().items()))

    def carried(self) -> dict[str, int]:
        """What is packed whatever is chosen: the loads and extras of every kit, or of the bag."""
        total: dict[str, int] = {}
        for o in self.numbers:
            if o not in self.skips:
                for item_id, n in given(self.problem.wanted[o].operation, self.stock).items():
                    known = total.get(item_id, 0)
                    total[item_id] = max(known, n) if self.problem.is_one_bag else known + n
        return total

    def plan(self, names: Sequence[str], at_most: Mapping[str, float] | None = None) -> Plan:
        """The plan with what is to be made small in its order, and with what may not be larger."""
        limits = [self.objective(name).most(most) for name, most in (at_most or {}).items()]
        plan = self.side.plan(
            [self.objective(name) for name in names],
            self._told_apart(),
            [row for row in limits if row is not None and row.terms],
            self.known,
        )
        if names[0] == "price":
            # what has no price cannot be compared, so it is not chosen
            for kits in self.kits.values():
                for item_id in {i for kit in kits for i in kit.items() if has_no_price(self.stock.by_id[i])}:
                    for kit in kits:
                        plan.upper[[j for j, _ in kit.uses(item_id)]] = 0.0
        return plan

    def _told_apart(self) -> list[Floats]:
        """The quantities by which one bag or one kit is told from another; of several kits none."""
        if self.bag:
            return [self.side.weights([(j, 1.0)]) for j in self.bag.values()]
        kits = [kit for some in self.kits.values() for kit in some]
        if len(kits) != 1 or self.problem.offered or len(self.problem.wanted) > 1:
            return []
        (kit,) = kits
        return [self.side.weights(kit.uses(item_id)) for item_id in sorted(kit.items())]

    def solve(
        self,
        plan: Plan,
        *,
        cutoff: float = math.inf,
        memories: dict[str, CaseMemory] | None = None,
        least: float = -math.inf,
        enough: float = -math.inf,
        may_put_off: bool = False,
        in_hand: Floats | None = None,
        budget: Budget = UNLIMITED,
    ) -> Outcome:
        """Choose, with the cases that are failed most at first and others as they are failed."""
        memories = self.memories if memories is None else memories
        return choose_lazily(
            plan,
            self.first_cases,
            budget=budget,
            cutoff=cutoff,
            memories=memories,
            least=least,
            enough=enough,
            may_put_off=may_put_off,
            in_hand=in_hand,
        )

    def of_kits(self, kits: Mapping[int, tuple[Placed, Floats | None]]) -> Floats | None:
        """The counts of kits that were found each by itself, and of what has to be bought for them; None where they
        are laid out otherwise.

        Parameters
        ----------
        kits : mapping of number to (Placed, ndarray)
            Where a kit stands in the plan that it was found in, and the counts of that.
        """
        found = np.zeros(len(self.side.upper))
        for o, (kit,) in self.kits.items():
            placed, counts = kits[o]
            if self.bag or counts is None or kit.model.columns != placed.model.columns:
                return None
            kit.counts(found)[:] = placed.counts(counts)
        needs = self.problem.beyond_owned(self.used(found))
        for item_id, j in self.buys.items():
            found[j] = needs.get(item_id, 0)
        return found

    # -- what came of it ----------------------------------------------------------------

    def made(self, counts: Floats) -> dict[int, Placed]:
        """The kit of each number that has one."""
        return {
            o: kit
            for o, kits in self.kits.items()
            for kit in kits
            if kit.is_made(counts) and (o not in self.skips or round(float(counts[self.skips[o]])) == 0)
        }

    def used(self, counts: Floats) -> dict[int, dict[str, int]]:
        """How many of each item each kit takes."""
        return {o: used_by(kit.model, kit.counts(counts)) for o, kit in self.made(counts).items()}

    def in_all(self, counts: Floats) -> dict[str, int]:
        """How many of each item are packed in all, what is carried apart."""
        if self.bag:
            return {i: n for i, j in self.bag.items() if (n := round(float(counts[j])))}
        total: dict[str, int] = {}
        for used in self.used(counts).values():
            for item_id, n in used.items():
                total[item_id] = total.get(item_id, 0) + n
        return total


def _by_station_ends(model: KitModel) -> Iterator[int]:
    """Joins of panels by ends that fit into the station: at an equal first objective, the fewer the better."""
    for j in model.join_columns:
        join = model.columns[j].meaning
        assert isinstance(join, Join)
        if meets_station(model.operation, join, model.units[join.unit].controller.pv_connector):
            yield j


def given(operation: Operation, inventory: Inventory) -> dict[str, int]:
    """What a kit holds whatever is chosen: its loads and the extras."""
    total: dict[str, int] = {}
    for use in operation.loads:
        total[use.id] = total.get(use.id, 0) + use.count
    return total | {extra.id: extra.count for extra in always_packed(operation, inventory)}


def used_by(model: KitModel, counts: Floats) -> dict[str, int]:
    """How many of each item counts of a model take."""
    used: dict[str, int] = {}
    for column, count in zip(model.columns, counts, strict=True):
        n = round(float(count))
        for item_id, each in column.uses.items():
            if n:
                used[item_id] = used.get(item_id, 0) + each * n
    return used
