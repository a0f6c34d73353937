"""Every case of this folder once more with odd names in its files: the same comes of it, and all of it is harmless."""

from __future__ import annotations

import csv
import io
import json
import shlex
from html.parser import HTMLParser
from pathlib import Path

import pytest
from golden_cases import FOLDER, Case, read_case, write_files
from in_process import kitopt
from odd_names import ODD, in_toml, oddly_named

from kitopt.report.checklist_csv import harmless

CASES = [case for path in sorted(FOLDER.glob("*.txt")) if (case := read_case(path)).files]
HELD = [
    case for case in CASES if case.exit == 0 and shlex.split(case.command)[1] in ("pack", "grab-kit", "share", "buy")
]


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]


def _named_oddly(case: Case, folder: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Write the files of a case and go there; what was typed after the program's name."""
    case.files = oddly_named(case.files, len(case.name))
    write_files(case, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setenv("COLUMNS", "80")
    return shlex.split(case.command)[1:]


def test_there_are_cases_of_every_sort() -> None:
    assert len(CASES) > 70
    assert {shlex.split(case.command)[1] for case in HELD} == {"pack", "grab-kit", "share", "buy"}
    text = "\n".join(text for case in HELD for text in oddly_named(case.files, len(case.name)).values())
    assert all(in_toml(odd)[1:-1] in text for odd in ODD), "each stands in a plan or an operation"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_is_printed_is_harmless(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done = kitopt(*_named_oddly(case, tmp_path, monkeypatch))
    assert done.returncode == case.exit, done.stderr
    said = (done.stdout + done.stderr).replace("\n", "")
    assert said.isprintable()


@pytest.mark.parametrize("case", HELD, ids=lambda case: case.name)
def test_what_is_written_is_harmless(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    words = [word for word in _named_oddly(case, tmp_path, monkeypatch) if word != "--brief"]
    done = kitopt(*words, "--json", "--out", "held")
    assert done.returncode == 0, done.stderr
    assert done.stderr.replace("\n", "").isprintable()
    if not (tmp_path / "held").exists():
        assert "Nothing is written" in done.stderr
        return
    assert json.loads((tmp_path / "held" / "kit.json").read_text(encoding="utf-8")) == json.loads(done.stdout)
    elements = _Elements()
    text = (tmp_path / "held" / "kit.html").read_text(encoding="utf-8")
    elements.feed(text)
    assert not {"img", "iframe", "object", "embed"} & elements.names
    assert elements.handlers == []
    assert "<script>alert" not in text
    assert text.replace("\n", "").isprintable()
    rows = list(csv.reader(io.StringIO((tmp_path / "held" / "checklist.csv").read_text(encoding="utf-8"))))
    assert all(cell == harmless(cell) for row in rows for cell in row)
    pypdf = pytest.importorskip("pypdf")
    for page in pypdf.PdfReader(tmp_path / "held" / "kit.pdf").pages:
        # the paper keeps its size whatever a name says
        assert float(page.mediabox.width) == pytest.approx(595.3, abs=1.0)
