"""What is ruled out, things that meet the same obstacle together: one sentence each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kitopt.choice import Choice
from kitopt.explain.cannot_join import adapter_for, other_controllers, reach_m
from kitopt.explain.ruled_out import blocks_that_matter, told
from kitopt.inventory.items import Controller, Panel
from kitopt.model.kit import Block


def obstacles(choice: Choice) -> list[str]:
    """Sentences about all that the rules keep out of the kit, or of any where nothing fits together."""
    blocks = blocks_that_matter(choice)
    leads = [one for one in blocks if one.rule == "no-lead" and _is_panels(choice, one)]
    found = [] if not leads else _without_leads(choice, leads)
    alike: dict[tuple[str, str], list[Block]] = {}
    for one in blocks:
        if one not in leads:
            alike.setdefault((one.rule, _told_of_any(one)), []).append(one)
    found += [_each_of(choice, some) for some in alike.values()]
    return found


def _is_panels(choice: Choice, block: Block) -> bool:
    kinds = [type(choice.inventory.by_id[i]) for i in block.items]
    return kinds == [Panel, Controller]


def _without_leads(choice: Choice, blocks: Sequence[Block]) -> list[str]:
    """Panels that no lead brings to a controller, by what they lack: length, or ends that fit."""
    by_lack: dict[tuple[bool, tuple[str, str] | None], dict[str, list[Block]]] = {}
    for one in blocks:
        is_short = reach_m(choice, one) > 0.0
        lack = (is_short, None if is_short else adapter_for(choice, one))
        by_lack.setdefault(lack, {}).setdefault(one.items[1], []).append(one)
    lines = []
    for (is_short, adapter), by_controller in by_lack.items():
        alike: dict[tuple[str, ...], list[str]] = {}
        for controller, some in by_controller.items():
            alike.setdefault(tuple(one.items[0] for one in some), []).append(controller)
        for panels, controllers in alike.items():
            text = f"no lead of yours brings {', '.join(panels)} to {' or '.join(controllers)}"
            if is_short:
                longest_m = max(reach_m(choice, one) for i in controllers for one in by_controller[i])
                text += f" over {choice.operation.panel_distance_m:g} m (yours reach {longest_m:g} m)"
            elif adapter is not None:
                text += f"; an adapter from {adapter[0]} to {adapter[1]} would"
            others = other_controllers(choice, by_controller[controllers[0]][0])
            text += f", or use {others}" if others else ""
            lines.append(f"{text}.")
    return lines


def _told_of_any(block: Block) -> str:
    """A block's text without the id of what it is about, so that likes can be told together."""
    return block.text.removeprefix(block.items[0]) if block.items else block.text


def _each_of(choice: Choice, blocks: Sequence[Block]) -> str:
    first = blocks[0]
    if len(blocks) == 1 or not first.text.startswith(f"{first.items[0]} "):
        return " ".join(dict.fromkeys(told(choice, one) for one in blocks))
    names = _all(one.items[0] for one in blocks)
    return f"each of {names}{told(choice, first).removeprefix(first.items[0])}"


def _all(names: Iterable[str]) -> str:
    *others, last = dict.fromkeys(names)
    return f"{', '.join(others)} and {last}" if others else last
