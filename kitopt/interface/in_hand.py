"""The kit in hand and the state now: does it last. The call, and a result that renders itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from kitopt.budget import UNLIMITED, Budget
from kitopt.errors import BadInput, Fault
from kitopt.inventory.items import MODES, Battery, Controller, Inventory, Item, Load, Panel
from kitopt.operation.check import check_against
from kitopt.operation.clock import hours_to
from kitopt.operation.force import Pieces, pieces_of_kit
from kitopt.operation.terms import LoadUse, Need, NoSun, Operation, Site

if TYPE_CHECKING:
    from kitopt.field.not_needed import NotNeeded
    from kitopt.field.now import Now, State
    from kitopt.field.review import Review
    from kitopt.interface.hold import Held
    from kitopt.sky.overhead import Overhead

_LONGEST_H = 240.0
_TRANSMIT_SHARE = 0.5
"""As an operation has it that does not say."""
_ROOM_DEGC = 20.0
_WAY: dict[type[Item], str] = {Panel: "in", Battery: "net"}
"""Which way a current flows whose column in a log has the name of a panel or battery."""


@dataclass(frozen=True, eq=False)
class Lasting:
    """What came of `now`.

    Attributes
    ----------
    answer : kitopt.field.now.Now
        Everything that is known, as values.
    """

    answer: Now

    @property
    def status(self) -> str:
        """Always "found": there is an answer."""
        return "found"

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.report.field import now_value

        return now_value(self.answer)

    def hold(self, *, is_asking: bool = False, clock: Budget = UNLIMITED) -> Held:
        """Page, sheet and checklist of the kit in hand for what is left: nothing is asked again for them."""
        from kitopt.interface.hold import hold_one
        from kitopt.report.field import does_text

        return hold_one(self.answer.heeded.hand.measured(), does_text(self.answer))

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.report.field import now_text

        return now_text(self.answer)


def now(
    operation: Operation | None,
    inventory: Inventory,
    *,
    used_ah: float | None = None,
    charge: float | None = None,
    volts: float | None = None,
    at: datetime | time | None = None,
    kit: Pieces | None = None,
    sky: Overhead | None = None,
    battery: str | None = None,
    load: str | None = None,
    clock: Budget = UNLIMITED,
) -> Lasting:
    """The chance to last from the state now, what one change brings, and what may have been used by when.

    Parameters
    ----------
    operation : Operation or None
        None for a battery and a load without any plan: no sun, the load on all the time.
    used_ah, charge, volts : float, optional
        One of the three: ampere-hours out since the operation's start, less those in [Ah]; the share of full charge
        that a gauge shows [0–1]; the volts of a battery that has rested, of which the lowest charge that they may mean
        is counted on [V].
    at : datetime or time, optional
        Without an offset on the clock of the place, a time alone today's there; now without it. The weather's step that
        it lies in counts whole.
    kit : str, list or mapping, optional
        The kit in hand; that of `pack` without it. Without leads in it, it is taken to be wired.
    sky : {"clear", "hazy", "overcast"}, optional
        Today's; else as the operation foresees.
    battery, load : str
        Without an operation: their ids.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    from kitopt.field.now import State

    told = {"used": used_ah, "charge": charge, "volts": volts}
    given = [State(name, value) for name, value in told.items() if value is not None]  # type: ignore[arg-type]
    if len(given) != 1:
        text = f"found {len(given)} of --used, --charge and --volts; need one of them, such as --used 9Ah."
        raise BadInput([Fault("--used", None, None, text)])
    if operation is None:
        return _alone(inventory, given[0], at, battery, load)
    if battery is not None or load is not None:
        text = "found beside an operation; need --kit there, or no operation."
        raise BadInput([Fault("--battery" if battery is not None else "--load", None, None, text)])
    _check_one_circuit(operation, inventory)

    from kitopt.field.now import now as judge
    from kitopt.field.now import rest_of
    from kitopt.interface.in_field import moment_there
    from kitopt.sky import windows_for

    moment = moment_there(at, operation.site.timezone)
    # what cannot be is told before a kit is looked for
    rest_of(operation, moment, sky)
    operation, counts = _in_hand(operation, inventory, kit, clock)
    rest = rest_of(operation, moment, sky)
    found = judge(operation, rest, inventory, counts, given[0], windows_for)
    kinds = (Battery, Panel, Controller)
    left_out = {
        name: n - found.kit.get(name, 0)
        for name, n in sorted(counts.items())
        if isinstance(inventory.by_id[name], kinds) and n > found.kit.get(name, 0)
    }
    moved_from = moment if hours_to(operation, moment) < 0.0 else None
    return Lasting(replace(found, left_out=left_out, moved_from=moved_from))


@dataclass(frozen=True, eq=False)
class Reviewed:
    """What came of `review`: each outing, as values, and the same rendered."""

    outings: tuple[Review, ...]

    @cached_property
    def spare(self) -> NotNeeded:
        """What none of them needed."""
        from kitopt.field.not_needed import not_needed

        return not_needed(self.outings)

    @property
    def answer(self) -> Review:
        """The first outing."""
        return self.outings[0]

    @property
    def status(self) -> str:
        """Always "found": there is an answer."""
        return "found"

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.report.field import review_value

        return review_value(self.outings, self.spare)

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.report.field import review_text

        return review_text(self.outings, self.spare)


def review(
    log: Path, operation: Operation, inventory: Inventory, *, kit: Pieces | None = None, clock: Budget = UNLIMITED
) -> Reviewed:
    """A logged outing against its plan.

    Parameters
    ----------
    log : Path
        A CSV file with a column of times and one or more of currents, known by their words and units; a column whose
        name holds the id of a panel, battery or load is of it alone.
    kit : str, list or mapping, optional
        The kit that was there; that of `pack` without it.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    from kitopt.field.review import review as hold
    from kitopt.operation.log import read_log
    from kitopt.sky import windows_for

    _check_one_circuit(operation, inventory)
    operation, counts = _in_hand(operation, inventory, kit, clock)
    batteries = [item for name in counts if isinstance(item := inventory.by_id[name], Battery)]
    ways = {name: _WAY[kind] for name in counts if (kind := type(inventory.by_id[name])) in _WAY}
    ways |= {use.id: "out" for use in operation.loads}
    logged = read_log(log, operation.site.timezone, batteries[0].nominal_v, ways)
    return Reviewed((hold(operation, inventory, counts, logged, windows_for(operation)),))


def _check_one_circuit(operation: Operation, inventory: Inventory) -> None:
    check_against(operation, inventory)
    if operation.charge == "apart":
        text = 'found "apart"; need "together": which battery is in which bank, and how full each is, is not said.'
        raise BadInput([Fault(operation.file, None, "charge", text)])
    if len(operation.circuits) > 1:
        text = "found several circuits; need one: which battery is in which is not said."
        raise BadInput([Fault(operation.file, None, "loads.circuit", text)])


def _in_hand(
    operation: Operation, inventory: Inventory, kit: Pieces | None, clock: Budget
) -> tuple[Operation, dict[str, int]]:
    """The operation with the loads that run, and the kit in hand."""
    if kit is None:
        counts, nices = _packed(operation, inventory, clock)
        operation = operation.running(nices)
    else:
        counts = dict(pieces_of_kit(inventory, kit))
    if not any(isinstance(inventory.by_id[name], Battery) for name in counts):
        raise BadInput([Fault("--kit", None, None, "found no battery; need one at least, such as lfp-30.")])
    return operation, counts


def _packed(operation: Operation, inventory: Inventory, clock: Budget) -> tuple[dict[str, int], tuple[str, ...]]:
    """The kit that `pack` chooses and the nice loads that it runs, kept: it is asked for again and again."""
    from kitopt.choice import pack
    from kitopt.files.kept import Kept, kept
    from kitopt.sky import windows_for

    def make() -> Kept:
        found = pack(operation, inventory, windows_for(operation), budget=clock)
        if found.status != "found":
            text = f"no kit for {operation.name} is known; need the kit in hand, such as --kit lfp-30,fold-50."
            raise BadInput([Fault("--kit", None, None, text)])
        chosen = {one.id: one.count for one in found.packed if one.kind not in ("load", "extra")}
        return Kept({}, {"kit": chosen, "nices": [one.id for one in found.nices if one.runs]})

    made_by = ("sky", "operation", "inventory", "model", "engine", "choice")
    question = f"packed {replace(operation, assumed=(), warnings=())!r} {inventory.fingerprint} {inventory.folder}"
    facts = kept(question, made_by, make).facts
    return dict(facts["kit"]), tuple(facts["nices"])


def _alone(
    inventory: Inventory, state: State, at: datetime | time | None, battery: str | None, load: str | None
) -> Lasting:
    from kitopt.interface.in_field import moment_there, owned

    faults: list[Fault] = []
    for option, name, kind in (("--battery", battery, Battery), ("--load", load, Load)):
        if name is None:
            faults.append(Fault(option, None, None, "not given; need an operation, or both --battery and --load."))
            continue
        try:
            owned(inventory, name, kind, option)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    assert battery is not None
    assert load is not None
    thing = inventory.by_id[load]
    assert isinstance(thing, Load)
    # a radio listens most of the time; what has no idle state is on
    talks = bool({"hf", "vhf"} & set(thing.role))
    use = LoadUse(load, mode="on")
    if talks:
        use = LoadUse(load, mode="ssb", full_share=MODES["ssb"], transmit_share=_TRANSMIT_SHARE)
    # clocks are those of whoever asks: no place, no zone
    here = at if isinstance(at, datetime) else moment_there(at, None)
    start = here.replace(tzinfo=ZoneInfo("UTC"), second=0, microsecond=0)
    site = Site(0.0, 0.0, 0.0, ZoneInfo("UTC"), _ROOM_DEGC, _ROOM_DEGC)
    operation = Operation(
        "",
        f"{battery} and {load}",
        start,
        _LONGEST_H,
        site,
        (use,),
        need=Need(weather=NoSun(), windows=1, step_h=0.25),
        stored_days=0.0,
    )

    from kitopt.field.now import now_alone
    from kitopt.sky import windows_for

    return Lasting(now_alone(operation, inventory, {battery: 1}, state, windows_for))
