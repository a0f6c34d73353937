"""The files that a certificate carries: what cannot be carried, and what is not unpacked."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from dark_hut import LOADS, hut

from kitopt.certificate.document import read_document
from kitopt.certificate.inputs import carried, unpacked
from kitopt.errors import BadInput
from kitopt.inventory.items import Inventory
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.operation.terms import Operation, WeatherFile

BATTERIES = "id,mass_g,chemistry,nominal_v,capacity_ah,fused,connector\nbox,1000,lifepo4,12.8,10,yes,genderless-30\n"


@pytest.fixture
def outing(tmp_path: Path) -> Operation:
    """A hut without sun, whose folder holds its inventory."""
    folder = tmp_path / "hut"
    folder.mkdir()
    (folder / "batteries.csv").write_text(BATTERIES, encoding="utf-8")
    (folder / "loads.csv").write_text(LOADS, encoding="utf-8")
    (folder / "hut.toml").write_text(hut(), encoding="utf-8")
    return read_operation(folder / "hut.toml")


def carries(outing: Operation, weather: Path | None = None) -> dict[str, Any]:
    """What a certificate of the outing carries, under a weather file where there is one."""
    owned = read_inventory(Path(outing.file).parent)
    if weather is not None:
        outing = replace(outing, need=replace(outing.need, weather=WeatherFile(weather)))
    return carried(outing, owned, {})


def as_asked(options: Mapping[str, Any], operation: Operation, inventory: Inventory) -> Operation:
    """Nothing was typed."""
    return operation


def is_refused(inputs: Mapping[str, Any]) -> str:
    """Why files are not unpacked."""
    with pytest.raises(BadInput) as refused, unpacked(inputs, as_asked):
        pass
    return str(refused.value)


def test_a_weather_file_below_the_operation_comes_along_and_back(outing: Operation) -> None:
    file = Path(outing.file).parent / "skies" / "may.csv"
    file.parent.mkdir()
    file.write_text("any text\n", encoding="utf-8")
    inputs = carries(outing, file)
    assert inputs["weather"] == {"file": "skies/may.csv", "text": "any text\n"}
    inputs["operation"]["text"] = inputs["operation"]["text"].replace('"no sun"', '"skies/may.csv"')
    # it is unpacked just there, where the operation names it
    with unpacked(inputs, as_asked) as (operation, _):
        assert isinstance(operation.need.weather, WeatherFile)
        assert operation.need.weather.path.read_text(encoding="utf-8") == "any text\n"


def test_a_weather_file_that_lies_elsewhere_is_not_carried(outing: Operation, tmp_path: Path) -> None:
    file = tmp_path / "may.csv"
    file.write_text("any text\n", encoding="utf-8")
    with pytest.raises(BadInput, match="put it beside the operation") as refused:
        carries(outing, file)
    assert str(file) in str(refused.value)


def test_what_is_no_text_is_not_carried(outing: Operation) -> None:
    file = Path(outing.file).parent / "may.csv"
    file.write_bytes(b"caf\xe9\n")
    with pytest.raises(BadInput, match="save it as UTF-8"):
        carries(outing, file)


@pytest.mark.parametrize("name", ["../hut.toml", "/elsewhere/hut.toml", "deeper/hut.toml", ""])
def test_an_operation_is_unpacked_into_its_folder_alone(outing: Operation, name: str) -> None:
    inputs = carries(outing)
    inputs["operation"]["file"] = name
    assert "is no name of a file that a certificate carries" in is_refused(inputs)


@pytest.mark.parametrize("name", ["../batteries.csv", "notes.txt", "deeper/batteries.csv"])
def test_no_file_is_unpacked_that_is_none_of_an_inventory(outing: Operation, name: str) -> None:
    inputs = carries(outing)
    inputs["inventory"][name] = BATTERIES
    told = is_refused(inputs)
    assert told.startswith(name)
    assert "is no name of a file that a certificate carries" in told


@pytest.mark.parametrize("name", ["../may.csv", "/may.csv", "skies/../../may.csv", "skies\\may.csv", ""])
def test_no_weather_is_unpacked_outside(outing: Operation, name: str) -> None:
    inputs = copy.deepcopy(carries(outing))
    inputs["weather"] = {"file": name, "text": "any text\n"}
    assert "is no name of a file that a certificate carries" in is_refused(inputs)


def test_weather_takes_no_other_files_place(outing: Operation) -> None:
    inputs = carries(outing)
    inputs["weather"] = {"file": "hut.toml", "text": "any text\n"}
    assert is_refused(inputs).startswith("hut.toml")


def test_nice_loads_that_the_operation_has_not_are_refused(outing: Operation) -> None:
    # that the lamp, which must run, is told to be nice would make less of the question
    assert "are not nice loads of the operation" in is_refused(carries(outing) | {"nices": ["lamp"]})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"bound": NaN}', "NaN is no number"),
        ("[" * 100_000, "is no JSON"),
        ("[]", "found no schema"),
        ('{"schema": "kitopt/certificate-1", "inputs": 3}', 'found "3", need an object.'),
        ('{"schema": "kitopt/certificate-1", "classes": {}}', 'found "{}", need a list.'),
        (
            '{"schema": "kitopt/certificate-1", "incumbent": {"counts": [[0, 1, 2]]}}',
            'found "[0, 1, 2]", need a list of 2.',
        ),
        (
            '{"schema": "kitopt/certificate-1", "classes": [{"learned": [{"row": "guess"}]}]}',
            'found "guess", need one of cut, spell, side, kit.',
        ),
    ],
)
def test_what_has_not_the_shape_of_a_certificate_is_refused(text: str, told: str, tmp_path: Path) -> None:
    file = tmp_path / "proof.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_document(file)
    assert told in str(refused.value)
