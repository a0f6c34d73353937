"""The nearest known name."""

from __future__ import annotations

import pytest

from kitopt.files.nearest import did_you_mean, nearest


@pytest.mark.parametrize(
    ("name", "known", "near"),
    [
        ("mass", ["mass_g", "max_a"], "mass_g"),
        ("HF-20W", ["hf-20w", "hf-100w"], "hf-20w"),
        ("europe/madird", ["Europe/Madrid", "Europe/Paris"], "Europe/Madrid"),
        ("latitude_degrees_north", ["latitude", "longitude"], "latitude"),
        # three letters begin a name, two are too few to
        ("lat", ["latitude_deg"], "latitude_deg"),
        ("la", ["latitude_deg"], None),
        ("zebra", ["mass_g"], None),
        ("", ["mass_g"], None),
        ("x" * 100_000, ["mass_g"], None),
    ],
)
def test_nearest(name: str, known: list[str], near: str | None) -> None:
    assert nearest(name, known) == near
    assert did_you_mean(name, known) == (f" Did you mean {near}?" if near else "")
