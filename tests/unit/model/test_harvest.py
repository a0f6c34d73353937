"""What is said of two sources without a look at their windows."""

from __future__ import annotations

import numpy as np
from oracle.instances import controller, panel, sky

from kitopt.model.harvest import ShapeBook
from kitopt.operation.clock import Steps


def test_of_two_sources_said_to_bring_no_more_none_does_in_any_step() -> None:
    rng = np.random.default_rng(11)
    suns = rng.uniform(0.0, 1100.0, (4, 6))
    weather = sky(suns.tolist(), panel_degc=rng.uniform(-10.0, 70.0, suns.shape).tolist())
    book = ShapeBook(weather, Steps(np.arange(7.0) * 3600.0, np.arange(6)), 12.8, 13.4)
    panels = [panel("aimed", 60.0), panel("flat", 60.0, tilts=False), panel("weak", 60.0, vmp_v=14.5)]
    units = [controller("down", "mppt", 20.0), controller("late", "mppt", 20.0, start_above_v=21.0)]
    units.append(controller("plain", "pwm", 20.0))
    for ohm in (0.0, 0.05, 0.2, 0.9, 3.0):
        for one in panels:
            for unit in units:
                book.gain(one, unit, lead_ohm=ohm)
    watts = [book.shapes[source.shape] for source in book.sources]
    said = [
        (i, j)
        for i, one in enumerate(book.sources)
        for j, other in enumerate(book.sources)
        if i != j and one.brings_no_more(other)
    ]
    assert all(np.all(watts[i] <= watts[j]) for i, j in said)
    assert len(said) >= 10
    assert all(np.any(watts[i] < watts[j]) for i, j in said)
