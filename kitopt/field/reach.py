"""Which controllers a panel reaches, by which leads, and which battery is charged behind them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kitopt.inventory.items import Battery, Controller, Inventory, Panel
from kitopt.model.bus import bus_classes
from kitopt.model.wiring import Chain, LeadStock
from kitopt.model.wiring.of_panels import panel_chains, panel_demand


@dataclass(frozen=True)
class Reach:
    """One panel on one controller.

    Attributes
    ----------
    lead_ohm : float
        Of the leads between them, contacts counted; of several ways the one that loses least. [Ω]
    leads : tuple of str
        Ids of these leads, from the panel on.
    """

    panel: Panel
    controller: Controller
    battery: Battery
    lead_ohm: float
    leads: tuple[str, ...] = ()


def reaches(inventory: Inventory, distance_m: float) -> Iterator[Reach]:
    """Every owned panel on every controller that it can be joined to, within the controller's volts."""
    for panel in inventory.panels:
        for controller in inventory.controllers:
            if panel.count > 0 and controller.count > 0:
                found = reach(inventory, distance_m, panel, controller)
                if found is not None:
                    yield found


def reach(inventory: Inventory, distance_m: float, panel: Panel, controller: Controller) -> Reach | None:
    """How a panel reaches a controller; None where no leads join them or its volts are too high."""
    battery = _battery_for(inventory, controller)
    if battery is None or (controller.max_pv_v is not None and panel.voc_v > controller.max_pv_v):
        return None
    if not inventory.has_leads_file:
        return Reach(panel, controller, battery, 0.0)
    stock = LeadStock.of(inventory)
    demand = panel_demand(distance_m, panel)
    chains: tuple[Chain, ...] = panel_chains(stock, panel.connector, controller.pv_connector, demand)
    if not chains:
        return None
    best = min(chains, key=lambda chain: (chain.ohm(stock.contacts), chain.ids))
    return Reach(panel, controller, battery, best.ohm(stock.contacts), best.ids)


def _battery_for(inventory: Inventory, controller: Controller) -> Battery | None:
    """The battery owned most often that the controller can charge, the largest of its class."""
    for bus in bus_classes(inventory.batteries):
        if not controller.chemistries or bus.chemistry in controller.chemistries:
            return max(bus.batteries, key=lambda one: (one.measured_ah, one.id))
    return None
