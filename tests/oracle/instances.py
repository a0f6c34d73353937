"""Small random operations, inventories and skies: numbers as on labels, weather as it comes.

Every value is invented. All randomness comes from one generator, so a number names an instance.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from kitopt.inventory.items import Battery, Connector, Controller, Extra, Inventory, Load, Panel
from kitopt.operation.terms import LoadUse, Need, Operation, Site, Span
from kitopt.sky.windows import Sky
from kitopt.sky.worth import Numbered
from oracle.search import best_share, kits_in_order
from oracle.world import World

GENDERLESS = Connector("genderless-30")
SITE = Site(45.0, 5.0, 300.0, ZoneInfo("UTC"), None, None)
CONFIDENCES = (Fraction(4, 5), Fraction(19, 20), Fraction(1))


@dataclass(frozen=True)
class Instance:
    """One problem, ready to be solved both ways."""

    operation: Operation
    inventory: Inventory
    sky: Sky


def panel(item_id: str, rated_w: float, **changes: Any) -> Panel:
    """A panel with a 36-cell panel's voltages unless told otherwise."""
    vmp_v = changes.pop("vmp_v", 18.0)
    imp_a = changes.pop("imp_a", rated_w / vmp_v)
    values: dict[str, Any] = {
        "name": item_id,
        "mass_g": 1000,
        "price_cents": 5000,
        "vmp_v": vmp_v,
        "imp_a": imp_a,
        "voc_v": 1.22 * vmp_v,
        "isc_a": 1.07 * imp_a,
        "power_per_degc": -0.004,
        "voc_per_degc": -0.003,
        "connector": GENDERLESS,
        "tilts": True,
        "folding": True,
        "output_factor": 0.75,
    }
    return Panel(id=item_id, rated_w=rated_w, **(values | changes))


def battery(item_id: str, capacity_ah: float, **changes: Any) -> Battery:
    """A battery, LiFePO4 unless told otherwise, that gives what its label says."""
    values: dict[str, Any] = {
        "name": item_id,
        "mass_g": 1000,
        "price_cents": 5000,
        "chemistry": "lifepo4",
        "nominal_v": 12.8,
        "measured_ah": capacity_ah,
        "efficiency": 0.95,
        "depth_share": 0.9,
        "max_charge_a": 20.0,
        "max_discharge_a": 20.0,
        "lowest_charging_degc": 0.0,
        "fused": True,
        "connector": GENDERLESS,
    }
    return Battery(id=item_id, capacity_ah=capacity_ah, **(values | changes))


def controller(item_id: str, kind: str, max_charge_a: float, **changes: Any) -> Controller:
    """A charge controller without panel limits unless told otherwise."""
    values: dict[str, Any] = {
        "name": item_id,
        "mass_g": 150,
        "price_cents": 2000,
        "max_pv_v": 60.0,
        "efficiency": 0.95,
        "idle_ma": 0.0,
        "pv_connector": GENDERLESS,
        "battery_connector": GENDERLESS,
    }
    return Controller(id=item_id, kind=kind, max_charge_a=max_charge_a, **(values | changes))  # type: ignore[arg-type]


def load(item_id: str, **values: Any) -> Load:
    """Something to be powered."""
    return Load(id=item_id, name=item_id, **({"mass_g": 500, "price_cents": 1000, "connector": GENDERLESS} | values))


def operation(loads: tuple[LoadUse, ...], hours: float, **changes: Any) -> Operation:
    """An outing in a time zone without clock changes, from nine in the morning."""
    need = {key: changes.pop(key) for key in list(changes) if key in Need.__dataclass_fields__}
    start = changes.pop("start", datetime(2026, 10, 10, 9, tzinfo=ZoneInfo("UTC")))
    return Operation("invented.toml", "invented", start, hours, SITE, loads, Need(**need), **changes)


def sky(
    poa_wm2: list[list[float]],
    *,
    step_h: float = 1.0,
    flat_wm2: list[list[float]] | None = None,
    panel_degc: float | list[list[float]] = 25.0,
    battery_degc: float | list[list[float]] = 20.0,
    coldest_degc: float = 5.0,
) -> Sky:
    """Weather windows from lists; a single temperature holds throughout."""
    aimed = np.array(poa_wm2, dtype=np.float64)
    flat = aimed if flat_wm2 is None else np.array(flat_wm2, dtype=np.float64)

    def degrees(value: float | list[list[float]]) -> np.ndarray:
        return np.full((1, aimed.shape[1]), value) if isinstance(value, float) else np.array(value)

    return Sky(
        start=datetime(2026, 10, 10, 9, tzinfo=UTC),
        step_h=step_h,
        poa_wm2={"aimed": aimed, "flat": flat},
        useful_wm2={"aimed": aimed, "flat": flat},
        panel_degc={"aimed": degrees(panel_degc), "flat": degrees(panel_degc)},
        air_degc=degrees(battery_degc),
        battery_degc=degrees(battery_degc),
        coldest_degc=coldest_degc,
        labels=tuple(f"window {k + 1}" for k in range(len(poa_wm2))),
        source="invented",
        # from a block of values into the next
        numbered=Numbered(11, 1000 + 3 * np.arange(len(poa_wm2), dtype=np.int64)),
    )


SPREADS = {0.6: 0.3, 0.75: 0.13, 0.9: 0.0, 1.1: 0.06, 1.15: 0.06}
"""How sure the worth of a random panel is, by that worth: nothing more is drawn, so that all else stays as it was."""


def random_instance(rng: random.Random, n_windows: int = 40) -> Instance:
    """An inventory of at most ten pieces and an operation that it may or may not power.

    Most loads are brought close to what the best kit can do, so that the last piece counts, and often panels do.
    """
    made = drawn(rng, n_windows)
    if rng.random() < 0.1:
        return made
    world = World(made.operation, made.inventory, made.sky)
    kits = kits_in_order(world)
    share = best_share(world, kits)
    if not 0.05 < share < 1.0:
        return made
    panels = {panel.id for panel in made.inventory.panels}
    dark = best_share(world, [kit for kit in kits if panels.isdisjoint(i for i, _ in kit.counts)])
    return replace(made, inventory=drawing(near_the_best(rng, share, dark), made.inventory))


def drawn(rng: random.Random, n_windows: int) -> Instance:
    """The same before its loads are brought close to anything."""
    outing = _outing(rng)
    # one draw for all weather: a generator that records its draws would drown in it
    weather = random.Random(rng.getrandbits(32))
    return Instance(outing, _inventory(rng, outing), _sky(weather, outing, n_windows))


def near_the_best(rng: random.Random, share: float, dark: float, room: float = 0.1) -> float:
    """A share of the need that leaves little room to what the best kit meets, and none to the best without sun."""
    if dark < share - 1e-3 and rng.random() < 0.95:
        return rng.uniform(max(dark, (1.0 - room) * share), share)
    return share * rng.choice([rng.uniform(0.6, 1.02), rng.uniform(0.93, 1.0)])


def drawing(factor: float, inventory: Inventory) -> Inventory:
    """The inventory with loads that draw so many times as much."""
    fields = ("idle_a", "idle_w", "full_a", "full_w")
    loads = (replace(x, **{f: factor * v for f in fields if (v := getattr(x, f)) is not None}) for x in inventory.loads)
    return replace(inventory, loads=tuple(loads))


@cache
def numbered(seed: int) -> Instance:
    """The instance of a number."""
    return random_instance(random.Random(seed))


def _outing(rng: random.Random) -> Operation:
    step_h = rng.choice([1.0, 1.0, 0.5, 1.5])
    hours = step_h * rng.randint(12, 18) - rng.choice([0.0, 0.0, 0.25])
    first = LoadUse(
        "radio",
        count=rng.choice([1, 1, 2]),
        full_share=rng.choice([0.4, 0.5, 1.0]),
        transmit_share=rng.choice([0.0, 0.1, 0.2, 0.5]),
        spans=rng.choice([(), (), (Span(540, 1260),), (Span(1080, 480),)]),
        quiet=rng.choice(["listen", "off"]),
    )
    second = LoadUse("lamp", full_share=1.0, transmit_share=1.0, spans=(Span(1080, 1380),), quiet="off")
    reserve = rng.choice([(0.1, 0.0), (0.0, 0.0), (0.0, 10.0), (0.25, 0.0)])
    start_charge_share, start_h = rng.choice([1.0, 1.0, 0.8, 0.6]), rng.choice([6, 6, 9, 17])
    if rng.random() < 0.1:
        # so little charge that the controllers' own draw decides before any load does
        first = replace(first, spans=(Span(1080, 480),), quiet="off")
        reserve, start_charge_share, start_h = (0.25, 0.0), 0.3, 9
    return operation(
        (first, second) if rng.random() < 0.4 else (first,),
        hours,
        start=datetime(2026, 10, 10, start_h, rng.choice([0, 0, 30]), tzinfo=ZoneInfo("UTC")),
        confidence=rng.choice(CONFIDENCES),
        reserve_share=reserve[0],
        reserve_wh=reserve[1],
        start_charge_share=start_charge_share,
        windows=40,
        step_h=step_h,
        batteries=rng.choice(["in turn", "in turn", "parallel"]),
        mass_limit_g=rng.choice([None, None, None, rng.randrange(2500, 7000, 100)]),
        air_travel=rng.random() < 0.2,
        least=rng.choice(["mass", "mass", "price", "items"]),
    )


def _inventory(rng: random.Random, outing: Operation) -> Inventory:
    pieces = 10

    def count(most: int) -> int:
        nonlocal pieces
        n = min(pieces, rng.randint(1, most))
        pieces -= n
        return n

    def price(mass_g: int) -> int | None:
        return None if rng.random() < 0.1 else round(mass_g * rng.choice([2, 3, 4]) / 100) * 100

    # little battery, light controllers soon at their limit and many panels: the sun decides
    is_sunny = rng.random() < 0.8
    classes = rng.choice([["lifepo4"], ["lifepo4"], ["lifepo4", "agm"], ["lifepo4", "li-ion"]])
    batteries = []
    for i in range(1 if is_sunny else rng.choice([1, 1, 2, 2, 3])):
        chemistry = rng.choice(classes)
        capacity_ah = rng.choice([2.0, 3.0, 3.0, 4.5, 4.5, 6.0, 7.8, 12.5, 13.0])
        mass_g = round(capacity_ah * (rng.choice([110, 140, 170]) if chemistry != "agm" else 320) / 50) * 50
        batteries.append(
            battery(
                f"b{i}",
                capacity_ah,
                count=count(1 if is_sunny else 2),
                mass_g=mass_g,
                price_cents=price(mass_g),
                chemistry=chemistry,
                nominal_v={"lifepo4": 12.8, "agm": 12.0, "li-ion": 14.4}[chemistry],
                measured_ah=capacity_ah * rng.choice([1.0, 0.9, 0.8]),
                efficiency=rng.choice([0.95, 0.95, 0.92]) if chemistry != "agm" else 0.85,
                discharge_efficiency=rng.choice([1.0, 1.0, 1.0, 0.97]),
                depth_share=0.9 if chemistry != "agm" else 0.5,
                max_charge_a=(rng.choice([1.0, 2.0]) if is_sunny else rng.choice([0.3, 0.8, 1.0, 1.0])) * capacity_ah,
                max_discharge_a=rng.choice([1.0, 2.0, 2.0]) * capacity_ah,
                lowest_charging_degc=rng.choice([0.0, 0.0, -10.0]) if chemistry != "agm" else -20.0,
                charged_on=rng.choice([None, None, None, date(2026, 8, 1)]),
            )
        )
    controllers = []
    for i in range(rng.randint(1, 2)):
        kind = rng.choice(["pwm", "mppt"])
        max_charge_a = rng.choice([1.0, 1.5, 2.0] if is_sunny else [1.5, 3.0, 5.0, 5.0])
        mass_g = rng.choice([60, 100] if is_sunny else [60, 100, 150, 250])
        controllers.append(
            controller(
                f"c{i}",
                kind,
                max_charge_a,
                count=count(rng.choice([2, 2, 3] if is_sunny else [1, 1, 2, 3])),
                mass_g=mass_g,
                price_cents=price(10 * mass_g),
                max_pv_v=rng.choice([24.0, 30.0, 50.0, 50.0]),
                max_pv_a=rng.choice([None, None, 2.0, 4.0]),
                max_pv_w=rng.choice([None, None, 40.0, 80.0]),
                efficiency=rng.choice([0.93, 0.97]) if kind == "mppt" else 1.0,
                idle_ma=rng.choice([0.0, 5.0, 20.0, 60.0]),
                chemistries=rng.choice([(), (), ("lifepo4",), ("agm", "lifepo4")]),
            )
        )
    panels = []
    for i in range(rng.randint(1, 4)):
        if pieces == 0:
            break
        rated_w = rng.choice([7.0, 14.0, 20.0, 28.0, 40.0, 40.0, 60.0])
        mass_g = round(rated_w * rng.choice([8, 12, 20]) / 50) * 50 + 50
        panels.append(
            panel(
                f"p{i}",
                rated_w,
                count=count(2),
                mass_g=mass_g,
                price_cents=price(mass_g),
                vmp_v=rng.choice([17.0, 18.0, 18.7, 19.5, 20.0]),
                power_per_degc=rng.choice([-0.0035, -0.0045]),
                voc_per_degc=rng.choice([None, -0.0027, -0.0035]),
                tilts=rng.random() < 0.7,
                output_factor=(worth := rng.choice([0.6, 0.75, 0.9, 1.15])),
                worth_spread=SPREADS[worth],
            )
        )
    # between half and thrice what all batteries hold, so that sun often decides
    held_wh = sum(b.count * b.usable_wh for b in batteries)
    mean_w = rng.uniform(0.4, 1.8) * (2.5 if is_sunny else 1.0) * held_wh / outing.hours / outing.loads[0].count
    use, nominal_v = outing.loads[0], batteries[0].nominal_v
    idle_w = mean_w * rng.choice([0.4, 0.8, 1.0])
    full_w = max(idle_w, 3 * idle_w if use.transmit_share == 0 else mean_w / use.transmit_share / use.full_share)
    most_w = nominal_v * max(b.max_discharge_a for b in batteries) / use.count
    full_w = min(full_w, rng.choice([0.4, 0.6, 0.8, 1.0, 1.02]) * most_w)
    radio = (
        load("radio", idle_a=idle_w / nominal_v, full_a=max(idle_w, full_w) / nominal_v)
        if rng.random() < 0.7
        else load("radio", idle_w=idle_w, full_w=max(idle_w, full_w))
    )
    draw = rng.random()
    hangs_on = ("panel",) if draw < 0.2 else ()
    meter = Extra(id="meter", name="meter", mass_g=80, price_cents=None, count=1, hangs_on=hangs_on)
    extras = (meter,) if draw < 0.3 else ()
    return Inventory(
        "invented",
        panels=tuple(panels),
        batteries=tuple(batteries),
        controllers=tuple(controllers),
        loads=(load("lamp", full_w=3.0), radio),
        extras=extras,
    )


def _sky(rng: random.Random, outing: Operation, n_windows: int) -> Sky:
    n, step_h = outing.n_steps, outing.need.step_h
    first_h = outing.start.hour + outing.start.minute / 60
    height = [max(0.0, math.sin((((first_h + (t + 0.5) * step_h) % 24) - 6) / 12 * math.pi)) for t in range(n)]
    strength = rng.choice([500.0, 900.0, 1000.0, 1150.0])
    spread = rng.choice([0.3, 0.5, 0.7])
    # clouds of half a day make windows fail at different hours
    clouds = rng.choice([(1.0, 1.0), (0.2, 1.0), (0.1, 0.6)])
    aimed, flat, degc = [], [], []
    coldest = rng.choice([-12.0, -4.0, -1.0, 2.0, 4.0, 12.0, 16.0])
    swing = rng.choice([4.0, 9.0])
    for _ in range(n_windows):
        day = 1.0 - spread * rng.random()
        halves = [rng.choice(clouds), rng.choice(clouds), rng.choice(clouds)]
        row = [strength * h * day * halves[3 * t // n] * rng.uniform(0.6, 1.0) for t, h in enumerate(height)]
        aimed.append(row)
        flat.append([w * rng.uniform(0.55, 0.9) for w in row])
        lift = rng.uniform(0.0, 4.0)
        degc.append([coldest + lift + swing * h for h in height])
    same_cold = rng.random() < 0.3
    return sky(
        aimed,
        step_h=step_h,
        flat_wm2=flat,
        panel_degc=[
            [min(60.0, c + w / 30) for c, w in zip(cold, row, strict=True)]
            for cold, row in zip(degc, aimed, strict=True)
        ],
        battery_degc=degc[:1] if same_cold else degc,
        coldest_degc=coldest,
    )
