"""``pack --certificate`` and ``verify`` as commands: a hut without sun, worked out by hand."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from in_process import kitopt

Run = Callable[..., CompletedProcess[str]]

CIRCUIT = '[[loads]]\nid = "spot"\nmode = "on"\ncircuit = "spare"\n'


@pytest.fixture
def run(hut: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs ``kitopt`` beside the hut, in this process: what is asked here are answers, not streams."""
    monkeypatch.chdir(hut)
    return kitopt


def test_a_proof_is_written_and_holds_elsewhere(hut: Path, run: Run) -> None:
    packed = run("pack", "hut.toml", "--no-reasons", "--certificate", "proof.json")
    assert packed.returncode == 0, packed.stderr
    # it needs nothing beside it
    for name in ("hut.toml", "batteries.csv", "loads.csv"):
        (hut / name).unlink()
    told = run("verify", "proof.json", "--json")
    assert told.returncode == 0, told.stdout
    value = json.loads(told.stdout)
    # 160 Wh in all. Of depth 0.9, less the reserve of a tenth, 10 Ah measured at 12.8 V give 103.7 Wh and a label of
    # 4 Ah, of which 0.9 is counted, 37.3 Wh: two small boxes beside the large one give 178 Wh, and one 141 Wh. Two
    # large ones are 200 g more, three small ones not enough. 1,200 + 2 · 500 + 300 g
    assert (value["status"], value["bound"]) == ("holds", 2500)
    assert "holds: nothing has less mass than 2,500 g" in run("verify", "proof.json").stdout.replace("\n", " ")


def test_what_is_typed_is_part_of_the_question(hut: Path, run: Run) -> None:
    run("pack", "hut.toml", "--no-reasons", "--hours", "8", "--without", "box-10", "--certificate", "proof.json")
    value = json.loads((hut / "proof.json").read_text())
    assert value["inputs"]["options"] == {"hours": "8", "without": ["box-10"]}
    # 80 Wh: two small boxes give 75 Wh, three 112 Wh: 3 · 500 + 300 g; with the lead box it would be 2,300 g alone
    assert value["bound"] == 1800
    assert run("verify", "proof.json").returncode == 0
    value["inputs"]["options"]["hours"] = "9"
    (hut / "proof.json").write_text(json.dumps(value))
    refused = run("verify", "proof.json")
    assert refused.returncode == 2
    assert "made again" in refused.stderr


def test_without_a_proof_nothing_is_written_and_it_is_said_why(hut: Path, run: Run) -> None:
    none = run("pack", "hut.toml", "--no-reasons", "--hours", "100", "--certificate", "proof.json")
    assert none.returncode == 3
    assert "No certificate is written: there is no kit that is proved best." in none.stderr
    (hut / "loads.csv").write_text((hut / "loads.csv").read_text() + "spot,spot,1,300,10,0,10,genderless-30\n")
    (hut / "hut.toml").write_text((hut / "hut.toml").read_text().replace("hours = 16", "hours = 3") + CIRCUIT)
    several = run("pack", "hut.toml", "--no-reasons", "--certificate", "proof.json")
    assert several.returncode == 0, several.stderr
    assert "No certificate is written: several circuits" in several.stderr
    assert not (hut / "proof.json").exists()


def test_what_cannot_be_written_or_read_is_refused_by_name(hut: Path, run: Run) -> None:
    assert "ends in .json" in run("pack", "hut.toml", "--certificate", "proof.txt").stderr
    assert (
        "found with --kit or --against"
        in run("pack", "hut.toml", "--kit", "box-10", "--certificate", "proof.json").stderr
    )
    (hut / "old.json").write_text('{"schema": "kitopt/certificate-0"}')
    old = run("verify", "old.json")
    assert old.returncode == 2
    assert 'found "kitopt/certificate-0", need kitopt/certificate-1' in old.stderr
    assert "there is no such file" in run("verify", "none.json").stderr


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"hours = 16": 'hours = 3\ncharge = "apart"\nswap = ["14:00"]'}, "banks that charge apart"),
        # the tablet runs on its own battery alone
        (
            {"hours = 16": "hours = 3", "[[loads]]": '[[loads]]\nid = "tablet"\nmode = "on"\n\n[[loads]]'},
            "batteries of their own",
        ),
        (
            {
                "hours = 16": "hours = 3",
                "[[loads]]": '[goal]\nleast = "price"\n\n[limits]\nnice_at_most_g = 900\n\n'
                '[[loads]]\nid = "spot"\nmode = "on"\npriority = "nice"\n\n[[loads]]',
            },
            "a limit to what nice loads may add counts mass",
        ),
    ],
)
def test_of_what_is_no_row_there_is_no_certificate(hut: Path, run: Run, changes: dict[str, str], why: str) -> None:
    loads = """\
id,count,mass_g,price,idle_w,full_w,supply_v,battery_wh,connector
lamp,1,300,10,0,10,,,genderless-30
spot,1,300,10,0,1,,,genderless-30
tablet,1,300,10,0,1,5,20,usb-c:socket
"""
    (hut / "loads.csv").write_text(loads)
    (hut / "batteries.csv").write_text((hut / "batteries.csv").read_text().replace("3,500,,", "3,500,40,"))
    text = (hut / "hut.toml").read_text()
    for was, now in changes.items():
        text = text.replace(was, now, 1)
    (hut / "hut.toml").write_text(text)
    packed = run("pack", "hut.toml", "--no-reasons", "--certificate", "proof.json")
    assert packed.returncode == 0, packed.stderr
    assert "No certificate is written: " in packed.stderr
    assert why in packed.stderr.replace("\n", " ")
    assert not (hut / "proof.json").exists()
