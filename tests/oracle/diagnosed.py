"""Set-ups of `faulty_panels` put before kitopt, and how often it is right."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from kitopt.field.belief import HIGHEST, believe
from kitopt.field.causes import BY_ID
from kitopt.field.set_up import SetUp
from kitopt.field.suppose import suppositions
from kitopt.field.thumb import by_thumb
from kitopt.sky.clear_sky import ClearSky, Place
from kitopt.sky.light import Light
from kitopt.sky.sun import Sun
from oracle import faulty_panels
from oracle.faulty_panels import Meter, Truth
from oracle.instances import battery, controller, panel

TWO_MINUTES = ("cover", "amps", "volts", "isc", "voc")
ASKED = ("amps", "volts", "cover", "look", "pen", "isc", "voc")
"""Amperes, battery volts, cover, look, pen, Isc, Voc."""
WAYS: Mapping[str, Sequence[str]] = {
    "amperes and volts": ("amps", "volts"),
    "two-minute test": TWO_MINUTES,
    "asked": ASKED,
    "asked and panel volts": (*ASKED, "panel-volts"),
}


def declared(own: faulty_panels.SetUp) -> SetUp:
    """A set-up as its owner tells it to kitopt: nothing of what is wrong."""
    zenith = 90.0 - own.sun_high_deg

    def one(value: float) -> np.ndarray:
        return np.array([[float(value)]])

    flat = own.beam_wm2 * np.cos(np.radians(zenith)) + own.diffuse_wm2
    light = Light(
        Place(45.0, 10.0, 0.0),
        one(1.8e9),
        Sun(one(zenith), one(180.0), one(1366.0)),
        ClearSky(one(flat), one(own.beam_wm2), one(own.diffuse_wm2)),
        one(own.beam_wm2),
        one(own.diffuse_wm2),
        headroom=1.5,
    )
    label = panel(
        *("panel", own.rated_w),
        **{"vmp_v": own.vmp_v, "imp_a": own.imp_a, "voc_v": own.voc_v, "isc_a": own.isc_a},
        voc_per_degc=-0.003,
        output_factor=faulty_panels.DECLARED_WORTH,
    )
    charger = controller("controller", own.kind, 30.0, efficiency=0.95 if own.kind == "mppt" else 1.0)
    tilt = zenith if own.is_facing else 0.0
    return SetUp(
        label,
        charger,
        battery("battery", own.battery_ah),
        own.lead_ohm,
        light,
        tilt,
        180.0,
        not own.is_facing,
        own.air_degc,
    )


@dataclass
class Tally:
    """How often the first cause, or one of the first two, is the true one or of its kind.

    Attributes
    ----------
    sure : list of (probability, is_right)
        Of each answer, the first cause's.
    confusion : Counter of (true, said)
    """

    first: list[bool] = field(default_factory=list)
    two: list[bool] = field(default_factory=list)
    kind: list[bool] = field(default_factory=list)
    kind_two: list[bool] = field(default_factory=list)
    fault_is_normal: list[bool] = field(default_factory=list)
    healthy_is_normal: list[bool] = field(default_factory=list)
    sure: list[tuple[float, bool]] = field(default_factory=list)
    confusion: Counter[tuple[str, str]] = field(default_factory=Counter)

    def add(self, truth: Truth, share: Mapping[str, float]) -> None:
        """One more answer, the likeliest cause first."""
        order, kinds = list(share), _kinds(share)
        self.confusion[truth.cause, order[0]] += 1
        self.sure.append((share[order[0]], order[0] == truth.cause))
        is_normal = order[0] == "normal"
        if truth.cause == "normal":
            self.healthy_is_normal.append(is_normal)
            return
        kind = BY_ID[truth.cause].kind
        self.first.append(order[0] == truth.cause)
        self.two.append(truth.cause in order[:2])
        self.kind.append(kinds[0] == kind)
        self.kind_two.append(kind in kinds[:2])
        self.fault_is_normal.append(is_normal)

    def share(self, what: str) -> float:
        """Of one of the lists, how often it is so."""
        return float(np.mean(getattr(self, what))) if getattr(self, what) else float("nan")

    def sure_is_right(self) -> tuple[float, int]:
        """How often what is said with 95 % is right, and how often that is said."""
        said = [is_right for share, is_right in self.sure if share >= HIGHEST]
        return (float(np.mean(said)) if said else float("nan")), len(said)


def _kinds(share: Mapping[str, float]) -> list[str]:
    sums: dict[str, float] = {}
    for name, one in share.items():
        kind = BY_ID[name].kind
        sums[kind] = sums.get(kind, 0.0) + one
    return sorted(sums, key=lambda kind: -sums[kind])


def diagnose(cases: Iterable[tuple[int, faulty_panels.SetUp, Truth]]) -> dict[str, Tally]:
    """Tallies of every way of reading, of one and two chosen tests more, and of the rules of thumb."""
    tallies = {name: Tally() for name in (*WAYS, "one chosen test more", "two chosen tests more", "rules of thumb")}
    for number, own, truth in cases:
        set_up = declared(own)
        some = suppositions(set_up)
        meter = Meter(own, truth, np.random.default_rng([number, 77]))
        readings = {name: meter.see(name) for name in WAYS["asked and panel volts"]}
        for way, names in WAYS.items():
            belief = believe(set_up, {name: readings[name] for name in names}, some)
            tallies[way].add(truth, belief.share)
            if way == "asked":
                for more in ("one chosen test more", "two chosen tests more"):
                    chosen = belief.next_measures()[0][0]
                    belief = belief.with_reading(chosen.id, meter.see(chosen.id))
                    tallies[more].add(truth, belief.share)
        healthy = some.is_cause("normal")
        usual = {
            "amps": some.usual_a,
            "isc": float(np.median(some.seen.isc_a[healthy])),
            "voc": float(np.median(some.seen.voc_v[healthy])),
        }
        order = by_thumb(set_up, readings, usual)
        tallies["rules of thumb"].add(truth, {name: 0.5 / (n + 1) for n, name in enumerate(order)})
    return tallies


def cases(seed: int, n_faults: int, n_healthy: int) -> Iterator[tuple[int, faulty_panels.SetUp, Truth]]:
    """Stratified faults and healthy ones, each with a number of its own."""
    draw = np.random.default_rng(seed)
    for number, (own, truth) in enumerate(faulty_panels.stratified(draw, n_faults, n_healthy)):
        yield number, own, truth
