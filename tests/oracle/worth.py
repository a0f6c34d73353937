"""What a panel is worth in a window over its mean: one number at a time, by the generator's published counter."""

from __future__ import annotations

import math
from hashlib import sha256
from statistics import NormalDist

import numpy as np

from kitopt.inventory.items import Panel
from kitopt.sky.windows import Sky

COMMON = 0.4
"""Of the variance, what all panels of an owner share."""


def level(seed: int, number: int, name: str) -> float:
    """A standard Gaussian value, from the upper 53 bits of the number-th value of the stream of a name.

    Philox gives four values for each count of its counter: Salmon et al., "Parallel random numbers: as easy as 1, 2,
    3," SC11, 2011.
    """
    key = np.array([seed, int.from_bytes(sha256(name.encode()).digest()[:8], "big")], dtype=np.uint64)
    generator = np.random.Philox(key=key, counter=np.array([number // 4, 0, 0, 4], dtype=np.uint64))
    raw = [int(generator.random_raw()) for _ in range(4)][number % 4]
    return NormalDist().inv_cdf(((raw >> 11) + 0.5) / 2**53)


def worth_shares(sky: Sky, panel: Panel) -> list[float]:
    """Of every window: lognormal with mean one."""
    if sky.numbered is None or panel.worth_spread == 0.0:
        return [1.0] * len(sky.labels)
    shares = []
    for number in sky.numbered.numbers.tolist():
        own, common = level(sky.numbered.seed, number, panel.id), level(sky.numbered.seed, number, "")
        both = math.sqrt(1 - COMMON) * own + math.sqrt(COMMON) * common
        shares.append(math.exp(panel.worth_spread * both - panel.worth_spread**2 / 2))
    return shares
