"""A study in words: who passes when, what mends the rest, the standard kits and what the stores hold."""

from __future__ import annotations

from collections import Counter
from typing import Any

from kitopt.report import encode, words
from kitopt.report.lists import counted
from kitopt.report.words import wrapped
from kitopt.study.found import Region, Standard
from kitopt.study.row import Row
from kitopt.study.summary import Cell
from kitopt.study.terms import kit_text

SCHEMA = "kitopt/study-1"
MOST_LINES = 60
"""Sites in the table; of more, those at which nothing fails are counted."""
_NAME = 22


def region_text(region: Region) -> str:
    """Everything that is told of a study."""
    head, *others = ([line for told in part for line in _wrapped(told)] for part in paragraphs(region))
    return "\n\n".join("\n".join(part) for part in (head, _table(region), *others)) + "\n"


def paragraphs(region: Region) -> list[list[str]]:
    """All but the table as sentences, a list for each paragraph: what was asked and what came of it is first.

    What is told one by one begins with a stroke, and what belongs to it with blanks.
    """
    parts = [_head(region), _failing(region), _piece(region)]
    parts += [_standard(region, one) for one in region.standard]
    return [part for part in (*parts, _stocks(region), _closing(region)) if part]


def _wrapped(told: str) -> list[str]:
    first = next((one for one in ("- ", "    ") if told.startswith(one)), "")
    return wrapped(told.removeprefix(first), first)


def _head(region: Region) -> list[str]:
    study, counts = region.study, Counter(row.status for row in region.answered.rows.values())
    shape = f"{counted(len(study.places), 'site')} × {counted(len(study.whens), 'day')} × "
    shape += f"{counted(len(study.patterns), 'pattern')}"
    if len(study.inventories) > 1:
        shape += f" × {len(study.inventories)} inventories"
    if study.kits:
        shape += f" × {counted(len(study.kits), 'kit')}"
    told = f"{study.name}: {counted(region.answered.n_asked, 'plan')}, {shape}."
    known = [f"{counts['found']:,} pass"]
    known += [f"{counts['no-kit']:,} have no kit that works"] if counts["no-kit"] else []
    known += [f"{counts['fault']:,} could not be answered"] if counts["fault"] else []
    left = region.answered.n_asked - len(region.answered.rows)
    known += [f"{left:,} not asked yet: run it again"] if left else []
    return [f"{told} {', '.join(known)}."]


def _table(region: Region) -> list[str]:
    """Sites by days: the least chance of the patterns, or what the worst of them lacks."""
    study = region.study
    numbers = range(len(study.places))
    shown = list(numbers)
    if len(shown) > MOST_LINES:
        failing = {place for place, _, _ in region.fails}
        shown = [n for n in numbers if n in failing or not all(cell.is_whole for cell in region.table[n])][:MOST_LINES]
    width = max([len(when.label) for when in study.whens] + [8]) + 1
    columns = max(1, (words.width() - _NAME) // width)
    lines = []
    for first in range(0, len(study.whens), columns):
        some = range(first, min(first + columns, len(study.whens)))
        if first:
            lines.append("")
        lines.append(("Site" + " " * _NAME)[:_NAME] + "".join(f"{study.whens[w].label:>{width}}" for w in some))
        for n in shown:
            name = study.places[n].name
            name = name if len(name) < _NAME else name[: _NAME - 2] + "…"
            lines.append(f"{name:<{_NAME}}" + "".join(f"{cell_text(region.table[n][w]):>{width}}" for w in some))
    if len(shown) < len(study.places):
        rest = len(study.places) - len(shown)
        lines.append(f"({rest:,} more sites{'' if len(shown) >= MOST_LINES else ': everything passes there'}.)")
    return lines + wrapped(
        "Least chance of the patterns on unseen spells of weather; or, where some pattern has no kit, what is short."
    )


def cell_text(cell: Cell) -> str:
    """A cell in eight letters."""
    if cell.passes:
        return "passes" if cell.chance is None else f"{100 * cell.chance:.1f} %"
    worst = cell.worst
    if worst is None:
        return "?"
    if worst.status == "fault":
        return "fault"
    return "no join" if worst.margin_wh is None else f"-{max(1.0, -worst.margin_wh):,.0f} Wh"


def _failing(region: Region) -> list[str]:
    """The sites that fail, each with its worst plan and the one change that mends that."""
    if not region.fails:
        return []
    lines = [f"Where something fails: {counted(len(region.fails), 'site')}"]
    for place, when, row in region.fails[:MOST_LINES]:
        label = region.study.whens[when].label
        lines.append(f"- {region.study.places[place].name}, {label}, {row.pattern}: {lacks_text(row)}.")
        change = region.changes.get(place)
        if change is not None:
            lines.append(f"    {change_text(change)}.")
    if len(region.fails) > MOST_LINES:
        lines.append(f"({len(region.fails) - MOST_LINES:,} more in the rows.)")
    return lines


def lacks_text(row: Row) -> str:
    """What a plan that fails lacks."""
    if row.status == "fault":
        return row.fault.rstrip(".")
    when = f" at {row.hardest[5:16].replace('T', ' ')}" if row.hardest else ""
    return f"short of {row.lacks}{when}" if row.margin_wh is not None else row.lacks


def change_text(row: Row) -> str:
    """The one change of such a plan."""
    if not row.lacks:
        return "no change that was tried helps"
    return (
        f"mended by {row.lacks}" if row.passes else f"no single change that was tried is enough; nearest: {row.lacks}"
    )


def _piece(region: Region) -> list[str]:
    piece, study = region.piece, region.study
    if study.catalogue is None or not region.fails or study.kits:
        return []
    if piece is None:
        return ["No single piece of the catalogue mends all of what fails at any site."]
    names = [study.places[place].name for place in piece.mended]
    price = words.price(piece.price_cents, study.inventories[0].currency)
    return [
        (
            f"The purchase that mends most: one {piece.id} ({price}). With it everything passes at "
            f"{len(names)} of the {len(region.fails)} that fail, judged again: {', '.join(names)}."
        )
    ]


def _standard(region: Region, one: Standard) -> list[str]:
    study = region.study
    label = f" from {study.labels[one.inventory]}" if len(study.inventories) > 1 else ""
    served = [n for n, kit in enumerate(one.picked.of_site) if kit is not None]
    n, best = len(one.picked.kits), "cheapest" if one.is_price else "lightest"
    lines = [
        (
            f"Standard kits{label}: {n} serve{'s' if n == 1 else ''} {len(served)} of "
            f"{counted(len(study.places), 'site')} in every plan, each site the {best} that passes there; proved "
            f"among {counted(len(one.kits), 'kit')}, those that were found and what they come to together."
        )
    ]
    for j in one.picked.kits:
        sites = [n for n in served if one.picked.of_site[n] == j]
        chances = [chance for n in sites if (chance := one.chances[n]) is not None]
        least = f", {100 * min(chances):.1f} % at the least" if chances else ""
        text = f"{kit_text(one.kits[j])} ({words.mass(one.masses_g[j])}): {counted(len(sites), 'site')}{least}"
        lines.append(f"- {text}")
    more, now = one.one_more, one.picked
    if more.weight > now.weight:
        gained = [n for n, kit in enumerate(more.of_site) if kit is not None and now.of_site[n] is None]
        lines.append(f"One more would serve {', '.join(study.places[n].name for n in gained)} too.")
    elif more.cost < now.cost:
        less, currency = now.cost - more.cost, study.inventories[one.inventory].currency
        saved = words.price(less, currency) if one.is_price else words.mass(less)
        lines.append(f"One more would serve no other site, and save {saved} over all sites.")
    else:
        lines.append("One more would bring nothing.")
    left = [n for n, kit in enumerate(more.of_site) if kit is None]
    for n in left[:MOST_LINES]:
        row = next((row for place, _, row in region.fails if place == n), None)
        why = lacks_text(row) if row is not None else "its plans need kits that differ, and no one of them passes all"
        lines.append(f"Not served even so: {study.places[n].name}, {why}.")
    return lines


def _stocks(region: Region) -> list[str]:
    lines: list[str] = []
    for one in region.stocks:
        if not lines:
            lines.append("What each store holds, loads and extras aside")
        holds = ", ".join(f"{n} {item_id}" for item_id, n in one.holds) or "nothing"
        unserved = ", ".join(one.unserved)
        if one.n_sites:
            text = (
                f"so any {min(one.at_once, one.n_sites)} of {counted(one.n_sites, 'site')} are served at once in every "
            )
            text += f"month, but for {unserved}" if unserved else "month"
        else:
            text = f"it serves none of {unserved}"
        lines.append(f"- {one.store}: {holds}; {text}.")
    return lines


def _closing(region: Region) -> list[str]:
    known = f", {counted(region.answered.n_known, 'plan')} of them known before" if region.answered.n_known else ""
    lines = [] if region.rows is None else [f"Rows: {region.rows}{known}."]
    return [*lines, _CAUTION]


_CAUTION = (
    "No rule failed where a kit passes; that is no promise that nothing can go wrong. Local codes and licensed "
    "practice come first."
)


def region_document(region: Region) -> dict[str, Any]:
    """The same as one JSON object."""
    study, counts = region.study, Counter(row.status for row in region.answered.rows.values())
    return {
        "schema": SCHEMA,
        "status": region.status,
        "name": study.name,
        "rows": None if region.rows is None else str(region.rows),
        "plans": {
            "asked": region.answered.n_asked,
            "answered": len(region.answered.rows),
            "known_before": region.answered.n_known,
            "pass": counts["found"],
            "no_kit": counts["no-kit"],
            "fault": counts["fault"],
        },
        "sites": [
            {
                "site": place.name,
                "latitude": place.site.latitude_deg,
                "longitude": place.site.longitude_deg,
                "priority": place.priority,
                "store": place.store or None,
                "days": [
                    {
                        "day": when.label,
                        "passes": cell.passes if cell.is_whole else None,
                        "chance": encode.number(cell.chance, 4),
                        "short_wh": None if cell.worst is None else encode.number(_minus(cell.worst.margin_wh)),
                        "lacks": None if cell.worst is None else lacks_text(cell.worst),
                    }
                    for when, cell in zip(study.whens, line, strict=True)
                ],
            }
            for place, line in zip(study.places, region.table, strict=True)
        ],
        "failing": [
            {
                "site": study.places[place].name,
                "day": study.whens[when].label,
                "pattern": row.pattern,
                "lacks": lacks_text(row),
                "is_mended": region.changes[place].passes if place in region.changes else None,
                "change": region.changes[place].lacks if place in region.changes else None,
            }
            for place, when, row in region.fails
        ],
        "purchase": None
        if region.piece is None
        else {
            "id": region.piece.id,
            "price": encode.price(region.piece.price_cents),
            "mends": [study.places[n].name for n in region.piece.mended],
        },
        "standard": [_standard_value(region, one) for one in region.standard],
        "stocks": [
            {
                "store": one.store,
                "at_once": one.at_once,
                "holds": encode.pieces(one.holds),
                "not_served": list(one.unserved),
            }
            for one in region.stocks
        ],
    }


def _standard_value(region: Region, one: Standard) -> dict[str, Any]:
    places = region.study.places
    gained = [n for n, kit in enumerate(one.one_more.of_site) if kit is not None and one.picked.of_site[n] is None]
    return {
        "inventory": region.study.labels[one.inventory],
        "proved": True,
        "candidates": len(one.kits),
        "weight": encode.number(one.picked.weight),
        "kits": [
            {
                "kit": encode.pieces(one.kits[j]),
                "mass_g": one.masses_g[j],
                "sites": [places[n].name for n, kit in enumerate(one.picked.of_site) if kit == j],
            }
            for j in one.picked.kits
        ],
        "chances": {
            places[n].name: encode.number(chance, 4) for n, chance in enumerate(one.chances) if chance is not None
        },
        "not_served": [places[n].name for n, kit in enumerate(one.picked.of_site) if kit is None],
        "one_more": {
            "kits": [encode.pieces(one.kits[j]) for j in one.one_more.kits],
            "serves": [places[n].name for n in gained],
            "weight": encode.number(one.one_more.weight),
        },
    }


def _minus(value: float | None) -> float | None:
    return None if value is None else -value
