"""A study from end to end: every plan, then what is asked on top of what came of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.study.answer import over_limit_g
from kitopt.study.processes import Workers
from kitopt.study.row import Row
from kitopt.study.run import Answered, Ledger, answer_all
from kitopt.study.standard import Picked, pick
from kitopt.study.stock import Stock, stocks
from kitopt.study.summary import Cell, cells, failing
from kitopt.study.terms import ONE_CHANGE, Kit, Question, Study, kit_of, kit_text

MOST_CANDIDATES = 24
"""Kits among which standard kits are chosen."""
MOST_PIECES = 16
"""Pieces of a catalogue that are tried, the cheapest first."""
MOST_MENDED = 40
"""Sites for which a change is looked for, by priority."""


@dataclass(frozen=True)
class Standard:
    """Standard kits of one inventory.

    Attributes
    ----------
    kits : tuple of Kit
        The candidates, of which `picked` names some.
    masses_g : tuple of int
        Of the candidates, without loads and extras. [g]
    picked : Picked
    one_more : Picked
        The same with one kit more.
    chances : tuple of float or None
        Of each site that is served, the least over its plans, on unseen windows. [0–1]
    is_price : bool
        Whether what the kits cost was made small, in hundredths, instead of their mass.
    """

    inventory: int
    kits: tuple[Kit, ...]
    masses_g: tuple[int, ...]
    picked: Picked
    one_more: Picked
    chances: tuple[float | None, ...]
    is_price: bool


@dataclass(frozen=True)
class Piece:
    """A piece of the catalogue, and at how many of the sites that fail everything then passes."""

    id: str
    price_cents: int
    mended: tuple[int, ...]
    weight: float


@dataclass(frozen=True, eq=False)
class Region:
    """What came of a study.

    Attributes
    ----------
    rows : Path or None
        Where all of it lies.
    table : list of list of Cell
        By site and day.
    fails : list of (place, when, Row)
        The sites that fail, each with its worst plan.
    changes : dict of place to Row
        The one change of that plan.
    """

    study: Study
    rows: Path | None
    answered: Answered
    table: list[list[Cell]]
    fails: list[tuple[int, int, Row]]
    changes: dict[int, Row]
    piece: Piece | None
    standard: tuple[Standard, ...]
    stocks: tuple[Stock, ...]
    is_whole: bool

    @property
    def status(self) -> str:
        """Whether everything that was asked is known: "found" or "time-limit"."""
        return "found" if self.is_whole else "time-limit"


class Asking:
    """One study, its workers and its ledger.

    Parameters
    ----------
    rows : Path or None
        Where rows are kept, and looked for.
    """

    def __init__(self, study: Study, workers: Workers, rows: Path | None = None, clock: Budget = UNLIMITED) -> None:
        self.study, self.workers, self.path, self.clock = study, workers, rows, clock
        self.ledger = Ledger(rows)
        self.is_whole = True

    def region(self) -> Region:
        """Ask everything.

        Raises
        ------
        BadInput
            If rows cannot be read or kept, or there are no workers.
        """
        try:
            return self._region()
        finally:
            self.workers.close()

    def _region(self) -> Region:
        study = self.study
        answered = self._ask(study.questions())
        table = cells(study, answered.rows)
        fails = failing(study, table)
        changes: dict[int, Row] = {}
        piece = None
        standard: tuple[Standard, ...] = ()
        if answered.is_whole and not study.kits:
            changes = self._changes(fails)
            piece = self._piece(answered, fails)
            if study.standard_kits:
                standard = tuple(self._standard(answered, n) for n in range(len(study.inventories)))
        self.ledger.keep(is_last=self.is_whole)
        kept = {
            place: kit_text(one.kits[j])
            for one in standard[:1]
            for place, j in enumerate(one.picked.of_site)
            if j is not None
        }
        held = stocks(study, answered.rows, kept) if answered.is_whole else ()
        return Region(study, self.path, answered, table, fails, changes, piece, standard, held, self.is_whole)

    def _ask(self, questions: Iterable[Question]) -> Answered:
        found = answer_all(self.study, list(questions), self.workers, self.ledger, self.clock)
        self.is_whole &= found.is_whole
        return found

    def _changes(self, fails: Sequence[tuple[int, int, Row]]) -> dict[int, Row]:
        """The one change of each site's worst plan."""
        asked = {place: replace(one, more=ONE_CHANGE) for place, one in self._to_mend(fails).items()}
        self.clock.say("changes that mend")
        found = self._ask(asked.values()).rows
        return {place: found[one] for place, one in asked.items() if one in found}

    def _to_mend(self, fails: Sequence[tuple[int, int, Row]]) -> dict[int, Question]:
        """The worst plan of each site for which a change is looked for."""
        patterns, labels = [one.name for one in self.study.patterns], self.study.labels
        return {
            place: Question(place, when, patterns.index(row.pattern), labels.index(row.inventory))
            for place, when, row in fails[:MOST_MENDED]
            if row.status == "no-kit"
        }

    def _piece(self, answered: Answered, fails: Sequence[tuple[int, int, Row]]) -> Piece | None:
        """The piece of the catalogue with which most priority is mended: tried on worst plans, proved on all."""
        study = self.study
        if study.catalogue is None or not fails:
            return None
        offered = [item for item in study.catalogue.chosen_from if item.price_cents is not None and item.count > 0]
        offered = sorted(offered, key=lambda item: (item.price_cents or 0, item.id))[:MOST_PIECES]
        worst = self._to_mend(fails)
        tried = {(item.id, place): replace(one, more=item.id) for place, one in worst.items() for item in offered}
        self.clock.say("purchases that mend")
        found = self._ask(tried.values()).rows
        weights = {item.id: 0.0 for item in offered}
        for (item_id, place), question in tried.items():
            if question in found and found[question].passes:
                weights[item_id] += study.places[place].priority
        # whatever fails there, not only the worst of it
        failed: dict[int, list[Question]] = {place: [] for place in worst}
        for one, row in answered.rows.items():
            if one.place in worst and one.inventory == worst[one.place].inventory and not row.passes:
                failed[one.place].append(one)
        best = None
        for item in sorted(offered, key=lambda item: (-weights[item.id], item.price_cents or 0, item.id)):
            if not weights[item.id] or (best is not None and weights[item.id] <= best.weight):
                break
            plans = {place: [replace(one, more=item.id) for one in some] for place, some in failed.items()}
            again = self._ask(one for some in plans.values() for one in some).rows
            mended = tuple(p for p, some in plans.items() if all(q in again and again[q].passes for q in some))
            weight = sum(study.places[place].priority for place in mended)
            if mended and (best is None or weight > best.weight):
                best = Piece(item.id, item.price_cents or 0, mended, weight)
        return best

    def _standard(self, answered: Answered, inventory: int) -> Standard:
        """Standard kits among those found and, for each site, what its kits come to together."""
        study = self.study
        plans = [
            Question(place, when, pattern, inventory)
            for place in range(len(study.places))
            for when in range(len(study.whens))
            for pattern in range(len(study.patterns))
        ]
        kits = self._candidates(answered, plans)
        known: dict[tuple[Question, Kit], tuple[bool, float | None]] = {}
        open_: list[tuple[Question, Kit]] = []
        for plan in plans:
            for kit in kits:
                of_proof = self._is_known(answered.rows[plan], plan, kit)
                if of_proof is None:
                    open_.append((plan, kit))
                else:
                    known[plan, kit] = of_proof
        self.clock.say("standard kits")
        # the hardest plan of each site first: a kit that fails there is asked nowhere else at that site
        hardest = {plan.place: plan for plan in sorted(plans, key=lambda plan: _hardness(answered.rows[plan]))}
        for is_first in (True, False):
            out = {(plan.place, kit) for (plan, kit), (does, _) in known.items() if not does}
            asked = {
                (plan, kit): Question(plan.place, plan.when, plan.pattern, inventory, kit)
                for plan, kit in open_
                if (plan.place, kit) not in out and (plan, kit) not in known
                if is_first == (plan == hardest[plan.place])
            }
            judged = self._ask(asked.values()).rows
            for cell, question in asked.items():
                row = judged.get(question)
                known[cell] = (False, None) if row is None else self._claim(row, question)
        n_sites = len(study.places)
        passes = np.ones((n_sites, len(kits)), dtype=bool)
        chances = np.full((n_sites, len(kits)), np.nan)
        for (plan, kit), (does, chance) in known.items():
            j = kits.index(kit)
            passes[plan.place, j] &= does
            if chance is not None:
                chances[plan.place, j] = np.fmin(chances[plan.place, j], chance)
        by_id = study.inventories[inventory].by_id
        masses = tuple(sum(n * by_id[i].mass_g for i, n in kit) for kit in kits)
        is_price = study.patterns[0].least == "price"
        costs = tuple(sum(n * (by_id[i].price_cents or 0) for i, n in kit) for kit in kits) if is_price else masses
        weights = [place.priority for place in study.places]
        picked, one_more = (pick(passes, weights, costs, study.standard_kits + n) for n in (0, 1))
        told = (None if j is None else float(chances[place, j]) for place, j in enumerate(picked.of_site))
        told_chances = tuple(None if one is None or np.isnan(one) else one for one in told)
        return Standard(inventory, kits, masses, picked, one_more, told_chances, is_price)

    def _candidates(self, answered: Answered, plans: Sequence[Question]) -> tuple[Kit, ...]:
        """The kits that were found, and what those of each site and of all sites come to together."""
        study, weights = self.study, Counter[Kit]()
        by_place: dict[int, dict[str, int]] = {}
        for plan in plans:
            row = answered.rows[plan]
            if row.passes:
                kit = kit_of(row.kit)
                weights[kit] += 1
                total = by_place.setdefault(plan.place, {})
                for item_id, n in kit:
                    total[item_id] = max(total.get(item_id, 0), n)
        joined: Counter[Kit] = Counter()
        every: dict[str, int] = {}
        for place, total in by_place.items():
            joined[tuple(sorted(total.items()))] += round(1000 * study.places[place].priority)
            every = {i: max(every.get(i, 0), total.get(i, 0)) for i in {*every, *total}}
        ranked = [kit for kit, _ in sorted(joined.items(), key=lambda one: (-one[1], one[0]))]
        ranked += [kit for kit, _ in sorted(weights.items(), key=lambda one: (-one[1], one[0])) if kit not in joined]
        whole = tuple(sorted(every.items()))
        return tuple(dict.fromkeys(([whole] if whole else []) + ranked))[:MOST_CANDIDATES]

    def _is_known(self, row: Row, plan: Question, kit: Kit) -> tuple[bool, float | None] | None:
        """Whether a kit passes, where the proof of the best kit tells it: it is heavier than none, and holds itself."""
        if not row.passes:
            return False, None
        # neither the site nor the day changes what goes along, or how heavy it may be
        pattern, inventory = self.study.patterns[plan.pattern], self.study.inventories[plan.inventory]
        best, have = dict(kit_of(row.kit)), dict(kit)
        if over_limit_g(pattern, inventory, kit) > 0:
            return False, None
        if all(have.get(i, 0) >= n for i, n in best.items()):
            return self._claim(row, plan)
        if pattern.least == "mass":
            mass_g = sum(n * inventory.by_id[i].mass_g for i, n in kit)
            if mass_g < sum(n * inventory.by_id[i].mass_g for i, n in best.items()):
                return False, None
        return None

    def _claim(self, row: Row, question: Question) -> tuple[bool, float | None]:
        """That it passes is claimed where as many unseen windows are survived as are asked for, and no other."""
        need = self.study.patterns[question.pattern].need
        return row.passes and (row.chance is None or row.chance >= need.confidence), row.chance


def _hardness(row: Row) -> tuple[float, float]:
    """What the best kit of a plan weighs, and the less the longer it would last."""
    return (float(row.mass_g or 0), -(row.margin_wh or 0.0))
