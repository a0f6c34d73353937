"""Lists of items and cautions that answers about many kits share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kitopt.choice import Choice, Packed, Proof
from kitopt.explain import cautions
from kitopt.files.plain import cut
from kitopt.inventory.items import Inventory
from kitopt.report import words
from kitopt.report.words import WIDTH, wrapped

_SIGNS = {"warn": "!", "ask": "?"}


def checklist(inventory: Inventory, packed: Sequence[Packed], indent: str = "") -> list[str]:
    """One line an item, then the total."""
    if not packed:
        return [f"{indent}nothing"]
    by_id = inventory.by_id
    kinds = max(len(one.kind) for one in packed)
    ids = min(20, max(len(one.id) for one in packed))
    lines: list[str] = []
    last = ""
    for one in packed:
        kind = one.kind if one.kind != last else ""
        last = one.kind
        head = f"{indent}{kind:{kinds}} {one.count:3}  {cut(one.id, ids):{ids}}  "
        lines.append(_row(head, by_id[one.id].name, words.mass(one.count * by_id[one.id].mass_g)))
    total_g = sum(one.count * by_id[one.id].mass_g for one in packed)
    head = f"{indent}{'total':{kinds}} {sum(one.count for one in packed):3}  "
    return [*lines, _row(head, "", words.mass(total_g))]


def _row(head: str, name: str, tail: str) -> str:
    end = max(10, len(tail) + 2)
    room = WIDTH - len(head) - end
    return f"{head}{cut(name, room):{room}}{tail:>{end}}"


def in_short(packed: Iterable[Packed]) -> str:
    """What is chosen, in one sentence's worth: no loads, no extras."""
    some = [one for one in packed if one.kind not in ("load", "extra")]
    return ", ".join(one.id if one.count == 1 else f"{one.count} {one.id}" for one in some) or "nothing"


def all_cautions(choices: Iterable[Choice]) -> list[str]:
    """What is to be heeded of any of some kits, each said once, with the names of those that it is about."""
    every = list(choices)
    signs: dict[str, str] = {}
    about: dict[str, list[str]] = {}
    for choice in every:
        for caution in cautions(choice):
            if caution.level in _SIGNS and caution.rule != "file":
                signs.setdefault(caution.text, _SIGNS[caution.level])
                names = about.setdefault(caution.text, [])
                if choice.operation.name not in names:
                    names.append(choice.operation.name)
    if not signs:
        return []
    n_names = len({choice.operation.name for choice in every})
    # the word of warning that closes every answer comes last here too
    last = [text for text in signs if text.startswith("No rule failed")]
    lines = ["Cautions (! heed, ? find out)"]
    for text in [*(t for t in signs if t not in last), *last]:
        names = about[text]
        whose = f"{', '.join(names)}: " if text not in last and len(names) < n_names else ""
        lines += wrapped(whose + text, f"{signs[text]} ")
    return lines


def fact(label: str, text: str) -> list[str]:
    """A label and a sentence."""
    return wrapped(text, f"{label:8} ", " " * 9)


def proof_text(proof: Proof, what: str, amount: str, bound: str) -> str:
    """How sure the answer is."""
    if proof.objective is None:
        return "none." if proof.proved else f"none: the time was up. Nothing below {bound} can work."
    if proof.proved:
        return f"proved {what}: nothing below {amount} works."
    gap = f" (gap {100 * proof.gap:.2g} %)" if proof.gap is not None else ""
    return f"not proved {what}: the time was up. Nothing below {bound} can work{gap}."
