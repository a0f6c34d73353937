"""Causes and readings in words."""

from __future__ import annotations

from datetime import datetime

from kitopt.field.measures import BY_ID
from kitopt.report.words import moment, wrapped

WIDTH = 72

CAUSES: dict[str, tuple[str, str]] = {
    "normal": ("nothing is wrong", ""),
    "aim": ("not aimed as said", "turn it until an upright pen on it throws no shadow"),
    "haze": ("haze or thin cloud before the sun", "wait, and read again"),
    "dirt": ("dirt on the panel", "wipe it"),
    "shade": ("one fold in the shade", "move it: look for cords, twigs, your own shadow"),
    "open-section": ("a fold that gives nothing", "nothing in the field; count on less from it"),
    "lead": ("the lead is thin, long or corroded", "take another lead, or a shorter one"),
    "connector": ("a bad plug", "clean and press its contacts; a warm plug is out of use"),
    "limit": ("the controller holds it back", "look at its settings and its heat"),
    "not-tracking": ("the controller misses the best point", "unplug the panel, wait, plug it in again"),
    "full": ("the battery is full, or nearly", "nothing: that is as it should be"),
    "cold": ("the battery is too cold to be charged", "warm the cells above freezing, out of the wind"),
    "nothing": ("the way is broken", "look at fuse and plugs; battery first, then panel"),
    "polarity": ("plus and minus are swapped", "cover the panel, unplug it, put its lead right"),
    "meter-zero": ("the meter's zero is off", "take off what it shows with the panel covered"),
    "weak": ("the panel is weaker than thought", "count on what it gives: lower its output_factor"),
}
"""What is said of each, and what mends it."""

MEASURES: dict[str, tuple[str, str, str]] = {
    "amps": ("amperes", "amperes into the battery", ""),
    "volts": ("battery volts", "volts at the battery while it charges", ""),
    "look": ("a look for shadows", "look for a shadow on any fold: yes or no", "a shadow"),
    "pen": ("shadow of a pen", "hold a pen upright on the panel: degrees by its shadow", ""),
    "cover": ("amperes when covered", "cover the panel: does the meter read 0?", ""),
    "cells": ("the battery's cells", "temperature of the battery's cells", ""),
    "wiggle": ("wiggling the plugs", "wiggle each plug: do the amperes jump?", "they jump"),
    "panel-volts": ("panel volts", "volts at the controller's panel input, charging", ""),
    "load": ("a load on", "switch a load on: do amperes rise, or volts fall?", "they do"),
    "replug": ("plugging in anew", "plug the panel in anew: do the amperes rise?", "they rise"),
    "voc": ("Voc", "volts of the unplugged panel in the sun", ""),
    "folds": ("folds one by one", "cover the folds in turn: does one change nothing?", "one changes nothing"),
    "isc": ("Isc", "amperes of the panel into the meter alone (10 A range)", ""),
    "lead-ends": ("the lead's two ends", "volts at both ends of the lead: the difference", ""),
    "turn": ("turning it", "turn the panel 20° to the sun: amperes over before", ""),
    "clean": ("wiping it", "wipe the panel: amperes over before", ""),
    "second": ("a second panel", "aim a second panel as said: its amperes over expected", ""),
    "wait": ("waiting", "wait five minutes: do the amperes change?", "they change"),
}
"""A short name, how it is done, and what a yes is called."""


def cause(name: str) -> str:
    """A cause in words."""
    return CAUSES[name][0]


def value(name: str, amount: float) -> str:
    """A reading with its unit."""
    unit = BY_ID[name].unit
    if not unit:
        return "yes" if amount > 0.5 else "no"
    digits = {"A": 2, "V": 1, "°": 0, "°C": 0, "x": 2}[unit]
    # no minus before a zero
    text = f"{round(amount, digits) + 0.0:.{digits}f}"
    return {"°": f"{text}°", "x": f"{text} times"}.get(unit, f"{text} {unit}")


def cover_first(name: str) -> str:
    """The word of warning where a plug has to be pulled."""
    return "cover first, then " if BY_ID[name].is_unplugged else ""


def percent(share: float) -> str:
    """A probability, in whole percent."""
    return f"{100 * share:.0f} %"


def of_spells(share: float) -> str:
    """A share of spells that was counted, in whole percent; neither all nor none is said of some."""
    return percent(share if share in (0.0, 1.0) else min(0.99, max(0.01, share)))


def lines(text: str, first: str = "", after: str | None = None) -> list[str]:
    """Lines of at most 72 columns."""
    return wrapped(text, first, after, WIDTH)


def head(*parts: str | datetime) -> str:
    """Parts of a headline, a moment among them."""
    return ", ".join(moment(one) if isinstance(one, datetime) else one for one in parts)
