"""A load that lives on its own battery, charged at the USB socket of a panel that does nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import chain as one_after_another
from weakref import WeakKeyDictionary

import numpy as np

from kitopt.budget import check_time
from kitopt.engine.case import Case
from kitopt.engine.judge import TOLERANCE_WH, simulate
from kitopt.engine.matrix import Matrix
from kitopt.engine.plant import Conditions, Layout
from kitopt.inventory.families import is_off_bus
from kitopt.inventory.items import Connector, Controller, Load, Panel
from kitopt.model.bus import LOWEST_DISCHARGING_DEGC, capacity_share
from kitopt.model.harvest import ShapeBook
from kitopt.model.kit import Column, KitModel, Socket
from kitopt.model.need import draws, total_w
from kitopt.model.wiring import Chain, Demand, chains
from kitopt.operation.clock import steps_of
from kitopt.sky.windows import Sky

USB_SOCKET = Connector("usb-a", "socket")
"""What a panel's own socket is taken to be."""
SOCKET_V = 5.0
"""USB 2.0 specification, nominal. [V]"""
SOCKET_EFFICIENCY = 0.85
"""Out of a device's battery over what its USB plug takes in; common practice, no source."""
SOCKET_LOWEST_DEGC = 0.0
"""Colder lithium-ion cells are not charged; cell specifications. [°C]"""
_SOCKET = Controller(
    id="socket",
    name="",
    mass_g=0,
    price_cents=None,
    count=1,
    kind="mppt",
    boost=True,
    max_charge_a=0.0,
    efficiency=1.0,
    idle_ma=0.0,
    pv_connector=USB_SOCKET,
    battery_connector=Connector("usb-a", "plug"),
)


def lay_sockets(model: KitModel) -> None:
    """Add each load with a battery of its own at each panel's socket that it can be led to, and on its battery alone.

    A panel that charges one does nothing else, and what a load's battery cannot do it does from the bus, as ever.
    """
    # the loss of a panel would have to be tried with each
    panels = () if "panel" in model.operation.need.backup else model.inventory.panels
    for use in model.operation.loads:
        load = model.inventory.by_id[use.id]
        if not isinstance(load, Load) or load.battery_wh is None or not is_off_bus(load.connector.family):
            continue
        ways: list[tuple[Socket, int, dict[str, int]]] = [(Socket(load, None), use.count, {})]
        for panel in sorted(panels, key=lambda panel: panel.id):
            for chain in _socket_chains(model, panel, load) if panel.usb_w and panel.count else ():
                uses = {panel.id: 1} | ({} if chain is None else dict(chain.uses))
                most = min(use.count, *(model.inventory.by_id[i].count // n for i, n in uses.items()))
                ways.append((Socket(load, panel, chain), most, uses))
        for thing, most, uses in ways:
            if most > 0:
                model.socket_columns.append(model.add(Column(thing, most, uses)))


def _socket_chains(model: KitModel, panel: Panel, load: Load) -> Sequence[Chain | None]:
    """Ways from a panel's socket to a load; the one without leads where these are not checked."""
    if not model.inventory.has_leads_file:
        return (None,)
    amps = (panel.usb_w or 0.0) / SOCKET_V
    demand, contacts = Demand(amps, amps), model.contacts
    return chains(
        model.lead_stock.leads, USB_SOCKET, load.connector, suits=lambda chain: demand.is_met(chain, contacts)
    )


def own_store(model: KitModel, column: int, sky: Sky) -> Case:
    """The case of a load that lives on its own battery, charged at a panel's socket.

    The socket passes the panel's power, tracked, up to its limit.
    """
    operation, thing = model.operation, model.socket(column)
    steps, need = steps_of(operation), operation.need
    book = ShapeBook(sky, steps, SOCKET_V, SOCKET_V)
    gain = None if thing.panel is None else book.gain(thing.panel, _SOCKET)
    parts = draws(operation, model.inventory, SOCKET_V)
    own = [part for part in parts if part.load.id == thing.load.id]
    cells_degc = steps.spread(sky.battery_degc)
    layout = Layout(1, len(book.sources), 1)
    brought: dict[tuple[int, int], float] = {}
    capacity_wh = thing.load.battery_wh or 0.0
    brought[layout.capacity, column] = capacity_wh
    brought[layout.missing, column] = (1.0 - need.start_charge_share) * capacity_wh
    brought[layout.demand(0), column] = 1.0
    if gain is not None and thing.panel is not None:
        brought[layout.limit(0), column] = thing.panel.usb_w or 0.0
        brought[layout.panel(0, gain.source), column] = gain.size_w
    conditions = Conditions(
        layout=layout,
        shapes=tuple(book.shapes),
        demand_shapes=np.array([total_w(own, steps.length_h) / own[0].use.count]),
        load_w=np.zeros_like(steps.length_h),
        step_h=steps.length_h,
        capacity_share=capacity_share("li-ion", cells_degc),
        may_charge=cells_degc >= SOCKET_LOWEST_DEGC,
        charge_efficiency=SOCKET_EFFICIENCY,
        discharge_efficiency=1.0,
        reserve_share=need.reserve_share,
        reserve_wh=0.0,
        has_charge_limit=False,
        n_windows=sky.n_windows,
        first_of_cell=steps.first_of_cell,
        may_discharge=cells_degc >= LOWEST_DISCHARGING_DEGC,
        sources=tuple(book.sources),
    )
    matrix = Matrix.of((layout.size, len(model.columns)), brought)
    return Case("own battery", conditions, need.confidence, matrix, pieces=model.pieces())


def own_batteries(model: KitModel, sky: Sky) -> None:
    """A load lives on its own battery only where that gets it through every window, the many others too.

    Nothing of it is to be chosen, so what it does in a window is one number, and the same in every kit.
    """
    for j in model.socket_columns:
        thing = model.socket(j)
        margin_wh = _least_own_wh(model, j, sky)
        if margin_wh < -TOLERANCE_WH:
            model.forbid(j)
            if thing.panel is not None:
                text = f"{thing.load.id} on the socket of {thing.panel.id} is {-margin_wh:.1f} Wh short in some spell"
                model.block((thing.load.id, thing.panel.id), "own-battery", text)


_OWN_WH: WeakKeyDictionary[Sky, dict[tuple[object, ...], float]] = WeakKeyDictionary()


def _least_own_wh(model: KitModel, column: int, sky: Sky) -> float:
    """Least margin of a load that lives on its own battery, over all windows until one fails; kept. [Wh]"""
    operation, thing = model.operation, model.socket(column)
    uses = tuple(use for use in operation.loads if use.id == thing.load.id)
    # leads do not matter, nor what else is used
    key = (thing.load, thing.panel, uses, operation.start, operation.hours, operation.need)
    known = _OWN_WH.setdefault(sky, {})
    if key not in known:
        least_wh = math.inf
        for part in one_after_another((sky,), () if sky.others is None else sky.others()):
            check_time()
            own = own_store(model, column, part)
            least_wh = min(least_wh, float(np.min(simulate(own.conditions, own.matrix.column(column)).margin_wh)))
            if least_wh < -TOLERANCE_WH:
                break
        known[key] = least_wh
    return known[key]
