"""What may fail, and what a kit is without it: one case for each unit that can be lost.

A unit is dead from the start, nobody plugs anything anew, and only the loads that must run are
powered. Nothing else changes: the windows, the confidence, the reserve, and the thresholds of the
bus class, which are those of all batteries that were packed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from kitopt.engine.case import Case
from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery
from kitopt.model.feeding import station_peak_a
from kitopt.model.kit import Column, Fed, Join, KitModel, Link, Loss, Strip, add_mark
from kitopt.model.need import draws, total_w


def lay_backups(model: KitModel) -> None:
    """Add what the operation's backups ask for; called when all joins and rules are there."""
    layers: dict[str, Callable[[KitModel], None]] = {
        "battery": _batteries,
        "controller": _controllers,
        "panel": _panels,
        "lead": _leads,
    }
    for kind, lay in layers.items():
        if kind in model.operation.need.backup:
            lay(model)


def backup_cases(model: KitModel, base: Case) -> tuple[Case, ...]:
    """A case for each loss, on the base case's windows.

    Parameters
    ----------
    base : Case
        From ``model.case.whole_case``; its large arrays are shared, not copied.
    """
    if not model.losses:
        return ()
    operation = model.operation
    musts = draws(operation, model.inventory, model.bus.nominal_v, must_only=True)
    must_ids = {part.load.id for part in musts}
    fed = model.fed_loads()
    direct = [part for part in musts if part.load.id not in fed]
    demand_shapes = base.conditions.demand_shapes.copy()
    for i, load_id in enumerate(fed):
        if load_id not in must_ids:
            demand_shapes[operation.n_banks + i] = 0.0
    conditions = replace(
        base.conditions,
        load_w=total_w(direct, base.conditions.step_h),
        demand_shapes=demand_shapes,
    )
    off = []
    for j in model.fed_columns:
        feeding = model.columns[j].meaning
        if isinstance(feeding, Fed) and not any(load.id in must_ids for load, _ in feeding.loads):
            # the converter is switched off with its loads
            off.append(j)
    idle = conditions.layout.demand(operation.n_banks - 1)
    shed = base.matrix.without(off, slice(idle, idle + 1))
    return tuple(
        Case(
            f"{base.name}, loss {number}",
            conditions,
            base.confidence,
            shed,
            within=loss.within,
            gone=loss.gone,
            less=loss.less,
            pieces=base.pieces,
            charging=base.charging,
        )
        for number, loss in enumerate(model.losses, start=1)
    )


def _mark(model: KitModel, column: int, name: str) -> int:
    """A column that is 1 where another is chosen, so that one of it may be lost."""
    return add_mark(model, [column], Column(f"{name} may be lost", 1), "backup", f"{name} is packed")


def _batteries(model: KitModel) -> None:
    """Each type of battery; those left carry the peak, and take what the controllers deliver."""
    present = [j for j in model.battery_columns if model.columns[j].upper > 0]
    must_a = station_peak_a(model.operation.running(), model.inventory, model.bus)
    known = list(model.rows)
    for j in present:
        battery = model.battery(j)
        # equal banks: what is lost of one is laid aside of the other
        n = model.operation.n_banks
        text = f"without one {battery.id}"
        if model.columns[j].upper <= 1:
            mark = j
            loss = Loss("battery", battery.id, within=j, gone=(j,))
        else:
            mark = _mark(model, j, battery.id)
            loss = Loss("battery", battery.id, within=mark, less=((mark, j, float(n)),))
        model.losses.append(loss)
        # at the counts less one: the row's coefficient of the lost one is taken back
        for row in known:
            of_lost = sum(c for i, c in row.terms if i == j)
            if row.rule == "charge-limit" and of_lost < 0:
                terms = _less(n, row.terms, j, mark)
                model.rows.append(Row(terms, row.lower, row.upper, "backup", f"{row.text}, {text}"))
        if model.operation.batteries == "parallel":
            amps = tuple((i, model.battery(i).max_discharge_a / n) for i in present)
            words = f"the batteries left must carry {must_a:.1f} A {text}"
            row = Row(_less(n, amps, j, mark), must_a - 1e-9, rule="backup", text=words)
            model.rows.append(row)
    if present:
        pieces = tuple((j, 1.0) for j in present)
        least = 2 * model.operation.n_banks
        model.rows.append(Row(pieces, lower=float(least), rule="backup", text="a battery is left when one is lost"))
        if sum(model.columns[j].upper for j in present) < least:
            only = model.battery(present[0]).id
            text = f"{only} is the only battery of {model.bus.name} that can be used; with it lost none is left"
            model.block((only,), "backup", text)


def _less(n: int, terms: Iterable[tuple[int, float]], column: int, mark: int) -> tuple[tuple[int, float], ...]:
    """A row's terms at the counts less some of a column, where its mark is 1; each column named once."""
    total = dict(terms)
    total[mark] = total.get(mark, 0.0) - n * total[column]
    return tuple(total.items())


def _controllers(model: KitModel) -> None:
    """Each unit, and with it every panel on it."""
    for u, x in enumerate(model.unit_columns):
        _lose_unit(model, u, x)


def _lose_unit(model: KitModel, u: int, within: int) -> None:
    """A unit with every panel on it, wherever a column is chosen; once is enough."""
    x = model.unit_columns[u]
    if model.columns[x].upper > 0 and not any(one.within in (x, within) for one in model.losses):
        gone = (x, *(j for j, _ in model.joins_of(u)))
        model.losses.append(Loss("controller", model.units[u].name, within=within, gone=gone))


def _panels(model: KitModel) -> None:
    """One panel of each join; the others on its lead lose as much in it as before."""
    for j in model.join_columns:
        join = model.columns[j].meaning
        if not isinstance(join, Join) or model.columns[j].upper <= 0:
            continue
        name = f"{join.panel.id} on {model.units[join.unit].name}"
        if model.columns[j].upper <= 1 and join.n_joined == 1:
            model.losses.append(Loss("panel", name, within=j, gone=(j,)))
        else:
            mark = _mark(model, j, name)
            model.losses.append(Loss("panel", name, within=mark, less=((mark, j, 1.0 / join.n_joined),)))


def _leads(model: KitModel) -> None:
    """A lead on the panels' side takes its join along; a controller's lead, or a joiner at its input, the controller.

    Of each kind of lead on the station's side a spare is packed.
    """
    if not model.inventory.has_leads_file:
        return
    needs_spare: dict[str, list[int]] = {}
    by_name = {unit.name: u for u, unit in enumerate(model.units)}
    led: list[tuple[int, int]] = []
    joined: list[tuple[int, int]] = []
    for j, column in enumerate(list(model.columns)):
        thing = column.meaning
        if column.upper <= 0:
            continue
        if isinstance(thing, Join) and (thing.joiner is not None or (thing.chain is not None and thing.chain.pieces)):
            name = f"the lead of {thing.panel.id} on {model.units[thing.unit].name}"
            if column.upper <= 1:
                # of one panel it is the very loss of the panel
                if not any(one.gone == (j,) for one in model.losses):
                    model.losses.append(Loss("lead", name, within=j, gone=(j,)))
            else:
                mark = _mark(model, j, name)
                model.losses.append(Loss("lead", name, within=mark, less=((mark, j, 1.0),)))
        if isinstance(thing, Link) and thing.source in by_name:
            u = by_name[thing.source]
            led.append((u, model.unit_columns[u]))
        if isinstance(thing, Strip) and thing.unit is not None:
            joined.append((thing.unit, j if column.upper <= 1 else _mark(model, j, thing.lead.id)))
        is_strip = isinstance(thing, Strip) and thing.unit is None
        is_battery = isinstance(thing, str) and bool(column.uses)
        if is_strip or is_battery or isinstance(thing, Fed) or (isinstance(thing, Link) and _is_spared(model, thing)):
            for item_id in column.uses:
                if item_id in {lead.id for lead in model.inventory.leads}:
                    needs_spare.setdefault(item_id, []).append(j)
    # a unit that plugs into the station, and whose panel plugs into it, has no lead to lose; one with a lead of its own
    # is lost with that, and then its joiners are no further loss
    for u, within in (*led, *joined):
        _lose_unit(model, u, within)
    for lead_id, columns in sorted(needs_spare.items()):
        spare = model.add(Column(f"spare {lead_id}", 1, {lead_id: 1}))
        for j in columns:
            text = f"a spare {lead_id} is packed"
            terms = ((j, 1.0), (spare, -model.columns[j].upper))
            model.rows.append(Row(terms, upper=0.0, rule="backup", text=text))


def _is_spared(model: KitModel, link: Link) -> bool:
    """Whether a link's leads need a spare: all but those from a controller."""
    source = model.inventory.by_id.get(link.source)
    return link.source == "station" or isinstance(source, Battery)
