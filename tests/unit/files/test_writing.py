"""The one way out to the disk: nothing is harmed, nothing is half there, nothing is left behind."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from kitopt.errors import BadInput
from kitopt.files import writing
from kitopt.files.writing import append_lines, check_folder, check_target, is_name_on_windows, write_file, write_folder

TWO = {"a.csv": "first", "b.csv": "second"}


def test_a_file_is_written_whole_with_the_mode_of_any_new_file(tmp_path: Path) -> None:
    path, plain = tmp_path / "new.csv", tmp_path / "plain.csv"
    plain.write_text("")
    write_file(path, "ä\n")
    assert path.read_bytes() == "ä\n".encode()
    assert path.stat().st_mode == plain.stat().st_mode


def test_a_file_that_is_replaced_keeps_its_mode(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_text("old")
    path.chmod(0o640)
    with pytest.raises(BadInput, match="nothing is overwritten"):
        write_file(path, "new")
    assert path.read_text() == "old"
    write_file(path, "new", may_replace=True)
    assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == ("new", 0o640)
    assert os.listdir(tmp_path) == ["old.csv"]


def test_a_device_a_pipe_and_a_folder_are_no_targets(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "to-null").symlink_to("/dev/null")
    for path in (Path("/dev/null"), tmp_path / "pipe", tmp_path / "to-null", tmp_path):
        for write in (
            lambda path=path: write_file(path, "x", may_replace=True),
            lambda path=path: append_lines(path, "x\n"),
            lambda path=path: check_target(path, may_replace=True),
        ):
            with pytest.raises(BadInput, match=r"is a (device or pipe|folder)"):
                write()
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


def test_a_folder_that_is_gone_while_one_is_in_it_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    with pytest.raises(BadInput, match="No such file or directory"):
        check_target(Path("a.csv"), may_replace=True)


def test_links_are_followed_and_stay_links_even_dangling_ones(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    link = tmp_path / "link.csv"
    link.symlink_to("real/there.csv")
    write_file(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "real" / "there.csv").read_text() == "new"
    write_file(link, "newer", may_replace=True)
    assert link.is_symlink()
    assert link.read_text() == "newer"
    (tmp_path / "astray").symlink_to("none/there.csv")
    with pytest.raises(BadInput, match="there is no folder"):
        write_file(tmp_path / "astray", "new")
    (tmp_path / "round").symlink_to("round")
    with pytest.raises(BadInput, match="symbolic links"):
        write_file(tmp_path / "round", "new")


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BadInput, match=r"there is no folder .*none"):
        check_target(tmp_path / "none" / "a.csv", may_replace=True)
    with pytest.raises(BadInput, match="too long"):
        write_file(tmp_path / ("n" * 300), "")
    # a name that just fits leaves room for that of the unfinished file
    write_file(tmp_path / ("n" * 251 + ".csv"), "")
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(BadInput, match="Permission denied"):
        check_target(tmp_path / "a.csv", may_replace=True)


def test_names_that_windows_takes_for_devices_or_shortens() -> None:
    # Microsoft, "Naming Files, Paths, and Namespaces" (from memory)
    bad = [
        "CON",
        "nul.csv",
        "Aux.tar.gz",
        "com1",
        "LPT9.txt",
        "com¹",
        "a.",
        "a ",
        "a:b",
        "what?",
        "a\x1fb",
        'a"b',
        "con .x",
    ]
    good = ["console.csv", "com10", "nullify", "a.b", ".hidden", "ä b.csv"]
    assert [name for name in bad if is_name_on_windows(name)] == []
    assert [name for name in good if not is_name_on_windows(name)] == []


def test_a_device_of_windows_is_no_target_there_and_any_name_is_one_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert check_target(tmp_path / "nul.csv", may_replace=False) == tmp_path / "nul.csv"
    with monkeypatch.context() as on_windows:
        on_windows.setattr(sys, "platform", "win32")
        with pytest.raises(BadInput, match=r"nul\.csv: is no name for a file"):
            check_target(tmp_path / "nul.csv", may_replace=False)
        # it knows no folders that are synchronised, and does without
        write_file(tmp_path / "a.csv", "x")
    assert (tmp_path / "a.csv").read_text() == "x"


@pytest.mark.parametrize("path", ["/", "a\0b"])
def test_what_no_system_takes_for_a_name_is_told(path: str) -> None:
    with pytest.raises(BadInput, match="is no name for a file"):
        write_file(Path(path), "x")


def test_a_folder_that_another_made_meanwhile_is_left_as_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "kit"
    real = writing._sync_folder

    def quicker(folder: Path) -> None:
        real(folder)
        if not target.exists():
            target.mkdir()
            (target / "a.csv").write_text("theirs")

    monkeypatch.setattr(writing, "_sync_folder", quicker)
    with pytest.raises(BadInput, match="another process has made it meanwhile"):
        write_folder(target, TWO)
    assert [path.name for path in tmp_path.iterdir()] == ["kit"]
    assert {path.name: path.read_text() for path in target.iterdir()} == {"a.csv": "theirs"}


def refusing_locks(monkeypatch: pytest.MonkeyPatch, error: OSError) -> None:
    import fcntl

    def flock(_: int, __: int) -> None:
        raise error

    monkeypatch.setattr(fcntl, "flock", flock)


@pytest.mark.parametrize("number", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL])
def test_where_nothing_can_be_locked_files_are_written_and_nothing_is_swept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """Without a lock nobody knows whether another still writes what looks left over."""
    part = tmp_path / ".b.csv.0123456789abcdef.kitopt-part"
    part.write_text("perhaps another's")
    refusing_locks(monkeypatch, OSError(number, "no locks here"))
    write_file(tmp_path / "a.csv", "x")
    assert sorted(path.name for path in tmp_path.iterdir()) == [part.name, "a.csv"]


def test_a_lock_that_fails_otherwise_is_told_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    refusing_locks(monkeypatch, OSError(errno.EIO, "Input/output error"))
    with pytest.raises(BadInput, match="cannot be written: Input/output error"):
        write_file(tmp_path / "a.csv", "x")
    assert list(tmp_path.iterdir()) == []


def failing(monkeypatch: pytest.MonkeyPatch, call: int) -> None:
    """The system's renaming, out of room at one call."""
    calls = 0
    real = os.replace

    def replace(source: Any, target: Any) -> None:
        nonlocal calls
        calls += 1
        if calls == call:
            raise OSError(28, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)


def test_a_disk_that_fails_leaves_no_new_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    failing(monkeypatch, 1)
    with pytest.raises(BadInput, match="No space left"):
        write_folder(tmp_path / "new" / "kit", TWO)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("call", [1, 2])
@pytest.mark.parametrize("has_old", [False, True])
def test_a_disk_that_fails_half_way_leaves_a_folder_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: int, has_old: bool
) -> None:
    if has_old:
        (tmp_path / "a.csv").write_text("mine")
    before = {path.name: path.read_text() for path in tmp_path.iterdir()}
    failing(monkeypatch, call)
    with pytest.raises(BadInput, match="No space left"):
        write_folder(tmp_path, TWO, may_replace=True)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == before


def test_several_files_are_written_and_replaced_together(tmp_path: Path) -> None:
    assert write_folder(tmp_path / "x" / "y", TWO) == [tmp_path / "x" / "y" / name for name in TWO]
    write_folder(tmp_path / "x" / "y", {"a.csv": "third", "c.csv": "new"}, may_replace=True)
    found = {path.name: path.read_text() for path in (tmp_path / "x" / "y").iterdir()}
    assert found == {"a.csv": "third", "b.csv": "second", "c.csv": "new"}
    with pytest.raises(BadInput) as caught:
        write_folder(tmp_path / "x" / "y", TWO)
    assert len(caught.value.faults) == 2


def test_names_that_some_systems_do_not_tell_apart_are_refused(tmp_path: Path) -> None:
    # macOS and Windows keep no difference between capitals and small letters, macOS none between é and e with an accent
    for names in (("Mia.csv", "mia.csv"), ("\u00e9.csv", "e\u0301.csv")):
        with pytest.raises(ValueError, match="not told apart"):
            write_folder(tmp_path, dict.fromkeys(names, ""))


KILLED = """
import os, signal, sys
from pathlib import Path
from kitopt.files import writing
os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
from kitopt.operation.starter import write_starter
write_starter(Path(sys.argv[1]))
"""


def test_what_a_killed_start_leaves_is_swept_by_the_next(tmp_path: Path) -> None:
    for kit in (tmp_path / "kit", tmp_path):
        done = subprocess.run([sys.executable, "-c", KILLED, str(kit)], check=False, timeout=300)
        assert done.returncode == -signal.SIGKILL
    left = [path.name for path in tmp_path.iterdir()]
    assert left
    assert all(name.startswith(".") for name in left)
    from kitopt.operation.starter import starter_files, write_starter

    write_starter(tmp_path / "kit")
    assert [path.name for path in tmp_path.iterdir()] == ["kit"]
    assert sorted(path.name for path in (tmp_path / "kit").iterdir()) == sorted(starter_files())


def test_only_left_overs_are_swept(tmp_path: Path) -> None:
    ours = tmp_path / ".a.csv.0123456789abcdef.kitopt-part"
    theirs = [tmp_path / name for name in (".a.csv.part", "b.kitopt-part", ".hidden", ".0123456789abcdef.kitopt-part")]
    for path in (ours, *theirs):
        path.write_text("")
    write_file(tmp_path / "a.csv", "")
    assert not ours.exists()
    assert all(path.exists() for path in theirs)


APPENDS = """
import sys
from pathlib import Path
from kitopt.files.writing import append_lines
for n in range(100):
    append_lines(Path(sys.argv[1]), f"{sys.argv[2]},{n}\\n", first="who,n\\n")
    print(f"{sys.argv[2]},{n}", flush=True)
"""


def test_an_acknowledged_line_is_never_lost(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    command = [sys.executable, "-c", APPENDS, str(path)]
    writers = [subprocess.Popen([*command, str(who)], stdout=subprocess.PIPE, text=True) for who in range(4)]
    time.sleep(0.6)
    writers[0].kill()
    told = [writer.communicate(timeout=300)[0] for writer in writers]
    text = path.read_text()
    assert text.endswith("\n")
    lines = text.splitlines()
    assert lines[0] == "who,n"
    assert lines.count("who,n") == 1
    assert len(set(lines)) == len(lines)
    for said in told:
        assert set(said.split("\n")[:-1]) <= set(lines)
    assert len(told[1].splitlines()) == 100


def test_lines_are_added_behind_a_line_without_its_end_and_not_to_utf16(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("a\nb")
    append_lines(path, "c\n", first="never\n")
    assert path.read_text() == "a\nb\nc\n"
    path.write_bytes("a\n".encode("utf-16"))
    before = path.read_bytes()
    with pytest.raises(BadInput, match="UTF-16"):
        append_lines(path, "c\n")
    assert path.read_bytes() == before


def test_a_full_disk_leaves_the_lines_as_they_were(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("a\n")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        append_lines(path, "b\n")
    assert path.read_text() == "a\n"


def test_writers_wait_for_each_other_and_not_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writing, "_WAIT_S", 0.2)
    with ThreadPoolExecutor() as pool:
        with writing._only_writer(tmp_path), pytest.raises(BadInput, match="another process is writing"):
            pool.submit(write_file, tmp_path / "a.csv", "x").result(timeout=300)
        write_file(tmp_path / "a.csv", "x")
    assert os.listdir(tmp_path) == ["a.csv"]


def test_a_folder_is_refused_before_anything_is_written_there(tmp_path: Path) -> None:
    check_folder(tmp_path / "not" / "there", TWO, may_replace=True)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(BadInput, match="not a folder"):
        check_folder(tmp_path / "file", TWO, may_replace=True)
    (tmp_path / next(iter(TWO))).mkdir()
    with pytest.raises(BadInput, match="is a folder"):
        check_folder(tmp_path, TWO, may_replace=True)
