"""One kit as an article of the page: what it does, what to heed, what to pack, how it is wired and how it fares."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from kitopt import __version__
from kitopt.choice import Choice
from kitopt.explain import Why
from kitopt.explain.fuses import fuses_to_fit
from kitopt.facts.bags import Heap
from kitopt.facts.carried import Carried
from kitopt.facts.grid import Grid
from kitopt.operation.terms import circuit_name
from kitopt.report import words
from kitopt.report.assumptions import in_order, of_the_kit
from kitopt.report.heed import closing, to_heed
from kitopt.report.lists import counted
from kitopt.report.page.charts import charge_chart, power_chart
from kitopt.report.page.field import amperes_section, now_section, reading_section, swaps_section
from kitopt.report.page.html import Inside, Markup, el, name, names, table
from kitopt.report.page.rail import rail
from kitopt.report.page.steps import steps_section
from kitopt.report.reasons import sentence
from kitopt.report.second_opinion import second_opinion_text
from kitopt.report.wiring import Swaps, fuses_text, swaps_text, swaps_told

NOTHING_ASKED = Why()


@dataclass(frozen=True, eq=False)
class KitOnPage:
    """What is told of one kit.

    Attributes
    ----------
    title : str
        What it is called beside others.
    does : str
        What it does in one sentence.
    choice : Choice
        The kit; without one, what is known.
    heaps : tuple of Heap
        The checklist.
    carried : tuple of Carried
        One for each circuit.
    notes : tuple of str
        What else is to be said of it, a sentence or two each.
    sure : str
        What is proved, in a sentence: of this kit where it was chosen by itself, else of all of them together; empty
        where nobody chose it.
    is_in_bags : bool
        Whether the heaps are bags: each has a sheet of its own.
    """

    title: str
    does: str
    choice: Choice
    heaps: tuple[Heap, ...]
    carried: tuple[Carried, ...]
    why: Why = NOTHING_ASKED
    grid: Grid | None = None
    notes: tuple[str, ...] = ()
    sure: str = ""
    is_in_bags: bool = False

    @property
    def count(self) -> int:
        """Pieces in all."""
        return sum(piece.count for heap in self.heaps for piece in heap.pieces)

    @property
    def mass_g(self) -> int:
        """[g]"""
        return sum(heap.mass_g for heap in self.heaps)

    @property
    def fuses(self) -> str:
        """Blades to have at hand; empty for none."""
        return fuses_text([fit for part in self.choice.parts if part.packed for fit in fuses_to_fit(part)])

    def whose(self, one: Carried) -> str:
        """Of which circuit and bank something is, to be said after it; empty where there is but one."""
        part = self._part_of(one)
        of = next((f", {circuit_name(name)} circuit" for name, some in self.choice.circuits if some is part), "")
        return of + (f", {one.choice.operation.bank_name}" if one.choice is not part else "")

    def swaps(self, one: Carried) -> str:
        """When batteries are swapped; of two banks that change places it is said with the first."""
        part = self._swapping(one)
        return "" if part is None else swaps_text(part)

    def swaps_told(self, one: Carried) -> Swaps:
        """The same, spell by spell."""
        part = self._swapping(one)
        return ("", []) if part is None else swaps_told(part)

    def _swapping(self, one: Carried) -> Choice | None:
        part = self._part_of(one)
        return None if part.banks and one.choice is not part.banks[0] else part

    def _part_of(self, one: Carried) -> Choice:
        """What is wired together with it."""
        return next(part for part in self.choice.parts if any(one.choice is s for s in (part, *part.banks)))

    @property
    def key(self) -> str:
        """Under which a device remembers: other for another kit, operation or inventory."""
        pieces = [(one.id, one.count) for heap in self.heaps for one in heap.pieces]
        operation = self.choice.operation
        told = [pieces, operation.name, operation.start.isoformat(), operation.hours, self.choice.inventory.fingerprint]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:16]


def article(kit: KitOnPage, prefix: str) -> Markup:
    """The whole of it, in the order in which it is asked for."""
    return el(
        "article",
        el("h1" if prefix == "k1" else "h2", name(kit.title), class_="title"),
        el("p", kit.does, class_="does"),
        _heed(kit),
        el("p", "Without script this page is whole, but no box is remembered and nothing is computed.",
           class_="without-script"),
        el("div", _checklist(kit, prefix), class_="pair") if not kit.carried else None,
        [_of_circuit(kit, one, n, prefix) for n, one in enumerate(kit.carried)],
        _why(kit),
        steps_section(kit.choice, kit.grid) if kit.grid else None,
        _assumed(kit),
        _made_with(kit),
        data_kit=kit.key,
        id=prefix,
    )  # fmt: skip


def _heed(kit: KitOnPage) -> Markup:
    found = to_heed(kit.choice) if kit.choice.packed or kit.choice.shortfall else []
    lines: list[Inside] = [el("li", f"{'Find out: ' if one.level == 'ask' else ''}{one.text}") for one in found]
    lines += [el("li", note) for note in kit.notes]
    lines += [el("li", one.text) for one in closing(kit.choice)]
    return el("section", el("h2", "Heed"), el("ul", lines), class_="heed")


def _checklist(kit: KitOnPage, prefix: str) -> Markup:
    parts: list[Inside] = [el("h2", "Pack")]
    number = 0
    for heap in kit.heaps:
        rows = []
        for piece in heap.pieces:
            number += 1
            box = f"{prefix}-box-{number}"
            into: list[Inside] = [" into ", names(piece.plugs_into)]
            rows.append(
                el(
                    "li",
                    el(
                        "label",
                        el("input", type="checkbox", class_="packed", id=box),
                        el(
                            "span",
                            el("b", f"{piece.count} × ", name(piece.id)),
                            [" ", name(piece.name)] if piece.name and piece.name != piece.id else None,
                            el("small", into) if piece.plugs_into else None,
                            class_="what",
                        ),
                        el("span", words.mass(piece.mass_g, to_the_gram=True), class_="mass"),
                        for_=box,
                    ),
                )
            )
        head = el("h3", name(heap.name), " ", el("span", words.mass(heap.mass_g, to_the_gram=True), class_="mass"))
        parts += [head, el("ul", rows, class_="boxes")]
    total = f"In all {kit.count} pieces, {words.mass(kit.mass_g, to_the_gram=True)}{_price(kit)}."
    parts += [el("p", el("b", total), class_="total"), el("p", kit.fuses) if kit.fuses else None]
    parts += [el("p", class_="count", role="status"), el("p", class_="memory")]
    return el("section", parts, class_="pack")


def _price(kit: KitOnPage) -> str:
    prices = [piece.price_cents for heap in kit.heaps for piece in heap.pieces]
    known = [one for one in prices if one is not None]
    if not known:
        return ""
    unknown = f" without {len(prices) - len(known)} of unknown price" if len(known) < len(prices) else ""
    return f", {words.price(sum(known), kit.choice.inventory.currency)}{unknown}"


def _of_circuit(kit: KitOnPage, one: Carried, n: int, prefix: str) -> Markup:
    """Wiring, pictures and the field of one circuit; the checklist of all stands beside the first's wiring."""
    own = f"{prefix}-c{n + 1}"
    of = kit.whose(one)
    wiring = el("section", el("h2", f"Wire{of}"), rail(one, own), class_="wiring")
    pictures = el(
        "div",
        el("section", el("h2", f"Charge over time{of}"), charge_chart(one)),
        el("section", el("h2", f"Power in and out{of}"), power_chart(one)),
        class_="pair pictures",
    )
    return el(
        "section",
        el("div", _checklist(kit, prefix) if n == 0 else None, wiring, class_="pair"),
        pictures,
        amperes_section(one, of),
        swaps_section(one, kit.swaps_told(one), of),
        now_section(one, own, of),
        reading_section(one, own, of),
        data_circuit=str(n),
    )


def _why(kit: KitOnPage) -> Markup:
    rows = [
        el("li", el("b", name(one.id if one.count == 1 else f"1 of {one.count} {one.id}")), ": ",
           sentence(kit.choice, one), ".")
        for one in kit.why.withouts
    ]  # fmt: skip
    parts: list[Inside] = [el("h2", "Why each item")]
    if rows:
        parts += [el("p", "Without it the best kit is:"), el("ul", rows)]
    else:
        parts.append(el("p", "The reasons were not asked for."))
    parts.append(el("p", kit.sure[:1].upper() + kit.sure[1:]) if kit.sure else None)
    if kit.why.agreement is not None:
        agreed = second_opinion_text(kit.choice, kit.why.agreement)
        parts.append(el("p", agreed[:1].upper() + agreed[1:]))
    return el("section", parts, class_="why")


def _assumed(kit: KitOnPage) -> Markup:
    mine, everything = of_the_kit(kit.choice), in_order(kit.choice)
    parts: list[Inside] = [el("h2", "Assumed, and to be measured")]
    if mine:
        parts.append(
            table(
                "Values that were left blank",
                ("What", "Taken", "By which rule"),
                [(name(f"{one.id} {one.column}".strip()), name(one.value), one.rule) for one in mine],
            )
        )
    others = len(everything) - len(mine)
    said = "" if mine else "Nothing in this kit is assumed. "
    parts.append(el("p", f"{said}{others} of other items: kitopt check." if others else said or None))
    return el("section", parts, class_="assumed")


def _made_with(kit: KitOnPage) -> Markup:
    choice = kit.choice
    operation = choice.operation
    facts: Sequence[tuple[str, str]] = (
        ("Made with", f"kitopt {__version__}"),
        ("Seed", str(operation.need.seed)),
        ("Weather", f"{choice.sky.source}, {counted(choice.sky.n_windows, 'spell')}"),
        ("Step", f"{60 * operation.need.step_h:g} min"),
        ("Inventory", choice.inventory.fingerprint),
        ("Kit", kit.key),
    )
    return el("footer", el("dl", [el("div", el("dt", what), el("dd", value)) for what, value in facts]))
