"""One question answered: why an item is packed or not, what binds a kit, and how far it is from the edge."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kitopt.choice import Choice
from kitopt.explain.binding import Binding, Deciding, Worth
from kitopt.explain.edges import Edge, Edges
from kitopt.explain.look_up import LookUp
from kitopt.explain.one_purchase import OnePurchase
from kitopt.explain.ruled_out import told
from kitopt.explain.split import Split
from kitopt.explain.within import Within
from kitopt.explain.without import Pieces, Without
from kitopt.operation.terms import circuit_name
from kitopt.report import encode, words
from kitopt.report.encode import pieces
from kitopt.report.lists import listed
from kitopt.report.look_up import look_up_value
from kitopt.report.reasons import BETTER, amount, as_value, sentence, worse
from kitopt.report.split import split_value
from kitopt.report.words import wrapped

SCHEMA = "kitopt/why-1"
_WITHOUT_COST = ("count", "not-named", "not-checked")
"""What is not there, or not asked for, has no price."""


def given_text(choice: Choice, item_id: str) -> str:
    """About what is not chosen but always comes along."""
    is_load = any(use.id == item_id for use in choice.operation.loads)
    why = "the operation names it" if is_load else "it is an extra, and these are always packed"
    return "\n".join(wrapped(f"{item_id} is in the kit: {why}.")) + "\n"


def without_text(choice: Choice, without: Without) -> str:
    """About a packed item."""
    less = "Without it" if without.count == 1 else f"With {without.count - 1} instead of {without.count}"
    lines = wrapped(f"{without.id} is in the kit. {less}: {sentence(choice, without, names=False)}.")
    lines += _comes_and_goes(without.instead, without.gone)
    return "\n".join(lines) + "\n"


def within_text(choice: Choice, within: Within) -> str:
    """About an item that is not packed."""
    block = next((b for _, found in choice.blocks for b in found if f"{b.text}." == within.reason.text), None)
    reason = within.reason.text if block is None else told(choice, block)
    lines = wrapped(f"{within.id} is not in the kit. {reason}")
    if within.reason.rule in _WITHOUT_COST:
        return "\n".join(lines) + "\n"
    if within.status == "time-limit":
        lines.append("What it would cost to take it is not known: the time was up.")
    elif within.status == "blocked":
        lines += wrapped("No kit can have it, whatever it weighs.")
        facts = [fact.text for fact in within.facts if fact.rule != "asked" and fact.text not in within.reason.text]
        for text in facts:
            lines += wrapped(text, "- ")
    elif within.status == "no-kit":
        lines += wrapped("A kit could hold it, but none that does runs for long enough.")
    else:
        how = "it costs nothing: a tie" if within.more == 0 else worse(choice, within.more or 0)
        lines += wrapped(f"With it the best kit is {how}." if within.more else f"With it: {how}.")
        lines += _comes_and_goes(within.instead, within.gone)
        lines += _fares(choice, within.choice)
    return "\n".join(lines) + "\n"


def _comes_and_goes(instead: Pieces, gone: Pieces) -> list[str]:
    lines: list[str] = []
    if instead:
        lines += wrapped(", ".join(listed(instead)), "  in:  ", "       ")
    if gone:
        lines += wrapped(", ".join(listed(gone)), "  out: ", "       ")
    return lines


def _fares(choice: Choice, other: Choice | None) -> list[str]:
    if other is None or other.survival is None or other.lowest is None:
        return []
    text = f"It survives {other.survival.survived:,} of {other.survival.tried:,} spells"
    if other.survival.fresh_tried:
        text += f" and {other.survival.fresh_survived:,} of {other.survival.fresh_tried:,} unseen"
    mine = choice.survival
    if mine is not None:
        text += f" (the chosen kit {mine.survived:,}"
        text += f" and {mine.fresh_survived:,})" if mine.fresh_tried else ")"
    text += f"; in the hardest of them the margin is {int(other.lowest.margin_wh)} Wh"
    return wrapped(f"{text}.")


def bindings_section(choice: Choice, bindings: Sequence[tuple[str, Binding]]) -> list[str]:
    """What binds a kit, or each of its circuits."""
    lines: list[str] = []
    for name, binding in bindings:
        whose = f" circuit {circuit_name(name)}" if choice.circuits else ""
        lines += [*([""] if lines else []), f"What binds{whose}", *_binding_lines(binding)]
    return lines


def _binding_lines(binding: Binding) -> list[str]:
    """The windows that decide, what a little more is worth there, and the limits at their edge."""
    survived, missed = binding.survived, binding.missed
    hardest = f"{words.spell(survived.label)}, margin {_wh(survived.margin_wh)} at {_moment(survived.until)}"
    text = f"hardest spell survived: {hardest}"
    if missed is not None:
        nearest = f"{words.spell(missed.label)}, {_wh(-missed.margin_wh)} short at {_moment(missed.until)}"
        text += f"; nearest that is not: {nearest}"
    lines = wrapped(f"{text}.", "- ")
    if binding.n_allowed:
        n_missed = f"{binding.n_missed:,}" if binding.n_missed else "none"
        lines += wrapped(f"of {binding.n_allowed:,} spells that may fail, {n_missed} do.", "- ")
    since = f"from the last full battery at {_moment(survived.since)}" if survived.was_full else "from the start on"
    worth = [_worth(one) for one in binding.worth]
    lines += wrapped(f"there, counted {since}: {'; '.join(worth)}.", "- ")
    for one in binding.worth:
        if one.clips:
            spans = ", ".join(f"{_moment(a)} to {b:%H:%M}" for a, b in one.clips)
            lines += wrapped(f"{one.id} passes no more from {spans}: more panel on it is of no use then.", "- ")
    for text in binding.tight:
        lines += wrapped(f"at its limit: {text}.", "- ")
    if binding.exhausted:
        lines += wrapped(f"no more is owned of: {', '.join(binding.exhausted)}.", "- ")
    return lines


def _worth(one: Worth) -> str:
    names = {"battery": "one Wh more of battery", "panel": f"one W more of {one.id}"}
    what = names.get(one.what, f"one A more of {one.id}")
    return f"{what} brings {one.wh:.1f} Wh" if one.wh >= 0.05 else f"{what} brings nothing"


def _percent(share: float) -> str:
    return f"{100 * share:.4g}"


def _percent_more(factor: float) -> str:
    return f"{100 * (factor - 1):.3g}"


def edges_section(choice: Choice, found: Edges) -> list[str]:
    """Where the answer changes, each edge between two solves."""
    if not found.edges and not found.is_cut_short:
        return []
    lines = ["How far it is from the edge (chosen again on both sides of each)"]
    for edge in found.edges:
        lines += wrapped(f"{edge_text(choice, edge)}.", "- ")
    if found.is_cut_short:
        lines.append("Some edges are not known: they took too long, or the time was up.")
    return lines


@dataclass(frozen=True)
class _Said:
    """How an edge of a quantity is told: up to where, in which unit, by which number."""

    holds: str
    unit: str
    number: Callable[[float], str] = "{:g}".format
    last: str = "up to"


_SAID: dict[tuple[str, int], _Said] = {
    ("hours", 1): _Said("hours: the same kit is best {} {} h", "h"),
    ("hours", -1): _Said("hours: the same kit is best {} {} h", "h", last="down to"),
    ("confidence", 1): _Said("confidence: the same kit is best {} {} %", "%", _percent),
    ("confidence", -1): _Said("confidence: the same kit is best {} {} %", "%", _percent, "down to"),
    ("load", 1): _Said("load: it may be {1} % more", "% more", _percent_more),
    ("coldest", -1): _Said("coldest air: the same kit is best {} {} °C", "°C", last="at"),
}


def edge_text(choice: Choice, edge: Edge) -> str:
    """One edge in words."""
    if edge.holds is None:
        return _panel_text(edge)
    how = _SAID[edge.quantity, edge.direction]
    said = how.holds.format(how.last, _held(edge, how))
    if edge.quantity == "load" and edge.holds <= 1:
        said = "load: no more than now"
    if edge.changes is None:
        return f"{said}, as far as was looked"
    at = f"{said}; at {how.number(edge.changes)} {how.unit}"
    if edge.mass_g is None:
        return f"{at} no kit works"
    comes = f"{', '.join(listed(edge.instead))} in" if edge.instead else ""
    goes = f"{', '.join(listed(edge.gone))} out" if edge.gone else ""
    change = "; ".join(part for part in (comes, goes) if part)
    return f"{at} {words.mass(edge.mass_g)}{f' ({change})' if change else ''}"


def _held(edge: Edge, how: _Said) -> str:
    """The last value with the same answer; in the cold each that was solved, for nothing is known between them."""
    assert edge.holds is not None
    if edge.quantity != "coldest":
        return how.number(edge.holds)
    same = [one.value for one in reversed(edge.solved) if one.is_same]
    return _and([how.number(value) for value in same or [edge.holds]])


def _panel_text(edge: Edge) -> str:
    """At which of the hours that were solved a panel is packed, in words."""
    with_one = [f"{one.value:g}" for one in edge.solved if one.has_panel]
    without = [f"{one.value:g}" for one in edge.solved if not one.has_panel and one.mass_g is not None]
    said = f"panel: of the hours that were solved it is packed at {_and(with_one)} h"
    return f"{said}, and not at {_and(without)} h" if without else said


def _and(names: Sequence[str]) -> str:
    return " and ".join(part for part in (", ".join(names[:-1]), names[-1]) if part)


def purchase_section(choice: Choice, purchase: OnePurchase | None) -> list[str]:
    """What one piece of the catalogue would save; nothing without a catalogue."""
    if purchase is None:
        return []
    return ["What one purchase would save", *wrapped(f"{purchase_text(choice, purchase)}.", "- ")]


def purchase_text(choice: Choice, purchase: OnePurchase) -> str:
    """One purchase in words, such as "new-y, EUR 9.00: 675 g lighter (in: new-y, p20; out: b10)"."""
    better = BETTER[choice.operation.least]
    if purchase.item is None:
        return f"nothing in the catalogue makes it {better} by itself" if purchase.status == "none" else "not known"
    item, cents = purchase.item, purchase.item.price_cents or 0
    said = f"{item.name} ({item.id})" if item.name != item.id else item.id
    how = f"{amount(choice, purchase.less)} {better}"
    moves = [
        f"{word}: {', '.join(listed(some))}"
        for word, some in (("in", purchase.instead), ("out", purchase.gone))
        if some
    ]
    sure = "" if purchase.status == "found" else "; something may save more, the time was up"
    return f"{said}, {words.price(cents, choice.inventory.currency)}: {how} ({'; '.join(moves)}){sure}"


def item_value(choice: Choice, item_id: str, reason: Without | Within | None) -> dict[str, Any]:
    """The answer about one item as JSON."""
    value: dict[str, Any] = {
        "schema": SCHEMA,
        "status": choice.status,
        "item": item_id,
        "operation": choice.operation.name,
    }
    value["packed"] = sum(one.count for one in choice.packed if one.id == item_id)
    value["without"] = as_value(choice, reason) if isinstance(reason, Without) else None
    value["with"] = _within_value(choice, reason) if isinstance(reason, Within) else None
    return value


def _within_value(choice: Choice, within: Within) -> dict[str, Any]:
    other = within.choice
    survival = other.survival if other else None
    cents = within.price_cents_more
    return {
        "rule": within.reason.rule,
        "text": within.reason.text,
        "status": within.status,
        "more": within.more if choice.operation.least != "price" or within.more is None else within.more / 100,
        "mass_g_more": within.mass_g_more,
        "price_more": encode.price(cents),
        "instead": pieces(within.instead),
        "without": pieces(within.gone),
        "facts": [{"rule": fact.rule, "text": fact.text} for fact in within.facts if fact.rule != "asked"],
        "margin_wh": encode.number(other.lowest.margin_wh if other and other.lowest else None),
        "survived": survival.survived if survival else None,
        "fresh_survived": survival.fresh_survived if survival else None,
        "fresh_tried": survival.fresh_tried if survival else None,
    }


def kit_value(
    choice: Choice,
    bindings: Sequence[tuple[str, Binding]],
    found: Edges,
    purchase: OnePurchase | None = None,
    guesses: LookUp | None = None,
    apart: Split | None = None,
) -> dict[str, Any]:
    """What binds and where the edges are, as JSON."""
    return {
        "schema": SCHEMA,
        "status": choice.status,
        "item": None,
        "operation": choice.operation.name,
        "binding": None if choice.circuits or not bindings else _binding_value(bindings[0][1]),
        "circuits": [
            {"circuit": circuit_name(name), **_binding_value(one)} for name, one in bindings if choice.circuits
        ],
        "edges": [
            {
                "quantity": edge.quantity,
                "direction": "harder" if edge.direction > 0 or edge.quantity == "coldest" else "easier",
                "holds": edge.holds,
                "changes": edge.changes,
                "mass_g": edge.mass_g,
                "instead": pieces(edge.instead),
                "without": pieces(edge.gone),
                "solved": [
                    {"value": one.value, "same": one.is_same, "mass_g": one.mass_g, "panel": one.has_panel}
                    for one in edge.solved
                ],
                "text": f"{edge_text(choice, edge)}.",
            }
            for edge in found.edges
        ],
        "edges_cut_short": found.is_cut_short,
        "purchase": None if purchase is None else _purchase_value(choice, purchase),
        "look_up": None if guesses is None else look_up_value(choice, guesses),
        "split": None if apart is None else split_value(choice, apart),
    }


def _purchase_value(choice: Choice, purchase: OnePurchase) -> dict[str, Any]:
    cents = None if purchase.item is None else purchase.item.price_cents
    return {
        "status": purchase.status,
        "id": None if purchase.item is None else purchase.item.id,
        "price": None if cents is None else cents / 100,
        "less": purchase.less / 100 if choice.operation.least == "price" else purchase.less,
        "mass_g": purchase.mass_g,
        "instead": pieces(purchase.instead),
        "without": pieces(purchase.gone),
        "text": f"{purchase_text(choice, purchase)}.",
    }


def _binding_value(binding: Binding) -> dict[str, Any]:
    def deciding(one: Deciding) -> dict[str, Any]:
        return {
            "window": one.label,
            "margin_wh": encode.number(one.margin_wh),
            "since": encode.time(one.since),
            "until": encode.time(one.until),
            "was_full": one.was_full,
        }

    return {
        "survived": deciding(binding.survived),
        "missed": None if binding.missed is None else deciding(binding.missed),
        "n_missed": binding.n_missed,
        "n_allowed": binding.n_allowed,
        "worth": [
            {
                "what": one.what,
                "id": one.id or None,
                "wh": encode.number(one.wh, 4),
                "clips": [[encode.time(a), encode.time(b)] for a, b in one.clips],
            }
            for one in binding.worth
        ],
        "tight": list(binding.tight),
        "exhausted": list(binding.exhausted),
    }


def _moment(time: datetime) -> str:
    return words.moment(time)


def _wh(value_wh: float) -> str:
    return f"{value_wh:.1f} Wh" if value_wh < 9.95 else f"{value_wh:,.0f} Wh"
