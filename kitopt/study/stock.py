"""What each store holds so that any so many of its sites are served at once, in the worst month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kitopt.study.row import Row
from kitopt.study.terms import Question, Study, kit_of


@dataclass(frozen=True)
class Stock:
    """Of one store.

    Attributes
    ----------
    holds : tuple of (id, count)
        With these the kits of any `at_once` of its sites can be packed at the same time, whichever they are, in every
        month; with one piece fewer of anything, those of some cannot.
    unserved : tuple of str
        Its sites at which some plan fails: nothing is held for these.
    """

    store: str
    at_once: int
    n_sites: int
    holds: tuple[tuple[str, int], ...]
    unserved: tuple[str, ...]


def stocks(study: Study, rows: Mapping[Question, Row], standard: Mapping[int, str]) -> tuple[Stock, ...]:
    """One for each store.

    Any sites may call at once, so of each item the largest needs of a month count together: some sites ask for just
    that, and none for more.

    Parameters
    ----------
    standard : mapping of place to kit
        The standard kit of each site that has one; the others, and all without, take the best kits that were found.
    """
    found = []
    for store in study.stores:
        places = [n for n, place in enumerate(study.places) if place.store == store.name]
        holds: dict[str, int] = {}
        unserved = []
        needs: list[list[dict[str, int]]] = [[] for _ in study.whens]
        for place in places:
            of_months = [_need(study, rows, place, when, standard.get(place)) for when in range(len(study.whens))]
            if any(one is None for one in of_months):
                unserved.append(study.places[place].name)
                continue
            for when, one in enumerate(of_months):
                needs[when].append(one or {})
        for month in needs:
            for item_id in {i for one in month for i in one}:
                largest = sorted((one.get(item_id, 0) for one in month), reverse=True)[: store.at_once]
                holds[item_id] = max(holds.get(item_id, 0), sum(largest))
        found.append(Stock(store.name, store.at_once, len(places), tuple(sorted(holds.items())), tuple(unserved)))
    return tuple(found)


def _need(
    study: Study, rows: Mapping[Question, Row], place: int, when: int, standard: str | None
) -> dict[str, int] | None:
    """What a site takes in a month, one pattern at a time; None where some plan of it fails."""
    if standard is not None:
        return dict(kit_of(standard))
    total: dict[str, int] = {}
    for pattern in range(len(study.patterns)):
        some = [rows.get(Question(place, when, pattern, 0, kit)) for kit in study.asked_kits]
        row = next((one for one in some if one is not None and one.passes), None)
        if row is None:
            return None
        for item_id, n in kit_of(row.kit):
            total[item_id] = max(total.get(item_id, 0), n)
    return total
