"""The second set: many other windows, that a kit must survive with one standard error to spare."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky
from kitopt.sky.worth import Numbered

N_OTHERS = 150


def others_like(sky: Sky, rng: np.random.Generator, dullest: float = 0.75) -> Sky:
    """Windows of a sky at random, each brighter or duller by as much all day."""
    picked = sky.only(rng.integers(0, sky.n_windows, N_OTHERS).astype(np.intp))
    factor = rng.uniform(dullest, 1.1, (N_OTHERS, 1))
    light = {way: values * factor for way, values in picked.poa_wm2.items()}
    labels, numbers = tuple(f"other {k}" for k in range(N_OTHERS)), 900 + np.arange(N_OTHERS, dtype=np.int64)
    return replace(picked, poa_wm2=light, useful_wm2=light, labels=labels, numbered=Numbered(12, numbers))


def needed(confidence: Fraction) -> int:
    """Share and one standard error of a share, by the textbook: the square root of q (1 - q) / n."""
    q = float(confidence)
    return min(N_OTHERS, math.ceil(N_OTHERS * q + math.sqrt(N_OTHERS * q * (1 - q)) - 1e-9))


def strict(operation: Operation) -> Operation:
    """The operation with what the second set asks for as its confidence."""
    confidence = Fraction(needed(operation.need.confidence), N_OTHERS)
    return replace(operation, need=replace(operation.need, confidence=confidence))


def tried_by(sky: Sky, others: Sky) -> Sky:
    """A sky with such a second set, which comes in two parts."""

    def in_two_parts() -> Iterator[Sky]:
        yield others.only(np.arange(100))
        yield others.only(np.arange(100, N_OTHERS))

    return replace(sky, others=in_two_parts)
