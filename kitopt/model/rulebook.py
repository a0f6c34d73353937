"""Every rule by its identifier: how grave it is, what it says, and where it comes from.

Blocks and cautions carry these identifiers; nothing may carry another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = Literal["block", "warn", "ask"]

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True)
class Rule:
    """One rule.

    Attributes
    ----------
    levels : tuple of {"block", "warn", "ask"}
        "block" is never chosen; "warn" is to be heeded; "ask" means that something has to be looked up. A rule
        that blocks what breaks it may ask where it cannot tell.
    sentence : str
        The rule in general; a message puts the owner's numbers in.
    source : str
        A standard, or that it is common practice without a source.
    """

    levels: tuple[Level, ...]
    sentence: str
    source: str


RULES: dict[str, Rule] = {
    # panels and controllers
    "cold-voc": Rule(
        ("block", "ask"),
        "A panel's open-circuit voltage in the coldest air stays within the controller's limit.",
        "NEC 690.7(A); its factors for an unknown coefficient from memory",
    ),
    "panel-volts": Rule(
        ("block",),
        "In some step of sun a panel stands above the voltage at which the battery is charged, or is stepped up.",
        "charging voltages from memory",
    ),
    "lead-drop": Rule(
        ("block",), "A controller's lead to the station drops no more than 3 % at its full current.", "after ABYC E-11"
    ),
    "pv-current": Rule(("block",), "Panels give no more current than the controller takes.", "the controller's data"),
    "pv-power": Rule(("block",), "Panels give no more power than the controller takes.", "the controller's data"),
    "panel-match": Rule(("block",), "Panels on one controller match within 10 % in voltage.", NO_SOURCE),
    "panel-input": Rule(("block",), "A controller has one panel input; joiners make more.", NO_SOURCE),
    "pv-fuse": Rule(
        ("block",),
        "A fuse in a panel lead is at least 1.56 times Isc and no more than the wire takes.",
        "NEC 690.8 and 690.9",
    ),
    "parallel-panels": Rule(("warn",), "Three or more panels in parallel have a fuse each.", "NEC 690.9, from memory"),
    "clipped": Rule(("warn",), "What panels give beyond a controller's limit is lost.", "arithmetic"),
    # batteries
    "bus-class": Rule(("block",), "A kit never mixes chemistries or voltages on one bus.", NO_SOURCE),
    "chemistry": Rule(("block", "ask"), "A controller has a profile for the battery's chemistry.", NO_SOURCE),
    "charge-limit": Rule(
        ("block",), "Controllers deliver no more than the battery may be charged with.", "the battery's data"
    ),
    "discharge-limit": Rule(
        ("block",), "The loads' peak stays within what the battery may give.", "the battery's data"
    ),
    "cold-cells": Rule(
        ("warn",),
        "Cells colder than their lowest charging temperature are not charged, and no charge is counted.",
        "cell specifications: LiFePO4 from 0 °C up",
    ),
    "own-battery": Rule(
        ("block",),
        "A load that lives on its own battery, charged at a panel's socket, gets through every spell looked at.",
        "what a device's battery gives out of what it takes in: common practice, no source",
    ),
    "banks": Rule(("block",), "Banks that charge apart hold the same batteries, as many of each.", NO_SOURCE),
    "swaps": Rule(("warn",), "Batteries in turn are swapped in time.", NO_SOURCE),
    "parallel": Rule(("warn",), "Batteries are joined in parallel only full, rested, alike and fused.", NO_SOURCE),
    "backup": Rule(
        ("block",), "With any one backed-up unit dead the loads that must run stay up.", "the operation's backups"
    ),
    # leads
    "no-lead": Rule(
        ("block",), "Everything is joined by at most three leads that are owned and long enough.", NO_SOURCE
    ),
    "ampacity": Rule(
        ("block",),
        "Leads, connectors and strips carry the current; a round plug or USB 5 A, a car socket 10 A.",
        "the lead's data, else ABYC E-11 in a bundle, second-hand; panels 1.56 times Isc, NEC 690.8; connectors: "
        "common practice, no source",
    ),
    "fuse-size": Rule(
        ("block",),
        "A fuse is at least 125 % of a continuous load, 110 % of a peak of speech or Morse, and no more than the "
        "wire takes.",
        "NEC; 110 % is common practice, no source",
    ),
    "breaking": Rule(("ask",), "A fuse breaks what the battery gives into a short.", "ISO 8820, from memory"),
    "panel-ends": Rule(
        ("warn",), "Panel volts never meet the station: ends that would fit there are marked.", NO_SOURCE
    ),
    "battery-fuse": Rule(("block",), "A fuse sits within 18 cm of battery plus.", "after ABYC E-11, from memory"),
    "strip": Rule(("block",), "More than two things meet only at a strip or joiner.", NO_SOURCE),
    "direct": Rule(
        ("block",),
        "No panel feeds a load without a controller, and no load hangs on a controller's load terminals: "
        "there is no such join to choose.",
        NO_SOURCE,
    ),
    "voltage": Rule(
        ("block",),
        "A load meets its own voltage, else ± 15 % of its supply, with the battery full too; or a converter.",
        "common transceiver specification, 13.8 V ± 15 %",
    ),
    "radio-voltage": Rule(
        ("warn",), "At key-down with the battery low a load still has its lowest voltage.", NO_SOURCE
    ),
    "branch-fuse": Rule(
        ("block", "ask"), "A lead carries what the fuse before it lets through in an overload.", "NEC 240.4"
    ),
    "unrated-lead": Rule(("warn",), "A lead's rating is known.", NO_SOURCE),
    "leads": Rule(
        ("warn", "ask"), "Leads and the station's connector are written down, so that they can be checked.", NO_SOURCE
    ),
    "unchecked-fuse": Rule(("warn",), "A battery without a fuse of its own gets one.", "after ABYC E-11, from memory"),
    # noise, air, files
    "radio-noise": Rule(("warn", "ask"), "A controller does not disturb the receiver.", NO_SOURCE),
    "air-travel": Rule(
        ("block", "warn", "ask"),
        "By air: lithium to 160 Wh, two of them above 100 Wh and approved, in the cabin; "
        "spill-proof lead-acid two of at most 100 Wh.",
        "public aviation-security guidance; above 160 Wh and lead-acid from memory",
    ),
    "mass-limit": Rule(("block",), "The kit weighs no more than the operation allows.", "the operation"),
    "assumed-limit": Rule(("ask",), "Limits are known from labels, not assumed.", NO_SOURCE),
    "asked": Rule(("block",), "What is to stay at home is not packed.", "who asks"),
    "prices": Rule(("ask",), "Prices are known where price decides.", NO_SOURCE),
    "sky": Rule(("warn",), "What the weather data are worth is said.", "the weather's source"),
    "file": Rule(("ask",), "What looks mistaken in the files is looked up.", "the files"),
    "usual": Rule(
        ("ask",),
        "Quantities and ratios lie in what is usual for such a thing.",
        "the table of ranges, each with its own",
    ),
    "no-rule-failed": Rule(("warn",), "No rule failed is no promise.", NO_SOURCE),
}
"""By identifier. Nothing is ever called safe; local codes and licensed practice come first."""
