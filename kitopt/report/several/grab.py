"""A grab-kit in words and as JSON."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

from kitopt.choice import Choice
from kitopt.choice.standing import LONGEST_STORED_DAYS, GrabKit, Trial
from kitopt.files.plain import cut
from kitopt.inventory.items import Battery
from kitopt.operation.plans import Event
from kitopt.operation.terms import Operation
from kitopt.report import encode, words
from kitopt.report.document import document
from kitopt.report.heed import all_cautions
from kitopt.report.lists import checklist, counted, fact, forced_fact, listed
from kitopt.report.nices import which_run
from kitopt.report.proof import proof_text
from kitopt.report.several.kit import fares, kit_section
from kitopt.report.words import wrapped


def borrowed(kit: GrabKit) -> list[tuple[str, str]]:
    """What belongs to somebody else, with the owner's name."""
    by_id = kit.inventory.by_id
    return [(one.id, by_id[one.id].owner) for one in kit.packed if by_id[one.id].owner]


def tagged(kit: GrabKit) -> list[tuple[str, tuple[str, ...]]]:
    """What has tags: it may be missed elsewhere."""
    by_id = kit.inventory.by_id
    return [(one.id, by_id[one.id].tags) for one in kit.packed if by_id[one.id].tags]


def recharge_dates(kit: GrabKit) -> list[tuple[str, str]]:
    """By which day each battery whose last charge is written down is to be charged again."""
    found = []
    for one in kit.packed:
        item = kit.inventory.by_id[one.id]
        if isinstance(item, Battery) and item.charged_on is not None:
            found.append((one.id, (item.charged_on + timedelta(days=kit.standing.recharge_days)).isoformat()))
    return found


def _where(kit: GrabKit, trial: Trial) -> str:
    event = kit.standing.events[trial.event]
    label = event.labels[trial.date]
    return f"{event.name} in {label}" if label else event.name


def grab_text(kit: GrabKit, hours: int | None = None) -> str:
    """All that has to be known of a grab-kit; `hours` where it was asked how long a mass lasts."""
    if not kit.packed:
        return "\n".join(_nothing(kit, hours)) + "\n"
    lines = wrapped(grab_head(kit, hours))
    lines += ["", *checklist(kit.inventory, kit.packed), ""]
    hardest = kit.hardest
    if hardest is not None:
        lines += fact(
            "Hardest",
            f"{_where(kit, hardest)}: {hardest.survived:,} of {hardest.tried:,} spells survived "
            f"({hardest.needed:,} needed), margin {max(0, math.floor(hardest.margin_wh))} Wh.",
        )
    lines += [*forced_fact(kit.standing.events[0].dates[0].bounds), *fact("Recharge", recharge_text(kit))]
    if owned := borrowed(kit):
        lines += fact("Borrowed", ", ".join(f"{item_id} ({owner})" for item_id, owner in owned) + ".")
    if tags := tagged(kit):
        lines += fact("Tags", ", ".join(f"{item_id} ({' '.join(some)})" for item_id, some in tags) + ".")
    lines += fact("Proof", proof_text(kit.proof))
    if hours is not None:
        longer = "not proved longest: the time was up" if kit.status == "time-limit" else "proved longest, to the hour"
        lines += fact("Hours", f"{longer}.")
    lines += _bags(kit)
    for event, choice in zip(kit.standing.events, kit.choices, strict=True):
        lines += ["", *_event(kit, event, choice)]
    lines += ["", *all_cautions(kit.choices)]
    return "\n".join(lines) + "\n"


def grab_head(kit: GrabKit, hours: int | None = None) -> str:
    """What it weighs and passes."""
    n_dates = sum(len(event.dates) for event in kit.standing.events)
    passes = f"{counted(len(kit.standing.events), 'event')} at {counted(n_dates, 'date')}"
    count = sum(one.count for one in kit.packed)
    lasts = "" if hours is None else f", lasts {hours} h at each"
    return f"{kit.standing.name}: {words.mass(kit.mass_g)}, {count} items, passes {passes}{lasts}."


def taken_out(kit: GrabKit, choice: Choice) -> list[tuple[str, int]]:
    """What an event does not need of the bag."""
    used = {one.id: one.count for one in choice.packed}
    return [(one.id, left) for one in kit.packed if (left := one.count - used.get(one.id, 0)) > 0]


def _event(kit: GrabKit, event: Event, choice: Choice) -> list[str]:
    """How the kit is set up at an event, at its hardest date."""
    lines = wrapped(f"{event_title(event, choice)}{which_run(choice)}: {event_does(choice)}")
    return [*lines, *fact("Take out", take_out(kit, choice)), *kit_section(choice)]


def event_title(event: Event, choice: Choice) -> str:
    """An event and, of several dates, the hardest, at which it is told."""
    label = event.labels[event.dates.index(_written(event, choice))] if len(event.dates) > 1 else ""
    return f"{event.name}, hardest in {label}" if label else event.name


def event_does(choice: Choice) -> str:
    """Hours, mass and how it fares."""
    return f"{words.hours(choice.operation.hours)} with {words.mass(choice.mass_g)}{fares(choice)}."


def take_out(kit: GrabKit, choice: Choice) -> str:
    """What stays behind of the bag, in words."""
    out = taken_out(kit, choice)
    grams = sum(n * kit.inventory.by_id[i].mass_g for i, n in out)
    return f"{', '.join(listed(tuple(out)))} ({words.mass(grams)})." if out else "nothing, it needs the whole bag."


def _written(event: Event, choice: Choice) -> Operation:
    """The date of an event that a choice was measured at."""
    return next(date for date in event.dates if date.start == choice.operation.start)


def recharge_text(kit: GrabKit) -> str:
    """How often it is to be charged, and by which day."""
    asked, days = kit.standing.recharge_days, kit.recharge_days
    text = f"every {counted(asked, 'day')} at least, as it was chosen for: 3 % a month is lost in store."
    if asked == 0:
        text = "on the day, as it was chosen for: 3 % a month is lost in store."
    if days is not None and days > asked:
        most = f"{LONGEST_STORED_DAYS} days or more" if days >= LONGEST_STORED_DAYS else counted(days, "day")
        text += f" Set up as below it still passes after {most}."
    dates = recharge_dates(kit)
    if dates:
        text += " By the last charge written down: " + ", ".join(f"{i} by {day}" for i, day in dates) + "."
    return text


def _bags(kit: GrabKit) -> list[str]:
    bags = kit.standing.bags
    if not bags:
        return []
    filled = kit.filled
    if filled is None:
        return fact("Bags", "not filled: the time was up.")
    if not filled:
        return fact("Bags", "the pieces do not go into these bags, although their limits together would do.")
    lines: list[str] = []
    for bag, packed in zip(bags, filled, strict=True):
        lines += ["", f"In the {cut(bag.name, 40)} (up to {words.mass(bag.mass_g)})"]
        lines += checklist(kit.inventory, packed, "  ")
    return lines


def _nothing(kit: GrabKit, hours: int | None) -> list[str]:
    if kit.status == "time-limit":
        return wrapped(f"{kit.standing.name}: the time was up before any kit was found that passes every event.")
    if hours == 0:
        return wrapped(f"{kit.standing.name}: no kit within that mass lasts even one hour at each event.")
    bounds = kit.standing.events[0].dates[0].bounds
    under = f" with {words.forced(bounds)}" if bounds else ""
    lines = wrapped(f"No kit in this inventory passes every event of {kit.standing.name}{under}.")
    for name, share in kit.short:
        met = "all" if share >= 1 else f"{math.floor(100 * share)} %"
        lines += wrapped(f"The strongest meets {met} of the need at {name}.", "  ")
    return lines


def grab_document(kit: GrabKit, hours: int | None = None) -> dict[str, Any]:
    """The same as one JSON object."""
    hardest = kit.hardest

    def trial(one: Trial) -> dict[str, Any]:
        event = kit.standing.events[one.event]
        return {
            "event": event.name,
            "month": event.labels[one.date] or None,
            "tried": one.tried,
            "survived": one.survived,
            "needed": one.needed,
            "margin_wh": encode.number(one.margin_wh),
        }

    return {
        **encode.plan_head(kit.status, kit.standing.name, kit.proof),
        "kit": encode.entries(kit.inventory, kit.packed),
        "mass_g": kit.mass_g,
        "price": sum(one.count * (kit.inventory.by_id[one.id].price_cents or 0) for one in kit.packed) / 100,
        "currency": kit.inventory.currency,
        "hours": hours,
        "hardest": None if hardest is None else trial(hardest),
        "events": [trial(one) for one in kit.trials],
        "recharge_days": kit.recharge_days,
        "recharge_every_days": kit.standing.recharge_days,
        "recharge_by": dict(recharge_dates(kit)),
        "borrowed": dict(borrowed(kit)),
        "tags": {item_id: list(some) for item_id, some in tagged(kit)},
        "bags": [
            {"name": bag.name, "limit_g": bag.mass_g, "kit": encode.entries(kit.inventory, packed)}
            for bag, packed in zip(kit.standing.bags, kit.filled or (), strict=False)
        ],
        "met": dict(kit.short),
        "kits": [{**document(choice), "take_out": encode.pieces(taken_out(kit, choice))} for choice in kit.choices],
    }
