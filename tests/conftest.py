"""Options and settings that all tests share."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# the same examples on every machine, and no verdict by the clock of a busy one
settings.register_profile(
    "kitopt", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("kitopt")

INSTANCES_A_CHUNK = 50


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the long run."""
    parser.addoption("--many", action="store_true", help="compare 10,000 random inventories instead of 1,000")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Split the numbered instances into chunks, so that several workers can share them."""
    if "instance_numbers" in metafunc.fixturenames:
        n = 10_000 if metafunc.config.getoption("--many") else 1_000
        chunks = [range(first, first + INSTANCES_A_CHUNK) for first in range(0, n, INSTANCES_A_CHUNK)]
        metafunc.parametrize("instance_numbers", chunks, ids=[f"{c.start}-{c.stop - 1}" for c in chunks])
