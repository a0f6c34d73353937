"""What the owner must mind, as data: a level, a rule and a sentence.

Levels: "block" is never chosen and explains why there is no kit; "warn" is to be heeded;
"ask" means that something is not known and has to be looked up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from kitopt.choice import Choice
from kitopt.engine.judge import charging_w
from kitopt.explain.caution import Caution
from kitopt.explain.cautions_wiring import leads, voltages
from kitopt.explain.guesses import ShutOut, shut_out
from kitopt.explain.ruled_out import blocks_that_matter, told
from kitopt.explain.thrown_away import thrown_away
from kitopt.inventory.items import Battery, Controller, Item
from kitopt.model.rules import AIR_FREE_WH, AIR_SPARES, cold_voc_v

PARALLEL_PANELS = 3
"""From this many panels in parallel on, one of them can be fed by the others beyond what it stands (NEC 690.9,
from memory)."""


_LIMITS = ("max_discharge_a", "max_charge_a", "lowest_charging_degc", "voc_v", "isc_a")
"""Columns whose blanks are limits that something could be harmed by; max_pv_v is asked for with its panels."""

_PASSED = "No rule failed; that is no promise that nothing can go wrong."
_NOT_PASSED = "The rules are a help, no more."
_LAW = "Local codes and licensed practice come first"
_ORDER = (
    "Wire battery, fuse close to its plus, distribution, radio; then controller to battery, and the panel last. "
    f"{_LAW}."
)

_PANEL_FIRST = (
    " Cover or unplug the panel first; a controller that loses its battery in the sun may put panel volts on the radio."
)


def cautions(choice: Choice) -> tuple[Caution, ...]:
    """Everything to mind about a choice; the last one always says what "no rule failed" does not mean."""
    if choice.circuits:
        each = [caution for part in choice.parts for caution in cautions(part)]
        return tuple(reversed(dict.fromkeys(reversed(each))))
    found: list[Caution] = []
    if choice.packed:
        found.extend(voltages(choice))
        for part in (_batteries, _cold, _panels, _controllers, _unknown_limits, _assumed_limits, _air_travel):
            found.extend(part(choice))
    if choice.operation.least == "price":
        found.extend(_prices(choice))
    if choice.status == "no-kit" and (choice.shortfall is None or not choice.shortfall.packed):
        found.extend(_blocks(choice))
    found.extend(Caution("warn", note, "sky", note.split(": ")[0].rstrip(".")) for note in choice.sky.notes)
    read = (*choice.operation.warnings, *choice.inventory.warnings)
    found.extend(Caution("ask", warning, "file") for warning in read)
    found.extend(_unusual(choice))
    found.extend(leads(choice))
    found.extend(_guesses(choice))
    # what is to be heeded comes before what is to be looked up
    found.sort(key=lambda caution: caution.rank)
    passed = not any(caution.level == "block" for caution in found)
    said, short = (_PASSED, "No rule failed: no promise.") if passed else (_NOT_PASSED, _NOT_PASSED)
    found.append(Caution("warn", f"{said} {_ORDER}", "no-rule-failed", f"{short} {_LAW}"))
    return tuple(found)


def _guesses(choice: Choice) -> Iterator[Caution]:
    """What a limit that nobody read from a label keeps at home."""
    by_cell: dict[tuple[str, str], list[ShutOut]] = {}
    for one in shut_out(choice):
        by_cell.setdefault((one.id, one.column), []).append(one)
    for (item_id, column), some in by_cell.items():
        nearest = min(some, key=lambda one: abs(one.needed - one.assumed))
        beyond = "more" if nearest.is_more else "less"
        names = list(dict.fromkeys(one.kept for one in some if one.kept != nearest.kept))
        others = f" (and {', '.join(names)} at {beyond})" if names else ""
        needed = math.ceil(10 * nearest.needed - 1e-9) / 10
        yield Caution(
            "ask",
            f"A guess keeps {nearest.kept} out: {column} of {item_id} is blank and taken as "
            f"{nearest.assumed:.4g} {nearest.unit}. Look it up: at {needed:.1f} {nearest.unit} or {beyond} "
            f"{nearest.kept} may come in{f' on {nearest.where}' if nearest.where else ''}{others}.",
            "assumed-limit",
            f"look up {nearest.column} of {nearest.id}: a guess keeps {nearest.kept} out",
        )


def _packed(choice: Choice, kind: type[Item]) -> Iterator[tuple[Item, int]]:
    for packed in choice.packed:
        item = choice.inventory.by_id[packed.id]
        if isinstance(item, kind):
            yield item, packed.count


def _batteries(choice: Choice) -> Iterator[Caution]:
    batteries = [(item, n) for item, n in _packed(choice, Battery) if isinstance(item, Battery)]
    count = sum(n for _, n in batteries)
    if count < 2:
        return
    is_in_turn, whose = choice.operation.batteries == "in turn", ""
    if choice.operation.charge == "apart":
        count, whose = count // 2, " of each bank"
        yield Caution(
            "warn",
            f"Two banks of {count} change places by the clock: write on each which it is, and never join one to "
            f"the other.{_PANEL_FIRST if choice.joins else ''}",
            "swaps",
            f"mark the two banks; they change places by the clock{', the panel covered' if choice.joins else ''}",
        )
        if count < 2:
            return
    if is_in_turn:
        yield Caution(
            "warn",
            f"The {count} batteries{whose} count as one store: swap them by ampere-hours out, never by volts."
            f"{_PANEL_FIRST if choice.joins else ''}",
            "swaps",
            f"swap the {count} batteries{whose} by ampere-hours out, not by volts"
            f"{', the panel covered' if choice.joins else ''}",
        )
        return
    is_lifepo4 = batteries[0][0].chemistry == "lifepo4"
    which, near = ("LiFePO4", "within 0.05 V of each other") if is_lifepo4 else ("Alike batteries", "at equal volts")
    yield Caution(
        "warn",
        f"{which} in parallel: first make the volts equal. Charge each to full, let it rest for an hour, measure, and "
        f"join only those {near}, each with its own fuse: 1.6 V over 0.04 ohm is 40 A.",
        "parallel",
        "before batteries are joined: each full, rested for an hour, at equal volts, fused",
    )


def _cold(choice: Choice) -> Iterator[Caution]:
    made = choice.made
    if made is None or not choice.joins:
        return
    meets = [store.made.base for store in choice.stores if store.made is not None]
    is_lost = [np.any(~one.may_charge & (charging_w(one, plant) > 0.0), axis=1) for one, plant in meets]
    n = int(np.count_nonzero(np.any(is_lost, axis=0)))
    if n:
        coldest = made.model.bus.lowest_charging_degc
        yield Caution(
            "warn",
            f"Battery cells colder than {coldest:g} °C must not be charged: that stops charging while the sun is up "
            f"in {n:,} of {meets[0][0].n_windows:,} spells. Keep the batteries warm.",
            "cold-cells",
            f"keep the batteries warm: no charging while their cells are below {coldest:g} °C",
        )


def _panels(choice: Choice) -> Iterator[Caution]:
    lost = thrown_away(choice)
    if lost is not None and lost.units:
        names = " and ".join(unit.name for unit in lost.units)
        verb = "passes" if len(lost.units) == 1 else "pass"
        full = f"{lost.when_full_wh:,.0f} Wh"
        if lost.above_limit_wh < 0.5:
            line = f"the panels may give more than {names} {verb}; little is lost"
            text = (
                f"By their rating the panels give more than {names} {verb}. In the median spell nothing is lost to "
                f"that limit, and {full} to a full battery, of {lost.offered_wh:,.0f} Wh offered."
            )
        else:
            line = f"the panels give more than {names} {verb}: {lost.above_limit_wh:,.0f} Wh thrown away"
            text = (
                f"The panels give more than {names} {verb}. Thrown away in the median spell: "
                f"{lost.above_limit_wh:,.0f} Wh above that limit and {full} with the battery full, "
                f"of {lost.offered_wh:,.0f} Wh offered."
            )
        yield Caution("warn", text, "clipped", line)
    joined: dict[str, int] = {}
    unfused: dict[str, int] = {}
    for wire in choice.wiring:
        if wire.kind == "panel":
            n = wire.count * wire.joined
            joined[wire.sink] = joined.get(wire.sink, 0) + n
            # one fuse in the lead that several share protects none of them from the others
            is_fused = wire.fuse_a is not None and wire.joined == 1
            unfused[wire.sink] = unfused.get(wire.sink, 0) + (0 if is_fused else n)
    for name, n in joined.items():
        if n >= PARALLEL_PANELS and unfused[name]:
            yield Caution(
                "warn",
                f"{n} panels in parallel on {name}: give each its own fuse, of 1.56 times its Isc or the next size up, "
                "for the others can feed a faulty one.",
                "parallel-panels",
                f"give each of the {n} panels on {name} its own fuse",
            )


def _controllers(choice: Choice) -> Iterator[Caution]:
    for item, _ in _packed(choice, Controller):
        assert isinstance(item, Controller)
        if item.rf == "hash":
            yield Caution(
                "warn",
                f"{item.id} is noted as noisy on the bands: charge one battery while another feeds the radio, or stop "
                "charging while you listen; ferrites on its leads, and it and they 5 m or more from the antenna.",
                "radio-noise",
                f"{item.id} is noisy on the bands: stop charging while you listen",
            )
        elif item.rf == "unknown":
            yield Caution(
                "ask",
                f"Whether {item.id} makes radio noise is not known: listen beside it, charging and when full.",
                "radio-noise",
                f"listen beside {item.id}, whether it makes radio noise",
            )
        if not item.chemistries:
            chemistry = choice.bus.chemistry if choice.bus else "the battery"
            yield Caution(
                "ask",
                f"What {item.id} can charge is not written down: check that it is set for {chemistry}.",
                "chemistry",
                f"is {item.id} set for {chemistry}?",
            )


def _unknown_limits(choice: Choice) -> Iterator[Caution]:
    for join, unit, _ in choice.joins:
        if unit.controller.max_pv_v is None:
            volts = cold_voc_v(join.panel, choice.sky.coldest_degc)
            yield Caution(
                "ask",
                f"{join.panel.id} reaches {volts:.1f} V open-circuit at {choice.sky.coldest_degc:g} °C; what "
                f"{unit.controller.id} takes is not written down: read its label before you plug in.",
                "cold-voc",
                f"does {unit.controller.id} take the {volts:.1f} V of {join.panel.id} in the cold?",
            )


def _air_travel(choice: Choice) -> Iterator[Caution]:
    if not choice.operation.air_travel:
        return
    lithium = [b for b, _ in _packed(choice, Battery) if isinstance(b, Battery) and b.chemistry != "agm"]
    large = [b for b in lithium if b.label_wh > AIR_FREE_WH]
    if large:
        named = ", ".join(f"{b.id} ({b.label_wh:.0f} Wh)" for b in large)
        yield Caution(
            "ask",
            f"By air: above {AIR_FREE_WH:.0f} Wh ask the airline for its approval, {AIR_SPARES} at most: {named}.",
            "air-travel",
            f"ask the airline about {', '.join(b.id for b in large)}",
        )
    if lithium:
        text = "By air: lithium batteries go in the cabin, terminals covered. The airline's own rules decide."
        yield Caution("warn", text, "air-travel", "by air lithium batteries go in the cabin, terminals covered")


def _assumed_limits(choice: Choice) -> Iterator[Caution]:
    packed = {one.id for one in choice.packed}
    # where nothing is charged, only what is given has a limit
    limits = _LIMITS if any(part.joins for part in choice.parts) else _LIMITS[:1]
    found = [one for one in choice.inventory.assumed if one.id in packed and one.column in limits]
    if found:
        named = [f"{one.id} {one.column} {one.value}" for one in found]
        names = list(dict.fromkeys(one.id for one in found))
        yield Caution(
            "ask",
            f"Limits not read from a label: {_some(named)}. Look them up.",
            "assumed-limit",
            f"look up the limits of {_some(names, 3)}: they are guessed",
        )


def _unusual(choice: Choice) -> Iterator[Caution]:
    """Values outside the usual, of what is packed and of what they may have kept out."""
    packed = {one.id for one in choice.packed}
    for one in choice.inventory.unusual:
        if one.id in packed or one.keeps_out:
            yield Caution("ask", str(one), "usual")


def _prices(choice: Choice) -> Iterator[Caution]:
    inventory = choice.inventory
    chosen_from: tuple[Item, ...] = (*inventory.panels, *inventory.batteries, *inventory.controllers)
    missing = [item.id for item in chosen_from if item.price_cents is None and item.count > 0]
    if missing:
        yield Caution("ask", f"Without a price, so never chosen: {_some(missing)}.", "prices")
    always = [inventory.by_id[use.id] for use in choice.operation.loads]
    along = [extra for extra in inventory.extras if extra.id in {one.id for one in choice.packed}]
    free = [item.id for item in (*always, *along) if item.price_cents is None]
    if free:
        yield Caution("ask", f"Without a price, so counted as nothing: {_some(free)}.", "prices")


def _blocks(choice: Choice) -> Iterator[Caution]:
    for block in blocks_that_matter(choice):
        yield Caution("block", told(choice, block), block.rule)


def _some(ids: list[str], most: int = 8) -> str:
    more = f" and {len(ids) - most} more" if len(ids) > most else ""
    return ", ".join(ids[:most]) + more
