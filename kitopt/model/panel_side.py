"""Joins of panels to controllers: the leads across the distance, and what several panels share.

A column is some identical panels joined in parallel at the panels, on one controller, through one
chain: its gain uses the joined current, so the loss grows with the square and the program stays
linear. A controller has one panel input; each joiner there makes more.
"""

from __future__ import annotations

import math
from functools import lru_cache

from kitopt.budget import check_time
from kitopt.engine.plan import Row
from kitopt.inventory.items import Connector, Extra, Lead, Panel
from kitopt.model.kit import Column, Join, KitModel, Socket, Strip, add_mark
from kitopt.model.wiring import LeadStock, ampacity_a, why_no_chain
from kitopt.model.wiring.of_panels import PV_FUSE_PER_ISC, panel_chains, panel_demand
from kitopt.operation.extras import packed_with_panels
from kitopt.operation.terms import Operation

MOST_JOINED = 4
_NOT_TOLD = ("no-lead", "no leads of yours join them")


def lay_extras(model: KitModel) -> None:
    """Add the extras that hang on panels: each is packed exactly where one of those panels is."""
    for extra in packed_with_panels(model.operation, model.inventory):
        hung = hung_on(model, extra)
        if hung and extra.count > 0:
            mark = Column(f"{extra.id} beside its panels", 1, {extra.id: extra.count})
            add_mark(model, hung, mark, "packed", f"{extra.id} is packed with its panels")


def hung_on(model: KitModel, extra: Extra) -> list[int]:
    """Columns of the panels that an extra hangs on: joined to a controller, or there for their own sockets alone."""
    found = []
    for j in (*model.join_columns, *model.socket_columns):
        thing = model.columns[j].meaning
        panel = thing.panel if isinstance(thing, Join | Socket) else None
        if panel is not None and {"panel", panel.id} & set(extra.hangs_on):
            found.append(j)
    return found


def lay_panels(model: KitModel) -> None:
    """Add every join of panels to every controller unit.

    Raises
    ------
    OutOfTime
    """
    panels = [p for p in sorted(model.inventory.panels, key=lambda p: p.id) if p.count > 0]
    if not model.inventory.has_leads_file:
        for u, x in enumerate(model.unit_columns):
            check_time()
            for panel in panels:
                j = model.add_join(Column(Join(panel, 1, u), panel.count, {panel.id: 1}))
                text = f"{panel.id} needs {model.units[u].name}"
                model.rows.append(Row(((j, 1.0), (x, -float(panel.count))), upper=0.0, rule="needs", text=text))
        return
    for u in range(len(model.units)):
        for panel in panels:
            check_time()
            _lay_one(model, panel, u)
        _inputs(model, u)


def _lay_one(model: KitModel, panel: Panel, u: int) -> None:
    controller = model.units[u].controller
    laid = _joins(model.lead_stock, panel, model.operation.panel_distance_m, u, controller.pv_connector)
    for column in laid:
        model.add_join(column)
    if not laid:
        demand = panel_demand(model.operation.panel_distance_m, panel)
        ends = (panel.connector, controller.pv_connector)
        rule, text = why_no_chain(model.lead_stock, *ends, demand) or _NOT_TOLD
        model.block(
            (panel.id, controller.id),
            "pv-fuse" if rule == "fuse-size" else rule,
            f"Panel {panel.id} ({panel.connector}) cannot reach controller {controller.id} "
            f"({controller.pv_connector}): {text}",
        )


def meets_station(operation: Operation, join: Join, socket: Connector) -> tuple[str, ...]:
    """Ends between some panels and their controller's input that would fit into the station."""
    station = operation.station_connector
    if station is None or join.chain is None:
        return ()
    if station.family not in join.chain.end_families | {join.panel.connector.family, socket.family}:
        return ()
    ends = [join.panel.connector, *(end for piece in join.chain.pieces for end in (piece.near, piece.far)), socket]
    return tuple(str(end) for end in ends if end.family == station.family)


@lru_cache(maxsize=2048)
def _joins(stock: LeadStock, panel: Panel, distance_m: float, u: int, sink: Connector) -> tuple[Column, ...]:
    """The column of each way to join some of a panel to a controller's input."""
    count = {panel.id: panel.count, **{lead.id: lead.count for lead in stock.leads}}
    found = []
    for n in range(1, min(panel.count, MOST_JOINED) + 1):
        for joiner, source in _ways_to_join(stock, panel, n):
            for chain in panel_chains(stock, source, sink, panel_demand(distance_m, panel, n)):
                uses = dict(chain.uses)
                uses[panel.id] = n
                if joiner is not None:
                    uses[joiner.id] = uses.get(joiner.id, 0) + 1
                most = min(count[i] // k for i, k in uses.items())
                if most > 0:
                    found.append(Column(Join(panel, n, u, chain, joiner), most, uses))
    return tuple(found)


def _ways_to_join(stock: LeadStock, panel: Panel, n: int) -> list[tuple[Lead | None, Connector]]:
    """Joiner and the connector that it leaves; the panel's own where none is needed."""
    if n == 1:
        return [(None, panel.connector)]
    if panel.second_connector is not None and panel.second_connector.mates_with(panel.connector):
        return [(None, panel.connector)]
    found: list[tuple[Lead | None, Connector]] = []
    for lead in sorted(stock.leads, key=lambda lead: lead.id):
        if lead.ways >= n and lead.count > 0 and ampacity_a(lead) >= PV_FUSE_PER_ISC * n * panel.isc_a - 1e-9:
            for many, single in {(lead.from_connector, lead.to_connector), (lead.to_connector, lead.from_connector)}:
                if panel.connector.mates_with(many):
                    found.append((lead, single))
    return found


def _inputs(model: KitModel, u: int) -> None:
    """One panel input, and one more for each further way of a joiner there."""
    controller, x = model.units[u].controller, model.unit_columns[u]
    joins = model.joins_of(u)
    if not joins:
        return
    terms = [(j, 1.0) for j, _ in joins] + [(x, -1.0)]
    socket = controller.pv_connector
    most_a = sum(join.n_joined * join.panel.isc_a * model.columns[j].upper for j, join in joins)
    for lead in sorted(model.inventory.leads, key=lambda lead: lead.id):
        fits = any(
            many == socket and single.mates_with(socket)
            for many, single in ((lead.from_connector, lead.to_connector), (lead.to_connector, lead.from_connector))
        )
        if lead.ways < 2 or lead.count < 1 or not fits:
            continue
        y = model.add(Column(Strip(lead, u), 1, {lead.id: 1}))
        terms.append((y, -(lead.ways - 1.0)))
        text = f"{lead.id} sits at {model.units[u].name}"
        model.rows.append(Row(((y, 1.0), (x, -1.0)), upper=0.0, rule="needs", text=text))
        rated_a = ampacity_a(lead) / PV_FUSE_PER_ISC
        if most_a > rated_a:
            currents = [(j, join.n_joined * join.panel.isc_a) for j, join in joins]
            text = f"{lead.id} carries {ampacity_a(lead):g} A, 1.56 times the panels' short-circuit current"
            row = Row((*currents, (y, most_a - rated_a)), upper=most_a + 1e-9, rule="ampacity", text=text)
            model.rows.append(row)
    text = f"{model.units[u].name} has one panel input"
    model.rows.append(Row(tuple(terms), upper=0.0, rule="panel-input", text=text))
    plug_a = model.contacts.rated_a(socket.family)
    if math.isfinite(plug_a) and most_a > plug_a:
        currents = [(j, join.n_joined * join.panel.isc_a) for j, join in joins]
        text = f"the panel input of {model.units[u].name} ({socket.family}) carries {plug_a:g} A"
        model.rows.append(Row(tuple(currents), upper=plug_a + 1e-9, rule="ampacity", text=text))
