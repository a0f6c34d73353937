"""Resistance and ampacity of copper conductors and contacts.

References
----------
.. [1] ASTM B258-02: American wire gauge diameters.
.. [2] IEC 60228: class 5 flexible copper, maximum resistance at 20 °C, and temperature factors.
.. [3] NFPA 70 (NEC) chapter 9 table 8: dc resistance at 75 °C; 240.4(D): small conductors.
.. [4] IACS: annealed copper, 17.241 Ω·mm²/km at 20 °C, 0.00393/K.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

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

UNRATED_AMPACITY: tuple[tuple[float, float], ...] = (
    (0.326, 2.0),
    (0.518, 4.0),
    (0.823, 7.0),
    (1.309, 10.0),
    (2.081, 15.0),
    (3.309, 20.0),
    (5.261, 30.0),
    (8.367, 40.0),
    (13.30, 55.0),
)
"""Area against current for a lead whose owner gives no rating. 18 to 10 AWG as the overcurrent limits of
NEC 240.4(D), the rest in proportion; from memory, on the cautious side. [mm², A]"""

CONTACT_OHM: Mapping[str, float] = {
    "genderless": 0.002,
    "barrel": 0.015,
    "pv": 0.002,
    "ring": 0.001,
    "faston": 0.003,
    "cigar": 0.020,
    "usb": 0.030,
}
"""A mated pair, both poles, by the first word of the family; common ranges, no source. [Ω]"""
UNKNOWN_CONTACT_OHM = 0.010

CONTACT_A: Mapping[str, float] = {"barrel": 5.0, "usb": 5.0, "cigar": 10.0, "genderless": 30.0}
"""Most current of a family where the owner gives no rating; common practice, no source. [A]"""


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
    """Resistance of both conductors of a lead, without its contacts. [Ω]"""
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
        return CONTACT_OHM.get(family.split("-")[0], UNKNOWN_CONTACT_OHM)

    def rated_a(self, family: str) -> float:
        """Most current of a family; infinity when nothing is known. [A]"""
        if family in self.max_a:
            return self.max_a[family]
        return CONTACT_A.get(family.split("-")[0], math.inf)


def ampacity_a(lead: Lead) -> float:
    """Current that a lead may carry: its rating, or a cautious one for its area. [A]"""
    if lead.max_a is not None:
        return lead.max_a
    areas, amps = zip(*UNRATED_AMPACITY, strict=True)
    if lead.area_mm2 > areas[-1]:
        return float(amps[-1])
    # a share of the smallest below it; in between, the next smaller size counts
    if lead.area_mm2 < areas[0]:
        return float(amps[0] * lead.area_mm2 / areas[0])
    place = int(np.searchsorted(areas, lead.area_mm2 * 1.005, side="right")) - 1
    return float(amps[place])
