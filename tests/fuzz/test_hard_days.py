"""Killed at any moment, on a disk that is full or goes away, two at once, what was kept broken: nothing is half there.

What a command that ended well had acknowledged is on the disk, whole; what was there before is there, or its
replacement; and the next command works as if nothing had been.
"""

from __future__ import annotations

import contextlib
import json
import random
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from kitopt.inventory import read_inventory

sys.path.insert(0, str(Path(__file__).parents[1] / "laws"))
from certified import FILES
from dark_hut import hut

HERE = Path(__file__).parent
PLACE = ("--where", "46.1,14.5", "--at", "2027-06-12T13:00")
READINGS = "at,battery,discharged_ah\n2027-06-01T12:00+00:00,box-10,9.2\n"

COMMANDS: dict[str, list[str]] = {
    "start": ["start", "kit"],
    "reading": ["reading", "box-10", "--discharged", "9.1Ah", "--inventory", ".", *PLACE, "--keep"],
    "out": ["pack", "hut.toml", "--no-reasons", "--out", "held"],
    "certificate": ["pack", "hut.toml", "--brief", "--certificate", "proof.json"],
    "kept": ["pack", "hut.toml", "--no-reasons"],
    "fetch": [
        *("fetch-weather", "--latitude", "43.46", "--longitude", "-3.8"),
        *("--first-year", "2020", "--last-year", "2020", "coast.csv", "--force"),
    ],
}
QUICK = ("start", "reading", "certificate", "kept")
KILLED = (*QUICK, *QUICK, *QUICK[:2], "out", "fetch")
"""In turn: whatever takes longer less often."""
WRITES = {"start": "kit", "out": "held", "certificate": "proof.json", "fetch": "coast.csv"}


@dataclass
class Runner:
    """The warm process, and what commands come to when nothing is done to them."""

    process: subprocess.Popen[str]
    url: str
    whole: dict[str, dict[str, Any]] = field(default_factory=dict)
    files: dict[str, dict[str, bytes]] = field(default_factory=dict)

    def run(self, folder: Path, args: list[str], **how: Any) -> dict[str, Any]:
        order = {"cwd": str(folder), "args": args, "url": self.url, "env": {"KITOPT_CACHE": str(folder / "cache")}}
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        print(json.dumps(order | how), file=self.process.stdin, flush=True)
        return dict(json.loads(self.process.stdout.readline()))

    def undisturbed(self, name: str, folder: Path) -> dict[str, Any]:
        """The answer and the files of a command that nobody disturbs, in a folder of its own."""
        if name not in self.whole:
            place = folder / f"whole-{name}"
            self.whole[name] = self.run(laid_out(place), COMMANDS[name])
            assert self.whole[name]["codes"] == [0], self.whole[name]
            self.files[name] = contents(place / WRITES[name]) if name in WRITES else {}
        return self.whole[name]


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    """A year of invented weather, in the form of NASA POWER's hourly answers."""
    sys.path.insert(0, str(HERE.parent / "unit" / "sky"))
    from test_sky_fetch import answer_to

    known: dict[str, bytes] = {}

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            params = {key: values[0] for key, values in parse_qs(urlsplit(self.path).query).items()}
            content = known.setdefault(self.path, json.dumps(answer_to(params)).encode())
            self.send_response(200)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *args: Any) -> None:
            pass

        def handle(self) -> None:
            # whoever asked may have been killed
            with contextlib.suppress(ConnectionError):
                super().handle()

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads, server.block_on_close = True, False
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}/hourly"
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def runner(service: str) -> Iterator[Runner]:
    with subprocess.Popen(
        [sys.executable, str(HERE / "warm.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield Runner(process, service)
        assert process.stdin is not None
        process.stdin.close()


def laid_out(folder: Path) -> Path:
    """A folder with an inventory, an operation and a reading that is kept."""
    folder.mkdir(parents=True)
    for name, text in (FILES | {"hut.toml": hut(8), "readings.csv": READINGS}).items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def contents(place: Path) -> dict[str, bytes]:
    """Every file at a path or below it, by name."""
    files = sorted(place.rglob("*")) if place.is_dir() else [place] if place.exists() else []
    return {str(path.relative_to(place.parent)): path.read_bytes() for path in files if path.is_file()}


def seconds_of(runner: Runner, name: str, folder: Path) -> float:
    return float(runner.undisturbed(name, folder)["took_s"])


def is_whole(runner: Runner, name: str, folder: Path, before: dict[str, bytes]) -> bool:
    """Whether what a command writes is as it was before, or as it is without any harm."""
    found = {n: text for n, text in contents(folder / WRITES[name]).items() if not Path(n).name.startswith(".")}
    return all(found.get(n) in (before.get(n), runner.files[name].get(n)) for n in {*found, *before})


def assert_all_is_well(runner: Runner, name: str, folder: Path, before: dict[str, bytes], what: str) -> None:
    """Nothing half, nothing that was kept lost, and the next command as ever."""
    if name in WRITES:
        assert is_whole(runner, name, folder, before), what
        if name == "start":
            # nothing or all of it
            assert contents(folder / "kit") in ({}, runner.files[name]), what
            shutil.rmtree(folder / "kit", ignore_errors=True)
    assert (folder / "readings.csv").read_text().startswith(READINGS), what
    again = runner.run(folder, COMMANDS[name])
    assert again["codes"] == [0], (what, again)
    if name in WRITES:
        assert contents(folder / WRITES[name]) == runner.files[name], what
        assert not [path for path in folder.iterdir() if path.name.endswith(".kitopt-part")], what
    else:
        assert name == "reading" or again["out"] == runner.undisturbed(name, folder)["out"], what
    read_inventory(folder)


Harm = Callable[[random.Random, float, Path], dict[str, Any]]


def at_a_moment(rng: random.Random, took_s: float, folder: Path) -> dict[str, Any]:
    return {"after_s": rng.uniform(0.0, took_s)}


def while_it_writes(rng: random.Random, took_s: float, folder: Path) -> dict[str, Any]:
    return {"watch": rng.choice([0.0, rng.uniform(0.0, 0.002), rng.uniform(0.0, 0.02)])}


def test_killed_at_any_moment(runner: Runner, tmp_path: Path, kill_numbers: range) -> None:
    for number in kill_numbers:
        rng = random.Random(number)
        name = KILLED[number % len(KILLED)]
        took_s = seconds_of(runner, name, tmp_path)
        folder = laid_out(tmp_path / str(number))
        if name in WRITES and name != "start" and rng.random() < 0.5:
            # something is there already
            path = folder / WRITES[name]
            path = path / "kit.html" if name == "out" else path
            path.parent.mkdir(exist_ok=True)
            path.write_text("what was there before")
        before = contents(folder / WRITES[name]) if name in WRITES else {}
        harm = rng.choice([at_a_moment, while_it_writes])
        how = harm(rng, took_s, folder)
        done = runner.run(folder, COMMANDS[name], **how)
        what = f"kill {number}: {name}, {how}"
        assert done["codes"][0] in (0, -9), (what, done)
        if name == "reading" and done["codes"] == [0] and done["out"][0]:
            # it was acknowledged
            assert (folder / "readings.csv").read_text().count("\n") == READINGS.count("\n") + 1, what
        assert_all_is_well(runner, name, folder, before, what)
        shutil.rmtree(folder)


@pytest.mark.parametrize("name", ["reading", "certificate", "start"])
def test_a_disk_that_is_full_is_told_and_nothing_is_half_there(runner: Runner, tmp_path: Path, name: str) -> None:
    runner.undisturbed(name, tmp_path)
    folder = laid_out(tmp_path / "full")
    # the line does not fit in any more, nor any file that is written
    limit = len(READINGS) + 10 if name == "reading" else 300
    done = runner.run(folder, COMMANDS[name], largest_bytes=limit)
    assert "File too large" in done["err"][0] + done["out"][0], done
    assert done["codes"] == [2], done
    assert (folder / "readings.csv").read_text() == READINGS
    assert name not in WRITES or not (folder / WRITES[name]).exists()
    assert_all_is_well(runner, name, folder, {}, name)


def test_where_nothing_can_be_kept_all_is_as_ever(runner: Runner, tmp_path: Path) -> None:
    right = runner.undisturbed("kept", tmp_path)
    for name, made in (("a file", lambda path: path.write_text("")), ("nowhere", lambda path: None)):
        folder = laid_out(tmp_path / name)
        made(folder / "cache")
        env = {"KITOPT_CACHE": "/proc/nowhere" if name == "nowhere" else str(folder / "cache")}
        assert runner.run(folder, COMMANDS["kept"], env=env)["out"] == right["out"]


@pytest.mark.parametrize("name", ["reading", "out", "certificate"])
def test_a_disk_that_goes_away_is_told(runner: Runner, tmp_path: Path, name: str) -> None:
    took_s = seconds_of(runner, name, tmp_path)
    rng = random.Random(name)
    folder = laid_out(tmp_path / "gone")
    done = runner.run(folder, COMMANDS[name], after_s=rng.uniform(0.0, took_s), take_away=str(folder))
    assert done["codes"][0] in (0, 2), done
    assert "Traceback" not in done["err"][0]
    assert "defect" not in done["err"][0]


@pytest.mark.parametrize("name", QUICK)
def test_two_at_once_are_as_one_after_the_other(runner: Runner, tmp_path: Path, name: str) -> None:
    right = runner.undisturbed(name, tmp_path)
    folder = laid_out(tmp_path / "two")
    done = runner.run(folder, COMMANDS[name], at_once=2)
    if name == "start":
        # one of them finds it there
        assert sorted(done["codes"]) == [0, 2], done
    else:
        assert done["codes"] == [0, 0], done
        assert name == "reading" or done["out"] == right["out"] * 2
    if name == "reading":
        assert (folder / "readings.csv").read_text().count("\n") == READINGS.count("\n") + 2
    else:
        assert_all_is_well(runner, name, folder, {}, name)


def test_what_was_kept_and_is_broken_is_made_anew(runner: Runner, tmp_path: Path) -> None:
    right = runner.undisturbed("kept", tmp_path)
    folder = laid_out(tmp_path / "broken")
    runner.run(folder, COMMANDS["kept"])
    rng = random.Random(1)
    entries = sorted((folder / "cache").iterdir())
    assert entries
    for path in entries:
        content = bytearray(path.read_bytes())
        if rng.random() < 0.5:
            del content[rng.randrange(len(content)) :]
        else:
            content[rng.randrange(len(content))] ^= 255
        path.write_bytes(content)
    assert runner.run(folder, COMMANDS["kept"])["out"] == right["out"]
