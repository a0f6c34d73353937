"""Why what is owned is not in the kit: the rule that decided, at once."""

from __future__ import annotations

from dataclasses import dataclass

from kitopt.choice import Choice
from kitopt.explain.ruled_out import told
from kitopt.inventory.items import Battery, Converter, Extra, Item, Lead, Load, Panel


@dataclass(frozen=True)
class Reason:
    """A rule that decided, and a sentence."""

    rule: str
    text: str


def not_packed(choice: Choice) -> dict[str, Reason]:
    """Per owned id that the kit does without, why."""
    packed = {one.id for one in choice.packed}
    return {
        item_id: _why_not(choice, item)
        for item_id, item in sorted(choice.inventory.by_id.items())
        if item_id not in packed
    }


def _why_not(choice: Choice, item: Item) -> Reason:
    if item.out:
        return Reason("count", "It is out: lent or broken.")
    if item.count < 1:
        return Reason("count", "None is owned.")
    if isinstance(item, Extra):
        return Reason("not-named", f"It is packed only with {' or '.join(item.hangs_on)}.")
    if isinstance(item, Load):
        return Reason("not-named", "The operation does not name this load.")
    if isinstance(item, Lead | Converter) and not choice.inventory.has_leads_file:
        return Reason("not-checked", "Without a leads.csv no leads are chosen.")
    ruled = _ruled_out(choice, item)
    if ruled is not None:
        return ruled
    bus = choice.bus
    if (
        isinstance(item, Battery)
        and bus is not None
        and (item.chemistry, item.nominal_v) != (bus.chemistry, bus.nominal_v)
    ):
        return Reason(
            "bus-class", f"It is {item.chemistry} {item.nominal_v:g} V; the kit is {bus.name}, and one kit never mixes."
        )
    if choice.operation.least == "price" and item.price_cents is None:
        return Reason("prices", "It has no price, so it cannot be compared.")
    if not choice.packed:
        return Reason("no-kit", "No kit was found.")
    return Reason("not-needed", "The kit does the job without it.")


def _ruled_out(choice: Choice, item: Item) -> Reason | None:
    """The rule that excludes an item from the kit's bus class, or from all when there is no kit."""
    found_by_class = [
        blocks
        for bus, blocks in choice.blocks
        if (choice.bus is None or bus == choice.bus) and (not isinstance(item, Battery) or item in bus.batteries)
    ]
    found: Reason | None = None
    for blocks in found_by_class:
        alone = [block for block in blocks if block.items == (item.id,)]
        # a panel that no controller may take is out as well
        pairs = [block for block in blocks if len(block.items) == 2 and block.items[0] == item.id]
        every = {controller.id for controller in choice.inventory.controllers}
        if alone:
            found = Reason(alone[0].rule, told(choice, alone[0]))
        elif isinstance(item, Panel) and every and every <= {block.items[1] for block in pairs}:
            found = Reason(pairs[0].rule, f"{told(choice, pairs[0])} No other controller takes it either.")
        else:
            return None
    return found
