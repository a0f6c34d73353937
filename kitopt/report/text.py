"""A choice in words: plain text of at most 80 columns, the answer in its first line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kitopt.choice import Choice, Shortfall
from kitopt.explain import Why, cautions
from kitopt.explain.ruled_out import blocks_that_matter, told
from kitopt.files.plain import cut
from kitopt.inventory.items import Assumed
from kitopt.model.kit import Join, Unit
from kitopt.report import words
from kitopt.report.assumptions import in_order, of_the_kit
from kitopt.report.leads import lead_ids
from kitopt.report.lists import all_cautions, checklist, counted, fact, forced_fact, in_short, row
from kitopt.report.look_up import look_up_section
from kitopt.report.nices import which_run
from kitopt.report.reasons import energy, section
from kitopt.report.repairs import conflicts_section, repairs_section
from kitopt.report.second_opinion import second_opinion_text
from kitopt.report.wiring import wiring
from kitopt.report.words import WIDTH, wrapped

Joins = Sequence[tuple[Join, Unit, int]]
"""Panels, the controller that they feed, and how many such joins."""

NOTHING_ASKED = Why()
MOST_ASSUMED = 8
MOST_BLOCKS = 8
_SIGNS = {"block": "x", "warn": "!", "ask": "?"}
_LEVELS = (("warn", "heed"), ("ask", "find out"), ("block", "ruled out"))
_SUPERLATIVE = {"mass": "lightest", "price": "cheapest", "items": "fewest items"}


def answer(choice: Choice, why: Why = NOTHING_ASKED) -> str:
    """All that has to be known, to be read in half a minute."""
    if choice.packed:
        lines = [*_headline(choice), "", *checklist(choice.inventory, choice.packed, with_price=True)]
        lines += ["", *facts(choice), *_sure(choice, why), "", *wiring(choice)]
    else:
        lines = _nothing(choice, why)
    reasons = section(choice, why.withouts)
    lines += ["", *reasons] if reasons else []
    lines += ["", *cautions_section(choice, with_blocks=not why.conflicts)]
    assumed = assumed_section(choice)
    if assumed:
        lines += ["", *assumed]
    return "\n".join(lines) + "\n"


def brief(choice: Choice) -> str:
    """The list alone; without a kit, the one sentence that says so."""
    if not choice.packed:
        return "\n".join(_no_kit_headline(choice)) + "\n"
    ids = max(len(one.id) for one in choice.packed)
    lines = []
    for one in choice.packed:
        item = choice.inventory.by_id[one.id]
        mass = words.mass(one.count * item.mass_g)
        head = f"{one.count:3}  {cut(one.id, 30):{min(ids, 30)}}  "
        lines.append(row(head, item.name, mass))
    return "\n".join(lines) + "\n"


def _headline(choice: Choice) -> list[str]:
    operation = choice.operation
    amount = words.mass(choice.mass_g)
    if operation.least == "price":
        amount = f"{words.price(choice.price_cents, choice.inventory.currency)}, {amount}"
    elif operation.least == "items":
        amount = f"{sum(one.count for one in choice.packed)} items, {amount}"
    return wrapped(f"{operation.name}: {amount}, {words.hours(operation.hours)}{which_run(choice)}{survives(choice)}.")


def survives(choice: Choice) -> str:
    """The end of a sentence that says how many windows are survived; nothing where that is not known."""
    survival = choice.survival
    if survival is None:
        return ""
    what = "window" if survival.tried == 1 else "windows"
    text = (
        f", survives {survival.survived:,} of {survival.tried:,} {what} "
        f"({survival.needed:,} needed for {words.percent(choice.operation.need.confidence)})"
    )
    if survival.fresh_tried:
        text += f"; {survival.fresh_survived:,} of {survival.fresh_tried:,} unseen"
    return text


def joins_section(joins: Joins) -> list[str]:
    """Which panel goes to which controller by which leads."""
    lines = []
    for join, unit, n in joins:
        count = join.n_joined * n
        leads = lead_ids(join)
        by = f" by {', '.join(leads)}" if leads else ""
        lines += fact("Join", f"{'' if count == 1 else f'{count} × '}{join.panel.id} to {unit.name}{by}")
    return lines


def facts(choice: Choice) -> list[str]:
    """What the loads need and how the kit fares."""
    operation, lowest = choice.operation, choice.lowest
    lines: list[str] = []
    lines += forced_fact(operation.bounds)
    if choice.joins and choice.sky.aim_text:
        lines += fact("Aim", f"{choice.sky.aim_text}.")
    lines += fact("Need", f"{choice.need_wh:,.0f} Wh in all, {choice.peak_a:.1f} A at the peak.")
    if lowest is not None:
        # rounded down: a charge is never told too high
        lines += fact(
            "Lowest",
            f"{words.moment(lowest.time)}: {int(lowest.charge_ah * 10) / 10:.1f} Ah ({int(lowest.charge_wh)} Wh) left, "
            f"{int(lowest.margin_wh)} Wh above what is held back; hardest window survived ({lowest.window}).",
        )
    lines += _losses(choice)
    if choice.no_sun_hours is not None:
        lasts_h = int(choice.no_sun_hours * 10 + 1e-6) / 10
        whole = lasts_h >= operation.hours - 1e-6
        lines += fact("No sun", f"lasts all {words.hours(operation.hours)}." if whole else f"lasts {lasts_h:.1f} h.")
    return lines


def _sure(choice: Choice, why: Why) -> list[str]:
    lines = fact("Proof", _proof(choice))
    if why.agreement is not None:
        lines += fact("Check", second_opinion_text(choice, why.agreement))
    return lines


def _losses(choice: Choice) -> list[str]:
    """What may fail, the hardest first."""
    backup = choice.operation.need.backup
    if not backup:
        return []
    kinds = " or ".join(f"one {kind}" for kind in backup)
    if not choice.losses:
        return fact("Backup", f"{kinds}: none is packed, so none can be lost.")
    worst = min(choice.losses, key=lambda loss: (loss.survived, loss.margin_wh))
    return fact(
        "Backup",
        f"what must run outlives the loss of {kinds}, with the rest switched off; hardest is to be without "
        f"{worst.what}: {worst.survived:,} of {worst.tried:,} windows survived.",
    )


def _amount(choice: Choice, value: float) -> str:
    least = choice.operation.least
    if least == "price":
        return words.price(value, choice.inventory.currency)
    return f"{value:,.0f} {'g' if least == 'mass' else 'items'}"


def _proof(choice: Choice) -> str:
    proof, least = choice.proof, choice.operation.least
    if proof.objective is None:
        return "none."
    if proof.proved:
        return f"proved {_SUPERLATIVE[least]}: nothing below {_amount(choice, proof.objective)} works."
    if proof.bound is None or proof.gap is None or proof.bound <= 0:
        return f"not proved {_SUPERLATIVE[least]}: the time was up before any bound was found."
    return (
        f"not proved {_SUPERLATIVE[least]}: the time was up. Nothing below {_amount(choice, proof.bound)} can work "
        f"(gap {100 * proof.gap:.2g} %)."
    )


def _no_kit_headline(choice: Choice) -> list[str]:
    lasts = words.hours(choice.operation.hours)
    if choice.status == "time-limit":
        text = f"{choice.operation.name}: the time was up before any kit was found that runs it for {lasts}."
    else:
        under = f" with {words.forced(choice.operation.bounds)}" if choice.operation.bounds else ""
        text = f"No kit in this inventory runs {choice.operation.name} for {lasts}{under}{which_run(choice)}."
    return wrapped(text)


def _nothing(choice: Choice, why: Why) -> list[str]:
    lines = _no_kit_headline(choice)
    if choice.circuits:
        for name, part in choice.circuits:
            lines += wrapped(f"{name or 'main'}: {_alone(part)}.", "- ", "  ")
        return lines
    repairs = repairs_section(choice, why.repairs)
    helps = ["", *repairs] if repairs else []
    guesses = [] if why.look_up is None else look_up_section(choice, why.look_up)
    helps += ["", *guesses] if guesses else []
    shortfall = choice.shortfall
    if choice.status == "time-limit":
        bound = choice.proof.bound
        if bound is not None and bound > 0:
            lines += wrapped(f"Nothing below {_amount(choice, bound)} can work. Allow more --seconds.", "  ")
        return lines
    if shortfall is None or not shortfall.packed:
        if not any(battery.count for battery in choice.inventory.batteries):
            return [*lines, "  No battery is owned."]
        lines += wrapped("Nothing that is owned fits together; what stands in the way follows.", "  ")
        conflicts = conflicts_section(choice, why.conflicts)
        return [*lines, *(["", *conflicts] if conflicts else []), *helps]
    count = sum(one.count for one in shortfall.packed)
    mass_g = sum(one.count * choice.inventory.by_id[one.id].mass_g for one in shortfall.packed)
    strongest = f"The strongest that fits together ({counted(count, 'item')}, {words.mass(mass_g)})"
    lines += wrapped(f"{strongest} {falls_short(choice, shortfall)}.", "  ")
    lines += [*helps, "", *checklist(choice.inventory, shortfall.packed, with_price=True)]
    joins = joins_section(shortfall.joins)
    lines += ["", *joins] if joins else []
    blocks = _blocks(choice)
    if blocks:
        lines += ["", "Ruled out", *blocks]
    return lines


def _alone(part: Choice) -> str:
    """What one circuit is by itself."""
    if part.packed:
        return f"alone {words.mass(part.mass_g)}, {in_short(part.packed)}"
    if part.status == "time-limit":
        return "not known, the time was up"
    short = part.shortfall
    is_whole = short is not None and bool(short.packed)
    return f"alone no kit, the strongest {falls_short(part, short)}" if short and is_whole else "nothing fits together"


def falls_short(choice: Choice, shortfall: Shortfall) -> str:
    """By how much, when and in which weather the strongest kit fails."""
    at = f" at {words.moment(shortfall.time)}" if shortfall.time else ""
    return f"falls {energy(shortfall.shortfall_wh)} short{at}{_in_which_weather(choice)}"


def _in_which_weather(choice: Choice) -> str:
    confidence, n = choice.operation.need.confidence, choice.sky.n_windows
    if n == 1:
        return ""
    if confidence == 1:
        return f", in the worst of {n:,} windows"
    one_in = 1 / (1 - confidence)
    if one_in.denominator == 1:
        return f", in weather like the worst 1 in {one_in}"
    return f", in weather like the worst {words.percent(1 - confidence)}"


def _blocks(choice: Choice) -> list[str]:
    return _list([told(choice, block) for block in blocks_that_matter(choice)], "more: kitopt pack --json")


def _list(texts: Iterable[str], more: str, most: int = MOST_BLOCKS) -> list[str]:
    found = list(texts)
    lines: list[str] = []
    for text in found[:most]:
        lines += wrapped(text, "- ")
    if len(found) > most:
        lines.append(f"  and {len(found) - most} {more}")
    return lines


def cautions_section(choice: Choice, *, with_blocks: bool) -> list[str]:
    """What is to be heeded, found out and, where nothing fits together, what rules say no."""
    if choice.circuits:
        return all_cautions(choice.parts)
    # what looks mistaken in the files has been said while they were read
    found = [caution for caution in cautions(choice) if caution.rule != "file"]
    if not with_blocks:
        found = [caution for caution in found if caution.level != "block"]
    legend = [f"{_SIGNS[level]} {said}" for level, said in _LEVELS if any(one.level == level for one in found)]
    lines = [f"Cautions ({', '.join(legend)})"]
    blocks = [caution for caution in found if caution.level == "block"]
    for caution in found:
        if caution not in blocks[MOST_BLOCKS:]:
            lines += wrapped(caution.text, f"{_SIGNS[caution.level]} ")
        elif caution is blocks[-1]:
            lines.append(f"  and {len(blocks) - MOST_BLOCKS} more: kitopt pack --json")
    return lines


def assumed_section(choice: Choice) -> list[str]:
    """Values of the kit that were left blank, and how many others."""
    mine, everything = of_the_kit(choice), in_order(choice)
    if not everything:
        return []
    if not mine:
        return [f"Nothing in this kit is assumed; {counted(len(everything), 'value')} of other items: kitopt check"]
    lines = ["Assumed, because it was left blank"]
    lines += [assumed_line(one) for one in mine[:MOST_ASSUMED]]
    left = len(everything) - min(len(mine), MOST_ASSUMED)
    if left:
        lines.append(f"  and {left} more: kitopt check")
    return lines


def assumed_line(one: Assumed) -> str:
    """One assumed value: what, how much and by which rule."""
    what = f"{one.id} {one.column}".strip()
    return cut(f"  {what} = {one.value}: {one.rule}", WIDTH)
