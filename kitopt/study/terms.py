"""What a study asks, as frozen values: sites, days, patterns, inventories and kits, and the plans that these make."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from pathlib import Path

from kitopt.inventory.items import Inventory
from kitopt.operation.moment import Skipped, moment_of
from kitopt.operation.plan_tables import MONTHS
from kitopt.operation.read_plans import MIDDLE
from kitopt.operation.terms import Operation, Site, WeatherFile

Kit = tuple[tuple[str, int], ...]
"""Ids with their counts, by id: loads and extras, which always go along, are not among them."""


ONE_CHANGE = "one change"
"""Asked of a plan of which no kit works."""


def kit_text(kit: Kit) -> str:
    """A kit as a study's file has it, "" for the best that can be found."""
    return ", ".join(f"{item_id}:{n}" for item_id, n in kit)


def kit_of(text: str) -> Kit:
    """The kit that `kit_text` wrote."""
    pairs = (one.rpartition(":") for one in text.split(", ") if one)
    return tuple((item_id, int(n)) for item_id, _, n in pairs)


@dataclass(frozen=True)
class Place:
    """One site of a study.

    Attributes
    ----------
    site : Site
        With no temperatures yet, and nothing that depends on how one sets up there.
    coldest_degc, warmest_degc : tuple of float or None
        From January to December; None where only a weather file tells. [°C]
    priority : float
        How much it counts beside others.
    store : str
        Which store it draws on; "" for none.
    """

    name: str
    site: Site
    coldest_degc: tuple[float, ...] | None = None
    warmest_degc: tuple[float, ...] | None = None
    priority: float = 1.0
    store: str = ""


@dataclass(frozen=True, order=True)
class When:
    """A day of the year, or of one year, on which a pattern is put."""

    month: int
    day: int
    year: int | None = None

    @property
    def label(self) -> str:
        """What it is called: a month, or a date."""
        if self.year is None:
            return MONTHS[self.month - 1].capitalize()
        return date(self.year, self.month, self.day).isoformat()


@dataclass(frozen=True)
class Store:
    """Where kits are kept, and how many of its sites may need theirs at once."""

    name: str
    at_once: int


@dataclass(frozen=True, order=True)
class Question:
    """One plan: a site, a day, a pattern and an inventory of the study, by number, and what is asked of them.

    Attributes
    ----------
    kit : tuple of (id, count)
        To be judged; the best is looked for where it is empty.
    more : str
        `ONE_CHANGE` for the change that makes it work, or the id of a piece of the catalogue that is there too.
    """

    place: int
    when: int
    pattern: int
    inventory: int
    kit: Kit = ()
    more: str = ""

    @property
    def asked(self) -> str:
        """What is asked, in a word: "" for the best kit."""
        return f"with {self.more}" if self.more and self.more != ONE_CHANGE else self.more or kit_text(self.kit)


@dataclass(frozen=True)
class Study:
    """What is asked.

    Attributes
    ----------
    patterns : tuple of Operation
        As they are written: their site, but for what is said of setting up, and their day are replaced.
    kits : tuple of Kit
        To be judged; the best is looked for where there is none.
    catalogue : Inventory or None
        What could be bought.
    standard_kits : int
        How few kits are to serve most sites; 0 where none are asked for.
    fresh : int
        Unseen windows by which chances are told.
    """

    file: str
    name: str
    places: tuple[Place, ...]
    whens: tuple[When, ...]
    patterns: tuple[Operation, ...]
    inventories: tuple[Inventory, ...]
    catalogue: Inventory | None = None
    kits: tuple[Kit, ...] = ()
    standard_kits: int = 0
    fresh: int = 1000
    stores: tuple[Store, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def asked_kits(self) -> tuple[Kit, ...]:
        """What is asked of each plan: the kits to be judged, or the empty one for the best."""
        return self.kits or ((),)

    def questions(self) -> Iterator[Question]:
        """Every plan, those together that share their weather and its luck."""
        for when in range(len(self.whens)):
            for pattern in range(len(self.patterns)):
                for place in range(len(self.places)):
                    for inventory in range(len(self.inventories)):
                        yield from (Question(place, when, pattern, inventory, kit) for kit in self.asked_kits)

    def operation(self, question: Question) -> Operation:
        """The pattern at the place and on the day; at a time that clocks there skip, as soon as they show another."""
        place, when, pattern = (
            self.places[question.place],
            self.whens[question.when],
            self.patterns[question.pattern],
        )
        coldest, warmest = (
            None if given is None else given[when.month - 1] for given in (place.coldest_degc, place.warmest_degc)
        )
        site = replace(
            place.site,
            shade=pattern.site.shade,
            cells_degc=pattern.site.cells_degc,
            coldest_degc=coldest,
            warmest_degc=warmest,
        )
        year = pattern.start.year if when.year is None else when.year
        clock = pattern.start.replace(tzinfo=None, fold=0, year=year, month=when.month, day=when.day)
        return replace(pattern, site=site, start=_moment(clock, site))

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """What each inventory is called: its folder, without the way there, as it is found where the study is read."""
        return tuple(Path(one.folder).resolve().name for one in self.inventories)

    @cached_property
    def _contents(self) -> tuple[str, ...]:
        """What each pattern is known by: all of it but its lines, and the content of a weather file."""
        found = []
        for pattern in self.patterns:
            bare = replace(pattern, file="", assumed=(), warnings=(), loads=())
            loads = tuple(replace(use, line=0) for use in pattern.loads)
            weather = pattern.need.weather
            file = ""
            if isinstance(weather, WeatherFile):
                # where it cannot be read, its plans say so
                with suppress(OSError):
                    file = hashlib.sha256(weather.path.read_bytes()).hexdigest()
                bare = replace(bare, need=replace(bare.need, weather=WeatherFile(Path("file"))))
            found.append(repr((bare, loads, file)))
        return tuple(found)

    def fingerprint(self, question: Question, program: str) -> str:
        """What an answer is known by: all that it depends on.

        Parameters
        ----------
        program : str
            What the program is known by.
        """
        operation = self.operation(question)
        inventory = self.inventories[question.inventory]
        asked = (
            program,
            self.places[question.place].name,
            self.labels[question.inventory],
            self._contents[question.pattern],
            operation.site,
            operation.start.isoformat(),
            inventory.fingerprint,
            question.asked,
            self.catalogue.fingerprint if question.more and self.catalogue is not None else "",
            self.fresh,
        )
        return hashlib.sha256(repr(asked).encode()).hexdigest()[:20]


def month_days(months: tuple[int, ...]) -> tuple[When, ...]:
    """The middles of some months."""
    return tuple(When(month, MIDDLE) for month in months)


def _moment(clock: datetime, site: Site) -> datetime:
    try:
        return moment_of(clock, site.timezone).time
    except Skipped as error:
        return error.shown
