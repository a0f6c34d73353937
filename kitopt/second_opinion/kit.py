"""A kit in plain terms: items, how many, and the ohms between them."""

from __future__ import annotations

from dataclasses import dataclass

from kitopt.inventory.items import Battery, Controller, Converter, Load, Panel
from kitopt.operation.terms import LoadUse


@dataclass(frozen=True)
class Feed:
    """Identical panels that share one lead to a controller.

    Attributes
    ----------
    n_joined : int
        Panels in parallel on the lead.
    count : int
        Such leads on the same controller.
    ohm : float
        Both conductors and every contact. [Ω]
    """

    panel: Panel
    n_joined: int
    count: int
    ohm: float


@dataclass(frozen=True)
class Circuit:
    """One controller unit, what feeds it, and the lead from it to the station. [Ω]"""

    controller: Controller
    feeds: tuple[Feed, ...]
    ohm: float


@dataclass(frozen=True)
class Fed:
    """Some alike of one load, each by a chain of its own.

    Attributes
    ----------
    ohm : float
        From the station to the load; where a converter stands between, to the converter. [Ω]
    after_ohm : float
        From the converter to the load. [Ω]
    """

    use: LoadUse
    load: Load
    count: int
    ohm: float
    converter: Converter | None = None
    after_ohm: float = 0.0


@dataclass(frozen=True)
class PlainKit:
    """What is packed and how it hangs together.

    Attributes
    ----------
    batteries : tuple of (Battery, count, ohm)
        The ohms are those of one battery's chain to the station. [Ω]
    strip_ohm : float
        All strips and joiners between battery and loads, one after another. [Ω]
    """

    batteries: tuple[tuple[Battery, int, float], ...]
    circuits: tuple[Circuit, ...]
    loads: tuple[Fed, ...]
    strip_ohm: float = 0.0
