"""Files that earlier versions wrote: read, or refused by their version in words.

Headers are those that the versions wrote, copied from them.
"""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest

from kitopt.certificate.document import read_document
from kitopt.errors import BadInput
from kitopt.files.kept import FOLDER, Kept, kept
from kitopt.interface.other_readings import append
from kitopt.inventory import read_inventory
from kitopt.operation import read_operation

PANELS = "id,mass_g,rated_w,connector\nleaf,700,40,genderless-30\n"
BATTERIES = "id,mass_g,chemistry,nominal_v,capacity_ah,connector\nbox,1200,lifepo4,12.8,10,genderless-30\n"
LOADS = "id,mass_g,full_w,connector\nlamp,300,10,genderless-30\n"
FIRST_READINGS = """\
at,panel,controller,amps,worth,normal,sky,aim
2027-06-01T12:00+00:00,leaf,mppt-5,1.5,0.70,1,clear,facing
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("panels", PANELS), ("batteries", BATTERIES), ("loads", LOADS), ("readings", FIRST_READINGS)):
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


def test_readings_of_the_first_version_are_read(folder: Path) -> None:
    inventory = read_inventory(folder)
    assert [(one.panel, one.worth) for one in inventory.readings] == [("leaf", 0.70)]


def test_what_an_old_header_has_no_place_for_is_refused_and_the_file_stays(folder: Path) -> None:
    inventory = read_inventory(folder)
    with pytest.raises(BadInput, match="its header needs battery, discharged_ah: add it"):
        append(inventory, {"at": "2027-06-02T12:00+00:00", "battery": "box", "discharged_ah": "9"})
    assert (folder / "readings.csv").read_text() == FIRST_READINGS
    # and what it has a place for is added under that header
    append(inventory, {"at": "2027-06-02T12:00+00:00", "panel": "leaf", "amps": "1.6", "worth": "0.72"})
    assert (folder / "readings.csv").read_text() == FIRST_READINGS + "2027-06-02T12:00+00:00,leaf,,1.6,0.72,,,\n"
    assert len(read_inventory(folder).readings) == 2


@pytest.mark.parametrize("version", ["plan-1", "plan-0", "plan-2", "check-1", "certificate-1", "something-9"])
def test_a_document_of_any_version_is_no_operation(tmp_path: Path, version: str) -> None:
    for name, text in (
        ("wide", json.dumps({"schema": f"kitopt/{version}"}, indent=2)),
        ("one", f'{{"schema": "kitopt/{version}"}}'),
    ):
        path = tmp_path / f"{name}.json"
        path.write_text(text)
        with pytest.raises(BadInput, match=f'found "kitopt/{version}", which kitopt writes and never reads as this'):
            read_operation(path)


@pytest.mark.parametrize("schema", ["kitopt/certificate-0", "kitopt/certificate-2", "kitopt/plan-1", None, 7, ["x"]])
def test_certificates_are_read_of_one_version_alone(tmp_path: Path, schema: object) -> None:
    path = tmp_path / "proof.json"
    path.write_text(json.dumps({"schema": schema, "classes": []}))
    with pytest.raises(BadInput, match="need kitopt/certificate-1: this version of kitopt reads no other") as refused:
        read_document(path)
    assert len(refused.value.faults) == 1


def test_what_earlier_versions_kept_is_not_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER, str(tmp_path))
    made = [Kept({"a": np.ones(3)}, n) for n in range(3)]
    assert kept("question", ("sky",), lambda: made[0]).facts == 0
    (entry,) = tmp_path.iterdir()
    # of another version, under the same name: objects instead of numbers, and facts that are none
    np.savez(entry, a=np.array([{"old": 1}], dtype=object), **{"": np.frombuffer(b"{", dtype=np.uint8)})
    assert kept("question", ("sky",), lambda: made[1]).facts == 1
    with zipfile.ZipFile(entry, "w") as other:
        other.writestr("kept.json", "{}")
    assert kept("question", ("sky",), lambda: made[2]).facts == 2
