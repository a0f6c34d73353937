"""``kitopt sun`` and ``kitopt reading``."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast

from kitopt.cli.answering import Told, answered, warn
from kitopt.cli.inputs import Gather, read_owned, read_with_inventory
from kitopt.cli.options import Overrides, read_option
from kitopt.cli.paper import NO_PAPER, Paper
from kitopt.cli.request import Answer
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.files.faults import quoted
from kitopt.inventory.items import Inventory

if TYPE_CHECKING:
    from kitopt.field.site import FieldSite
    from kitopt.inventory.fields import Number
    from kitopt.sky.overhead import Overhead

_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?(Z|[+-][0-9]{2}:[0-9]{2})?")
_CLOCK = re.compile(r"[0-9]{1,2}:[0-9]{2}", re.ASCII)
_TIME_NEED = 'a date with a time, such as "2027-06-12T12:30", or a time of today, such as 12:30'


@dataclass(frozen=True)
class Typed:
    """A reading as it was typed; None where it was not."""

    panel: str
    controller: str | None
    readings: Mapping[str, str | None]
    found: tuple[str, ...]
    aim: str | None
    sky: str
    charge: str | None
    discharged: str | None = None
    ends: tuple[str | None, str | None] = (None, None)
    """Volts at the near and the far end of a lead."""

    @property
    def of(self) -> Literal["panel", "battery", "lead"]:
        """What it is a reading of, by what was read."""
        if self.discharged is not None:
            return "battery"
        return "lead" if any(end is not None for end in self.ends) else "panel"


def run_sun(
    where: str | None,
    folder: Path | None,
    *,
    at: str | None,
    air: str | None,
    panel: str | None,
    declination: str | None,
    is_json: bool = False,
    is_plain: bool = False,
) -> Answer:
    """Say what panels should give.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    from kitopt.inventory.fields import Number

    gather = Gather()
    around = Number("a declination in degrees, east positive,", "3.5 or -12", least=-180, most=180)
    east = read_number(gather, "--declination", around, declination)
    site, inventory = _site(gather, where, folder, at, air)

    from kitopt.interface.in_field import sun

    return told(lambda: sun(site, inventory, panel=panel, declination_deg=east), is_json=is_json, is_plain=is_plain)


def run_reading(
    typed: Typed,
    where: str | None,
    folder: Path | None,
    *,
    at: str | None,
    air: str | None,
    is_test: bool,
    is_kept: bool = False,
    is_json: bool = False,
) -> Answer:
    """Say what a reading means, and keep it where that is asked for, or print the test that gives the readings.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    gather = Gather()
    found = _readings(gather, typed)
    if "amps" not in found and not is_test and not gather.faults and typed.of != "battery":
        text = "no amperes are given; need --amps, such as --amps 3.2, or --test for what to read."
        gather.faults.append(Fault("--amps", None, None, text))
    if is_kept and (is_test or (folder is None and not _is_file(where))):
        text = "found --keep without an inventory of your own, or beside --test; need --inventory and a reading."
        gather.faults.append(Fault("--keep", None, None, text))
    aim = gather.get(lambda: _aim(typed.aim))
    sky = gather.get(lambda: read_sky(typed.sky))
    charge = gather.get(lambda: read_charge(typed.charge))
    if typed.of != "panel":
        return _other(gather, typed, found, lambda: _site(gather, where, folder, at, air), is_kept, is_json=is_json)
    site, inventory = _site(gather, where, folder, at, air, may_lack_label=True)

    from kitopt.interface.in_field import keep, reading

    def call() -> Told:
        found_out = reading(
            site,
            inventory,
            typed.panel,
            typed.controller,
            found=found,
            aim=cast("Any", aim),
            sky=cast("Overhead", sky),
            charge_share=charge,
            is_test=is_test,
        )
        if is_kept:
            say(f"Kept in {keep(found_out, inventory, sky=typed.sky, aim=typed.aim or '')}.")
        return found_out

    return told(call, is_json=is_json)


def _other(
    gather: Gather,
    typed: Typed,
    found: Mapping[str, float],
    read: Callable[[], tuple[FieldSite, Inventory]],
    is_kept: bool,
    *,
    is_json: bool,
) -> Answer:
    """A reading of a battery or lead: what it says, and what is known with it."""
    from kitopt.inventory.items import Battery, Lead

    mine = () if typed.of == "battery" else ("amps",)
    others = [f"--{name}" for name, text in typed.readings.items() if text is not None and name not in mine]
    if typed.controller is not None or typed.found or others:
        named = ", ".join(others) or "CONTROLLER or --found"
        text = f"found {named} beside a reading of a {typed.of}; need either a panel's reading or this one."
        gather.faults.append(Fault("--discharged" if typed.of == "battery" else "--volts-near", None, None, text))
    given_ah = read_number(gather, "--discharged", _discharged(), typed.discharged)
    ends = [
        gather.get(partial(_end, name, text))
        for name, text in zip(("--volts-near", "--volts-far"), typed.ends, strict=True)
        if typed.of == "lead"
    ]
    near_v, far_v = (end or 0.0 for end in ends) if ends else (0.0, 0.0)
    site, inventory = read()

    from kitopt.interface.in_field import owned
    from kitopt.interface.other_readings import ItemRead, discharge, keep_item, lost

    def call() -> ItemRead:
        if given_ah is not None:
            one = discharge(inventory, owned(inventory, typed.panel, Battery, "BATTERY"), given_ah, site.at)
        else:
            one = lost(inventory, owned(inventory, typed.panel, Lead, "LEAD"), found["amps"], near_v, far_v, site.at)
        if is_kept:
            say(f"Kept in {keep_item(one, inventory, near_v=near_v, far_v=far_v)}.")
        return one

    return told(call, is_json=is_json)


def _discharged() -> Number:
    from kitopt.inventory.fields import Number

    return Number("ampere-hours from full until empty", '17.2 or "17.2 Ah"', "Ah", above=0, most=5000)


def _end(option: str, text: str | None) -> float:
    """Volts at one end of a lead; both are needed."""
    from kitopt.inventory.fields import Number

    if text is None:
        need = "not given; need the volts at both ends, such as --volts-near 13.6 --volts-far 13.1."
        raise BadInput([Fault(option, None, None, need)])
    return float(read_option(option, Number("a voltage", '13.4 or "13.4 V"', "V", above=0, most=1000), text))


def run_learned(folder: Path | None, meter: str | None, *, is_json: bool = False) -> Answer:
    """Say what kept readings teach.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    from kitopt.inventory.rows import OFF

    gather = Gather()
    spread = read_number(gather, "--meter", OFF, meter)
    inventory = read_owned(gather, folder)
    warn(inventory.warnings)

    from kitopt.interface.in_field import learned

    return told(lambda: learned(inventory, meter_spread=spread), is_json=is_json)


def _is_file(where: str | None) -> bool:
    return where is not None and where.lower().endswith(".toml")


def told(call: Callable[[], Told], *, is_json: bool, is_plain: bool = False, paper: Paper = NO_PAPER) -> Answer:
    """The answer to a call that needs no time limit."""
    return answered(lambda _: call(), Overrides(), "mass", is_json=is_json, is_plain=is_plain, paper=paper)


def _site(
    gather: Gather,
    where: str | None,
    folder: Path | None,
    at: str | None,
    air: str | None,
    *,
    may_lack_label: bool = False,
) -> tuple[FieldSite, Inventory]:
    """Where and when, and what is owned."""
    from kitopt.inventory import demo_folder, demo_operation
    from kitopt.operation import read_operation
    from kitopt.operation.tables import DEGC

    moment = gather.get(lambda: read_time(at))
    degc = read_number(gather, "--air", DEGC, air)

    from kitopt.interface.in_field import site_at

    if where is None or _is_file(where):
        file = Path(where) if where is not None else gather.get(demo_operation)
        gather_folder = folder if folder is not None or where is not None else gather.get(demo_folder)
        if file is None:
            gather.stop_if_any()
        assert file is not None
        operation, inventory = read_with_inventory(
            gather, file, gather_folder, read_operation, may_lack_label=may_lack_label
        )
        if where is None:
            say(f"No place named: this is the invented demo, {file.name}.")
        return site_at(operation, moment, air_degc=degc), inventory
    site = gather.get(lambda: site_at(where, moment, air_degc=degc))
    inventory = read_owned(gather, folder, may_lack_label=may_lack_label)
    assert site is not None
    return site, inventory


def read_number(gather: Gather, option: str, number: Number, typed: str | None) -> float | None:
    """A number that is typed; None where none is, or after noting its fault."""
    return None if typed is None else gather.get(lambda: float(read_option(option, number, typed)))


def read_time(typed: str | None) -> datetime | time | None:
    """A moment that is typed, or a time of whatever day it is there; None where none is."""
    if typed is None:
        return None
    try:
        if _CLOCK.fullmatch(typed.strip()):
            return time.fromisoformat(typed.strip().zfill(5))
        if not _TIME.fullmatch(typed.strip()):
            raise ValueError("not a time")
        found = datetime.fromisoformat(typed.strip())
        if not 1950 <= found.year <= 2200:
            raise ValueError("not in this age")
    except ValueError:
        raise BadInput([Fault("--at", None, None, f"found {quoted(typed)}, need {_TIME_NEED}.")]) from None
    return found


def _aim(typed: str | None) -> str | tuple[float, float] | None:
    if typed is None or typed.strip().lower() in ("flat", "facing"):
        return None if typed is None else typed.strip().lower()
    parts = typed.split(",")
    try:
        tilt, bearing = (float(part) for part in parts)
        if not (0.0 <= tilt <= 90.0 and 0.0 <= bearing <= 360.0):
            raise ValueError("no aim")
    except ValueError:
        text = f"found {quoted(typed)}, need flat, facing, or tilt and bearing in degrees, such as 35,180."
        raise BadInput([Fault("--aim", None, None, text)]) from None
    return tilt, bearing


def read_sky(typed: str) -> str:
    """A sky by its name."""
    from kitopt.sky.overhead import SKIES

    word = typed.strip().lower()
    if word not in SKIES:
        raise BadInput([Fault("--sky", None, None, f"found {quoted(typed)}, need one of {', '.join(SKIES)}.")])
    return word


def read_charge(typed: str | None) -> float | None:
    """A share of full charge; None where none is typed."""
    from kitopt.inventory.fields import Number

    share = Number("a share of full charge", '"60 %"', "share", least=0, most=1)
    return None if typed is None else float(read_option("--charge", share, typed))


def _readings(gather: Gather, typed: Typed) -> dict[str, float]:
    """Every reading by its name."""
    found: dict[str, float] = {}
    for name, text in typed.readings.items():
        if text is not None:
            value = gather.get(partial(_value, f"--{name}", name, text))
            if value is not None:
                found[name] = value
    for pair in typed.found:
        one = gather.get(partial(_pair, pair))
        if one is not None:
            found[one[0]] = one[1]
    return found


def _pair(typed: str) -> tuple[str, float]:
    from kitopt.field.measures import BY_ID
    from kitopt.files.nearest import did_you_mean

    name, equals, text = (part.strip() for part in typed.partition("="))
    if not equals or name not in BY_ID:
        near = did_you_mean(name, BY_ID)
        need = f"need TEST=VALUE with one of {', '.join(BY_ID)}.{near}"
        raise BadInput([Fault("--found", None, None, f"found {quoted(typed)}, {need}")])
    return name, _value(f"--found {name}", name, text)


def _value(option: str, name: str, text: str) -> float:
    """A reading, within what a meter can show."""
    from kitopt.field.measures import BY_ID
    from kitopt.inventory.cells import yes_no

    measure = BY_ID[name]
    if measure.is_yes_or_no:
        try:
            return float(yes_no(text.strip()))
        except ValueError:
            raise BadInput([Fault(option, None, None, f"found {quoted(text)}, need yes or no.")]) from None
    return float(read_option(option, _number(measure.unit), text))


def _number(unit: str) -> Number:
    from kitopt.inventory.fields import Number

    return {
        "A": Number("a current in amperes", '3.2 or "320 mA"', "A", least=-50, most=200),
        "V": Number("a voltage", '13.4 or "13.4 V"', "V", least=-150, most=150),
        "°": Number("an angle in degrees", "12", least=0, most=180),
        "°C": Number("a temperature in °C", '-2, 8 or "14 °F"', "degC", least=-60, most=80),
        "x": Number("amperes over those before", "1.2", least=0, most=20),
    }[unit]
