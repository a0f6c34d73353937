"""``kitopt now``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

from kitopt.cli.answering import Told, warn
from kitopt.cli.field import read_charge, read_number, read_sky, read_time, told
from kitopt.cli.inputs import Gather, read_both, read_owned
from kitopt.cli.paper import NO_PAPER, Paper
from kitopt.cli.request import Answer
from kitopt.cli.streams import say

if TYPE_CHECKING:
    from kitopt.sky.overhead import Overhead


@dataclass(frozen=True)
class TypedState:
    """A state as it was typed; None where it was not."""

    used: str | None
    charge: str | None
    volts: str | None
    sky: str | None
    battery: str | None
    load: str | None


def run_now(
    file: Path | None,
    folder: Path | None,
    typed: TypedState,
    *,
    at: str | None,
    kit: str | None,
    paper: Paper = NO_PAPER,
    is_json: bool = False,
) -> Answer:
    """Say whether it lasts.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    from kitopt.inventory.fields import Number

    gather = Gather()
    gather.get(paper.check)
    moment = gather.get(lambda: read_time(at))
    in_ah = Number("ampere-hours", '9 or "9 Ah"', "Ah", least=-1000, most=10_000)
    in_v = Number("a voltage", '13.1 or "13.1 V"', "V", above=0, most=150)
    used = read_number(gather, "--used", in_ah, typed.used)
    volts = read_number(gather, "--volts", in_v, typed.volts)
    charge = gather.get(lambda: read_charge(typed.charge))
    sky = None if typed.sky is None else gather.get(lambda: read_sky(typed.sky or ""))
    is_alone = file is None and (typed.battery is not None or typed.load is not None)
    operation = None
    if is_alone:
        inventory = read_owned(gather, folder)
    else:
        operation, inventory = read_both(gather, file, folder)
        if file is None:
            say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")
        warn(operation.warnings, inventory.warnings)

    from kitopt.interface.in_hand import now

    def call() -> Told:
        return now(
            operation,
            inventory,
            used_ah=used,
            charge=charge,
            volts=volts,
            at=moment,
            kit=kit,
            sky=cast("Overhead | None", sky),
            battery=typed.battery,
            load=typed.load,
        )

    return told(call, is_json=is_json, paper=paper)
