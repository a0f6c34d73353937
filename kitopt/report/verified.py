"""A certificate that holds, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitopt.report.words import wrapped

if TYPE_CHECKING:
    from kitopt.certificate.verify import Verified


def verified_text(found: Verified) -> str:
    """What was made again, what another solver found, and what that does not say."""
    totals = found.totals
    learned = sum(totals[sort] for sort in ("cut", "side", "spell", "kit"))
    unit = {"mass": " g", "items": " items", "price": " hundredths"}[found.of]
    kit = ", ".join(f"{n} {i}" for i, n in found.packed)
    made = f"{found.n_classes} bus classes with {totals['columns']:,} columns, {totals['rows']:,} rules"
    lines = (
        f"The certificate of {found.name} holds: nothing has less {found.of} than {found.bound:,.0f}{unit}.",
        f"Made again from its own files: {made} and {learned} learned rows, the kit, how it fares. CBC agrees.",
        f"The kit: {kit}.",
        found.says,
    )
    return "".join(f"{line}\n" for told in lines for line in wrapped(told))
