"""Options and settings that all tests share."""

from __future__ import annotations

import os
import signal
import tempfile

import pytest
from hypothesis import HealthCheck, settings

# the same examples on every machine, and no verdict by the clock of a busy one
EXAMPLES = {"a twentieth": 12, "whole": 240}
for name, n in EXAMPLES.items():
    settings.register_profile(
        name,
        max_examples=n,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=[HealthCheck.too_slow],
    )

NUMBERED = {
    "instance_numbers": (300, 6_000, 50),
    "wired_numbers": (500, 10_000, 50),
    "nice_numbers": (120, 2_400, 20),
    "nice_law_numbers": (15, 300, 15),
    "wired_nice_numbers": (60, 1_200, 20),
    "circuit_numbers": (80, 1_600, 20),
    "bank_numbers": (20, 400, 4),
    "wired_circuit_numbers": (6, 600, 6),
    "backup_numbers": (20, 400, 20),
    "several_numbers": (40, 800, 20),
    "side_numbers": (30, 600, 30),
    "conflict_numbers": (40, 800, 40),
    "repair_numbers": (30, 600, 30),
    "strongest_numbers": (30, 600, 30),
    "second_numbers": (20, 400, 20),
    "cell_numbers": (5_000, 1_000_000, 500),
    "mutant_numbers": (25, 500, 25),
    "witness_numbers": (10, 200, 10),
    "kill_numbers": (10, 200, 10),
}
"""Fixtures that are ranges of numbers: how many in all, how many in the long run, how many in a chunk."""


def pytest_configure(config: pytest.Config) -> None:
    """What is kept between runs is kept for this run only; workers inherit the place."""
    # a shell that runs this in the background has them ignored, and so would be every command that a test interrupts
    signal.signal(signal.SIGINT, signal.default_int_handler)
    settings.load_profile("whole" if config.getoption("--many") else "a twentieth")
    # a terminal's own width is what counts in the tests that open one; workers are told that of the runner's
    os.environ.pop("COLUMNS", None)
    if not hasattr(config, "workerinput"):
        kept = tempfile.TemporaryDirectory(prefix="kitopt-")
        config.add_cleanup(kept.cleanup)
        os.environ["KITOPT_CACHE"] = kept.name


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the long run."""
    parser.addoption("--many", action="store_true", help="the long campaigns whole, not a twentieth of each")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Split the numbered instances into chunks, so that several workers can share them."""
    is_long = metafunc.config.getoption("--many")
    for name, (short, n_long, a_chunk) in NUMBERED.items():
        if name in metafunc.fixturenames:
            n = n_long if is_long else short
            chunks = [range(first, first + a_chunk) for first in range(0, n, a_chunk)]
            metafunc.parametrize(name, chunks, ids=[f"{c.start}-{c.stop - 1}" for c in chunks])
