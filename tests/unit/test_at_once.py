"""Parts of an answer: the same whether copies of the process work some out, or die of it, or there are none."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.at_once import at_once

BEGIN = """
import os, sys, time
from kitopt import copies
from kitopt.at_once import at_once

def told(part):
    print(part, os.getpid() == HERE)
    return part

HERE = os.getpid()
copies.n_beside = lambda: 1 if sys.platform == "linux" else 0

def awaited(path):
    ends = time.monotonic() + 50
    while not os.path.exists(path) and time.monotonic() < ends:
        time.sleep(0.01)
"""


def run(text: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", BEGIN + text], capture_output=True, text=True, timeout=60)


def awaited(is_so: Callable[[], bool]) -> bool:
    ends = time.monotonic() + 20
    while not is_so() and time.monotonic() < ends:
        time.sleep(0.02)
    return is_so()


def is_ended(process: Path) -> bool:
    """Whether there is no such process, or but the name of one that nobody waits for."""
    try:
        return ") Z " in (process / "stat").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return True


needs_copies = pytest.mark.skipif(sys.platform != "linux", reason="only there a process is copied")


@needs_copies
def test_whoever_is_free_takes_the_next_part_and_a_copy_says_nothing(tmp_path: Path) -> None:
    done = run(
        f"""
def slow():
    awaited({str(tmp_path / "done")!r})
    return told(os.getpid())

def quick(is_last):
    if is_last:
        open({str(tmp_path / "done")!r}, "w").close()
    return told(os.getpid())

first, *others = at_once([slow, lambda: quick(False), lambda: quick(False), lambda: quick(True)])
print(len(set(others)), first in others, HERE in (first, *others))
"""
    )
    assert (done.returncode, done.stderr) == (0, "")
    *here, last = done.stdout.splitlines()
    assert last == "1 False True"
    assert len(here) in (1, 3)
    assert all(line.endswith(" True") for line in here)


@needs_copies
@pytest.mark.parametrize(
    "end",
    [
        "os._exit(3)",
        "os.kill(os.getpid(), 9)",
        "raise SystemExit(0)",
        # what it comes to cannot be pickled
        "return lambda: 0",
    ],
)
def test_what_a_copy_dies_of_is_worked_out_here(end: str) -> None:
    done = run(
        f"""
def part():
    if os.getpid() != HERE:
        {end}
    return told("two")
print(at_once([part, lambda: told("one")]))
"""
    )
    assert (done.returncode, done.stderr) == (0, "")
    # a copy begins with the first
    assert done.stdout.splitlines() == ["one True", "two True", "['two', 'one']"]


@needs_copies
def test_a_fault_of_either_part_is_told_from_here_and_no_copy_is_left() -> None:
    after = (
        "finally:\n    try: print('left', os.waitpid(-1, os.WNOHANG))\n    except ChildProcessError: print('none left')"
    )
    one = run(f"try: at_once([lambda: 1 / 0, lambda: 1 / 0, lambda: time.sleep(50)])\n{after}")
    assert one.stdout == "none left\n"
    assert "ZeroDivisionError" in one.stderr
    two = run(f"try: at_once([lambda: 1, lambda: [][1]])\n{after}")
    assert two.stdout == "none left\n"
    assert two.stderr.count("IndexError") == 1


@needs_copies
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_whatever_ends_the_process_ends_its_copies(tmp_path: Path, number: signal.Signals) -> None:
    told = tmp_path / "copies"
    text = f"""
def part():
    if os.getpid() != HERE:
        with open({str(told)!r} + ".new", "w") as file:
            file.write(str(os.getpid()))
        os.rename({str(told)!r} + ".new", {str(told)!r})
    time.sleep(50)
at_once([part, part])
"""
    parent = subprocess.Popen([sys.executable, "-c", BEGIN + text])
    try:
        assert awaited(told.exists)
        copy = Path("/proc", told.read_text())
        assert not is_ended(copy)
        parent.send_signal(number)
        parent.wait(20)
        assert awaited(lambda: is_ended(copy))
    finally:
        parent.kill()
        parent.wait()


@needs_copies
def test_more_than_a_pipe_holds_comes_through() -> None:
    done = run("print(len(at_once([lambda: bytes(3_000_000)] * 2)[1]))")
    assert done.stdout == "3000000\n", done.stderr


@needs_copies
def test_of_more_parts_than_a_byte_counts_each_is_worked_out_in_its_place() -> None:
    done = run("print(at_once([lambda i=i: i for i in range(300)]) == list(range(300)))")
    assert done.stdout == "True\n", done.stderr


def test_beside_another_thread_nothing_is_copied() -> None:
    is_over = threading.Event()
    other = threading.Thread(target=is_over.wait)
    other.start()
    try:
        # what is no copy can add to a list of this process
        seen: list[int] = []
        assert at_once([lambda: seen.append(1), lambda: seen.append(2)]) == [None, None]
        assert seen == [1, 2]
    finally:
        is_over.set()
        other.join()
