"""The families of connectors as a table."""

from __future__ import annotations

from typing import Any

from kitopt.inventory.families import FAMILIES, family_of
from kitopt.inventory.items import Inventory
from kitopt.report.words import wrapped


def families_document(inventory: Inventory | None) -> dict[str, Any]:
    """Every family that is known, and what the owner wrote of those that are used."""
    own = {} if inventory is None else _owners(inventory)
    return {
        "status": "read",
        "families": [
            {
                "family": one.name,
                "lives_on": one.lives_on,
                "contact_mohm": round(1000 * one.contact_ohm, 3),
                "max_a": one.max_a,
                "mates": one.mates,
                "names": list(one.names),
            }
            for one in FAMILIES.values()
        ],
        "owner": own,
    }


def families_text(inventory: Inventory | None) -> str:
    """The table in lines of at most 80 columns."""
    lines = wrapped(
        "A connector is written family, or family:plug and family:socket where it has two sides; a size may follow, "
        "such as barrel-5.5x2.1:plug or ring-m5. The first word tells the family. Common practice, no source."
    )
    lines += ["", "family      ohm/1000   at most  lives on"]
    for one in FAMILIES.values():
        most = "" if one.max_a is None else f"{one.max_a:g} A"
        lines.append(f"{one.name:10}  {1000 * one.contact_ohm:8g}  {most:>8}  {one.lives_on}")
        lines += wrapped(f"mates {one.mates}", " " * 33)
        if one.names:
            lines += wrapped(f"also called {', '.join(one.names)}", " " * 33)
    own = {} if inventory is None else _owners(inventory)
    if own:
        lines += ["", "Yours, from connectors.csv, go before these"]
        lines += [f"- {name}: {', '.join(said)}" for name, said in own.items()]
    return "\n".join(lines) + "\n"


def _owners(inventory: Inventory) -> dict[str, list[str]]:
    """What the owner wrote of a family, in words."""
    found: dict[str, list[str]] = {}
    for family, ohm in sorted(inventory.contact_ohm.items()):
        found.setdefault(family, []).append(f"{1000 * ohm:g} ohm/1000 a pair")
    for family, amps in sorted(inventory.contact_a.items()):
        found.setdefault(family, []).append(f"at most {amps:g} A")
    for family, said in found.items():
        known = family_of(family)
        if known is not None and known.name != family:
            said.append(f"a {known.name}")
    return found
