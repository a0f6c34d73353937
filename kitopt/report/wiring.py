"""The joins of a kit as a list to follow on the ground: one drawing a join."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.inventory.items import Lead
from kitopt.model.wiring_list import STATION, Wire
from kitopt.report.words import wrapped


def wiring(choice: Choice) -> list[str]:
    """Lines of at most 80 columns; none without a kit."""
    if not choice.wiring:
        return []
    lines = ["Wiring in this order, struck in reverse; a fused end goes to the battery"]
    digits = len(str(len(choice.wiring)))
    for n, wire in enumerate(choice.wiring, start=1):
        head = f"{n:{digits + 1}}. "
        lines += wrapped(f"{drawing(choice, wire)}: {_said(wire)}", head, " " * (len(head) + 2))
    return lines


def drawing(choice: Choice, wire: Wire) -> str:
    """A join such as "lfp-12 == fused-20 (20 A) ==> station"."""
    pieces = [_piece(choice, lead_id) for lead_id in wire.leads]
    if wire.kind == "strip":
        return " + ".join([STATION, *(f"{f'{wire.count} x ' if wire.count > 1 else ''}{one}" for one in pieces)])
    if wire.kind == "joiner":
        return f"{wire.sink} <== {' == '.join(pieces)}"
    source = wire.source
    if wire.joined > 1:
        source = f"{wire.joined} x {source}"
    return f"{' == '.join([source, *pieces])} ==> {wire.sink}"


def _piece(choice: Choice, lead_id: str) -> str:
    lead = choice.inventory.by_id[lead_id]
    fuse = f" ({lead.fuse_a:g} A)" if isinstance(lead, Lead) and lead.fuse_a is not None else ""
    return f"{lead_id}{fuse}"


def _said(wire: Wire) -> str:
    said = [f"{wire.amps:.1f} A"]
    if wire.drop_v is not None:
        said.append(f"{wire.drop_v:.2f} V")
    if wire.kind == "panel" and wire.loss_share is not None and wire.loss_share >= 0.0005:
        said.append(f"{100 * wire.loss_share:.1f} % lost")
    if wire.kind == "battery":
        said.append(_fuse(wire))
    if wire.count > 1 and wire.kind != "strip":
        said.append(f"{wire.count} of them")
    return ", ".join(said)


def _fuse(wire: Wire) -> str:
    if wire.fuse_a is not None:
        return f"fuse {wire.fuse_a:g} A"
    if wire.is_fused_inside:
        return "fuse in the battery"
    least = "" if wire.least_fuse_a is None else f" of {wire.least_fuse_a:.1f} A or more"
    return f"needs a fuse{least} within 18 cm of its plus"
