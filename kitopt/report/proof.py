"""How sure an answer is, in the one sentence that every command says it in."""

from __future__ import annotations

from kitopt.choice.terms import Proof
from kitopt.report import words

SUPERLATIVE = {"mass": "lightest", "price": "cheapest", "items": "fewest items", "unserved": "fewest without a kit"}


def proof_text(proof: Proof, currency: str = "", what_for: str = "") -> str:
    """Proved best, or what it can be at best where the time was up.

    Grams are told in full, for a proof is to the gram.

    Parameters
    ----------
    what_for : str
        Of what it is the best, such as "475 of 500 spells".
    """
    what = f"{SUPERLATIVE[proof.of]}{f' for {what_for}' if what_for else ''}"
    is_short = proof.of == "unserved"
    if proof.objective is None:
        return "none." if proof.proved else f"none: the time was up.{at_best(proof, currency)}"
    if proof.proved:
        reached = _amount(proof, proof.objective, currency)
        works = f"no fewer than {reached} can go without a kit" if is_short else f"nothing below {reached} works"
        return f"proved {what}: {works}."
    said = at_best(proof, currency)
    if not said:
        return f"not proved {what}: the time was up before any bound was found."
    gap = "" if proof.gap is None or is_short else f" (gap {100 * proof.gap:.2g} %)"
    return f"not proved {what}: the time was up.{said.rstrip('.')}{gap}."


def at_best(proof: Proof, currency: str = "") -> str:
    """A sentence to follow another: what the best can be at most; nothing where that is not known."""
    if proof.bound is None or not proof.bound > 0:
        return ""
    bound = _amount(proof, proof.bound, currency)
    return (
        f" As few as {bound} might go without a kit." if proof.of == "unserved" else f" Nothing below {bound} can work."
    )


def _amount(proof: Proof, value: float, currency: str) -> str:
    if proof.of == "price":
        return words.price(value, currency)
    unit = {"mass": " g", "items": " items"}.get(proof.of, "")
    return f"{value:,.0f}{unit}"
