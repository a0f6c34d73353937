"""What goes along with the battery in use: leads that go from one to the next, and the fuses fitted into them.

Of each as many are packed as the battery that needs most of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from kitopt.engine.plan import Row
from kitopt.model.fuse_stock import fuses_of
from kitopt.model.kit import Column, KitModel
from kitopt.model.wiring import Chain

Needs = dict[int, list[tuple[int, float]]]
"""By the column of a battery, the columns of its links and how many of a thing each has."""


@dataclass
class InUse:
    """Links of batteries that take their pieces with them."""

    _leads: dict[str, Needs] = field(default_factory=dict)
    _fuses: dict[tuple[str, float], Needs] = field(default_factory=dict)

    def add(self, model: KitModel, battery: int, link: int, chain: Chain) -> None:
        """A link of a battery, both by column."""
        for lead_id, n in chain.uses.items():
            # of two banks each has them at its own place
            needs = self._leads.setdefault(lead_id, {})
            needs.setdefault(battery, []).append((link, float(n * model.operation.n_banks)))
        for fuse, n in fuses_of(chain).items():
            self._fuses.setdefault(fuse, {}).setdefault(battery, []).append((link, float(n)))

    def add_rows(self, model: KitModel) -> None:
        """Called when all links are there."""
        for lead_id, needs in sorted(self._leads.items()):
            most = model.inventory.by_id[lead_id].count
            _carry(model, lead_id, needs, Column(f"{lead_id} for the battery in use", most, {lead_id: 1}))
        # without a list of fuses every rating can be had
        for (holder, rating_a), needs in sorted(self._fuses.items()) if model.inventory.fuses is not None else ():
            name, fuse = f"{holder} fuse {rating_a:g} A", {(holder, rating_a): 1}
            at_once = max(sum(n for _, n in links) for links in needs.values())
            _carry(model, name, needs, Column(f"{name} for the battery in use", at_once, fuses=fuse))


def _carry(model: KitModel, name: str, needs: Needs, column: Column) -> None:
    carried = model.add(column)
    for _, links in sorted(needs.items()):
        text = f"{name} serves the battery in use"
        model.rows.append(Row(((carried, -1.0), *links), upper=0.0, rule="battery-lead", text=text))
