"""Options are read as strictly as the keys that they stand in for."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from kitopt.cli.options import Options, check_options
from kitopt.errors import BadInput
from kitopt.operation import read_operation


def test_what_is_not_given_changes_nothing(hut: Path) -> None:
    operation = read_operation(hut / "hut.toml")
    overrides = check_options(Options())
    assert overrides.of(operation) == operation
    assert overrides.seconds == math.inf


def test_each_replaces_its_key_alone(hut: Path) -> None:
    operation = read_operation(hut / "hut.toml")
    overrides = check_options(
        Options(least="items", confidence="55 %", hours="9", seconds="2.5", windows="7", seed="3", step="15")
    )
    need = replace(operation.need, confidence=Fraction(55, 100), windows=7, seed=3, step_h=0.25)
    assert overrides.of(operation) == replace(operation, need=need, hours=9.0, least="items")
    assert overrides.seconds == 2.5


def test_confidence_is_exact() -> None:
    # 0.55 as a binary fraction is a little above 0.55, and 100 windows would then need 56
    assert check_options(Options(confidence="0.55")).confidence == Fraction(11, 20)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("confidence", "0"),
        ("confidence", "1.01"),
        ("confidence", "95"),
        ("confidence", "nan"),
        ("hours", "0"),
        ("hours", "1e400"),
        ("hours", "-3"),
        ("seconds", "0"),
        ("seconds", ""),
        ("windows", "1.5"),
        ("windows", "1_000"),
        ("seed", "-1"),
        ("step", "1"),
        ("step", "90"),
        ("least", "weight"),
    ],
)
def test_what_cannot_be_used_names_the_option(name: str, text: str) -> None:
    with pytest.raises(BadInput) as caught:
        check_options(Options(**{name: text}))
    (fault,) = caught.value.faults
    assert fault.file == f"--{name}"
    assert f'"{text}"' in fault.text


def test_all_faults_are_told() -> None:
    with pytest.raises(BadInput) as caught:
        check_options(Options(hours="x", least="y", step="z"))
    assert [fault.file for fault in caught.value.faults] == ["--hours", "--step", "--least"]


@pytest.mark.parametrize(
    ("name", "text", "needed"),
    [
        ("confidence", "0.95%", 'percent or a plain share? Write "0.95".'),
        ("hours", "1,440", "write 1440 or 1.44."),
        ("windows", "2.000", "write 2000 or 2."),
        ("seconds", "1.500", "write 1500 or 1.5."),
    ],
)
def test_what_is_typed_is_held_to_the_readings_and_ranges_of_files(name: str, text: str, needed: str) -> None:
    with pytest.raises(BadInput) as caught:
        check_options(Options(**{name: text}))
    assert [fault.file for fault in caught.value.faults] == [f"--{name}"]
    assert caught.value.faults[0].text.endswith(needed)


def test_what_is_typed_outside_the_usual_is_asked_about_with_the_operation(hut: Path) -> None:
    operation = check_options(Options(hours="1000")).of(read_operation(hut / "hut.toml"))
    assert operation.warnings == ('--hours: found "1000", an outing\'s length is usually 0.5 to 720 h; is it so?',)
