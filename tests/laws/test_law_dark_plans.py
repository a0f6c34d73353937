"""Grab-kits, shares and purchases without sun, held to counting out every way. See `oracle.dark`."""

from __future__ import annotations

import random
from collections import Counter
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from oracle.dark import (
    LAMP_G,
    Box,
    Night,
    batteries_of,
    every_set,
    fewest_bags,
    lightest_g,
    sums,
    told,
    with_bought,
    write_plan,
    write_stock,
)

N_INSTANCES = 24
MOST_RANKED = 8
"""So many single pieces are told of."""


def boxes(rng: random.Random, first: str, n: int, most: int) -> list[Box]:
    """Boxes of one's own or on offer; what holds more need not weigh or cost more."""
    return [
        Box(
            f"{first}{i}",
            rng.randint(1, most),
            (ah := rng.randint(2, 20)),
            ah * rng.choice([60, 90, 130]) + rng.randint(0, 50),
            ah * rng.randint(3, 9),
        )
        for i in range(n)
    ]


def nights(rng: random.Random, n: int, spread_h: int = 0) -> list[Night]:
    """Nights that begin within some hours."""
    return [
        Night(f"n{i}", rng.randint(3, 20), rng.randint(1, 14), rng.randint(0, spread_h), rng.choice(["", "one", "two"]))
        for i in range(n)
    ]


# -- grab-kit ------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_a_grab_kit_is_the_smallest_and_goes_into_the_fewest_bags(number: int, tmp_path: Path) -> None:
    rng = random.Random(number)
    owned, events, least = boxes(rng, "b", 3, 2), nights(rng, 2), rng.choice(["mass", "items"])
    heavy = 2 * LAMP_G + sum(b.mass_g for b in owned)
    limits = [rng.randint(LAMP_G, heavy) for _ in range(rng.randint(1, 3))]
    if number % 2:
        limits[-1] = limits[0]
    bags = "\n".join(f'[[bags]]\nname = "bag {i}"\nmass_g = {limit}' for i, limit in enumerate(limits))
    write_stock(tmp_path, owned, events)
    found = told("grab-kit", write_plan(tmp_path, "events", events, f'least = "{least}"\n{bags}'))

    need_wh, lamps_g = max(n.needs_wh for n in events), 2 * LAMP_G
    works = [s for s in every_set(owned) if sums(owned, s)[0] >= need_wh and sums(owned, s)[1] + lamps_g <= sum(limits)]
    if not works:
        assert (found["status"], found["exit"], found["kit"], found["bags"]) == ("no-kit", 3, [], [])
        return
    assert (found["status"], found["exit"]) == ("found", 0)
    kit = batteries_of(found["kit"])
    assert dict(kit) in works

    def size(some: dict[str, int]) -> int:
        return sums(owned, some)[1] if least == "mass" else sum(some.values())

    assert size(dict(kit)) == min(map(size, works))
    assert found["mass_g"] == sums(owned, kit)[1] + lamps_g
    mass_g = {one["id"]: one["mass_g"] for one in found["kit"]}
    pieces = [mass_g[one["id"]] for one in found["kit"] for _ in range(one["count"])]
    fewest = fewest_bags(pieces, limits)
    if fewest is None:
        assert found["bags"] == []
        return
    assert [(bag["name"], bag["limit_g"]) for bag in found["bags"]] == [(f"bag {i}", g) for i, g in enumerate(limits)]
    inside = [Counter({one["id"]: one["count"] for one in bag["kit"]}) for bag in found["bags"]]
    assert all(n > 0 for one in inside for n in one.values())
    assert sum(inside, Counter()) == Counter({one["id"]: one["count"] for one in found["kit"]})
    loads = [sum(n * mass_g[i] for i, n in one.items()) for one in inside]
    assert all(g <= limit for g, limit in zip(loads, limits, strict=True))
    assert sum(1 for g in loads if g) == fewest


def test_of_equal_bags_the_first_are_used(tmp_path: Path) -> None:
    # one box of 900 g and a lamp of 300 g go into any one of three bags of 1,300 g
    events = [Night("hut", 10, 10)]
    write_stock(tmp_path, [Box("b", 1, 10, 900)], events)
    bags = "\n".join(f'[[bags]]\nname = "bag {i}"\nmass_g = 1300' for i in range(3))
    found = told("grab-kit", write_plan(tmp_path, "events", events, bags))
    assert [sum(one["count"] for one in bag["kit"]) for bag in found["bags"]] == [2, 0, 0]


@pytest.mark.parametrize(("limit_g", "is_enough"), [(1200, True), (1199, False)])
def test_a_bag_holds_its_limit_to_the_gram(limit_g: int, is_enough: bool, tmp_path: Path) -> None:
    # a box of 900 g and a lamp of 300 g, which only the first bag could hold; the second is for the sum's sake
    events = [Night("hut", 10, 10)]
    write_stock(tmp_path, [Box("b", 1, 10, 900)], events)
    bags = f'[[bags]]\nname = "sack"\nmass_g = {limit_g}\n[[bags]]\nname = "pouch"\nmass_g = 299'
    found = told("grab-kit", write_plan(tmp_path, "events", events, bags))
    assert found["status"] == "found"
    assert [len(bag["kit"]) for bag in found["bags"]] == ([2, 0] if is_enough else [])


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_the_grab_kit_within_a_mass_lasts_longest(number: int, tmp_path: Path) -> None:
    rng = random.Random(1000 + number)
    owned, events = boxes(rng, "b", 3, 2), nights(rng, 2)
    # thirsty lamps end within hours; thrifty ones reach the two weeks beyond which nothing is tried
    if number % 8 == 0:
        events = [Night(n.name, 0, n.hours) for n in events]
    mass_g = 2 * LAMP_G + rng.randint(100, sum(b.count * b.mass_g for b in owned))
    write_stock(tmp_path, owned, events)
    found = told("grab-kit", write_plan(tmp_path, "events", events), "--mass", f"{mass_g} g")

    watts = max(n.lamp_w for n in events)
    light = [s for s in every_set(owned) if s and sums(owned, s)[1] + 2 * LAMP_G <= mass_g]
    hours = max((int(sums(owned, s)[0] / watts) for s in light), default=0)
    hours = min(hours, 14 * 24)
    assert found["hours"] == hours
    if hours == 0:
        assert (found["status"], found["kit"]) == ("no-kit", [])
        return
    assert (found["status"], found["exit"]) == ("found", 0)
    lightest = min(sums(owned, s)[1] for s in light if sums(owned, s)[0] >= watts * hours)
    assert found["mass_g"] == lightest + 2 * LAMP_G == sum(one["count"] * one["mass_g"] for one in found["kit"])
    assert sums(owned, batteries_of(found["kit"]))[0] >= watts * hours
    assert [one["hours"] for one in found["kits"]] == [hours, hours]


# -- share ---------------------------------------------------------------------------------


def handed(found: dict[str, Any]) -> list[tuple[str, int, str | None, str]]:
    """What changes hands, in words; lamps aside, of which each night has its own."""
    some = [h for h in found["handovers"] if not h["id"].startswith("lamp")]
    return [(h["id"], h["count"], h["from"], h["to"]) for h in some]


def replayed(outings: list[Night], kits: dict[str, Counter[str]]) -> list[tuple[str, int, str | None, str]]:
    """What has to change hands: a piece stays with its operator, else comes from where it was free first."""
    place_of: dict[str, list[Night]] = {}
    found = []
    for taker in sorted((n for n in outings if n.name in kits), key=lambda n: n.starts_h):
        for item_id, n_wanted in sorted(kits[taker.name].items()):
            places = place_of.setdefault(item_id, [])
            free = sorted((p for p in places if p.ends_h <= taker.starts_h), key=lambda p: (p.ends_h, p.name))
            own = [p for p in free if taker.operator and p.operator == taker.operator]
            others = [p for p in free if p not in own]
            kept = own[:n_wanted]
            given = others[: n_wanted - len(kept)]
            for giver, n in Counter(given).items():
                found.append((item_id, n, giver.name, taker.name))
            if n_wanted > len(kept) + len(given):
                found.append((item_id, n_wanted - len(kept) - len(given), None, taker.name))
            for place in (*kept, *given):
                places.remove(place)
            places += [taker] * n_wanted
    return found


def test_handovers_are_what_has_to_change_hands(tmp_path: Path) -> None:
    n_given, n_kept = 0, 0
    for number in range(N_INSTANCES):
        rng = random.Random(2000 + number)
        owned, outings = boxes(rng, "b", 3, 3), nights(rng, 4, 60)
        starts = rng.sample(range(60), len(outings))
        # every second time all are somebody's, so that much stays with its operator
        nobody = "one" if number % 2 else ""
        outings = [
            Night(n.name, n.watts, n.hours, h, n.operator or nobody) for n, h in zip(outings, starts, strict=True)
        ]
        folder = tmp_path / str(number)
        write_stock(folder, owned, outings)
        found = told("share", write_plan(folder, "operations", outings))
        with_kit = [sheet["operation"] for sheet in found["sheets"] if sheet["has_kit"]]
        kits = {name: batteries_of(kit["kit"]) for name, kit in zip(with_kit, found["kits"], strict=True)}
        right = replayed(outings, kits)
        assert sorted(handed(found), key=str) == sorted(right, key=str), number
        # told by when they are taken
        when = {n.name: n.starts_h for n in outings}
        assert [when[to] for *_, to in handed(found)] == sorted(when[to] for *_, to in handed(found)), number
        for one in found["handovers"]:
            giver = next((n for n in outings if n.name == one["from"]), None)
            assert (one["place"], one["after"]) == (None, None) if giver is None else one["place"] == "47.00, 13.00"
        n_given += sum(giver is not None for _, _, giver, _ in right)
        n_kept += sum(map(sum, (k.values() for k in kits.values()))) - sum(n for _, n, _, _ in right)
    assert n_given >= 20
    assert n_kept >= 20


def test_pieces_are_free_the_moment_an_outing_ends(tmp_path: Path) -> None:
    # the only box: from ten hours on it is the second night's
    box = [Box("b", 1, 10, 900)]
    first, second = Night("n0", 10, 10, 0, "one"), Night("n1", 10, 10, 10, "two")
    write_stock(tmp_path, box, [first, second])
    found = told("share", write_plan(tmp_path, "operations", [first, second]))
    assert found["status"] == "found"
    assert handed(found) == [("b", 1, None, "n0"), ("b", 1, "n0", "n1")]
    after = {h["id"]: h["after"] for h in found["handovers"] if h["from"]}
    assert after == {"b": "2027-01-15T22:00:00+00:00"}


def test_nobody_goes_short_where_there_is_enough(tmp_path: Path) -> None:
    n_short = 0
    for number in range(20):
        rng = random.Random(3000 + number)
        owned = boxes(rng, "b", 3, 1)
        outings = [Night(n.name, 2 * n.watts, n.hours) for n in nights(rng, 2)]
        folder = tmp_path / str(number)
        write_stock(folder, owned, outings)
        found = told("share", write_plan(folder, "operations", outings))
        # both begin at once: every box is with one or the other
        best = min(
            (
                sums(owned, mine)[1] + sums(owned, theirs)[1]
                for mine in every_set(owned)
                for theirs in every_set(owned)
                if not set(mine) & set(theirs)
                and sums(owned, mine)[0] >= outings[0].needs_wh
                and sums(owned, theirs)[0] >= outings[1].needs_wh
            ),
            default=None,
        )
        assert found["status"] == ("no-kit" if best is None else "found"), number
        if best is None:
            n_short += 1
            assert min(sheet["share_met"] for sheet in found["sheets"]) < 1, number
        else:
            assert found["mass_g"] == best + 2 * LAMP_G, number
            assert [sheet["share_met"] for sheet in found["sheets"]] == [1, 1], number
    assert 3 <= n_short <= 17


# -- buy -----------------------------------------------------------------------------------


def drawn_season(number: int, n_offered: int) -> tuple[list[Box], list[Box], list[Night]]:
    """What is owned and offered, and nights one after another."""
    rng = random.Random(4000 + number)
    owned, offered = boxes(rng, "b", 1, 2), boxes(rng, "o", n_offered, 2)
    return owned, offered, [Night(n.name, n.watts, n.hours, 48 * i) for i, n in enumerate(nights(rng, 3))]


def season(
    number: int, folder: Path, *options: str, n_offered: int = 5
) -> tuple[list[Box], list[Box], list[Night], Any]:
    """Nights one after another, what is owned and offered, and the answer."""
    owned, offered, outings = drawn_season(number, n_offered)
    write_stock(folder, owned, outings)
    write_stock(folder / "catalogue", offered, [])
    return owned, offered, outings, told("buy", write_plan(folder, "operations", outings), *options)


def types_offered(number: int) -> int:
    """Sometimes more than are told of."""
    return 4 if number % 3 else 12


def ranked(
    owned: list[Box], offered: list[Box], outings: list[Night], budget: float
) -> list[tuple[str, list[str], int]]:
    """What one piece of each type makes possible and saves: most outings, most saved for its price, the cheapest."""
    found = []
    for box in offered:
        if box.price > budget:
            continue
        with_one = with_bought(owned, offered, {box.id: 1})
        serves, saved_g = [], 0
        for night in outings:
            before, after = lightest_g(owned, night.needs_wh), lightest_g(with_one, night.needs_wh)
            if before is None and after is not None:
                serves.append(night.name)
            elif before is not None and after is not None:
                saved_g += before - after
        if serves or saved_g:
            found.append((-len(serves), -saved_g / box.price, box.price, box.id, serves, saved_g))
    return [(item_id, serves, saved_g) for _, _, _, item_id, serves, saved_g in sorted(found)]


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_single_pieces_are_ranked_by_what_they_do(number: int, tmp_path: Path) -> None:
    budget = random.Random(number).choice([None, None, 40, 90])
    options = [] if budget is None else ["--budget", str(budget)]
    owned, offered, outings, found = season(number, tmp_path, *options, n_offered=types_offered(number))
    right = ranked(owned, offered, outings, float("inf") if budget is None else budget)[:MOST_RANKED]
    assert [(one["id"], one["makes_possible"], one["saved_g"]) for one in found["singles"]] == right
    assert found["has_all_singles"]
    price = {box.id: box.price for box in offered}
    for one in found["singles"]:
        assert one["price"] == price[one["id"]]
        assert one["saved_g_per_unit"] == pytest.approx(one["saved_g"] / one["price"], abs=5e-4)


def test_what_is_owned_stays_in_hand_where_more_of_it_is_offered_too(tmp_path: Path) -> None:
    # 173 Wh, 13.5 Ah: box and heavy are 4000 g; with one light piece box and that are 1500 g, with another box 2000 g
    box, heavy, light = Box("box", 1, 8, 1000, 10), Box("heavy", 1, 8, 3000, 10), Box("light", 1, 7, 500, 10)
    night = Night("night", 17, 10)
    write_stock(tmp_path, [box, heavy], [night])
    write_stock(tmp_path / "catalogue", [box, light], [])
    found = told("buy", write_plan(tmp_path, "operations", [night]))
    assert [(one["id"], one["saved_g"]) for one in found["singles"]] == [("light", 2500), ("box", 2000)]


def test_the_single_pieces_exercise_what_they_are_meant_to(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    for number in range(N_INSTANCES):
        owned, offered, outings = drawn_season(number, types_offered(number))
        right = ranked(owned, offered, outings, float("inf"))
        seen["more than are told"] += len(right) > MOST_RANKED
        seen["two or more"] += len(right) >= 2
        seen["makes possible"] += any(serves for _, serves, _ in right)
        seen["saves"] += any(saved_g for _, _, saved_g in right)
    assert all(seen[name] >= 3 for name in ("more than are told", "two or more", "makes possible", "saves")), seen


@pytest.mark.parametrize("number", range(N_INSTANCES))
def test_purchases_are_the_best_of_all(number: int, tmp_path: Path) -> None:
    budget = random.Random(number).choice([None, 0, 40, 90, 150])
    options = ["--no-singles"] if budget is None else ["--no-singles", "--budget", str(budget)]
    owned, offered, outings, found = season(number, tmp_path, *options)
    best: tuple[tuple[int, ...], int, int] | None = None
    for bought in every_set(offered):
        cost = sums(offered, bought)[2]
        if budget is not None and cost > budget:
            continue
        stock = with_bought(owned, offered, bought)
        masses = [g for night in outings if (g := lightest_g(stock, night.needs_wh)) is not None]
        mass_g = sum(masses) + LAMP_G * len(masses)
        order = (-len(masses), *((cost, mass_g) if budget is None else (mass_g, cost)))
        if masses and (best is None or order < best[0]):
            best = order, cost, mass_g
    if best is None:
        assert (found["served"], found["cost"], found["buy"]) == ([], 0, [])
        return
    (n_unserved, *_), cost, mass_g = best
    assert len(found["served"]) == -n_unserved == len(found["kits"])
    assert sorted(found["served"] + found["unserved"]) == [night.name for night in outings]
    assert (found["cost"], found["mass_g"]) == (cost, mass_g)
    assert found["is_lightest"]
    assert found["proof"]["proved"]
    assert sums(offered, batteries_of(found["buy"]))[2] == cost
    stock = with_bought(owned, offered, batteries_of(found["buy"]))
    by_name = {night.name: night for night in outings}
    for kit in found["kits"]:
        assert batteries_of(kit["kit"]) <= Counter({box.id: box.count for box in stock})
        assert sums(stock, batteries_of(kit["kit"]))[0] >= by_name[kit["name"]].needs_wh


def test_of_purchases_at_one_price_that_for_the_lightest_kit_is_made(tmp_path: Path) -> None:
    # each alone is enough for 173 Wh, 13.5 Ah, and costs the same
    offered = [Box("a-heavy", 1, 14, 2000, 10), Box("b-light", 1, 14, 1500, 10), Box("c-middling", 1, 14, 1800, 10)]
    night = Night("night", 17, 10)
    write_stock(tmp_path, [], [night])
    write_stock(tmp_path / "catalogue", offered, [])
    found = told("buy", write_plan(tmp_path, "operations", [night]), "--no-singles")
    assert batteries_of(found["buy"]) == {"b-light": 1}
    assert found["cost"] == 10


def test_no_two_pieces_of_a_purchase_are_needless(tmp_path: Path) -> None:
    # whatever is left out of the cheapest purchase, some outing goes without
    n_bought = 0
    for number in range(20):
        owned, offered, outings, found = season(number, tmp_path / str(number), "--no-singles")
        bought = batteries_of(found["buy"])
        n_bought += bool(bought)
        for size in range(1, min(3, bought.total()) + 1):
            for left_out in combinations(bought.elements(), size):
                stock = with_bought(owned, offered, bought - Counter(left_out))
                served = [n.name for n in outings if lightest_g(stock, n.needs_wh) is not None]
                assert len(served) < len(found["served"]), (number, left_out)
    assert n_bought >= 5
