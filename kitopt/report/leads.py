"""The leads of a join, from the panels to the controller."""

from __future__ import annotations

from kitopt.model.kit import Join


def lead_ids(join: Join) -> tuple[str, ...]:
    """Ids of the joiner, if there is one, and of the leads in order."""
    joiner = () if join.joiner is None else (join.joiner.id,)
    return (*joiner, *(() if join.chain is None else join.chain.ids))
