"""The usual values of one column beside the others of its row: what the table's ratios come to, by hand."""

from __future__ import annotations

import pytest
from oracle.instances import GENDERLESS, battery, panel

from kitopt.inventory.items import Lead
from kitopt.inventory.ranges import usual


def test_a_ratio_becomes_a_range_of_its_first_column() -> None:
    # 0.1 to 1.2 A for each of 20 Ah; a low limit keeps it out
    found = usual("batteries", battery("b", 20.0, max_charge_a=4.0), "max_charge_a")
    assert found is not None
    assert (found.low, found.high, found.worse) == (pytest.approx(2.0), pytest.approx(24.0), "low")


def test_all_that_speaks_of_a_column_is_kept_to() -> None:
    # voc_v is 5 to 60 V by itself and 1.05 to 1.45 times the 18 V of vmp_v
    found = usual("panels", panel("p", 50.0, vmp_v=18.0), "voc_v")
    assert found is not None
    assert (found.low, found.high) == (pytest.approx(18.9), pytest.approx(26.1))


def test_what_a_ratio_divides_by_is_turned_over() -> None:
    # 0.5 to 90 milliohms per metre are 17.241 / 90 to 17.241 / 0.5 mm²; a thin wire keeps a lead out
    thin = Lead(
        id="l", name="l", mass_g=50, from_connector=GENDERLESS, to_connector=GENDERLESS, length_m=1.0, area_mm2=0.8
    )
    found = usual("leads", thin, "area_mm2")
    assert found is not None
    assert (found.low, found.high, found.worse) == (pytest.approx(0.19157, rel=1e-4), pytest.approx(34.482), "low")


def test_a_family_has_its_own_row_and_what_nobody_knows_has_none() -> None:
    assert usual("connectors", None, "contact_mohm") is not None
    assert usual("batteries", battery("b", 20.0), "connector") is None


def test_a_ratio_with_a_part_that_stays_says_nothing_of_a_column() -> None:
    # the plugs weigh as much however long the lead is, so its length does not follow from its mass: 0.05 to 30 m alone
    lead = Lead(
        id="l", name="l", mass_g=50, from_connector=GENDERLESS, to_connector=GENDERLESS, length_m=1.0, area_mm2=0.8
    )
    found = usual("leads", lead, "length_m")
    assert found is not None
    assert (found.low, found.high) == (0.05, 30)
