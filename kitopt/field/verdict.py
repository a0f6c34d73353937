"""What is said of a reading: normal or not, which causes with which odds, and what to read next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.field.amperes import Step, expected_a, interval_a, waterfall
from kitopt.field.belief import HIGHEST, Belief
from kitopt.field.causes import ALIKE, BY_ID
from kitopt.field.measures import Measure
from kitopt.inventory.spreads import METER_SPREAD, NINETY_SPREADS

Floats = NDArray[np.float64]
Called = Literal["normal", "as-expected", "low", "nothing-flows", "unexplained"]

NOTHING_A = 0.05
"""Less than this is nothing. [A]"""
TOLD_SHARE = 0.04
"""Causes less likely are not told, nor more than `MOST_TOLD`."""
MOST_TOLD = 4
LEAST_BITS = 0.02
"""What tells less is not worth the walk."""
_AS_GOOD = 0.002
"""A threshold that parts two causes as well as the best, but for so small a share of both."""
_UNDECIDED = 3.0
"""Two causes are told apart when what was read favours one of them by this much."""


@dataclass(frozen=True)
class Suspect:
    """A cause that explains what is missing.

    Attributes
    ----------
    share : float
        Its probability as told, at most 0.95.
    alike : str
        Another cause that no reading so far tells from it; empty for none.
    for_it, against : tuple of (measure, value)
        Readings that made it likelier by half at least, and less likely.
    """

    cause: str
    share: float
    alike: str
    for_it: tuple[tuple[str, float], ...]
    against: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class NextTest:
    """What to read or try next.

    Attributes
    ----------
    bits : float
        Expected gain in knowledge of the cause.
    between : (str, str)
        The causes that it parts best.
    at : float or None
        Where it parts them; None for a yes or no.
    first_is_above : bool
        Whether the first of them lies above that, or is the one that a yes speaks for.
    """

    measure: Measure
    bits: float
    between: tuple[str, str]
    at: float | None
    first_is_above: bool


@dataclass(frozen=True, eq=False)
class Verdict:
    """All that is said of one reading.

    Attributes
    ----------
    called : str
        "normal", "as-expected" (the same without a short-circuit reading, and so not vouched for), "low",
        "nothing-flows", or "unexplained": no cause gives such amperes, and none is told.
    expected_a, low_a, high_a : float
        What is expected, and between which nine readings in ten lie. [A]
    """

    belief: Belief
    called: Called
    expected_a: float
    low_a: float
    high_a: float
    steps: tuple[Step, ...]
    suspects: tuple[Suspect, ...]
    tests: tuple[NextTest, ...]
    zero_a: float = 0.0
    """Taken off what the ammeter showed, since it shows as much of nothing. [A]"""


def judge(belief: Belief, battery_v: float | None = None, zero_a: float = 0.0) -> Verdict:
    """What is to be said of some readings; the ammeter's have a zero of it taken off already. [V], [A]"""
    share = belief.share
    first = next(iter(share))
    amps = belief.readings["amps"]
    usual_a = expected_a(belief.set_up, battery_v)
    called: Called = "low"
    if BY_ID[first].kind == "normal":
        called = "normal" if "isc" in belief.readings else "as-expected"
    elif amps - belief.readings.get("cover", 0.0) <= NOTHING_A:
        called = "nothing-flows"
    low_a, high_a = interval_a(belief.set_up, usual_a)
    # no good sun brings more than the controller passes, whatever it is
    high_a = min(high_a, belief.set_up.most_a * (1.0 + NINETY_SPREADS * METER_SPREAD))
    steps = waterfall(belief.set_up, battery_v)
    if "amps" in belief.doubtful and not 0.0 <= amps <= high_a:
        return Verdict(belief, "unexplained", usual_a, low_a, high_a, steps, (), (), zero_a)
    return Verdict(belief, called, usual_a, low_a, high_a, steps, _suspects(belief), _tests(belief), zero_a)


def _suspects(belief: Belief) -> tuple[Suspect, ...]:
    told = [name for name, share in belief.share.items() if share >= TOLD_SHARE and name != "normal"][:MOST_TOLD]
    found = []
    for name in told:
        good, bad = _evidence(belief, name)
        partner = next((other for other in told if other != name and _is_undecided(belief, name, other)), "")
        found.append(Suspect(name, belief.told(name), partner, good, bad))
    return tuple(found)


def _is_undecided(belief: Belief, one: str, other: str) -> bool:
    """Whether two causes that are mended alike or look alike are as likely as they were before any reading."""
    if (one, other) not in ALIKE and (other, one) not in ALIKE:
        return False
    before = _mass(belief, one, True) / max(_mass(belief, other, True), 1e-12)
    after = _mass(belief, one, False) / max(_mass(belief, other, False), 1e-12)
    return 1.0 / _UNDECIDED < after / before < _UNDECIDED


def _mass(belief: Belief, cause: str, is_before: bool) -> float:
    weight = belief.some.weight if is_before else belief.weight
    return float(weight[belief.some.is_cause(cause)].sum())


def _evidence(belief: Belief, cause: str) -> tuple[tuple[tuple[str, float], ...], tuple[tuple[str, float], ...]]:
    """Readings that speak for a cause against all others, and against it."""
    good, bad = [], []
    some, ours = belief.some, belief.some.is_cause(cause)
    if not ours.any() or ours.all():
        return (), ()
    for name, value in belief.readings.items():
        fits = belief.measure(name).likelihood(some, value)
        for_it = float(np.average(fits[ours], weights=some.weight[ours]))
        for_others = float(np.average(fits[~ours], weights=some.weight[~ours]))
        ratio = for_it / max(for_others, 1e-12)
        if ratio >= 1.5:
            good.append((ratio, name, value))
        elif ratio <= 1.0 / 1.5:
            bad.append((ratio, name, value))
    good.sort(reverse=True)
    bad.sort()
    return tuple((name, value) for _, name, value in good), tuple((name, value) for _, name, value in bad)


def _tests(belief: Belief, n: int = 3) -> tuple[NextTest, ...]:
    found = []
    for measure, bits in belief.next_measures()[:n]:
        if bits > LEAST_BITS:
            found.append(_parting(belief, measure, bits))
    return tuple(found)


def _parting(belief: Belief, measure: Measure, bits: float) -> NextTest:
    """The two likely causes that a measure parts best, and where."""
    some, weight = belief.some, belief.weight
    names = [name for n, (name, share) in enumerate(belief.share.items()) if n < 2 or share >= TOLD_SHARE][:4]
    expected = measure.says(some)
    if measure.is_yes_or_no:
        return NextTest(measure, bits, _yes_and_no(belief, expected), None, True)
    rows = {name: some.is_cause(*_under(name)) & (weight > 1e-6 * weight.max()) for name in names}
    best: tuple[float, tuple[str, str], float, bool] = (-1.0, (names[0], names[-1]), float(expected[0]), True)
    noise = np.random.default_rng(7).standard_normal(len(expected))
    outcome = expected + noise * measure.spread(expected)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            both = np.flatnonzero(rows[one] | rows[other])
            order = both[np.argsort(outcome[both], kind="stable")]
            is_one = rows[one][order]
            below_one = np.cumsum(weight[order] * is_one) / weight[rows[one]].sum()
            below_other = np.cumsum(weight[order] * ~is_one) / weight[rows[other]].sum()
            gap = below_one - below_other
            at = int(np.abs(gap).argmax())
            # what parts the likelier pair matters more
            worth = abs(float(gap[at])) * min(belief.share[one], belief.share[other])
            if worth > best[0]:
                # where nothing lies between the two, the middle of that
                as_good = np.flatnonzero(np.abs(gap) >= abs(gap[at]) - _AS_GOOD)
                ends = outcome[order[[as_good[0], min(as_good[-1] + 1, len(order) - 1)]]]
                best = (worth, (one, other), float(ends.mean()), bool(gap[at] < 0.0))
    return NextTest(measure, bits, best[1], best[2], best[3])


def _yes_and_no(belief: Belief, chance: Floats) -> tuple[str, str]:
    """The likeliest cause that a yes speaks for, and the likeliest of the others."""
    some, weight = belief.some, belief.weight
    rows = {name: some.is_cause(*_under(name)) & (weight > 0.0) for name in belief.share}
    yes = {name: float(np.average(chance[at], weights=weight[at])) for name, at in rows.items() if at.any()}
    most = max(yes.values())
    for_it = [name for name in yes if yes[name] >= most / 2.0]
    others = [name for name in yes if name not in for_it]
    # belief.share has the likeliest first
    return for_it[0], (others or for_it)[0]


def _under(name: str) -> tuple[str, ...]:
    """The causes that go by one name: heat beyond the usual counts as normal."""
    return ("normal", "heat") if name == "normal" else (name,)


def sure_share(verdict: Verdict) -> float:
    """How sure the verdict is: of "normal", or of the first suspect; at most 0.95, and 0 where none is told."""
    if verdict.called == "unexplained":
        return 0.0
    share = verdict.belief.share
    return min(next(iter(share.values())), HIGHEST)
