"""Choices made on a small inventory under skies written down by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from kitopt.choice import Choice, pack
from kitopt.inventory.items import Assumed, Battery, Connector, Controller, Extra, Inventory, Item, Load, Panel
from kitopt.operation.terms import LoadUse, Need, Operation, Site
from kitopt.sky.windows import Sky

ZONE = ZoneInfo("Europe/Vienna")
G30 = Connector("genderless-30")

Make = Callable[..., Choice]


def battery(item_id: str = "box-10", **more: object) -> Battery:
    values = {
        **{"name": "tin box", "mass_g": 1200, "price_cents": 8000, "chemistry": "lifepo4", "nominal_v": 12.8},
        **{"capacity_ah": 10.0, "measured_ah": 10.0, "efficiency": 1.0, "depth_share": 1.0, "max_charge_a": 20.0},
        **{"max_discharge_a": 20.0, "lowest_charging_degc": 0.0, "fused": True, "connector": G30},
        **more,
    }
    return Battery(id=item_id, **values)  # type: ignore[arg-type]


def panel(item_id: str = "fold-100", **more: object) -> Panel:
    values = {
        **{"name": "folding panel", "mass_g": 300, "price_cents": 9000, "rated_w": 100.0, "vmp_v": 18.0},
        **{"imp_a": 5.5, "voc_v": 22.0, "isc_a": 6.0, "power_per_degc": 0.0, "voc_per_degc": -0.003},
        **{"connector": G30, "tilts": False, "folding": True, "output_factor": 1.0},
        **more,
    }
    return Panel(id=item_id, **values)  # type: ignore[arg-type]


def controller(item_id: str = "mppt-5", **more: object) -> Controller:
    values = {
        **{"name": "controller", "mass_g": 100, "price_cents": 4000, "kind": "mppt", "max_charge_a": 10.0},
        **{"max_pv_v": 50.0, "efficiency": 1.0, "idle_ma": 0.0, "pv_connector": G30, "battery_connector": G30},
        **{"chemistries": ("lifepo4",), "rf": "quiet"},
        **more,
    }
    return Controller(id=item_id, **values)  # type: ignore[arg-type]


def inventory_of(*items: Item, assumed: tuple[Assumed, ...] = ()) -> Inventory:
    lamp = Load(id="lamp", name="lamp", mass_g=300, price_cents=1000, idle_w=0.0, full_w=10.0, connector=G30)
    everything = (lamp, *items)

    def some(kind: type[Item]) -> tuple[Item, ...]:
        return tuple(sorted((item for item in everything if isinstance(item, kind)), key=lambda item: item.id))

    return Inventory(
        folder="box",
        panels=some(Panel),  # type: ignore[arg-type]
        batteries=some(Battery),  # type: ignore[arg-type]
        controllers=some(Controller),  # type: ignore[arg-type]
        loads=some(Load),  # type: ignore[arg-type]
        extras=some(Extra),  # type: ignore[arg-type]
        currency="EUR",
        assumed=assumed,
        fingerprint="0123456789ab",
    )


def operation_of(hours: float = 8.0, **more: object) -> Operation:
    site = Site(47.0, 13.0, 0.0, ZONE, 20.0, 20.0)
    need = Need(confidence=Fraction(1), reserve_share=0.0, step_h=1.0)
    operation = Operation(
        file="hut.toml",
        name="Hut",
        start=datetime(2027, 6, 4, 8, tzinfo=ZONE),
        hours=hours,
        site=site,
        loads=(LoadUse("lamp"),),
        need=need,
    )
    return replace(operation, **more)  # type: ignore[arg-type]


def sky_of(operation: Operation, *windows_wm2: float, battery_degc: float | tuple[float, ...] = 20.0) -> Sky:
    """The same light in every step of a window."""
    sun = np.repeat(np.array(windows_wm2, dtype=float)[:, None], operation.n_steps, axis=1)
    warm = np.full_like(sun, 25.0)
    cells = np.broadcast_to(np.array(battery_degc, dtype=float).reshape(-1, 1), sun.shape).copy()
    return Sky(
        start=operation.start,
        step_h=operation.need.step_h,
        poa_wm2={"flat": sun, "aimed": sun},
        useful_wm2={"flat": sun, "aimed": sun},
        panel_degc={"flat": warm, "aimed": warm},
        air_degc=np.full_like(sun, 20.0),
        battery_degc=cells,
        coldest_degc=20.0,
        labels=tuple(f"window {k}" for k in range(len(windows_wm2))),
        source="written by hand",
    )


@pytest.fixture
def choose_for() -> Make:
    """Packs items for the lamp under windows of constant light."""

    def make(
        *items: Item,
        sun_wm2: tuple[float, ...] = (0.0,),
        battery_degc: float | tuple[float, ...] = 20.0,
        hours: float = 8.0,
        assumed: tuple[Assumed, ...] = (),
        **operation: object,
    ) -> Choice:
        one = operation_of(hours, **operation)
        return pack(one, inventory_of(*items, assumed=assumed), sky_of(one, *sun_wm2, battery_degc=battery_degc))

    return make
