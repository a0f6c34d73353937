"""Mass against hours, confidence or price: the kits of which none is beaten in both."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import Literal

from kitopt.ask import Asker, Change
from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.choice.kit import in_full
from kitopt.operation.terms import Operation
from kitopt.sky.windows import SkyOf

Against = Literal["hours", "confidence", "price"]

AGAINST: tuple[Against, ...] = ("hours", "confidence", "price")
_SHARES = ("1", "0.99", "0.98", "0.95", "0.9", "0.8", "0.7", "0.6", "0.5")
_STEPS = 12
_MOST_TIMES = 2.0
_LIGHTEST = Change("least", value="mass")


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
    asker = Asker(choice, sky_of, budget)
    found, is_cut_short = _by_price(asker) if against == "price" else _by_value(asker, against)
    return Tradeoff(against, tuple(unbeaten(found, is_more_better=against != "price")), is_cut_short)


def unbeaten(points: Sequence[Point], *, is_more_better: bool) -> list[Point]:
    """Points of which no other is as good in both respects, in order of value; of equal ones the first."""
    sign = -1.0 if is_more_better else 1.0
    kept: list[Point] = []
    for point in sorted(points, key=lambda p: (sign * p.value, p.choice.mass_g)):
        if not kept or point.choice.mass_g < kept[-1].choice.mass_g:
            kept.append(point)
    return sorted(kept, key=lambda p: p.value)


def _by_value(asker: Asker, against: Literal["hours", "confidence"]) -> tuple[list[Point], bool]:
    """The lightest kit at each value of a grid, and whether some could not be proved."""
    falling = sorted(_GRIDS[against][0](asker.choice.operation), reverse=True)
    each = at_once([partial(_point, asker, against, value) for value in falling])
    return [point for point, _ in each if point is not None], any(is_open for _, is_open in each)


def _point(asker: Asker, against: Literal["hours", "confidence"], value: float | Fraction) -> tuple[Point | None, bool]:
    """The lightest kit at a value, if there is one, and whether that could not be proved."""
    if asker.budget.is_over:
        return None, True
    asker.budget.say(f"{against} {float(value):g}")
    one = asker.ask(_LIGHTEST, Change(against, value=value))
    if one.status != "found":
        return None, one.status == "time-limit"
    one = in_full(one).light
    return Point(_GRIDS[against][1](one), one), False


def _hours(operation: Operation) -> list[float]:
    """From a sixth of the hours to twice as many."""
    step_h = operation.need.step_h
    asked = {operation.hours}
    for n in range(1, _STEPS + 1):
        asked.add(max(step_h, step_h * round(_MOST_TIMES * operation.hours * n / _STEPS / step_h)))
    return sorted(asked)


def _shares(operation: Operation) -> list[Fraction]:
    return sorted({Fraction(one) for one in _SHARES} | {operation.need.confidence}, reverse=True)


def _survived(choice: Choice) -> float:
    assert choice.survival is not None
    return choice.survival.survived / choice.survival.tried


_GRIDS: dict[str, tuple[Callable[[Operation], Sequence[float | Fraction]], Callable[[Choice], float]]] = {
    "hours": (_hours, lambda choice: choice.operation.hours),
    "confidence": (_shares, _survived),
}
"""The values that are asked for, and by which a kit is told."""


def _by_price(asker: Asker) -> tuple[list[Point], bool]:
    """The lightest kit below each of falling prices.

    What is lightest below a price, and cheapest among the equally light, is beaten by none.
    """
    cheapest = asker.ask(Change("least", value="price"))
    if cheapest.status != "found":
        return [], cheapest.status == "time-limit"
    points: list[Point] = []
    most: float = math.inf
    while most >= cheapest.price_cents:
        asker.budget.say("price" if math.isinf(most) else f"price {most / 100:,.2f}")
        one = asker.ask(_LIGHTEST, Change("price cap", value=most))
        if one.status == "time-limit":
            return points, True
        if one.status == "no-kit":
            break
        points.append(Point(float(one.price_cents), in_full(one)))
        stride = max(1.0, (points[0].value - cheapest.price_cents) / _STEPS)
        # the cheapest of all ends the list
        most = one.price_cents - stride
        if most < cheapest.price_cents < one.price_cents:
            most = float(cheapest.price_cents)
    return points, False
