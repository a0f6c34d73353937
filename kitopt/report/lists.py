"""Lists of items and labelled facts that every answer is made of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kitopt.choice import Packed
from kitopt.files.plain import columns_of, cut
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Bound
from kitopt.report import words
from kitopt.report.words import width, wrapped

_SMALL = ("load", "extra")
"""Kinds that are told two in a line, without their names, where there is room."""

_ROOM_FOR_KINDS, _ROOM_FOR_PAIRS, _LEAST_NAME = 60, 72, 8
"""Columns from which on kinds and pairs stand side by side, and below which a name is left out."""


def checklist(
    inventory: Inventory,
    packed: Sequence[Packed],
    indent: str = "",
    *,
    with_price: bool = False,
    is_short: bool = False,
) -> list[str]:
    """A line an item to be ticked off, then the total; of the price what is known."""
    if not packed:
        return [f"{indent}nothing"]
    is_wide = width() >= _ROOM_FOR_KINDS
    kinds = max(len(one.kind) for one in packed) + 2 if is_wide else 0
    digits = len(f"{max(one.count for one in packed)}")
    lines: list[str] = []
    for kind in dict.fromkeys(one.kind for one in packed):
        some = [one for one in packed if one.kind == kind]
        head = f"{indent}{kind:{kinds}}" if is_wide else f"{indent}  "
        lines += [] if is_wide else [f"{indent}{kind}"]
        is_small = kind in _SMALL or (is_short and kind == "lead" and len(some) > 3)
        is_paired = is_small and len(some) > 1 and width() >= _ROOM_FOR_PAIRS
        found = _pairs(inventory, some, head, digits) if is_paired else _singly(inventory, packed, some, head, digits)
        for line in found:
            lines.append(f"{head}{line}")
            head = " " * len(head)
    total_g = sum(one.count * inventory.by_id[one.id].mass_g for one in packed)
    count = sum(one.count for one in packed)
    price = _total_price(inventory, packed) if with_price else ""
    if not is_wide:
        return [*lines, row(f"{indent}total {count}  ", "", words.mass(total_g)), *wrapped(price, f"{indent}  ")]
    return [*lines, row(f"{indent}{'total':{kinds}}{count:>{4 + digits}}  ", price, words.mass(total_g))]


def _singly(
    inventory: Inventory, packed: Sequence[Packed], some: Sequence[Packed], indent: str, digits: int
) -> Iterator[str]:
    masses = [words.mass(one.count * inventory.by_id[one.id].mass_g) for one in some]
    if width() < _ROOM_FOR_KINDS:
        for one, mass in zip(some, masses, strict=True):
            head = f"[ ] {one.count:{digits}}  "
            room = width() - len(indent) - len(head) - len(mass) - 2
            yield f"{head}{cut(one.id, room):{room}}  {mass}"
        return
    large = [one for one in packed if one.kind not in _SMALL or width() < _ROOM_FOR_PAIRS] or packed
    ids = min(max(len(one.id) for one in (*large, *some)), 22)
    for one, mass in zip(some, masses, strict=True):
        head = f"[ ] {one.count:{digits}}  {cut(one.id, ids):{ids}}  "
        yield row(head, inventory.by_id[one.id].name, mass, width() - len(indent))


def _pairs(inventory: Inventory, some: Sequence[Packed], indent: str, digits: int) -> Iterator[str]:
    room = (width() - len(indent) - 3) // 2
    cells = []
    for one in some:
        mass = words.mass(one.count * inventory.by_id[one.id].mass_g)
        head = f"[ ] {one.count:{digits}}  "
        name_room = room - len(head) - len(mass) - 2
        cells.append(f"{head}{cut(one.id, name_room):{name_room}}  {mass}")
    for left, right in zip(cells[::2], [*cells[1::2], ""], strict=False):
        yield f"{left}   {right}".rstrip()


def row(head: str, name: str, tail: str, most: int | None = None) -> str:
    """A line with a name cut to what room there is, and something at the right edge."""
    end = max(10, len(tail) + 2) if width() >= _ROOM_FOR_KINDS else len(tail) + 2
    room = (width() if most is None else most) - columns_of(head) - end
    if room < _LEAST_NAME:
        name = ""
    return f"{head}{cut(name, room):{max(0, room)}}{tail:>{end}}"


def _total_price(inventory: Inventory, packed: Sequence[Packed]) -> str:
    prices = [(one.count, inventory.by_id[one.id].price_cents) for one in packed]
    known = [n * cents for n, cents in prices if cents is not None]
    if not known:
        return ""
    text = words.price(sum(known), inventory.currency)
    missing = sum(n for n, cents in prices if cents is None)
    return f"{text} without {counted(missing, 'item')} of unknown price" if missing else text


def counted(n: int, what: str) -> str:
    """A number and what is counted, such as "3 items"."""
    return f"{n:,} {what}" if n == 1 else f"{n:,} {what}s"


def listed(some: Iterable[tuple[str, int]]) -> list[str]:
    """Ids with their counts where these are not one."""
    return [item_id if n == 1 else f"{n} {item_id}" for item_id, n in some]


def in_short(packed: Iterable[Packed]) -> str:
    """What is chosen, in one sentence's worth: no loads, no extras."""
    some = [one for one in packed if one.kind not in ("load", "extra")]
    return ", ".join(listed((one.id, one.count) for one in some)) or "nothing"


def fact(label: str, text: str) -> list[str]:
    """A label and a sentence."""
    return wrapped(text, f"{label:8} ", " " * 9)


def forced_fact(bounds: Sequence[Bound]) -> list[str]:
    """What was forced in and out of a kit; nothing where nothing was."""
    return fact("Forced", f"{words.forced(bounds)}.") if bounds else []
