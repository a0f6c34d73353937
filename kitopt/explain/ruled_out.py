"""The rules' verdicts that bear on a choice."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.explain.cannot_join import remedy
from kitopt.explain.in_the_way import shortages
from kitopt.inventory.items import Battery, Load
from kitopt.model.kit import Block


def blocks_that_matter(choice: Choice) -> list[Block]:
    """Blocks of the kit's bus class, or of the strongest kit's when none works; of all classes without either.

    Where nothing fits together, what alone stands in the way. Each is listed once.
    """
    if choice.status == "no-kit" and not (choice.shortfall and choice.shortfall.packed):
        causes = _causes(choice)
        if causes:
            return list(dict.fromkeys(causes))
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


def _causes(choice: Choice) -> list[Block]:
    """What alone leaves nothing that fits together, for the class with the most batteries."""
    if not choice.blocks:
        return []
    _, blocks = choice.blocks[0]
    without = [b for b in blocks if any(isinstance(choice.inventory.by_id[i], Load) for i in b.items)]
    return without or shortages(choice)


def told(choice: Choice, block: Block) -> str:
    """A block in whole sentences, with what would join what cannot be joined."""
    return f"{block.text}. {remedy(choice, block)}".rstrip()
