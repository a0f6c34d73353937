"""From the state now and the kit in hand: the chance to last, what one change brings, and when to change."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from kitopt.ask.change import Change, Question
from kitopt.ask.used_otherwise import by_energy, half_the_hours, less_power, quiet, smaller_radio
from kitopt.choice.in_hand import of_wired, wired
from kitopt.choice.lasts import lasts_h
from kitopt.choice.terms import Choice, Floats
from kitopt.engine import Case
from kitopt.engine.judge import simulate
from kitopt.errors import BadInput, Fault
from kitopt.field.tripwires import Course, Followed, Heeding, limits_of
from kitopt.inventory.items import Battery, Inventory, Panel
from kitopt.model.case import case_under, missing_wh
from kitopt.model.kit import Join, KitModel
from kitopt.operation.clock import hours_to, moment_after, steps_of
from kitopt.operation.terms import Climate, NoSun, Operation, Shares, Weather
from kitopt.second_opinion.cells import CELLS, CHARGES
from kitopt.sky.overhead import Overhead, day_share
from kitopt.sky.windows import Sky, SkyOf, is_under_one_sky

VOLTS_SPREAD_V = 0.05
"""What a meter, the hours since the last current and the cells' make may be off by. From memory. [V]"""
_EVERY_H = (1 / 12, 0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48)
_MOST_WIRES = 12
_NOTHING_WH = 0.01
_LEAST_GAIN_H, _LEAST_GAIN_SHARE = 0.25, 0.05
"""What is less helps nobody."""

Told = Literal["used", "charge", "volts"]


@dataclass(frozen=True)
class State:
    """What is told of the batteries.

    Attributes
    ----------
    told : {"used", "charge", "volts"}
        Ampere-hours out since the operation's start, less those in [Ah]; the share of full charge that a gauge
        shows [0–1]; or the volts of a battery that has rested [V].
    """

    told: Told
    value: float


@dataclass(frozen=True)
class Charge:
    """What is in the batteries above what they never give, as shares of what they may give, and how much that is."""

    low_share: float
    high_share: float
    usable_ah: float
    used_ah: float
    """Out since they were as full as the operation says, at the most. [Ah]"""


@dataclass(frozen=True)
class Way:
    """What one change brings: the chance to last, and until when it lasts at the operation's confidence. [h]"""

    change: Change
    chance: float
    lasts_h: float
    gained_h: float
    works: bool


@dataclass(frozen=True)
class Wire:
    """A time, and what should have been used by then at the most, counted since the start where that was told,
    else from now on. [Ah]"""

    time: datetime
    used_at_most_ah: float
    charge_at_least_ah: float


@dataclass(frozen=True, eq=False)
class Heeded:
    """What wires hang on: the kit, the steps at whose start they are, and the least charge at each. [Wh]"""

    hand: Hand
    steps: tuple[int, ...]
    limits_wh: Floats

    def under(self, action: Sequence[Change], sky_of: SkyOf) -> Followed:
        """What comes of heeding them in other spells of weather."""
        return Heeding(self.hand.course(action, sky_of), self.steps).follow(self.limits_wh)


@dataclass(frozen=True)
class Now:
    """The answer.

    Attributes
    ----------
    operation : Operation
        What is left of it.
    kit : mapping of item id to int
        What is used of the kit in hand.
    lasts_h : float
        Hours from now until the reserve, in all but as many spells as the confidence allows; infinite to the end.
    ways : tuple of Way
        Where it falls short, the least painful first.
    wires : tuple of Wire
    action : tuple of Change
        What to do when a wire is tripped, all of it.
    followed : Followed
        What comes of heeding the wires, over the spells that they were set by.
    """

    operation: Operation
    inventory: Inventory
    state: State
    charge: Charge
    kit: Mapping[str, int]
    n_windows: int
    chance: float
    lasts_h: float
    ways: tuple[Way, ...]
    wires: tuple[Wire, ...]
    action: tuple[Change, ...]
    followed: Followed
    heeded: Heeded = field(repr=False, compare=False)
    left_out: Mapping[str, int] = field(default_factory=dict)
    """Of the kit in hand, what does not go with the rest, and is not counted on."""
    reserve_ah: float = 0.0
    """Held back, as the operation asks. [Ah]"""
    cold_ah: float = 0.0
    """What the cells do not give while they are coldest, in all but as many spells as the confidence allows. [Ah]"""
    has_plan: bool = True
    """Whether there is an operation to last for; without, there is no sun, and the wires hold for as long as it
    lasts."""
    moved_from: datetime | None = None
    """The moment that was asked about where it is before the operation's start, from which it was judged instead."""

    @property
    def is_enough(self) -> bool:
        """Whether it lasts as surely as the operation asks."""
        return math.isinf(self.lasts_h)

    @property
    def reserve_at(self) -> datetime | None:
        """When the reserve may be reached; None where it lasts."""
        return None if self.is_enough else moment_in(self.operation, self.lasts_h)


def moment_in(operation: Operation, hours: float) -> datetime:
    """So many hours after the start, on the clock of the place."""
    return moment_after(operation, timedelta(seconds=round(hours * 3600)))


def rest_of(operation: Operation, at: datetime, sky: Overhead | None = None) -> Operation:
    """What is left of an operation from the step in which a moment lies; all of it before its start.

    Parameters
    ----------
    sky : str, optional
        Today's, one of `SKIES`, in place of what the operation foresees.

    Raises
    ------
    BadInput
        Where nothing is left of it, or its weather leaves no room for a sky.
    """
    now_h = max(0.0, hours_to(operation, at))
    passed_h = math.floor(now_h / operation.need.step_h + 1e-9) * operation.need.step_h
    hours = operation.hours - passed_h
    if hours <= 1e-9 or now_h >= operation.hours:
        ends = moment_in(operation, operation.hours)
        text = f"found {at:%Y-%m-%d %H:%M}, but {operation.name} ends at {ends:%Y-%m-%d %H:%M}; need a time before."
        raise BadInput([Fault("--at", None, None, text)])
    start = moment_in(operation, passed_h)
    days = (start.date() - operation.start.astimezone(operation.site.timezone).date()).days
    # four clock times need as many steps
    step_h = next((one for one in (operation.need.step_h, 0.25, 1 / 12) if hours / one >= 6), 1 / 12)
    weather = _from_day(operation.need.weather, days)
    if sky is not None:
        weather = _under(weather, day_share(sky))
    need = replace(operation.need, weather=weather, step_h=min(step_h, operation.need.step_h))
    return replace(operation, start=start, hours=hours, need=need, stored_days=0.0)


def _from_day(weather: Weather, days: int) -> Weather:
    """Forecasts and daily shares from a later day on."""
    if isinstance(weather, Climate):
        return Climate(weather.forecast[days:])
    if isinstance(weather, Shares):
        return Shares(weather.shares[days:] or weather.shares[-1:])
    return weather


def _under(weather: Weather, share: float) -> Weather:
    if isinstance(weather, Climate):
        return Climate((share, *weather.forecast[1:]))
    if isinstance(weather, Shares):
        return Shares((share, *(weather.shares[1:] or weather.shares)))
    what = "no sun at all" if isinstance(weather, NoSun) else "a weather file"
    raise BadInput([Fault("--sky", None, None, f"found beside {what}; need weather from the climate, or no --sky.")])


def charge_of(state: State, batteries: Sequence[tuple[Battery, int]], operation: Operation) -> Charge:
    """What is in the batteries by what is told of them.

    Parameters
    ----------
    operation : Operation
        The whole of it, which says how full they were at its start.

    Raises
    ------
    BadInput
        Where they cannot hold, or show, that.
    """
    full_ah = sum(n * one.measured_ah for one, n in batteries)
    usable_wh = sum(n * one.usable_wh for one, n in batteries)
    volts = batteries[0][0].nominal_v
    usable_ah = usable_wh / volts
    at_start_ah = (usable_wh - sum(n * missing_wh(one, operation) for one, n in batteries)) / volts
    if state.told == "used":
        if state.value > full_ah:
            text = f"found {state.value:g} Ah, but the batteries hold {full_ah:.3g} Ah; need no more than that."
            raise BadInput([Fault("--used", None, None, text)])
        left = min(max(at_start_ah - state.value, 0.0), usable_ah) / usable_ah
        return Charge(left, left, usable_ah, state.value)
    if state.told == "charge":
        low = high = state.value
    else:
        low, high = _by_volts(state.value, batteries[0][0])
    # a gauge counts from truly empty, and what is below the allowed depth is not counted on
    kept = 1.0 - usable_ah / full_ah
    low, high = (min(max((share - kept) / (1.0 - kept), 0.0), 1.0) for share in (low, high))
    return Charge(low, high, usable_ah, at_start_ah - low * usable_ah)


def _by_volts(volts: float, battery: Battery) -> tuple[float, float]:
    """The shares of full charge at which a rested battery may show some volts."""
    cells = CELLS[battery.chemistry]
    scale = battery.nominal_v / cells.nominal_v
    least_v, most_v = 0.8 * cells.rest_v[0] * scale, cells.fed_v[-1] * scale
    if not least_v <= volts <= most_v:
        text = (
            f"found {volts:g} V, need the volts of a rested {battery.chemistry} battery of {battery.nominal_v:g} V, "
            f"{cells.rest_v[0] * scale:.1f} to {cells.rest_v[-1] * scale:.1f}."
        )
        raise BadInput([Fault("--volts", None, None, text)])
    low, high = np.interp([volts / scale - VOLTS_SPREAD_V, volts / scale + VOLTS_SPREAD_V], cells.rest_v, CHARGES)
    return float(low), float(high)


def now(
    whole: Operation,
    rest: Operation,
    inventory: Inventory,
    kit: Mapping[str, int],
    state: State,
    sky_of: SkyOf,
) -> Now:
    """Judge the rest of an operation with the kit in hand.

    Parameters
    ----------
    whole, rest : Operation
        With the loads that run; `rest` as `rest_of` gives it.
    kit : mapping of item id to int
        The kit in hand.
    sky_of : callable
        Gives the weather of what is asked.

    Raises
    ------
    BadInput
        Where nothing of the kit fits together, or the state cannot be.
    """
    return now_with(*wired(rest, inventory, sky_of(rest), kit), whole, rest, state, sky_of)


def now_with(model: KitModel, counts: Floats, whole: Operation, rest: Operation, state: State, sky_of: SkyOf) -> Now:
    """The same with a kit that is known as counts of a model.

    Raises
    ------
    BadInput
        Where the state cannot be.
    """
    inventory = model.inventory
    batteries = model.batteries_of(counts)
    charge = charge_of(state, batteries, whole)
    rest = replace(rest, need=replace(rest.need, start_charge_share=charge.low_share))
    hand = Hand(replace(model, operation=rest), counts, sky_of)
    base = hand.case(rest)
    chance, lasts = _fares(base, counts)
    is_short = math.isfinite(lasts)
    changes = [
        *hand.helps(batteries, charge, state.told, with_sky=is_short),
        *changes_of_loads(Question(rest, inventory)),
    ]
    judged = [(change, hand.case(change.operation(rest))) for change in changes]
    ways = []
    for change, case in judged if is_short else ():
        new_chance, new_lasts = _fares(case, counts)
        gained_h = min(new_lasts, rest.hours) - lasts
        if gained_h >= _LEAST_GAIN_H or new_chance >= chance + _LEAST_GAIN_SHARE:
            ways.append(Way(change, new_chance, new_lasts, gained_h, math.isinf(new_lasts)))
    action = hand.strongest([one for one in judged if one[0].family not in ("aim", "charge")])
    steps = wire_steps(rest)
    limits_wh, followed = limits_of(hand.course(action, sky_of), steps)
    return Now(
        rest,
        inventory,
        state,
        charge,
        {one.id: n for one, n in batteries} | hand.others(),
        base.conditions.n_windows,
        chance,
        lasts,
        tuple(ways),
        _wires(rest, steps, limits_wh, charge, state.told, batteries[0][0].nominal_v),
        action,
        followed,
        Heeded(hand, tuple(steps), limits_wh),
        reserve_ah=rest.need.reserve_share * charge.usable_ah + rest.need.reserve_wh / batteries[0][0].nominal_v,
        cold_ah=_cold_share(base, float(rest.need.confidence)) * charge.usable_ah,
    )


def _cold_share(case: Case, confidence: float) -> float:
    """Of what may be used, what the coldest hour locks away."""
    return float(np.quantile(1.0 - case.conditions.capacity_share.min(axis=1), confidence))


def now_alone(rest: Operation, inventory: Inventory, kit: Mapping[str, int], state: State, sky_of: SkyOf) -> Now:
    """The same for batteries and loads without a plan, and without sun: until when they last, and wires till then."""
    found = now(rest, rest, inventory, kit, state, sky_of)
    if not found.is_enough:
        steps = max(1, math.floor(found.lasts_h / rest.need.step_h))
        till = replace(rest, hours=steps * rest.need.step_h)
        if found.lasts_h > 0.0:
            short = now(till, till, inventory, kit, state, sky_of)
            found = replace(found, wires=short.wires, action=short.action, followed=short.followed, heeded=short.heeded)
        else:
            found = replace(found, wires=())
    return replace(found, has_plan=False)


def _fares(case: Case, counts: Floats) -> tuple[float, float]:
    """The share of spells that are survived, and how long it lasts."""
    survives = simulate(case.conditions, case.plant(counts)).survives
    return float(np.mean(survives)), lasts_h(case, counts)


class Hand:
    """A kit in hand: cases of it under changes of the operation."""

    def __init__(self, model: KitModel, counts: Floats, sky_of: SkyOf) -> None:
        self.model, self.counts, self._sky_of = model, counts, sky_of
        self._skies: list[tuple[Operation, Sky]] = []
        self._cases: dict[Operation, Case] = {}

    def case(self, operation: Operation) -> Case:
        """The case of an operation; asked for again and again while the changes are weighed."""
        if operation not in self._cases:
            model = replace(self.model, operation=operation)
            self._cases[operation] = case_under(model, self._sky(operation), counts=self.counts)
        return self._cases[operation]

    def _sky(self, operation: Operation) -> Sky:
        """Its weather, which is the same whatever the loads are."""
        for known, sky in self._skies:
            if is_under_one_sky(known, operation):
                return sky
        self._skies.append((operation, self._sky_of(operation)))
        return self._skies[-1][1]

    def measured(self) -> Choice:
        """The kit as a choice of which nothing is proved, for the rest of the operation."""
        return of_wired(self.model, self.counts, self._sky(self.model.operation))

    def strongest(self, judged: Sequence[tuple[Change, Case]]) -> tuple[Change, ...]:
        """The change of loads that saves most, with all that is nice off besides; without any, the heaviest off."""

        def saves_wh(one: tuple[Change, Case]) -> float:
            return self._median_wh(one[1]) - as_it_is_wh

        rest = self.model.operation
        as_it_is_wh = self._median_wh(self.case(rest))
        off = sorted((one for one, _ in judged if one.family == "load off"), key=lambda one: -one.place)
        gone = {one.place for one in off}
        others = [one for one in judged if one[0].place not in gone and saves_wh(one) > _NOTHING_WH]
        # the last of the loads goes first, so that the places of the others stay
        if others:
            return (max(others, key=saves_wh)[0], *off)
        heaviest = by_energy(Question(rest, self.model.inventory))[0]
        return tuple(off) or (Change("load off", rest.loads[heaviest].id, "", heaviest),)

    def _median_wh(self, case: Case) -> float:
        return float(np.median(simulate(case.conditions, case.plant(self.counts)).margin_wh))

    def course(self, action: Sequence[Change], sky_of: SkyOf) -> Course:
        """The kit's course under a sky, with its loads as they are and with some changes."""
        rest = changed = self.model.operation
        for change in action:
            changed = change.operation(changed)
        other = self if sky_of is self._sky_of else Hand(self.model, self.counts, sky_of)
        return Course(other.case(rest), other.case(changed), self.counts)

    def panels(self) -> list[tuple[Panel, int]]:
        """Panels that are used."""
        joins = [(self.model.columns[j].meaning, round(self.counts[j])) for j in self.model.join_columns]
        return [(one.panel, n * one.n_joined) for one, n in joins if isinstance(one, Join) and n > 0]

    def others(self) -> dict[str, int]:
        """Panels and controllers that are used, by id."""
        found: dict[str, int] = {}
        for panel, n in self.panels():
            found[panel.id] = found.get(panel.id, 0) + n
        for u, j in enumerate(self.model.unit_columns):
            if round(self.counts[j]) > 0:
                one = self.model.units[u].controller.id
                found[one] = found.get(one, 0) + round(self.counts[j])
        return found

    def helps(
        self, batteries: Sequence[tuple[Battery, int]], charge: Charge, told: Told, *, with_sky: bool
    ) -> Iterator[Change]:
        """What asks nothing of the loads: panels turned to the sun, and another battery on."""
        rest = self.model.operation
        can_aim = rest.aim.mode != "re-aimed" and any(panel.tilts for panel, _ in self.panels())
        if with_sky and can_aim and not isinstance(rest.need.weather, NoSun):
            yield Change("aim", value="re-aimed")
        ones = sorted(one.usable_wh for one, n in batteries for _ in range(n))
        if rest.batteries == "in turn" and len(ones) > 1 and told == "volts" and charge.low_share < 1.0:
            # the volts are those of the battery that is on; the others may be full
            full_wh = sum(ones) - ones[-1]
            yield Change("charge", value=(charge.low_share * ones[-1] + full_wh) / sum(ones))


def changes_of_loads(asked: Question) -> Iterator[Change]:
    """Loads used otherwise, the least painful first."""
    loads = asked.operation.loads
    yield from (
        *(Change("load off", use.id, "", i) for i, use in reversed([*enumerate(loads)]) if use.priority == "nice"),
        *less_power(asked),
        *quiet(asked),
        *half_the_hours(asked),
        *smaller_radio(asked),
    )


def wire_steps(rest: Operation) -> list[int]:
    """Steps at whose start a wire is: full hours of the clock, or parts of one; a dozen at most, or every other day."""
    edges_h = steps_of(rest).edges_s / 3600
    clock_h = [_clock_h(rest, float(edge)) for edge in edges_h]
    for every_h in _EVERY_H:
        cells = [math.floor(one / every_h + 1e-6) for one in clock_h]
        steps = [i for i in range(1, len(edges_h) - 1) if cells[i] != cells[i - 1]]
        if len(steps) <= _MOST_WIRES:
            return steps or [max(1, len(edges_h) // 2)]
    return steps


def _clock_h(rest: Operation, later_h: float) -> float:
    """Hours by the clock of the place since the midnight before the start; a clock that is set goes on evenly."""
    local = rest.start.astimezone(rest.site.timezone)
    return local.hour + local.minute / 60 + local.second / 3600 + later_h


def _wires(
    rest: Operation, steps: Sequence[int], limits_wh: Floats, charge: Charge, told: Told, nominal_v: float
) -> tuple[Wire, ...]:
    edges_h = steps_of(rest).edges_s / 3600
    # a count that was not told begins now
    before_ah = charge.used_ah if told == "used" else 0.0
    held_ah = before_ah + charge.low_share * charge.usable_ah
    found = []
    for step, limit_wh in zip(steps, limits_wh, strict=True):
        least_ah = float(limit_wh) / nominal_v
        found.append(Wire(moment_in(rest, float(edges_h[step])), held_ah - least_ah, least_ah))
    return tuple(found)
