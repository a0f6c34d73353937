"""Resistance and ampacity of copper conductors and contacts.

References
----------
.. [1] ASTM B258-02: American wire gauge diameters.
.. [2] IEC 60228: class 5 flexible copper, maximum resistance at 20 °C, and temperature factors.
.. [3] NFPA 70 (NEC) chapter 9 table 8: dc resistance at 75 °C.
.. [4] ABYC E-11: ampacity of free conductors with 105 °C insulation, and of bundles.
.. [5] IACS: annealed copper, 17.241 Ω·mm²/km at 20 °C, 0.00393/K.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from operator import itemgetter

from kitopt.inventory.families import UNKNOWN_CONTACT_OHM, family_of
from kitopt.inventory.items import Lead

COPPER_OHM_MM2_PER_KM = 17.241
LAY = 1.02
"""Strands run longer than the cable: 2 %."""
COPPER_PER_DEGC = 0.00393
LEAD_DEGC = 40.0
"""A lead in the sun, unless stated."""

CLASS_5_OHM_PER_KM: Mapping[float, float] = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
}
"""IEC 60228 class 5, plain copper, 20 °C; 0.5 and 16 mm² from memory."""

MARINE_AMPACITY: tuple[tuple[float, float], ...] = (
    (0.823, 20.0),
    (1.309, 25.0),
    (2.081, 35.0),
    (3.309, 45.0),
    (5.261, 60.0),
    (8.367, 80.0),
)
"""Area against current of single free conductors, 18 to 8 AWG with 105 °C insulation: ABYC E-11 style,
second-hand. [mm², A]"""
BUNDLE_SHARE = 0.7
"""Two or three conductors side by side, as a twin lead is: ABYC E-11, from memory."""


@lru_cache(maxsize=256)
def ohm_per_m(area_mm2: float, degc: float = LEAD_DEGC) -> float:
    """Resistance of one stranded copper conductor. [Ω m⁻¹]

    A nominal area of IEC 60228 has that standard's class 5 resistance; any other is computed
    from the resistivity of annealed copper and the lay.
    """
    at_20 = next(
        (ohm for area, ohm in CLASS_5_OHM_PER_KM.items() if math.isclose(area, area_mm2, rel_tol=1e-3)),
        COPPER_OHM_MM2_PER_KM * LAY / area_mm2,
    )
    return at_20 / 1000.0 * (1.0 + COPPER_PER_DEGC * (degc - 20.0))


def loop_ohm(lead: Lead, degc: float = LEAD_DEGC) -> float:
    """Resistance of both conductors of a lead, without its contacts: as it was read, or by its copper. [Ω]"""
    if lead.read_ohm is not None:
        return lead.read_ohm
    return 2.0 * lead.length_m * ohm_per_m(lead.area_mm2, degc)


@dataclass(frozen=True)
class Contacts:
    """Resistance and rating of connector families, the owner's own values first.

    Attributes
    ----------
    ohm, max_a : mapping of family
        Values of the owner. [Ω], [A]
    """

    ohm: Mapping[str, float] = field(default_factory=dict)
    max_a: Mapping[str, float] = field(default_factory=dict)

    def pair_ohm(self, family: str) -> float:
        """Resistance of a mated pair, both poles. [Ω]"""
        if family in self.ohm:
            return self.ohm[family]
        known = family_of(family)
        return UNKNOWN_CONTACT_OHM if known is None else known.contact_ohm

    def rated_a(self, family: str) -> float:
        """Most current of a family; infinity when nothing is known. [A]"""
        if family in self.max_a:
            return self.max_a[family]
        known = family_of(family)
        return math.inf if known is None or known.max_a is None else known.max_a


def ampacity_a(lead: Lead) -> float:
    """Current that a short free lead may carry: its rating, or the marine table's for its area in a bundle. [A]

    Building wire in walls carries less (NEC 240.4(D)); local codes come first.
    """
    if lead.max_a is not None:
        return lead.max_a
    # a share of the smallest below it; in between, the next smaller size counts
    place = bisect_right(MARINE_AMPACITY, lead.area_mm2 * 1.005, key=itemgetter(0)) - 1
    area_mm2, amps = MARINE_AMPACITY[max(0, place)]
    return round(BUNDLE_SHARE * (amps if place >= 0 else amps * lead.area_mm2 / area_mm2), 6)
