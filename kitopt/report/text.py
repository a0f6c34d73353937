"""A choice in words: what it does, what to heed, the list, the wiring, the balance, and why each."""

from __future__ import annotations

from collections.abc import Sequence

from kitopt.choice import Choice, Shortfall
from kitopt.explain import Why
from kitopt.explain.balance import Balance, balance
from kitopt.files.plain import cut
from kitopt.inventory.items import Assumed
from kitopt.model.kit import Join, Unit
from kitopt.operation.terms import circuit_name
from kitopt.report import words
from kitopt.report.aim import aim_text
from kitopt.report.assumptions import in_order, of_the_kit
from kitopt.report.heed import cautions_section, closing_line, heed_section
from kitopt.report.in_brief import headline, no_kit_headline, start_share
from kitopt.report.leads import lead_ids
from kitopt.report.lists import checklist, counted, fact, forced_fact, in_short
from kitopt.report.look_up import look_up_section
from kitopt.report.pictures import charge_picture
from kitopt.report.proof import at_best, proof_text
from kitopt.report.reasons import energy, section
from kitopt.report.repairs import conflicts_section, repairs_section
from kitopt.report.ruled_out import ruled_out_section
from kitopt.report.second_opinion import second_opinion_text
from kitopt.report.split import split_section
from kitopt.report.wiring import wiring
from kitopt.report.words import width, wrapped

Joins = Sequence[tuple[Join, Unit, int]]
"""Panels, the controller that they feed, and how many such joins."""

NOTHING_ASKED = Why()
MOST_ASSUMED = 8


def answer(choice: Choice, why: Why = NOTHING_ASKED) -> str:
    """What it does, then what to heed, then what is followed on the ground; the reasons and the proof come last."""
    parts = _with_kit(choice, why) if choice.packed else _without_kit(choice, why)
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _with_kit(choice: Choice, why: Why) -> list[list[str]]:
    """Parts with a blank line between them; without reasons what is told last is told in short."""
    is_short = not why.withouts
    assumed = assumed_section(choice, is_short=is_short)
    sure = fact("Proof", proof_of(choice, is_short=is_short))
    if why.agreement is not None:
        sure += fact("Check", second_opinion_text(choice, why.agreement))
    # reasons are of a whole kit, so circuits are never told at length
    told = [*facts(choice), *(charge_picture(choice) if choice.circuits or not is_short else ())]
    parts = [
        headline(choice) + heed_section(choice, "kitopt pack --reasons" if is_short else "all of it below"),
        checklist(choice.inventory, choice.packed, with_price=True, is_short=is_short),
        wiring(choice),
    ]
    if not is_short:
        return [
            *parts,
            told,
            section(choice, why.withouts),
            cautions_section(choice),
            assumed,
            sure,
        ]
    if len(assumed) > 1:
        return [*parts, told, assumed, sure + closing_line(choice)]
    return [*parts, [*told, *assumed, *sure, *closing_line(choice)]]


def _without_kit(choice: Choice, why: Why) -> list[list[str]]:
    return [_nothing(choice, why), cautions_section(choice, with_blocks=not why.conflicts), assumed_section(choice)]


def proof_of(choice: Choice, *, is_short: bool = False) -> str:
    """How sure a kit is that was chosen by itself; in short without the others that it had to survive."""
    return proof_text(choice.proof, choice.inventory.currency, _spells(choice, is_short=is_short))


def _spells(choice: Choice, *, is_short: bool) -> str:
    """What a kit had to survive to be chosen."""
    survival = choice.survival
    if survival is None or survival.tried == 1:
        return ""
    text = f"{words.percent(choice.operation.need.confidence)} of {survival.tried:,} spells"
    if survival.others is not None and not is_short:
        n, _, needed = survival.others
        text += f" and {needed:,} of {n:,} others"
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
    """The balance of charge, what the loads need, and how the kit fares without the sun or a unit."""
    operation = choice.operation
    lines = forced_fact(operation.bounds)
    for part in choice.parts:
        circuit = next((f"{circuit_name(name)}: " for name, one in choice.circuits if one is part), "")
        for store in part.banks or (part,):
            found = balance(store)
            lines += [] if found is None else fact("Balance", circuit + balance_text(store, found))
    need = f"{choice.need_wh:,.0f} Wh, {choice.peak_a:.1f} A at most"
    if choice.no_sun_hours is not None:
        lasts_h = int(choice.no_sun_hours * 10 + 1e-6) / 10
        whole = lasts_h >= operation.hours - 1e-6
        share = start_share(choice)
        since = "" if share is None or share >= 0.995 else f" from {100 * share:.0f} % charge"
        need += f"; without sun it lasts {'to the end' if whole else f'{lasts_h:.1f} h'}{since}"
    lines += fact("Need", f"{need}.")
    if aimed := aim_text(choice):
        lines += fact("Aim", aimed)
    return lines + _losses(choice)


def balance_text(choice: Choice, found: Balance) -> str:
    """Stored + sun - used = left, and what of it is held back; what is left is never told too high, so it adds up.

    Of two banks it is that of the one which comes lowest.
    """
    bank = choice.hardest.operation.bank_name

    def down(value_ah: float) -> float:
        return int(10 * value_ah + 1e-6) / 10

    stored, left = round(found.stored_ah, 1), down(found.left_ah)
    sun, lost = round(found.sun_ah, 1), round(found.lost_ah, 1)
    used = stored + sun - lost - left
    parts = [f"{stored:.1f} Ah stored"]
    parts += [f"+ {sun:.1f} sun"] if choice.joins else []
    parts += [f"- {lost:.1f} lost"] if lost > 0 else []
    cold, margin = round(found.cold_ah, 1), down(found.margin_ah)
    held = [f"reserve {left - cold - margin:.1f}"]
    held += [f"cold {cold:.1f}"] if cold > 0 else []
    text = f"{bank}: " if bank else ""
    text += (
        f"{' '.join(parts)} - {used:.1f} used = {left:.1f} Ah left at {words.moment(found.time)}, the lowest of the "
    )
    text += f"hardest spell survived ({words.spell(found.window)}): {', '.join(held)}, margin {margin:.1f}."
    return text + (f" {found.depth_ah:.1f} more below the depth." if found.depth_ah >= 0.05 else "")


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
        f"{worst.what}: {worst.survived:,} of {worst.tried:,} spells survived.",
    )


def _nothing(choice: Choice, why: Why) -> list[str]:
    lines = no_kit_headline(choice)
    if choice.circuits:
        return [*lines, *each_alone(choice)]
    repairs = repairs_section(choice, why.repairs)
    helps = ["", *repairs] if repairs else []
    guesses = [] if why.look_up is None else look_up_section(choice, why.look_up)
    helps += ["", *guesses] if guesses else []
    apart = split_section(choice, why.split)
    helps += ["", *apart] if apart else []
    shortfall = choice.shortfall
    if choice.status == "time-limit":
        bound = at_best(choice.proof, choice.inventory.currency)
        return lines + (wrapped(f"{bound} Allow more --seconds.", "  ") if bound else [])
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
    ruled = ruled_out_section(choice)
    return [*lines, "", *ruled] if ruled else lines


def each_alone(choice: Choice) -> list[str]:
    """What each of several circuits is by itself, a line each."""
    lines: list[str] = []
    for name, part in choice.circuits:
        lines += wrapped(f"{circuit_name(name)}: {_alone(part)}.", "- ", "  ")
    return lines


def _alone(part: Choice) -> str:
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
        return f", in the worst of {n:,} spells"
    one_in = 1 / (1 - confidence)
    if one_in.denominator == 1:
        return f", in weather like the worst 1 in {one_in}"
    return f", in weather like the worst {words.percent(1 - confidence)}"


def assumed_section(choice: Choice, *, is_short: bool = False) -> list[str]:
    """Values of the kit that were left blank, and how many others; in short their number alone."""
    mine, everything = of_the_kit(choice), in_order(choice)
    if not everything:
        return []
    if not mine:
        return wrapped(
            f"Nothing in this kit is assumed; {counted(len(everything), 'value')} of other items: kitopt check"
        )
    if is_short and len(mine) > 2:
        others = f"{len(everything) - len(mine)} of others"
        return wrapped(f"Assumed: {counted(len(mine), 'value')} of this kit, {others}: kitopt check")
    learned, blank = [one for one in mine if one.is_learned], [one for one in mine if not one.is_learned]
    lines = ["Learned from what was read", *map(assumed_line, learned)] if learned else []
    if blank:
        lines += ["Assumed, because it was left blank", *map(assumed_line, blank[:MOST_ASSUMED])]
    left = len(everything) - len(learned) - min(len(blank), MOST_ASSUMED)
    if left:
        lines.append(f"  and {left} more: kitopt check")
    return lines


def assumed_line(one: Assumed) -> str:
    """One assumed value: what, how much and by which rule."""
    what = f"{one.id} {one.column}".strip()
    return cut(f"  {what} = {one.value}: {one.rule}", width())
