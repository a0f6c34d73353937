"""Chains of leads between two ends: which are found, and which are worth keeping."""

from __future__ import annotations

from wired_kits import lead, plug

from kitopt.inventory.items import Lead
from kitopt.model.wiring.chains import Chain, chains

G, H = plug("g"), plug("h")


def found(*leads: Lead) -> list[tuple[str, ...]]:
    return [chain.ids for chain in chains(leads, G, H)]


def test_a_lead_is_laid_either_way_round() -> None:
    (forth,) = chains([lead("cord", "g > h")], G, H)
    (back,) = chains([lead("cord", "h > g")], G, H)
    assert [piece.is_reversed for piece in (*forth.pieces, *back.pieces)] == [False, True]


def test_neither_a_strip_nor_what_nobody_owns_is_a_lead() -> None:
    assert found(lead("cord", "g > h")) == [("cord",)]
    assert found(lead("strip", "g > h", ways=2)) == []
    assert found(lead("gone", "g > h", count=0)) == []


def test_a_chain_that_takes_more_is_kept_only_where_it_is_worth_more() -> None:
    some = [lead("cord", "g > h"), lead("fuse", "g > g"), lead("thin", "g > g")]
    worth = {("cord",): 10.0, ("fuse", "cord"): 20.0, ("thin", "cord"): 10.0}

    def of(chain: Chain) -> float:
        return worth.get(chain.ids, 5.0)

    assert [chain.ids for chain in chains(some, G, H, worth=of)] == [("cord",), ("fuse", "cord")]
    assert found(*some) == [("cord",)]
