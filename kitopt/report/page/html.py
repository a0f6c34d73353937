"""Elements of a page as text: whatever is not an element already is escaped, and names are kept to themselves."""

from __future__ import annotations

import json
from collections.abc import Iterable
from html import escape
from typing import Any

from kitopt.files.plain import printable


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Inside = str | Iterable["Inside"] | None


def el(tag: str, *inside: Inside, **attributes: str | float | bool | None) -> Markup:
    """An element; the last stroke of ``class_`` is lost, others are hyphens, and what is false or None is left out."""
    told = "".join(
        f" {name.rstrip('_').replace('_', '-')}" + ("" if value is True else f'="{escape(printable(str(value)))}"')
        for name, value in attributes.items()
        if value is not None and value is not False
    )
    if tag in ("input", "meta", "line", "rect", "path", "polyline", "polygon", "circle"):
        return Markup(f"<{tag}{told}>" if tag in ("input", "meta") else f"<{tag}{told}/>")
    return Markup(f"<{tag}{told}>{text(inside)}</{tag}>")


def text(inside: Inside) -> Markup:
    """What is inside an element: markup as it is, all else escaped, without what turns the writing round."""
    if inside is None:
        return Markup("")
    if isinstance(inside, Markup):
        return inside
    if isinstance(inside, str):
        return Markup(escape(printable(inside), quote=False))
    return Markup("".join(text(one) for one in inside))


def name(of: str) -> Markup:
    """A name that somebody gave, whichever way it is written."""
    return el("bdi", of)


def names(some: Iterable[str]) -> list[Inside]:
    """Several of them, with commas between."""
    return [[", " if n else "", name(one)] for n, one in enumerate(some)]


def data(value: Any) -> Markup:
    """A value for a script to read; nothing in it ends the element."""
    told = json.dumps(value, separators=(",", ":"), allow_nan=False)
    return Markup(told.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def table(caption: str, heads: Iterable[Inside], rows: Iterable[Iterable[Inside]], class_: str | None = None) -> Markup:
    """A table whose first cell of each row is its head; it scrolls by itself where it is too wide."""
    top = el("tr", [el("th", head, scope="col") for head in heads])
    lines = [
        el("tr", [el("td", cell) if n else el("th", cell, scope="row") for n, cell in enumerate(cells)])
        for cells in rows
    ]
    return scrolling(caption, top, lines, class_)


def scrolling(caption: str, top: Inside, lines: Inside, class_: str | None = None) -> Markup:
    """A table of rows that are made already."""
    whole = el("table", el("caption", el("span", caption)), el("thead", top), el("tbody", lines), class_=class_)
    return el("div", whole, class_="wide", tabindex="0", role="group", aria_label=caption)
