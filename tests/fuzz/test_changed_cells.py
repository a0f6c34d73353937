"""Cells changed at random in every file that a user writes: each command line ends in 0 or 2, in clean words, soon.

``pytest tests/fuzz --many`` changes a million cells, in hours; without the option 5,000. Each change is made by its
number alone, so that a failure can be had again.
"""

from __future__ import annotations

import contextlib
import json
import random
import re
import resource
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import pytest
from dark_hut import hut
from in_process import kitopt

from kitopt.errors import BadInput
from kitopt.inventory import demo_folder
from kitopt.sky.weather_file import read_weather

PROOF = "proof.json"
ROWS = 4
"""Rows kept of each file, so that a change is likely to meet others."""

SECONDS = 20
MOST_KB = 1_000_000
WEATHER_SHARE, PROOF_SHARE = 0.01, 0.004
"""Of the changes; a weather file has a year of rows, a proof is solved where nothing is wrong: both take longest."""

CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")

CELLS = [
    "", " ", "?", "unknown", "n/a", "0", "-0", "1", "-1", "1.5", "1,5", "1.500", "1,500", "1.234,5",
    "1,234,567", "1e3", "1e-9", "1e400", "nan", "inf", "-inf", "0x10", "1_000", "9" * 59, "9" * 5000, "½", "٣",
    "７", "−4", "1.5 kg", "2 gr", "1,500 g", "3 lb 2 oz", "500 mA", "4500 mAh", "0.9 %", "95 %", "-0.4 %/K",
    "25 ft", "6' 2\"", "14 °F", "12 parsnips", "yes", "no", "perhaps", "lifepo4", "agm lifepo4",
    "genderless-30", "barrel-5.5x2.1:plug", "a:b", "lfp-3", "hf-20w", "2026-10-09", "2026-02-30", "18:00-23:00",
    "25:00-26:00", "climate", "no sun", "Europe/Madrid", "JN58td", "ssb", "\x1b[31mred\x1b[0m",
    "\x1b]0;title\x07", "a\x08b", "\x7f", "\x85", "\u202eabc", "\u2028", "\0", "\ud7ff", "=1+1", "'=1+1", "#",
    "# remark", '"', "'", ",", ";", "\t", "\n", "\r\n", "[", "]", "{", "}", "%", "{0}", "$(id)", "../x",
    "/dev/null", "/", "x" * 300, "é" * 100, "日本語",
]  # fmt: skip
JSON_VALUES = [
    None, True, False, 0, -1, 1, 7, 10**30, -1e300, 1e-300, float("inf"), float("nan"), 0.5, [], {}, [[1, 2]],
    [[0, 1.0], [0, 1.0]], [[-1, 1.0]], [[10**6, 1.0]], {"a": 1}, [None], [[[[]]]], "kitopt/certificate-9",
]  # fmt: skip
TOML_VALUES = [
    "true", "false", "1", "-1", "0", "1.5", "1e400", "nan", "inf", "0x" + "f" * 9000, "99999999999999999999",
    "[]", "{}", "[[1, 2]]", "[1, [2]]", '["18:00-23:00"]', "{ a = 1 }", "2026-10-09", "2026-10-09T09:00:00",
    "2026-10-25T02:30:00", "09:00:00", "9999-12-31T23:59:59", '""', '"\\u0000"', '"\\u001b[31m"', '"""', "'",
    "", "[" * 300,
]  # fmt: skip


def _shortened(path: Path) -> str:
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    rows = [line for line in lines if not line.startswith("#")]
    return "".join(rows[: ROWS + 1])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small inventory with a catalogue, an operation, two plans and a weather file, all good."""
    import pvlib

    root = tmp_path_factory.mktemp("cells")
    demo = demo_folder()
    (root / "catalogue").mkdir()
    (root / "empty").mkdir()
    for path in sorted([*demo.glob("*.csv"), *demo.glob("catalogue/*.csv")]):
        (root / path.relative_to(demo)).write_text(_shortened(path), encoding="utf-8")
    shutil.copy(demo / "inventory.toml", root)
    text = (demo / "operations" / "coastal-checkpoint.toml").read_text(encoding="utf-8")
    (root / "operation.toml").write_text(text.replace('"mesh-node"', '"hf-5w"').replace('"area-light"', '"hf-10w"'))
    for name in ("grab-kit.toml", "season.toml"):
        text = (demo / "plans" / name).read_text(encoding="utf-8")
        (root / name).write_text(re.sub(r'file = ".*"', 'file = "operation.toml"', text))
    shutil.copy(Path(pvlib.__file__).parent / "data" / "703165TY.csv", root / "weather.csv")
    first = {kind: (root / f"{kind}.csv").read_text().splitlines()[1].split(",")[0] for kind in ("panels", "batteries")}
    (root / "readings.csv").write_text(
        "at,panel,amps,worth,normal,battery,discharged_ah,lead,near_v,far_v\n"
        f"2027-06-01T12:00+00:00,{first['panels']},2.1,0.70,1,,,,,\n"
        f"2027-06-02T12:00+00:00,,,,,{first['batteries']},2.1,,,\n"
    )
    (root / "proof").mkdir()
    (root / "proof" / "hut.toml").write_text(hut(6, "hf-5w"))
    kitopt("pack", root / "proof" / "hut.toml", "--inventory", root, "--brief", "--certificate", root / PROOF)
    shutil.rmtree(root / "proof")
    assert (root / PROOF).exists()
    return root


class Hang(Exception):
    """It took too long."""


@contextlib.contextmanager
def _soon() -> Iterator[None]:
    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def _changed(text: str, name: str, chance: random.Random) -> str:
    """The text of a file with one cell, one name of a column or one value of a key changed."""
    lines = text.splitlines(keepends=True)
    if name == PROOF:
        return _changed_proof(text, chance)
    if name.endswith(".toml"):
        at = chance.choice([n for n, line in enumerate(lines) if "=" in line.split("#")[0]])
        key, _, _ = lines[at].partition("=")
        if chance.random() < 0.1:
            key = json.dumps(chance.choice(CELLS))
        value = chance.choice(TOML_VALUES) if chance.random() < 0.4 else json.dumps(chance.choice(CELLS))
        if chance.random() < 0.05:
            # as it is typed, without marks
            value = chance.choice(CELLS)
        lines[at] = f"{key} = {value}\n"
        return "".join(lines)
    at = chance.randrange(len(lines)) if chance.random() < 0.9 else 0
    cells = lines[at].rstrip("\n").split(",")
    cell = chance.choice(CELLS)
    if chance.random() < 0.3:
        cell = "".join(
            chr(chance.choice([*range(32, 127), 0x1B, 0x9B, 0xA0, 0x3A9])) for _ in range(chance.randrange(9))
        )
    cells[chance.randrange(len(cells))] = f'"{cell}"' if chance.random() < 0.5 else cell
    lines[at] = ",".join(cells) + "\n"
    # one in ten in the other dialect
    return "".join(lines).replace(",", ";") if chance.random() < 0.1 else "".join(lines)


def _changed_proof(text: str, chance: random.Random) -> str:
    """One value of a proof changed, of whatever sort, or some letters left out."""
    if chance.random() < 0.2:
        at = chance.randrange(len(text))
        return text[:at] + text[at + chance.randrange(1, 9) :]
    value = json.loads(text)
    inner, key = value, chance.choice(list(value))
    # down by one in four at each step, so that the short lists near the top have their turn
    while isinstance(inner[key], dict | list) and inner[key] and chance.random() < 0.8:
        inner = inner[key]
        key = chance.choice(list(inner) if isinstance(inner, dict) else range(len(inner)))
    if chance.random() < 0.2:
        del inner[key]
    else:
        inner[key] = chance.choice(JSON_VALUES if chance.random() < 0.6 else CELLS)
    return json.dumps(value)


def _command(root: Path, name: str) -> list[str]:
    if name.startswith("catalogue"):
        return ["check", "--inventory", str(root / "catalogue")]
    if name == "grab-kit.toml":
        # an inventory without its files: the plan is read and told, and nothing is chosen
        return ["grab-kit", str(root / name), "--inventory", str(root / "empty")]
    if name == PROOF:
        return ["verify", str(root / name)]
    if name == "season.toml":
        return ["buy", str(root / name), "--inventory", str(root / "empty")]
    return ["check", str(root / "operation.toml"), "--inventory", str(root)]


def _one(root: Path, names: list[str], number: int) -> None:
    chance = random.Random(number)
    share = chance.random()
    name = (
        "weather.csv"
        if share < WEATHER_SHARE
        else PROOF
        if share < WEATHER_SHARE + PROOF_SHARE
        else chance.choice(names)
    )
    path = root / name
    good = path.read_bytes()
    try:
        path.write_text(_changed(good.decode(), name, chance), encoding="utf-8", newline="")
        with _soon():
            if name == "weather.csv":
                with contextlib.suppress(BadInput):
                    read_weather(path)
                return
            is_json = chance.random() < 0.2
            done = kitopt(*_command(root, name), *(["--json"] if is_json else []))
    finally:
        path.write_bytes(good)
    code, out, err = done.returncode, done.stdout, done.stderr
    assert code in (0, 2), f"{number}: {name}: {code}: {err[-600:]}"
    assert "Traceback" not in err
    for text in (out, err):
        found = CONTROL.search(text)
        assert found is None, f"{number}: {name}: {found and text[max(0, found.start() - 80) : found.end() + 20]!r}"
    if is_json:
        json.loads(out)
    else:
        assert out if code == 0 else err, f"{number}: {name} is silent"


def test_a_changed_cell_ends_in_an_answer_or_in_faults(folder: Path, cell_numbers: range) -> None:
    # the largest that this process has been, other tests' work included
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    names = sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file() and path.name not in ("weather.csv", PROOF)
    )
    for number in cell_numbers:
        _one(folder, names, number)
    after_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert after_kb == before_kb or after_kb < MOST_KB


def test_the_files_are_good_before_anything_is_changed(folder: Path) -> None:
    for args in (["check", str(folder / "operation.toml")], ["check", "--inventory", str(folder / "catalogue")]):
        done = kitopt(*args)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
        assert "Warnings" not in done.stdout
