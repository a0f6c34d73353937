"""Why an item is packed or not, or what binds the kit as a whole: asked of a result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Status, with_fresh
from kitopt.explain import Binding, Edges, Within, Without, binding, edges, within, without_each
from kitopt.explain.edges import FAMILIES
from kitopt.explain.look_up import LookUp, look_up
from kitopt.explain.measurement import NOTHING_MEASURED, Measuring, measuring
from kitopt.explain.one_purchase import OnePurchase, one_purchase
from kitopt.explain.split import Split, split
from kitopt.field.noon import AtNoon, at_noon
from kitopt.inventory.items import Extra, Inventory, Load
from kitopt.report import why as told
from kitopt.report.look_up import look_up_section
from kitopt.report.measurement import measurement_section, measurement_value
from kitopt.report.split import split_section
from kitopt.sky import fresh_windows, windows_for


@dataclass(frozen=True, eq=False)
class Argument:
    """Why a kit is what it is.

    Attributes
    ----------
    item : str or None
        What was asked about; None for the kit as a whole.
    found : Without, Within or None
        About an item: what the best kit is without it, or with it. None where it is given.
    bindings : tuple of (circuit, Binding)
        About the kit: what binds it, or each of its circuits.
    edges : Edges
        About the kit: how far it is from becoming another.
    purchase : OnePurchase or None
        What one piece of a catalogue would save; None without a catalogue.
    look_up : LookUp or None
        About the kit: guesses that decide.
    split : Split or None
        About the kit: what a circuit of its own for one load would save, where its peak rules most batteries out.
    measuring : Measuring
        About the kit: the one measurement that would change it most.
    noon : AtNoon or None
        What the panel gives that is to be measured.
    """

    choice: Choice
    item: str | None = None
    found: Without | Within | None = None
    bindings: tuple[tuple[str, Binding], ...] = ()
    edges: Edges | None = None
    purchase: OnePurchase | None = None
    look_up: LookUp | None = None
    split: Split | None = None
    measuring: Measuring = NOTHING_MEASURED
    noon: AtNoon | None = None

    @property
    def status(self) -> Status:
        """That of the kit."""
        return self.choice.status

    def to_dict(self) -> dict[str, Any]:
        """The object that ``kitopt why --json`` prints."""
        if self.item is not None:
            return told.item_value(self.choice, self.item, self.found)
        assert self.edges is not None
        measure = measurement_value(self.choice, self.measuring, self.noon)
        return {
            **told.kit_value(self.choice, self.bindings, self.edges, self.purchase, self.look_up, self.split),
            "measure": measure,
        }

    def to_text(self, *, is_brief: bool = False) -> str:
        """What ``kitopt why`` prints."""
        if self.item is None:
            assert self.edges is not None
            lines = [
                *told.bindings_section(self.choice, self.bindings),
                "",
                *told.edges_section(self.choice, self.edges),
            ]
            for more in (
                split_section(self.choice, self.split),
                told.purchase_section(self.choice, self.purchase),
                [] if self.look_up is None else look_up_section(self.choice, self.look_up),
                measurement_section(self.choice, self.measuring, self.noon),
            ):
                lines += ["", *more] if more else []
            return "\n".join(lines).rstrip() + "\n"
        if self.found is None:
            return told.given_text(self.choice, self.item)
        if isinstance(self.found, Without):
            return told.without_text(self.choice, self.found)
        return told.within_text(self.choice, self.found)


def argue(
    choice: Choice,
    item: str | None = None,
    *,
    catalogue: Callable[[], Inventory | None] = lambda: None,
    clock: Budget = UNLIMITED,
) -> Argument:
    """Argue about one item, or about the kit as a whole, by choosing again.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best.
    catalogue : callable
        Reads what could be bought, if there is anything.
    """
    if item is None:
        # a worth, or a purchase, would have to be tried in every circuit
        is_one = not choice.circuits
        offered = catalogue() if is_one else None
        parts: list[Callable[[], Any]] = [
            lambda: look_up(choice, budget=clock),
            lambda: None if offered is None else one_purchase(choice, offered, budget=clock),
            lambda: measuring(choice, budget=clock) if is_one else NOTHING_MEASURED,
            lambda: split(choice, sky_of=windows_for, budget=clock),
            *(partial(edges, choice, sky_of=windows_for, budget=clock, families=[one]) for one in FAMILIES),
        ]
        guesses, purchase, measure, apart, *found = at_once(parts)
        named = choice.circuits or (("", choice),)
        bindings = tuple((name, one) for name, part in named if (one := binding(part)) is not None)
        is_panel = measure.best is not None and measure.best.thing.column == "output_factor"
        noon = at_noon(choice.operation, choice.inventory, measure.best.thing.id) if measure.best and is_panel else None
        return Argument(
            choice,
            bindings=bindings,
            edges=Edges(tuple(edge for one in found for edge in one.edges), any(one.is_cut_short for one in found)),
            purchase=purchase,
            look_up=guesses,
            split=apart,
            measuring=measure,
            noon=noon,
        )
    if isinstance(choice.inventory.by_id[item], Load | Extra) and any(one.id == item for one in choice.packed):
        return Argument(choice, item)
    for without in without_each(choice, item, budget=clock):
        return Argument(choice, item, without)
    fresh = (lambda: fresh_windows(choice.operation)) if choice.sky.can_refresh else None
    if fresh is not None:
        choice = with_fresh(choice, fresh)
    return Argument(choice, item, within(choice, item, fresh=fresh, budget=clock))
