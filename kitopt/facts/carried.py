"""All that is carried of one kit that is wired together: made once, told by page, sheet and pictures."""

from __future__ import annotations

from dataclasses import dataclass

from kitopt.choice import Choice
from kitopt.facts.amperes import amperes_by_hour
from kitopt.facts.chances import Chances, chances, from_the_start
from kitopt.facts.charge import ChargeOverTime, charge_over_time
from kitopt.facts.joins import JoinToMake, joins_to_make
from kitopt.facts.power import PowerByHour, power_by_hour
from kitopt.facts.spells import Spells, spells
from kitopt.facts.two_minutes import TestDue, tests_due
from kitopt.field.now import Now
from kitopt.field.outlook import ByHour


@dataclass(frozen=True, eq=False)
class Carried:
    """One kit, or one circuit of it; each fact is what its module says."""

    choice: Choice
    charge: ChargeOverTime
    power: PowerByHour
    amperes: ByHour
    chances: Chances
    now: Now
    spells: Spells
    joins: tuple[JoinToMake, ...]
    tests: tuple[TestDue, ...]

    @property
    def volts(self) -> float:
        """At which its ampere-hours are counted. [V]"""
        assert self.choice.made is not None
        return self.choice.made.model.bus.nominal_v


def carried(choice: Choice) -> tuple[Carried, ...]:
    """Of each circuit, and each bank of it, of a choice that has a kit; empty without one."""
    return tuple(_of_one(part) for part in choice.stores if part.made is not None and part.packed)


def _of_one(part: Choice) -> Carried:
    amperes = amperes_by_hour(part)
    return Carried(
        part,
        charge_over_time(part),
        power_by_hour(part),
        amperes,
        chances(part),
        from_the_start(part),
        spells(part),
        joins_to_make(part),
        tests_due(part, amperes),
    )
