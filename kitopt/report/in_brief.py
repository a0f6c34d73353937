"""A choice in one sentence, and in brief: what it does, and the list."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.report import words
from kitopt.report.lists import checklist
from kitopt.report.nices import which_run
from kitopt.report.words import wrapped


def brief(choice: Choice) -> str:
    """What it does, the list and its total; without a kit, the one sentence that says so."""
    if not choice.packed:
        return "\n".join(no_kit_headline(choice)) + "\n"
    listed = checklist(choice.inventory, choice.packed, with_price=True)
    return "\n".join([*headline(choice), "", *listed]) + "\n"


def headline(choice: Choice) -> list[str]:
    """What it is for, and what it does."""
    return wrapped(f"{choice.operation.name}: {what_it_does(choice)}")


def what_it_does(choice: Choice) -> str:
    """Hours, mass, the charge at the start where it is not full, and the chance."""
    operation = choice.operation
    amount = words.mass(choice.mass_g)
    if operation.least == "price":
        amount = f"{words.price(choice.price_cents, choice.inventory.currency)}, {amount}"
    elif operation.least == "items":
        amount = f"{sum(one.count for one in choice.packed)} items, {amount}"
    does = f"{words.hours(operation.hours)} with {amount}{which_run(choice)}{starts(choice)}"
    return f"{does}{survives(choice)}."


def starts(choice: Choice) -> str:
    """Part of a sentence that says how full the batteries are at the start; nothing where they are full."""
    share = start_share(choice)
    return "" if share is None or share >= 0.995 else f", batteries at {100 * share:.0f} % at the start"


def start_share(choice: Choice) -> float | None:
    """How full the batteries are at the start, of several circuits those with the least; None without any."""
    if choice.circuits or choice.banks:
        shares = [share for part in choice.stores if (share := start_share(part)) is not None]
        return min(shares, default=None)
    made = choice.made
    if made is None:
        return None
    case = made.cases[0]
    plant, layout = case.plant(made.counts), case.conditions.layout
    full_wh = float(plant[layout.capacity])
    return 1.0 - float(plant[layout.missing]) / full_wh if full_wh > 0.0 else None


def survives(choice: Choice) -> str:
    """The end of a sentence that says how many spells are survived; nothing where that is not known.

    Those that no choice has seen, where any were tried: of those it was chosen for a kit survives what it must.
    """
    survival = choice.survival
    if survival is None:
        return ""
    if survival.fresh_tried and survival.fresh_survived is not None:
        chance = 100 * survival.fresh_survived / survival.fresh_tried
        if survival.fresh_survived < survival.fresh_tried:
            # all is never said of fewer
            chance = min(chance, 99.9)
        unseen = f"{survival.fresh_survived:,} of {survival.fresh_tried:,} unseen spells of weather"
        return f"; survives {unseen}, {chance:.1f} %"
    what = "spell" if survival.tried == 1 else "spells"
    return f"; survives {survival.survived:,} of {survival.tried:,} {what} of weather"


def no_kit_headline(choice: Choice) -> list[str]:
    """The sentence that says that there is no kit, or that none was found in time."""
    lasts = words.hours(choice.operation.hours)
    if choice.status == "time-limit":
        text = f"{choice.operation.name}: the time was up before any kit was found that runs it for {lasts}."
    else:
        under = f" with {words.forced(choice.operation.bounds)}" if choice.operation.bounds else ""
        text = f"No kit in this inventory runs {choice.operation.name} for {lasts}{under}{which_run(choice)}."
    return wrapped(text)
