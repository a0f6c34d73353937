"""A study on a page: a map for each day, then the same things in the same words as on the terminal.

The maps need no network: sites lie by latitude and longitude, degrees of which are as wide and high as there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kitopt import __version__
from kitopt.operation.terms import Site
from kitopt.report.page import whole
from kitopt.report.page.html import Inside, Markup, el, name, scrolling
from kitopt.study.found import Region
from kitopt.study.summary import Cell
from kitopt.study.terms import Place
from kitopt.study.text import cell_text, paragraphs

_WIDTH, _HIGHEST, _LOWEST = 300.0, 420.0, 120.0
_EDGE, _DOT = 26.0, 5.0
_STEPS_DEG = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0)


def region_page(region: Region) -> str:
    """One file that needs nothing else."""
    head, *others = paragraphs(region)
    main: list[Inside] = [
        el(
            "article",
            el("h1", name(region.study.name), class_="title"),
            el("p", head[0], class_="does"),
            el("h2", "Where kits pass"),
            el("div", [_map(region, when) for when in range(len(region.study.whens))], class_="maps"),
            _key(),
            _table(region),
            [_section(lines) for lines in others],
            el("footer", el("p", f"kitopt {__version__}")),
        )
    ]
    return whole(region.study.name, main)


def _section(told: Sequence[str]) -> Markup:
    """A heading or sentence, then what is told one by one, each with what belongs to it, then other sentences."""
    before: list[str] = []
    listed: list[list[str]] = []
    after: list[str] = []
    for line in told:
        if line.startswith("- "):
            listed.append([line.removeprefix("- ")])
        elif line.startswith(" ") and listed:
            listed[-1].append(line.strip())
        else:
            (after if listed else before).append(line)
    points = el("ul", [el("li", " ".join(line)) for line in listed]) if listed else None
    return el("section", [el("p", line) for line in before], points, [el("p", line) for line in after])


def _table(region: Region) -> Markup:
    days = [el("th", when.label, scope="col") for when in region.study.whens]
    lines = [
        el(
            "tr",
            el("th", name(place.name), scope="row"),
            [el("td", cell_text(cell), class_=None if cell.passes else "fails") for cell in cells],
        )
        for place, cells in zip(region.study.places, region.table, strict=True)
    ]
    return scrolling(
        "Least chance of the patterns on unseen spells of weather, or what is short",
        el("tr", el("th", "Site", scope="col"), days),
        lines,
        "figures",
    )


def _key() -> Markup:
    marks = (("passes", "everything passes"), ("fails", "some pattern has no kit"), ("open", "not answered yet"))
    return el(
        "ul",
        [
            el("li", el("svg", _mark(7.0, 7.0, kind), viewBox="0 0 14 14", class_="sample", aria_hidden="true"), told)
            for kind, told in marks
        ],
        class_="key",
    )


def _map(region: Region, when: int) -> Markup:
    """The sites on one day."""
    study = region.study
    frame = _Frame(study.places)
    column = [line[when] for line in region.table]
    marks = [
        el("g", el("title", f"{place.name}: {cell_text(cell)}"), _mark(*frame.at(place.site), _kind(cell)))
        # those that fail on top
        for place, cell in sorted(zip(study.places, column, strict=True), key=lambda one: not one[1].passes)
    ]
    n = sum(cell.passes for cell in column)
    told = f"{study.whens[when].label}: everything passes at {n} of {len(column)} sites"
    box = f"0 0 {_WIDTH:g} {frame.height:.0f}"
    svg = el("svg", frame.ticks(), marks, viewBox=box, role="img", aria_label=told)
    return el("figure", svg, el("figcaption", told))


def _kind(cell: Cell) -> str:
    return "passes" if cell.passes else "fails" if cell.is_whole or cell.worst is not None else "open"


def _mark(x: float, y: float, kind: str) -> Markup:
    """A ring where all passes, a full square where something fails: told apart without colour."""
    if kind == "fails":
        side = f"{2 * _DOT:g}"
        return el("rect", x=f"{x - _DOT:.1f}", y=f"{y - _DOT:.1f}", width=side, height=side, class_=kind)
    return el("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{_DOT:g}", class_=kind)


class _Frame:
    """How degrees lie on a map: as wide in the middle of it as they are there, beside their height."""

    def __init__(self, places: Sequence[Place]) -> None:
        latitudes = [place.site.latitude_deg for place in places]
        self.south_deg, self.north_deg = min(latitudes), max(latitudes)
        middle_deg = (self.south_deg + self.north_deg) / 2
        # where the sites lie on both sides of the date line, east of it goes on
        self.west_deg, self.wide_deg = _span([place.site.longitude_deg for place in places])
        narrow = max(0.05, math.cos(math.radians(middle_deg)))
        wide, high = max(0.02, self.wide_deg * narrow), max(0.02, self.north_deg - self.south_deg)
        scale = min((_WIDTH - 2 * _EDGE) / wide, (_HIGHEST - 2 * _EDGE) / high)
        self.height = max(_LOWEST, high * scale + 2 * _EDGE)
        self.x_a_degree, self.y_a_degree = scale * narrow, scale
        self.left = (_WIDTH - self.wide_deg * self.x_a_degree) / 2
        self.top = (self.height - (self.north_deg - self.south_deg) * scale) / 2

    def at(self, site: Site) -> tuple[float, float]:
        """Across from the left edge, and down from the top."""
        return self._x(site.longitude_deg), self._y(site.latitude_deg)

    def _x(self, longitude_deg: float) -> float:
        return self.left + ((longitude_deg - self.west_deg + 1e-9) % 360.0) * self.x_a_degree

    def _y(self, latitude_deg: float) -> float:
        return self.top + (self.north_deg - latitude_deg) * self.y_a_degree

    def ticks(self) -> list[Markup]:
        """Whole degrees, or parts or some of them, as lines with their numbers at the edges."""
        lines: list[Markup] = []
        step_deg = _step_deg(max(self.wide_deg, self.north_deg - self.south_deg))
        for n in range(math.ceil(self.west_deg / step_deg), math.floor((self.west_deg + self.wide_deg) / step_deg) + 1):
            x, told = f"{self._x(n * step_deg):.1f}", (n * step_deg + 180.0) % 360.0 - 180.0
            lines.append(el("line", x1=x, x2=x, y1="0", y2=f"{self.height - 14:.1f}", class_="tick"))
            lines.append(el("text", f"{told:.4g}°", x=x, y=f"{self.height - 3:.1f}", class_="below"))
        for n in range(math.ceil(self.south_deg / step_deg), math.floor(self.north_deg / step_deg) + 1):
            y = self._y(n * step_deg)
            lines.append(el("line", x1="0", x2=f"{_WIDTH:g}", y1=f"{y:.1f}", y2=f"{y:.1f}", class_="tick"))
            lines.append(el("text", f"{n * step_deg:.4g}°", x="1", y=f"{y - 2:.1f}"))
        return lines


def _step_deg(span_deg: float) -> float:
    """Degrees between lines of which there are five at most."""
    return next((step for step in _STEPS_DEG if span_deg / step <= 5.0), _STEPS_DEG[-1])


def _span(longitudes_deg: Sequence[float]) -> tuple[float, float]:
    """Western edge and width of the narrowest span of longitudes that holds all."""
    ordered = sorted({one % 360.0 for one in longitudes_deg})
    gaps = [(after - before) % 360.0 or 360.0 for before, after in zip(ordered, ordered[1:] + ordered[:1], strict=True)]
    widest = max(range(len(gaps)), key=lambda n: gaps[n])
    return ordered[(widest + 1) % len(ordered)], 360.0 - gaps[widest]
