"""Discrete rules as rows with reasons: what no amount of weather can excuse.

A block is a row or a bound of the integer program, so that the optimum is the best legal kit
and not a filtered one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from kitopt.engine.charging import Charging
from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery, Controller, Item, Panel
from kitopt.model.bus import BusClass, charging_v, setters_of
from kitopt.model.feeding import CONTINUOUS_FUSE
from kitopt.model.harvest import highest_v, laid
from kitopt.model.kit import Column, Join, KitModel, Link, Strip
from kitopt.model.wiring import ampacity_a
from kitopt.operation.extras import always_packed
from kitopt.sky.windows import Sky

MATCH_SHARE = 0.10
"""Panels on one controller may differ this much in voltage at maximum power."""

COLD_VOC: tuple[tuple[float, float], ...] = ((-20, 1.18), (-25, 1.20), (-30, 1.21), (-35, 1.23), (-40, 1.25))
"""Open-circuit voltage down to a temperature over that at 25 °C, coefficient unknown: NEC table 690.7(A),
from memory; its smaller factors above -20 °C are not used, against the owner."""

AIR_FREE_WH, AIR_MOST_WH, AIR_SPARES = 100.0, 160.0, 2
"""Lithium batteries in the cabin, by public aviation-security guidance: up to 100 Wh; to 160 Wh two with approval.
Spill-proof lead-acid, from memory: 12 V and 100 Wh each at most, two of them."""


def cold_voc_v(panel: Panel, coldest_degc: float) -> float:
    """Open-circuit voltage in the coldest air of the operation. [V]"""
    if panel.voc_per_degc is not None:
        return panel.voc_v * (1.0 + panel.voc_per_degc * (min(coldest_degc, 25.0) - 25.0))
    for lowest, factor in COLD_VOC:
        if coldest_degc >= lowest:
            return panel.voc_v * factor
    return panel.voc_v * (COLD_VOC[-1][1] + 0.004 * (COLD_VOC[-1][0] - coldest_degc))


def delivered_a(join: Join, controller: Controller, bus: BusClass) -> float:
    """Most current that a join can make its controller deliver, before the controller's limit. [A]"""
    if controller.kind == "pwm":
        return join.n_joined * join.panel.isc_a
    return join.n_joined * join.panel.rated_w / charging_v(bus)


def apply_rules(model: KitModel, sky: Sky, peak_a: float) -> None:
    """Add every rule to a kit model as bounds and rows.

    Parameters
    ----------
    sky : Sky
        Gives the coldest air, and how cold the panels' cells are while they see the sun.
    peak_a : float
        Highest current of the loads. [A]
    """
    _cold_voltage(model, sky.coldest_degc)
    _panel_volts(model, sky)
    _chemistry(model)
    _panel_limits(model)
    _matching_panels(model)
    _discharge_limit(model, peak_a)
    _charge_limit(model)
    _weakest(model)
    if model.operation.air_travel:
        _air_travel(model)
    _limits(model)


def _cold_voltage(model: KitModel, coldest_degc: float) -> None:
    for j in model.join_columns:
        join = model.columns[j].meaning
        assert isinstance(join, Join)
        controller = model.units[join.unit].controller
        volts = cold_voc_v(join.panel, coldest_degc)
        if controller.max_pv_v is not None and volts > controller.max_pv_v + 1e-9:
            model.forbid(j)
            model.block(
                (join.panel.id, controller.id),
                "cold-voc",
                f"{join.panel.id} reaches {volts:.1f} V open-circuit at {coldest_degc:g} °C; "
                f"{controller.id} takes {controller.max_pv_v:g} V",
            )


def _panel_volts(model: KitModel, sky: Sky) -> None:
    """A panel that never stands above the battery being charged is not joined: it would be carried for nothing."""
    needed_v = charging_v(model.bus)
    for j in model.join_columns:
        join = model.columns[j].meaning
        assert isinstance(join, Join)
        panel, controller = join.panel, model.units[join.unit].controller
        degc = sky.coldest_lit_degc[laid(panel)]
        if degc is None:
            continue
        at_most_v, open_v = highest_v(panel, controller, degc)
        text = ""
        if not controller.boost and at_most_v <= needed_v:
            how = "steps down" if controller.kind == "mppt" else "passes the panel's own voltage"
            text = (
                f"{panel.id} never stands above {at_most_v:.1f} V; {controller.id} {how}, and {model.bus.name} is "
                f"charged at {needed_v:.1f} V"
            )
        elif controller.start_above_v is not None and open_v <= controller.start_above_v:
            text = (
                f"{panel.id} never reaches more than {open_v:.1f} V open-circuit; {controller.id} starts above "
                f"{controller.start_above_v:g} V"
            )
        if text:
            model.forbid(j)
            model.block((panel.id, controller.id), "panel-volts", text)


def _chemistry(model: KitModel) -> None:
    for u, x in enumerate(model.unit_columns):
        controller = model.units[u].controller
        if controller.chemistries and model.bus.chemistry not in controller.chemistries:
            model.forbid(x)
            model.block(
                (controller.id,),
                "chemistry",
                f"{controller.id} charges {' and '.join(controller.chemistries)}, not {model.bus.chemistry}",
            )


def _panel_limits(model: KitModel) -> None:
    for u, _ in enumerate(model.unit_columns):
        controller, joins = model.units[u].controller, model.joins_of(u)
        if controller.max_pv_a is not None:
            terms = tuple((j, join.n_joined * join.panel.isc_a) for j, join in joins)
            text = f"{controller.id} takes {controller.max_pv_a:g} A of panel"
            _add(model, Row(terms, upper=controller.max_pv_a, rule="pv-current", text=text))
        if controller.max_pv_w is not None:
            terms = tuple((j, join.n_joined * join.panel.rated_w) for j, join in joins)
            text = f"{controller.id} takes {controller.max_pv_w:g} W of panel"
            _add(model, Row(terms, upper=controller.max_pv_w, rule="pv-power", text=text))


def _add(model: KitModel, row: Row) -> None:
    """Keep a row unless the bounds already imply it."""
    if sum(max(0.0, c) * model.columns[j].upper for j, c in row.terms) > row.upper:
        model.rows.append(row)


def _matching_panels(model: KitModel) -> None:
    """Panels on one controller come from one group whose voltages lie within the share."""
    for u, x in enumerate(model.unit_columns):
        joins = [(j, join) for j, join in model.joins_of(u) if model.columns[j].upper > 0]
        volts = sorted({join.panel.vmp_v for _, join in joins})
        groups: list[tuple[float, float]] = []
        for low in volts:
            high = max(v for v in volts if v <= low * (1.0 + MATCH_SHARE) + 1e-9)
            if not groups or high > groups[-1][1]:
                groups.append((low, high))
        if len(groups) < 2:
            continue
        unit = model.units[u].name
        picks = [model.add(Column(f"{unit} takes panels of {low:g} to {high:g} V", 1)) for low, high in groups]
        text = f"panels on {unit} must match within {100 * MATCH_SHARE:.0f} % in voltage"
        model.rows.append(Row((*((p, 1.0) for p in picks), (x, -1.0)), upper=0.0, rule="panel-match", text=text))
        # one row a type: all its joins together are no more panels than are owned, which binds more than a row a join
        own: dict[str, list[tuple[int, float]]] = {}
        for j, join in joins:
            own.setdefault(join.panel.id, []).append((j, float(join.n_joined)))
        panels = {join.panel.id: join.panel for _, join in joins}
        for panel_id, panel in sorted(panels.items()):
            fit = [p for p, (low, high) in zip(picks, groups, strict=True) if low <= panel.vmp_v <= high]
            terms = (*own[panel_id], *((p, -float(panel.count)) for p in fit))
            model.rows.append(Row(terms, upper=0.0, rule="panel-match", text=text))


def _discharge_limit(model: KitModel, peak_a: float) -> None:
    """In turn, each battery carries the peak alone; in parallel, their limits add up."""
    if model.operation.batteries == "parallel":
        n = model.operation.n_banks
        terms = tuple((j, model.battery(j).max_discharge_a / n) for j in model.battery_columns)
        text = f"the batteries together must carry {peak_a:.1f} A"
        model.rows.append(Row(terms, lower=peak_a - 1e-9, rule="discharge-limit", text=text))
        return
    for j in model.battery_columns:
        battery = model.battery(j)
        if battery.max_discharge_a < peak_a - 1e-9:
            model.forbid(j)
            text = f"{battery.id} gives {battery.max_discharge_a:g} A; the loads peak at {peak_a:.1f} A"
            model.block((battery.id,), "discharge-limit", text)


def _charge_limit(model: KitModel) -> None:
    """What the controllers can deliver stays within what batteries, their leads and the strips may take."""
    most_by_unit = []
    for u, x in enumerate(model.unit_columns):
        rating = model.units[u].controller.max_charge_a if model.columns[x].upper > 0 else 0.0
        panels = sum(
            model.columns[j].upper * delivered_a(join, model.units[u].controller, model.bus)
            for j, join in model.joins_of(u)
        )
        most_by_unit.append(min(rating, panels))
    most_a = math.fsum(most_by_unit)
    batteries = [(j, model.battery(j)) for j in model.battery_columns if model.columns[j].upper > 0]
    if most_a == 0.0 or not batteries:
        return
    is_parallel = model.operation.batteries == "parallel"
    tight = [one for one in _on_the_way(model, is_parallel) if one[1] < most_a - 1e-9]
    if not (is_parallel or tight):
        return
    output = [_output(model, u, most) for u, most in enumerate(most_by_unit) if most > 0.0]
    delivered = tuple((d, 1.0) for d in output)
    if is_parallel:
        limits = tuple((j, -b.max_charge_a / model.operation.n_banks) for j, b in batteries)
        text = "the controllers can deliver no more than the batteries together may take"
        model.rows.append(Row((*delivered, *limits), upper=1e-9, rule="charge-limit", text=text))
    model.charging = _charging(model, tight)
    marks: dict[int, int] = {}
    for j, limit_a, rule, text in tight:
        mark = _is_used(model, j, marks)
        terms = (*delivered, (mark, most_a - limit_a))
        model.rows.append(Row(terms, upper=most_a + 1e-9, rule=rule, text=text))


def _charging(model: KitModel, tight: Iterable[tuple[int, float, str, str]]) -> Charging:
    """What the units pass, and which batteries may not take all of that."""
    join_a = {
        j: delivered_a(join, unit.controller, model.bus)
        for u, unit in enumerate(model.units)
        for j, join in model.joins_of(u)
    }
    battery_a: dict[int, float] = {}
    for j, limit_a, _, _ in tight:
        if j in model.battery_columns:
            battery_a[j] = min(limit_a, battery_a.get(j, math.inf))
    return Charging(join_a, tuple(unit.controller.max_charge_a for unit in model.units), battery_a)


def _is_used(model: KitModel, j: int, marks: dict[int, int]) -> int:
    """A column that is 1 where some of another are packed: itself where there is one at most."""
    column = model.columns[j]
    if column.upper <= 1.0:
        return j
    if j not in marks:
        name = column.meaning.id if isinstance(column.meaning, Item) else "one of these leads"
        marks[j] = model.add(Column(f"{name} is packed", 1))
        terms = ((j, 1.0), (marks[j], -column.upper))
        model.rows.append(Row(terms, upper=0.0, rule="packed", text=f"{name} is packed"))
    return marks[j]


def _on_the_way(model: KitModel, is_parallel: bool) -> list[tuple[int, float, str, str]]:
    """What charging current flows through: a column, the most it may carry [A], the rule and its words.

    A battery that is charged with less than its lead carries needs no row for the lead.
    """
    found = []
    is_checked = model.inventory.has_leads_file and model.operation.station_connector is not None
    batteries = {model.battery(j).id: model.battery(j) for j in model.battery_columns if model.columns[j].upper > 0}
    for j, column in enumerate(model.columns):
        thing = column.meaning
        if column.upper <= 0:
            continue
        if isinstance(thing, Battery):
            plug_a = model.contacts.rated_a(thing.connector.family)
            if not is_parallel:
                text = f"{thing.id} may be charged with {thing.max_charge_a:g} A"
                found.append((j, thing.max_charge_a, "charge-limit", text))
            holds_a = math.inf if thing.fuse_a is None else thing.fuse_a / CONTINUOUS_FUSE
            if is_checked and holds_a < thing.max_charge_a:
                text = f"the fuse in {thing.id} ({thing.fuse_a:g} A) holds {holds_a:.3g} A of charge"
                found.append((j, holds_a, "ampacity", text))
            if is_checked and plug_a < thing.max_charge_a:
                text = f"the connector of {thing.id} ({thing.connector.family}) carries {plug_a:g} A of charge"
                found.append((j, plug_a, "ampacity", text))
        elif isinstance(thing, Link) and thing.source in batteries:
            carries_a = thing.chain.rated_a(model.contacts)
            carries_a = min([carries_a, *(fuse_a / CONTINUOUS_FUSE for fuse_a in thing.chain.fuses_a)])
            if carries_a < batteries[thing.source].max_charge_a:
                text = f"the leads from {thing.source} ({', '.join(thing.chain.ids)}) carry {carries_a:.3g} A of charge"
                found.append((j, carries_a, "ampacity", text))
        elif isinstance(thing, Strip) and thing.unit is None and thing.at == model.charged_at:
            text = f"{thing.lead.id} carries {ampacity_a(thing.lead):g} A of charge"
            found.append((j, ampacity_a(thing.lead), "ampacity", text))
    return found


def _output(model: KitModel, u: int, most_a: float) -> int:
    """A column that is at least min(rating, panels' current) of one unit. [A]

    The minimum of two is not convex: a binary says which of the two is meant.
    """
    x = model.unit_columns[u]
    unit = model.units[u]
    output = model.add(Column(f"{unit.name} delivers", most_a, is_integer=False))
    by_panels = model.add(Column(f"{unit.name} is limited by its panels", 1))
    rating = unit.controller.max_charge_a
    text = f"{unit.name} delivers its rating or what its panels give"
    joins = [(j, delivered_a(join, unit.controller, model.bus)) for j, join in model.joins_of(u)]
    all_panels = sum(a * model.columns[j].upper for j, a in joins)
    model.rows.append(Row(((output, 1.0), (x, -rating), (by_panels, rating)), lower=0.0, rule="output", text=text))
    model.rows.append(
        Row(
            ((output, 1.0), *((j, -a) for j, a in joins), (by_panels, -all_panels)),
            lower=-all_panels,
            rule="output",
            text=text,
        )
    )
    return output


def _weakest(model: KitModel) -> None:
    """Some battery sets each threshold of the class; kits without it are better off in another class."""
    of_each = ("efficiency", "discharge efficiency", "lowest charging temperature", "slowest charging", "20-hour power")
    for i, (value, setters) in enumerate(zip(of_each, setters_of(model.bus), strict=True)):
        attains = [j for j in model.battery_columns if model.battery(j) in setters]
        if i > 0 and len(attains) == len(model.battery_columns):
            continue  # all are alike in this, and the first row asks for one of them
        terms = tuple((j, 1.0) for j in attains)
        model.rows.append(Row(terms, lower=1.0, rule="bus-class", text=f"a battery that sets the {value} is packed"))


def _air_travel(model: KitModel) -> None:
    """Two middling lithium batteries at most; lead-acid has no middling."""
    middling = []
    for j in model.battery_columns:
        battery = model.battery(j)
        most_wh = AIR_FREE_WH if battery.chemistry == "agm" else AIR_MOST_WH
        if battery.label_wh > most_wh + 1e-9:
            model.forbid(j)
            text = f"{battery.id} holds {battery.label_wh:.0f} Wh; above {most_wh:.0f} Wh no airline carries it"
            model.block((battery.id,), "air-travel", text)
        elif battery.label_wh > AIR_FREE_WH + 1e-9 or battery.chemistry == "agm":
            middling.append(j)
    if middling:
        text = (
            f"by air at most {AIR_SPARES} lead-acid batteries, or lithium ones of "
            f"{AIR_FREE_WH:.0f} to {AIR_MOST_WH:.0f} Wh with approval"
        )
        _add(model, Row(tuple((j, 1.0) for j in middling), upper=AIR_SPARES, rule="air-travel", text=text))


def _limits(model: KitModel) -> None:
    limit_g = model.operation.mass_limit_g
    if limit_g is None:
        return
    carried = fixed_mass_g(model)
    terms = []
    for j, column in enumerate(model.columns):
        mass = sum(n * model.inventory.by_id[i].mass_g for i, n in column.uses.items())
        if mass:
            terms.append((j, float(mass)))
    text = f"at most {limit_g} g"
    model.rows.append(Row(tuple(terms), upper=float(limit_g - carried), rule="mass-limit", text=text))


def fixed_mass_g(model: KitModel) -> int:
    """Mass of what is always packed: the loads and the extras. [g]"""
    loads = sum(use.count * model.inventory.by_id[use.id].mass_g for use in model.operation.loads)
    extras = always_packed(model.operation, model.inventory)
    return loads + sum(extra.count * extra.mass_g for extra in extras)
