"""Tiny inventories whose leads are written down, packed under skies written down by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from kitopt.choice import Choice, pack
from kitopt.explain import Caution, cautions
from kitopt.inventory.items import (
    Battery,
    Connector,
    Controller,
    Converter,
    Inventory,
    Item,
    Lead,
    Load,
    Panel,
)
from kitopt.operation.terms import LoadUse, Need, Operation, Site
from kitopt.sky.windows import Sky

ZONE = ZoneInfo("Europe/Vienna")


def plug(text: str) -> Connector:
    """A connector as it is written in a file."""
    family, _, side = text.partition(":")
    return Connector(family, side)  # type: ignore[arg-type]


def _made(kind: type[Any], values: dict[str, object], more: dict[str, object]) -> Any:
    both = {**values, **more}
    for name, value in both.items():
        if name.endswith("connector") and isinstance(value, str):
            both[name] = plug(value)
    return kind(**both)


def battery(item_id: str = "box", **more: object) -> Battery:
    """128 Wh, fused, all of it usable."""
    values: dict[str, object] = {
        **{"id": item_id, "name": "box", "mass_g": 1000, "price_cents": 8000, "chemistry": "lifepo4"},
        **{"nominal_v": 12.8, "capacity_ah": 10.0, "measured_ah": 10.0, "efficiency": 1.0, "depth_share": 1.0},
        **{"max_charge_a": 40.0, "max_discharge_a": 40.0, "lowest_charging_degc": 0.0, "fused": True},
        **{"connector": "g"},
    }
    return _made(Battery, values, more)  # type: ignore[no-any-return]


def panel(item_id: str = "sheet", **more: object) -> Panel:
    """100 W without losses."""
    values: dict[str, object] = {
        **{"id": item_id, "name": "sheet", "mass_g": 300, "price_cents": 9000, "rated_w": 100.0, "vmp_v": 18.0},
        **{"imp_a": 5.5, "voc_v": 22.0, "isc_a": 6.0, "power_per_degc": 0.0, "voc_per_degc": -0.003},
        **{"connector": "pv:plug", "tilts": False, "folding": True, "output_factor": 1.0},
    }
    return _made(Panel, values, more)  # type: ignore[no-any-return]


def controller(item_id: str = "mppt", **more: object) -> Controller:
    """Without losses, limits far off."""
    values: dict[str, object] = {
        **{"id": item_id, "name": "controller", "mass_g": 100, "price_cents": 4000, "kind": "mppt"},
        **{"max_charge_a": 20.0, "max_pv_v": 50.0, "efficiency": 1.0, "idle_ma": 0.0, "rf": "quiet"},
        **{"pv_connector": "pv:socket", "battery_connector": "g", "chemistries": ("lifepo4",)},
    }
    return _made(Controller, values, more)  # type: ignore[no-any-return]


def lead(item_id: str, ends: str, **more: object) -> Lead:
    """A stout lead; `ends` such as "g > pv:plug"."""
    one, other = ends.split(" > ")
    values: dict[str, object] = {
        **{"id": item_id, "name": item_id, "mass_g": 50, "price_cents": 900, "from_connector": one},
        **{"to_connector": other, "length_m": 1.0, "area_mm2": 10.0, "max_a": 40.0},
    }
    return _made(Lead, values, more)  # type: ignore[no-any-return]


def load(item_id: str = "radio", **more: object) -> Load:
    """10 W all the time."""
    values: dict[str, object] = {
        **{"id": item_id, "name": item_id, "mass_g": 500, "price_cents": 1000, "idle_w": 0.0, "connector": "g"},
    }
    if not {"full_w", "full_a"} & more.keys():
        values["full_w"] = 10.0
    return _made(Load, values, more)  # type: ignore[no-any-return]


def converter(item_id: str = "step", **more: object) -> Converter:
    """5 V from the bus."""
    values: dict[str, object] = {
        **{"id": item_id, "name": item_id, "mass_g": 40, "price_cents": 1500, "from_connector": "g"},
        **{"to_connector": "usb:socket", "out_v": 5.0, "max_w": 20.0, "efficiency": 0.8, "idle_ma": 0.0},
    }
    return _made(Converter, values, more)  # type: ignore[no-any-return]


def inventory_of(*items: Item, **more: object) -> Inventory:
    """An inventory with a leads.csv."""

    def some(kind: type[Item]) -> tuple[Any, ...]:
        return tuple(sorted((item for item in items if isinstance(item, kind)), key=lambda item: item.id))

    values: dict[str, Any] = {
        **{"folder": "shed", "panels": some(Panel), "batteries": some(Battery), "controllers": some(Controller)},
        **{"leads": some(Lead), "converters": some(Converter), "loads": some(Load), "has_leads_file": True},
        **more,
    }
    return Inventory(**values)


def operation_of(inventory: Inventory, hours: float = 4.0, **more: object) -> Operation:
    """All loads of the inventory, each of them all the time, on a station of connector g."""
    operation = Operation(
        file="hut.toml",
        name="Hut",
        start=datetime(2027, 6, 4, 8, tzinfo=ZONE),
        hours=hours,
        site=Site(47.0, 13.0, 0.0, ZONE, 20.0, 20.0),
        loads=tuple(LoadUse(one.id, count=one.count) for one in inventory.loads),
        need=Need(confidence=Fraction(1), reserve_share=0.0, step_h=1.0),
        station_connector=plug("g"),
    )
    return replace(operation, **more)  # type: ignore[arg-type]


def sky_of(operation: Operation, sun_wm2: float, coldest_degc: float) -> Sky:
    """One window of constant light."""
    sun = np.full((1, operation.n_steps), sun_wm2)
    mild = np.full_like(sun, 20.0)
    return Sky(
        start=operation.start,
        step_h=operation.need.step_h,
        poa_wm2={"flat": sun, "aimed": sun},
        useful_wm2={"flat": sun, "aimed": sun},
        panel_degc={"flat": mild, "aimed": mild},
        air_degc=mild,
        battery_degc=mild,
        coldest_degc=coldest_degc,
        labels=("by hand",),
        source="written by hand",
    )


def packed(
    *items: Item, sun_wm2: float = 0.0, coldest_degc: float = 20.0, known: dict[str, object] | None = None, **more: Any
) -> Choice:
    """The choice from some items; ``known`` goes to the inventory and the rest to the operation."""
    inventory = inventory_of(*items, **(known or {}))
    operation = operation_of(inventory, **more)
    return pack(operation, inventory, sky_of(operation, sun_wm2, coldest_degc))


def in_the_sun(*items: Item, **more: Any) -> Choice:
    """80 h of 10 W: 800 Wh, of which the battery holds 128, so that a panel is needed; a bar joins all three."""
    return packed(lead("bar", "g > g", ways=4), *items, sun_wm2=500.0, **{"hours": 80.0, **more})


def ids(choice: Choice) -> dict[str, int]:
    """What was packed."""
    return {one.id: one.count for one in choice.packed}


def rules(choice: Choice) -> set[str]:
    """Rules that ruled something out."""
    return {block.rule for _, blocks in choice.blocks for block in blocks}


def told(choice: Choice) -> dict[str, Caution]:
    """Cautions by their rule."""
    return {caution.rule: caution for caution in cautions(choice)}
