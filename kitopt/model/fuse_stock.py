"""How many fuses of each rating the leads of a kit take, and that no more of them are owned."""

from __future__ import annotations

from collections import Counter

from kitopt.engine.plan import Row
from kitopt.model.kit import Fed, Join, KitModel, Link, Meaning, Socket
from kitopt.model.wiring import Chain


def add_fuse_stock(model: KitModel) -> None:
    """No more fuses of a rating than are owned, with those that lie in the leads packed."""
    if model.inventory.fuses is None:
        return
    for (holder, rating_a), terms in fuses_taken(model).items():
        owned = model.inventory.fuses.get((holder, rating_a), 0)
        if sum(n * model.columns[j].upper for j, n in terms.items()) > owned:
            text = f"{owned} × {holder} fuse {rating_a:g} A owned"
            model.rows.append(Row(tuple(terms.items()), upper=float(owned), rule="stock", text=text))


def fuses_taken(model: KitModel) -> dict[tuple[str, float], dict[int, float]]:
    """How many fuses of each holder and rating one of each column takes, beside those that lie in the leads."""
    takes: dict[tuple[str, float], dict[int, float]] = {}
    for j, column in enumerate(model.columns):
        fuses = fuses_of(*_chains_of(column.meaning)) if column.fuses is None else column.fuses
        for fuse, n in fuses.items():
            takes.setdefault(fuse, {})[j] = float(n)
    return dict(sorted(takes.items()))


def fuses_of(*chains: Chain) -> dict[tuple[str, float], int]:
    """Fuses fitted into the holders of some chains, by holder and rating, beside those that lie in the leads. [A]"""
    fits = ((lead, chain.fit_a) for chain in chains for lead in chain.holders)
    return dict(Counter((lead.fuse_holder, a) for lead, a in fits if a is not None and lead.fuse_a != a))


def _chains_of(meaning: Meaning) -> tuple[Chain, ...]:
    """The chains of leads that one of a column has."""
    if isinstance(meaning, Link):
        return (meaning.chain,)
    if isinstance(meaning, Socket):
        return () if meaning.chain is None else (meaning.chain,)
    if isinstance(meaning, Fed):
        return (meaning.before, *(chain for _, chain in meaning.loads))
    return () if not isinstance(meaning, Join) or meaning.chain is None else (meaning.chain,)
