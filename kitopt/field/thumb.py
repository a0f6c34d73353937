"""The trade's rules of thumb on the two-minute test, as something to be better than."""

from __future__ import annotations

from collections.abc import Mapping

from kitopt.field.set_up import SetUp

FULL_V = 14.2
"""A 12.8 V battery at this takes less and less. [V]"""


def by_thumb(set_up: SetUp, readings: Mapping[str, float], usual: Mapping[str, float]) -> tuple[str, ...]:
    """Causes in the order in which the rules name them.

    Isc low and Voc normal: sun, aim, dirt, shade. Voc low by a third or a half: a section. Isc good, charge low,
    battery below 14 V: controller, lead, connector, or a shaded fold. Isc good and 14.2 V or more: full. Zero:
    polarity, fuse, a sleeping or cold battery. Common practice, no source.

    Parameters
    ----------
    readings : mapping
        Of cover, amps, volts, isc and voc.
    usual : mapping
        What is expected of amps, isc and voc.
    """
    scale = set_up.charging_v / 13.4
    amps, volts = readings["amps"], readings["volts"] / scale
    isc, voc = readings["isc"] / usual["isc"], readings["voc"] / usual["voc"]
    if voc < 0.0:
        return ("polarity", "nothing")
    if abs(readings["cover"]) >= 0.1:
        return ("meter-zero", "normal")
    if amps <= 0.05:
        return ("full", "cold") if volts >= FULL_V else ("nothing", "cold")
    if voc < 0.8:
        return ("open-section", "shade")
    if isc < 0.85:
        return ("haze", "aim", "dirt", "shade")
    if amps < 0.85 * usual["amps"]:
        return ("full", "limit") if volts >= FULL_V else ("limit", "lead", "connector", "shade")
    return ("normal", "haze")
