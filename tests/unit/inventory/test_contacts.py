"""``connectors.csv``: what the owner knows of connector families, read like the other files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import Fault
from kitopt.inventory import read_inventory

HEAD = "family,contact_mohm,max_a\n"


def test_without_the_file_nothing_is_known(write: Callable[..., Path]) -> None:
    inventory = read_inventory(write())
    assert (dict(inventory.contact_ohm), dict(inventory.contact_a)) == ({}, {})


def test_both_values_may_be_given_and_each_may_be_blank(write: Callable[..., Path]) -> None:
    table = HEAD + "genderless-30,1.2,40\nRing-M5,,\nbarrel-5.5x2.1,,500 mA\nusb-a,0.02 ohm,\n"
    inventory = read_inventory(write(connectors__csv=table))
    assert inventory.contact_ohm == pytest.approx({"genderless-30": 0.0012, "usb-a": 0.02})
    assert inventory.contact_a == pytest.approx({"genderless-30": 40.0, "barrel-5.5x2.1": 0.5})


def test_the_file_counts_in_the_fingerprint(write: Callable[..., Path]) -> None:
    before = read_inventory(write()).fingerprint
    assert read_inventory(write(connectors__csv=HEAD)).fingerprint != before


def test_a_family_that_nothing_has_is_pointed_out(write: Callable[..., Path]) -> None:
    inventory = read_inventory(write(connectors__csv=HEAD + "genderles-30,2,\n"))
    (warning,) = inventory.warnings
    assert warning.startswith("connectors.csv, line 2: ")
    assert "genderless-30" in warning


@pytest.mark.parametrize(
    ("rows", "line", "column"),
    [
        ("genderless-30,-1,\n", 2, "contact_mohm"),
        ("genderless-30,1,0\n", 2, "max_a"),
        ("genderless-30,2 kg,\n", 2, "contact_mohm"),
        ("barrel:plug,2,\n", 2, "family"),
        (",2,\n", 2, "family"),
        ("genderless-30,1,\nGENDERLESS-30,2,\n", 3, "family"),
    ],
)
def test_faults_carry_line_and_column(faults_of: Callable[..., list[Fault]], rows: str, line: int, column: str) -> None:
    assert [(f.file, f.line, f.column) for f in faults_of(connectors__csv=HEAD + rows)] == [
        ("connectors.csv", line, column)
    ]


def test_faults_of_several_files_come_together(faults_of: Callable[..., list[Fault]]) -> None:
    faults = faults_of(connectors__csv="contact_mohm,max_a\n1,2\n", extras__csv="id,mass_g\ntape,-1\n")
    assert [(f.file, f.column) for f in faults] == [("extras.csv", "mass_g"), ("connectors.csv", "family")]
