"""A panel without a label is known by amperes that say something of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from oracle.diagnosed import declared
from oracle.faulty_panels import a_set_up

from kitopt.errors import BadInput
from kitopt.field.label import label_of
from kitopt.field.verdict import NOTHING_A

SET_UP = replace(declared(a_set_up(np.random.default_rng(5), "lead")), charge_share=None)


@pytest.mark.parametrize("amps", [0.0, -1.0, NOTHING_A, 5.0, 150.0])
def test_nothing_and_all_that_the_controller_passes_say_nothing_of_its_size(amps: float) -> None:
    held = replace(SET_UP, controller=replace(SET_UP.controller, max_charge_a=5.0))
    with pytest.raises(BadInput) as caught:
        label_of(held, amps)
    assert caught.value.faults[0].file == "--amps"


def test_the_controllers_limit_does_not_make_a_panel_larger() -> None:
    wide = replace(SET_UP, controller=replace(SET_UP.controller, max_charge_a=100.0, max_pv_w=None))
    held = replace(SET_UP, controller=replace(SET_UP.controller, max_charge_a=1.0, max_pv_w=None))
    assert label_of(held, 0.5).rated_w == pytest.approx(label_of(wide, 0.5).rated_w)
