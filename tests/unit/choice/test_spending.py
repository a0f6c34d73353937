"""The best purchases within a sum, against every set of them there is; kits are made up as what they take and weigh."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

import pytest

from kitopt.choice import spending
from kitopt.choice import trials as module
from kitopt.choice.problem import most_of_each
from kitopt.choice.spending import Spending
from kitopt.choice.trials import Trials

Bought = Mapping[str, int]


@dataclass(frozen=True)
class Kit:
    """What a kit takes of what is bought, and its mass."""

    taken: Bought
    mass_g: float


@dataclass(frozen=True)
class Found:
    """As the search tells it."""

    best: Kit | None
    is_sure: bool = True

    @property
    def value(self) -> float:
        return math.inf if self.best is None else self.best.mass_g

    @property
    def bound(self) -> float:
        return self.value if self.is_sure else 0.0

    @property
    def has_kits(self) -> bool:
        return self.best is not None


class Shop:
    """A few types at a price, and groups of outings with the kits that each could have."""

    def __init__(self, number: int) -> None:
        luck = random.Random(number)
        self.offered = {f"type-{i}": luck.randint(1, 2) for i in range(luck.randint(1, 5))}
        self.prices = {i: luck.choice([0, 10, 10, 25, 40]) for i in self.offered}
        self.most = luck.choice([0, 20, 50, 90, math.inf])
        self.groups = [tuple(range(n)) for n in range(1, luck.randint(1, 3) + 1)]
        self.n_asked = 0
        self.is_late = False

        def kit() -> Kit:
            taken = {i: luck.randint(0, n) for i, n in self.offered.items() if luck.random() < 0.5}
            return Kit({i: n for i, n in taken.items() if n}, luck.randint(5, 15) * 100.0)

        # some groups have a kit of what is owned, some need a purchase
        owned = [[Kit({}, 1500.0)] if luck.random() < 0.7 else [] for _ in self.groups]
        self.kits = [some + [kit() for _ in range(luck.randint(1, 6))] for some in owned]

    def cents(self, bought: Bought) -> int:
        return sum(n * self.prices[i] for i, n in bought.items())

    def best(self, g: int, bought: Bought, cutoff: float = math.inf) -> Found:
        self.n_asked += 1
        if self.is_late:
            return Found(None, is_sure=False)
        within = [
            kit
            for kit in self.kits[g]
            if all(bought.get(i, 0) >= n for i, n in kit.taken.items())
            and self.cents(kit.taken) <= self.most
            and kit.mass_g <= cutoff
        ]
        return Found(min(within, key=lambda kit: kit.mass_g, default=None))

    def trials(self) -> Trials:
        shop = self

        class With:
            def __init__(self, bought: Bought) -> None:
                self.bought = bought

            def together(self, group: Sequence[int], cutoff: float = math.inf) -> Found:
                return shop.best(shop.groups.index(tuple(group)), self.bought, cutoff)

        widest: Any = [self.best(g, self.offered) for g in range(len(self.groups))]
        return Trials(cast(Any, With), self.groups, self.offered, widest)

    def every_set(self) -> Iterator[tuple[float, int]]:
        """Mass and cost of each that is within the sum and serves all."""
        for numbers in itertools.product(*(range(n + 1) for n in self.offered.values())):
            bought = dict(zip(self.offered, numbers, strict=True))
            found = [self.best(g, bought) for g in range(len(self.groups))]
            if self.cents(bought) <= self.most and all(one.has_kits for one in found):
                yield sum(one.value for one in found), self.cents(bought)

    def cheapest(self) -> Bought | None:
        """A set with which all are served, at least cost."""
        sets = [most for some in itertools.product(*self.kits) if self.cents(most := dict_of(some)) <= self.most]
        return min(sets, key=self.cents, default=None)


def dict_of(kits: Sequence[Kit]) -> dict[str, int]:
    needs: dict[str, int] = {}
    for kit in kits:
        needs = most_of_each(needs, kit.taken)
    return needs


@pytest.fixture(autouse=True)
def taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "bought_of", lambda found: None if found.best is None else found.best.taken)
    # what is asked is counted here
    monkeypatch.setattr(module, "at_once", lambda parts: [part() for part in parts])


def test_no_set_is_lighter_and_none_as_light_is_cheaper() -> None:
    n_served = n_bought = 0
    for number in range(400):
        shop = Shop(number)
        in_hand = shop.cheapest()
        if in_hand is None:
            continue
        right = min(shop.every_set())
        bought, is_proved = Spending(shop.trials(), shop.prices, shop.most).lightest(shop.offered, in_hand)
        mass_g = sum(shop.best(g, bought).value for g in range(len(shop.groups)))
        assert is_proved, number
        assert (mass_g, shop.cents(bought)) == right, number
        n_served += 1
        n_bought += bool(bought)
    assert n_served > 200
    assert n_bought > 80


def test_little_is_asked_where_the_best_of_each_is_within_the_sum() -> None:
    shop = Shop(0)
    shop.offered = {f"type-{i}": 1 for i in range(12)}
    shop.prices = dict.fromkeys(shop.offered, 10)
    shop.most = 1000.0
    shop.groups = [(0,), (1,)]
    shop.kits = [[Kit({}, 900.0), Kit({f"type-{i}": 1 for i in range(g, g + 3)}, 500.0)] for g in range(2)]
    trials = shop.trials()
    bought, is_proved = Spending(trials, shop.prices, shop.most).lightest(shop.offered, {})
    assert is_proved
    assert bought == {f"type-{i}": 1 for i in range(4)}
    # of 4,096 sets: all there is, what is owned, and without each of what the best takes
    assert shop.n_asked <= 20


def test_a_lighter_set_is_met_long_before_it_is_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    shop = Shop(0)
    shop.offered = {f"type-{i}": 1 for i in range(12)}
    shop.prices = dict.fromkeys(shop.offered, 10)
    shop.most = 50.0
    shop.groups = [(i,) for i in range(12)]
    # what is lightest takes all twelve, and of the five that are within the sum there are 792 sets
    shop.kits = [[Kit({}, 1000.0), Kit({f"type-{i}": 1}, 900.0 - i)] for i in range(12)]
    monkeypatch.setattr(spending, "_MOST_ROUNDS", 60)
    bought, is_proved = Spending(shop.trials(), shop.prices, shop.most).lightest(shop.offered, {})
    assert not is_proved
    assert len(bought) == 5


def test_what_is_not_known_in_time_is_not_called_proved() -> None:
    n_open = 0
    for number in range(60):
        shop = Shop(number)
        in_hand = shop.cheapest()
        if in_hand is None:
            continue
        in_time, late = shop.trials(), shop.trials()
        before = shop.n_asked
        Spending(in_time, shop.prices, shop.most).lightest(shop.offered, in_hand)
        if shop.n_asked == before:
            continue
        n_open += 1
        shop.is_late = True
        bought, is_proved = Spending(late, shop.prices, shop.most).lightest(shop.offered, in_hand)
        shop.is_late = False
        assert not is_proved, number
        # what was found before is not lost
        masses_g = [sum(shop.best(g, some).value for g in range(len(shop.groups))) for some in (bought, in_hand)]
        assert masses_g[0] <= masses_g[1] < math.inf, number
        assert shop.cents(bought) <= shop.most, number
    assert n_open > 20
