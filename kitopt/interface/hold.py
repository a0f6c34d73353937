"""A result as something to hold: what is told of each of its kits, gathered once for page, sheet and list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Packed
from kitopt.choice.named import NamedKit
from kitopt.choice.purchase import Purchase
from kitopt.choice.sharing import Shared
from kitopt.choice.standing import GrabKit
from kitopt.explain import Why
from kitopt.facts.bags import heaps
from kitopt.facts.carried import carried
from kitopt.facts.grid import Grid, grid
from kitopt.report.checklist_csv import checklist_csv
from kitopt.report.in_brief import what_it_does
from kitopt.report.page import KitOnPage, page
from kitopt.report.proof import proof_text
from kitopt.report.several.buy import buy_head, buy_proof
from kitopt.report.several.grab import event_does, event_title, grab_head, recharge_text, take_out
from kitopt.report.several.share import handovers_section, share_head, share_proof, sheet_notes, who
from kitopt.report.sheet import Paper, sheet
from kitopt.report.text import proof_of
from kitopt.report.words import moment, unwrapped
from kitopt.sky import windows_for

Answer = Choice | NamedKit | GrabKit | Shared | Purchase

NOTHING_ASKED = Why()


@dataclass(frozen=True, eq=False)
class Held:
    """The kits of an answer with all that is told of them, to be rendered on whatever is to be held.

    Attributes
    ----------
    title, intro : str
        What all of it is called, and the sentence before several kits.
    kits : tuple of KitOnPage
        Empty where the answer has none.
    """

    title: str
    intro: str
    kits: tuple[KitOnPage, ...]

    def to_page(self) -> str:
        """One HTML file, whole by itself."""
        return page(self.title, self.kits, self.intro)

    def to_csv(self) -> str:
        """The checklist."""
        return checklist_csv(self.kits)

    def to_sheet(self, paper: Paper = "a4") -> tuple[bytes, bool]:
        """A PDF, and whether letters that no font has were replaced.

        Raises
        ------
        ModuleNotFoundError
            Without the extra ``sheet``.
        """
        return sheet(self.title, self.kits, paper)


def hold(answer: Answer, why: Why = NOTHING_ASKED, *, most_solves: int = 0, clock: Budget = UNLIMITED) -> Held:
    """Gather what is told of the kits of an answer.

    Parameters
    ----------
    most_solves : int
        Questions that may be asked again for the table of hours and chances.
    """
    title, intro = _title(answer)
    return Held(title, intro, tuple(_kits(answer, why, most_solves, clock)))


def hold_one(choice: Choice, does: str) -> Held:
    """The same of one kit, of which somebody else says what it does."""
    since = f"Ampere-hours on what is held here count from {moment(choice.operation.start)} on."
    return Held(choice.operation.name, "", (_kit(choice.operation.name, does, choice, notes=(since,)),))


def _title(answer: Answer) -> tuple[str, str]:
    """What all of it is called, and the sentence before several kits."""
    if isinstance(answer, Choice):
        return answer.operation.name, ""
    if isinstance(answer, NamedKit):
        return answer.choice.operation.name, ""
    if isinstance(answer, GrabKit):
        return answer.standing.name, grab_head(answer)
    return answer.programme.name, share_head(answer) if isinstance(answer, Shared) else buy_head(answer)


def _kits(answer: Answer, why: Why, most_solves: int, clock: Budget) -> Iterator[KitOnPage]:
    if isinstance(answer, Choice | NamedKit):
        choice = answer if isinstance(answer, Choice) else answer.choice
        if choice.packed:
            listed = choice.packed if isinstance(answer, Choice) else answer.named
            table = None
            if most_solves:
                clock.say("weighing hours and chances")
                table = grid(choice, windows_for, most_solves=most_solves, budget=clock)
            sure = proof_of(choice) if isinstance(answer, Choice) else ""
            does = what_it_does(choice)
            yield _kit(choice.operation.name, does, choice, listed=listed, why=why, table=table, sure=sure)
    elif isinstance(answer, GrabKit):
        yield from _of_grab_kit(answer)
    elif isinstance(answer, Shared):
        # a headline and its points, or one sentence
        head, *points = unwrapped(handovers_section(answer))
        handed = [f"{head}: {one.removeprefix('- ')}" for one in points] or [head]
        sure = _of_all(share_proof(answer))
        for sheet in answer.sheets:
            if sheet.choice is not None and sheet.choice.packed:
                notes = (*sheet_notes(sheet), *handed)
                does = what_it_does(sheet.choice)
                yield _kit(who(answer, sheet.outing), does, sheet.choice, notes=notes, sure=sure)
    else:
        sure = _of_all(buy_proof(answer))
        for choice in answer.choices.values():
            yield _kit(choice.operation.name, what_it_does(choice), choice, sure=sure)


def _of_all(proof: str) -> str:
    """No kit of several is the best by itself: what is proved is of all of them."""
    return f"All kits together: {proof}"


def _of_grab_kit(kit: GrabKit) -> Iterator[KitOnPage]:
    """The bag first, then how it is set up at each event."""
    if not kit.packed:
        return
    hardest = kit.hardest
    first = kit.choices[hardest.event if hardest is not None else 0]
    bags = [(bag.name, inside) for bag, inside in zip(kit.standing.bags, kit.filled or (), strict=False)]
    listed = heaps(kit.inventory, kit.packed, kit.choices, bags)
    notes = (f"Recharge {recharge_text(kit)}",)
    does = grab_head(kit).removeprefix(f"{kit.standing.name}: ")
    sure = proof_text(kit.proof)
    yield KitOnPage(kit.standing.name, does, first, listed, (), notes=notes, sure=sure, is_in_bags=bool(bags))
    for event, choice in zip(kit.standing.events, kit.choices, strict=True):
        notes = (f"Take out {take_out(kit, choice)}",)
        yield _kit(event_title(event, choice), event_does(choice), choice, notes=notes)


def _kit(
    title: str,
    does: str,
    choice: Choice,
    *,
    listed: Sequence[Packed] = (),
    why: Why = NOTHING_ASKED,
    table: Grid | None = None,
    notes: tuple[str, ...] = (),
    sure: str = "",
) -> KitOnPage:
    inside = heaps(choice.inventory, listed or choice.packed, choice.parts)
    return KitOnPage(title, does, choice, inside, carried(choice), why, table, notes, sure)
