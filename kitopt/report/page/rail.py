"""The wiring as a rail: a row a join in plugging order, the station's side solid, the panels' side in heavy dashes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from kitopt.facts.carried import Carried
from kitopt.facts.joins import JoinToMake, border_of
from kitopt.model.kit import STATION
from kitopt.model.wiring_list import BOX
from kitopt.report import words
from kitopt.report.page.html import Inside, Markup, el, name, names

T = TypeVar("T")


def rail(one: Carried, prefix: str) -> list[Markup]:
    """The rows of one circuit, each with a box; then what the marks mean."""
    rows: list[Markup] = []
    first, highest_v = border_of(one.joins)
    head = el("p", "Plug in this order; strike in reverse.", where_all_meet(one.joins, name))
    for number, join in enumerate(one.joins, start=1):
        if join is first:
            warning = (
                f"Panel volts from here on: up to {highest_v:.1f} V. Cover the panel first, battery side last off."
            )
            rows.append(el("li", el("strong", warning), class_="border"))
        rows.append(_row(join, number, prefix))
    return [head, el("ol", rows, class_="rail")]


def _row(join: JoinToMake, number: int, prefix: str) -> Markup:
    wire = join.wire
    box_id = f"{prefix}-join-{number}"
    box = el("input", type="checkbox", class_="packed", id=box_id)
    heading: list[Inside] = [el("span", str(number), class_="number"), ends_of(join, name)]
    label = el("label", box, el("span", heading, class_="ends"), for_=box_id)
    fuse = fuse_text(join)
    flow: list[Inside] = [el("b", f"{wire.amps:.1f} A")]
    if fuse:
        flow += [" · ", el("b", fuse, class_="fuse")]
    detail: list[Inside] = []
    if wire.leads:
        detail += [names(wire.leads), f", {words.length(round(join.length_m or 0.0, 2))}. "]
    elif join.length_m is not None:
        detail.append("no lead, straight in. ")
    if join.plugs:
        detail += ["Plug: ", names(join.plugs), "."]
    if wire.drop_v is not None and wire.drop_v >= 0.005:
        detail.append(f" {wire.drop_v:.2f} V lost.")
    side = "panel" if join.panel_volts is not None else "station"
    return el(
        "li", label, el("div", _mark(join), el("p", flow), class_="flow"), el("p", detail, class_="lead"), class_=side
    )


def where_all_meet(joins: Sequence[JoinToMake], told: Callable[[str], T]) -> list[T | str]:
    """A sentence to follow another: the place that the rows speak of; names as somebody tells them."""
    place = next((join.place for join in joins), BOX)
    return [f" The {BOX} is whatever the batteries are in."] if place == BOX else [" All meet at ", told(place), "."]


def ends_of(join: JoinToMake, told: Callable[[str], T]) -> list[T | str]:
    """What goes into what; names as somebody tells them."""
    wire = join.wire
    source, sink = (told(join.place if end == STATION else end) for end in (wire.source, wire.sink))
    leads = told(", ".join(wire.leads))
    if wire.kind == "strip":
        return [leads, f" × {wire.count}: where all meet" if wire.count > 1 else ": where all meet"]
    if wire.kind == "joiner":
        return [leads, " into ", sink, ", for the panels"]
    each = f" ({wire.count} times{', in turn' if wire.is_shared else ''})" if wire.count > 1 else ""
    return [f"{wire.joined} × " if wire.joined > 1 else "", source, " into ", sink, each]


def fuse_text(join: JoinToMake) -> str:
    """What is to be done about a fuse; empty for none."""
    rating = "" if join.fuse_a is None else f"{join.fuse_a:.3g} A"
    return {
        "to fit": f"fit {join.holder} fuse {rating}",
        "in it": f"fuse {rating} is in it",
        "inside": "fuse inside the battery",
        "wanted": f"needs a fuse{' of ' + rating + ' or more' if rating else ''} within 18 cm of its plus",
        "": "",
    }[join.fuse_is]


def _mark(join: JoinToMake) -> Markup:
    """From the rail: a wire, the fuse where there is one to be fitted or in it, and the plug as two halves."""
    parts = [el("line", x1=0, x2=78, y1=12, y2=12, class_="wire")]
    if join.fuse_is and join.fuse_is != "inside":
        parts.append(el("rect", x=12, y=6, width=26, height=12, class_="fusebox"))
        parts.append(el("line", x1=12, x2=38, y1=12, y2=12, class_="thin"))
    parts.append(el("path", d="M60 4 h-8 v16 h8", class_="thin"))
    parts.append(el("path", d="M60 7 h10 v10 h-10", class_="thin"))
    return el("svg", parts, viewBox="0 0 78 24", class_="mark", aria_hidden="true")
