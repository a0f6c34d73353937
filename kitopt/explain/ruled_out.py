"""The rules' verdicts that bear on a choice."""

from __future__ import annotations

from kitopt.inventory.items import Battery
from kitopt.kit import Block
from kitopt.pack import Choice


def blocks_that_matter(choice: Choice) -> list[Block]:
    """Blocks of the kit's bus class, or of the strongest kit's when none works; of all classes without either.

    Each is listed once.
    """
    wanted = None if choice.bus is None else {(choice.bus.chemistry, choice.bus.nominal_v)}
    if wanted is None and choice.shortfall is not None:
        items = [choice.inventory.by_id[one.id] for one in choice.shortfall.packed]
        wanted = {(item.chemistry, item.nominal_v) for item in items if isinstance(item, Battery)}
    blocks = [
        block
        for bus, found in choice.blocks
        if not wanted or (bus.chemistry, bus.nominal_v) in wanted
        for block in found
    ]
    return list(dict.fromkeys(blocks))
