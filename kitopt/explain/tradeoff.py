"""Mass against hours, confidence or price: the kits of which none is beaten in both."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, measured, pack
from kitopt.engine import Row
from kitopt.explain.again import Again, Resolver, Rule
from kitopt.inventory.items import has_no_price
from kitopt.model.kit import KitModel
from kitopt.operation.extras import always_packed
from kitopt.operation.terms import Operation
from kitopt.sky.windows import SkyOf

Against = Literal["hours", "confidence", "price"]

AGAINST: tuple[Against, ...] = ("hours", "confidence", "price")
_SHARES = ("1", "0.99", "0.98", "0.95", "0.9", "0.8", "0.7", "0.6", "0.5")
_STEPS = 12
_MOST_TIMES = 2.0


@dataclass(frozen=True)
class Point:
    """A kit, proved lightest for its value.

    Attributes
    ----------
    value : float
        Hours asked for, share of the windows survived, or price in hundredths.
    """

    value: float
    choice: Choice


@dataclass(frozen=True)
class Tradeoff:
    """Kits by value, of which none is beaten in both mass and value; cut short where some could not be proved."""

    against: Against
    points: tuple[Point, ...]
    is_cut_short: bool = False


def tradeoff(
    choice: Choice,
    against: Against,
    *,
    sky_of: SkyOf,
    budget: Budget = UNLIMITED,
) -> Tradeoff:
    """The lightest kits at a dozen steps of another quantity, without those that another beats.

    Parameters
    ----------
    choice : Choice
        The operation as it was asked, solved for any objective.
    sky_of : callable
        The weather of an operation; its windows stay what they are.
    """
    if against == "price":
        found, is_cut_short = _by_price(choice, budget)
    else:
        questions = _hours(choice.operation) if against == "hours" else _shares(choice.operation)
        found, is_cut_short = [], False
        for operation in questions:
            if budget.is_over:
                is_cut_short = True
                break
            budget.say(f"{against} {operation.hours if against == 'hours' else float(operation.need.confidence):g}")
            one = pack(operation, choice.inventory, sky_of(operation), budget=budget)
            is_cut_short |= one.status == "time-limit"
            if one.status == "found":
                found.append(Point(_value(one, against), one))
    return Tradeoff(against, tuple(unbeaten(found, is_more_better=against != "price")), is_cut_short)


def unbeaten(points: Sequence[Point], *, is_more_better: bool) -> list[Point]:
    """Points of which no other is as good in both respects, in order of value; of equal ones the first."""
    sign = -1.0 if is_more_better else 1.0
    kept: list[Point] = []
    for point in sorted(points, key=lambda p: (sign * p.value, p.choice.mass_g)):
        if not kept or point.choice.mass_g < kept[-1].choice.mass_g:
            kept.append(point)
    return sorted(kept, key=lambda p: p.value)


def _value(choice: Choice, against: Against) -> float:
    if against == "hours":
        return choice.operation.hours
    assert choice.survival is not None
    return choice.survival.survived / choice.survival.tried


def _hours(operation: Operation) -> list[Operation]:
    """From a sixth of the hours to twice as many."""
    step_h = operation.need.step_h
    asked = {operation.hours}
    for n in range(1, _STEPS + 1):
        asked.add(max(step_h, step_h * round(_MOST_TIMES * operation.hours * n / _STEPS / step_h)))
    return [replace(operation, hours=h, least="mass") for h in sorted(asked)]


def _shares(operation: Operation) -> list[Operation]:
    shares = {Fraction(one) for one in _SHARES} | {operation.need.confidence}
    return [
        replace(operation, need=replace(operation.need, confidence=q), least="mass")
        for q in sorted(shares, reverse=True)
    ]


def _by_price(choice: Choice, budget: Budget) -> tuple[list[Point], bool]:
    """The lightest kit below each of falling prices.

    What is lightest below a price, and cheapest among the equally light, is beaten by none.
    """
    operation = replace(choice.operation, least="mass")
    cheapest = pack(replace(operation, least="price"), choice.inventory, choice.sky, budget=budget)
    if cheapest.status != "found":
        return [], cheapest.status == "time-limit"
    lightest = pack(operation, choice.inventory, choice.sky, budget=budget)
    if lightest.status != "found":
        return [], True
    resolver = Resolver(lightest, breaks_ties=True)
    points: list[Point] = []
    most: float = math.inf
    while most >= cheapest.price_cents:
        budget.say("price" if math.isinf(most) else f"price {most / 100:,.2f}")
        again = resolver.under(_priced_at_most(lightest, most), budget=budget)
        if again.status == "time-limit":
            return points, True
        if again.best is None:
            break
        point = _point(lightest, again)
        points.append(point)
        stride = max(1.0, (points[0].value - cheapest.price_cents) / _STEPS)
        # the cheapest of all ends the list
        most = point.value - stride
        if most < cheapest.price_cents < point.value:
            most = float(cheapest.price_cents)
    return points, False


def _point(lightest: Choice, again: Again) -> Point:
    assert again.best is not None
    assert again.objective is not None
    proof = replace(lightest.proof, objective=float(again.objective), bound=float(again.objective), proved=True)
    one = replace(measured(replace(lightest, solved=again.solved), again.made(lightest.sky)), proof=proof)
    return Point(float(one.price_cents), one)


def _priced_at_most(choice: Choice, most_cents: float) -> Rule:
    """Nothing of unknown price, and all together no dearer than that."""
    owned = choice.inventory.by_id
    given = [(use.id, use.count) for use in choice.operation.loads] + [
        (x.id, x.count) for x in always_packed(choice.operation, choice.inventory)
    ]
    fixed_cents = sum(n * (owned[item_id].price_cents or 0) for item_id, n in given)

    def rows(model: KitModel) -> Sequence[Row]:
        unknown, priced = [], []
        for j, column in enumerate(model.columns):
            if any(has_no_price(owned[i]) for i in column.uses):
                unknown.append((j, 1.0))
            elif column.uses:
                # in whole currency, which keeps coefficients near the others
                priced.append((j, sum(n * (owned[i].price_cents or 0) for i, n in column.uses.items()) / 100))
        found = []
        if unknown:
            found.append(Row(tuple(unknown), upper=0.0, rule="asked", text="nothing of unknown price"))
        if math.isfinite(most_cents):
            upper = (most_cents - fixed_cents) / 100 + 1e-6
            found.append(Row(tuple(priced), upper=upper, rule="asked", text=f"at most {most_cents / 100:.2f}"))
        return found

    return rows
