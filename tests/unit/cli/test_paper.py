"""What is written beside the answer is refused before any long work, and nothing is asked that it does not show."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import pypdf
import pytest
from in_process import kitopt

from kitopt.budget import UNLIMITED
from kitopt.cli import paper
from kitopt.cli.answering import Told
from kitopt.cli.paper import Paper
from kitopt.errors import BadInput


def test_a_folder_that_cannot_be_written_is_refused_at_once(tmp_path: Path) -> None:
    there = tmp_path / "file"
    there.write_text("x", encoding="utf-8")
    with pytest.raises(BadInput, match="not a folder"):
        Paper(out=there).check()
    (tmp_path / "kit.html").mkdir()
    with pytest.raises(BadInput, match=r"kit\.html"):
        Paper(out=tmp_path).check()
    Paper(out=tmp_path / "new").check()
    assert not (tmp_path / "new").exists()


class _NoKit:
    """A result without a kit, which remembers whether more was to be asked."""

    asked: bool

    def hold(self, *, is_asking: bool, **_: Any) -> _NoKit:
        self.asked = is_asking
        return self

    kits = ()


@pytest.mark.parametrize(("on", "is_asked"), [("sheet", False), ("page", True), ("out", True)])
def test_only_the_page_asks_for_the_table_that_it_shows(tmp_path: Path, on: str, is_asked: bool) -> None:
    found = _NoKit()
    Paper(**cast(Any, {on: tmp_path / "there"}), is_asking=True).write(cast(Told, found), UNLIMITED)
    assert found.asked is is_asked


def test_what_cannot_be_written_is_all_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        Paper(page=tmp_path / "kit.toml", sheet=tmp_path / "kit.html", format="a5").check()
    page, sheet, size = (str(fault) for fault in caught.value.faults)
    assert page.startswith("--page: found ")
    assert page.endswith('kit.toml", need a name that ends in .html: what is there is replaced.')
    assert sheet.endswith('kit.html", need a name that ends in .pdf: what is there is replaced.')
    assert size == '--paper: found "a5", need one of a4, letter.'


def test_a_page_is_not_put_over_a_folder(tmp_path: Path) -> None:
    (tmp_path / "kit.html").mkdir()
    with pytest.raises(BadInput, match=r"kit\.html"):
        Paper(page=tmp_path / "kit.html").check()


def test_without_the_typesetter_a_sheet_is_refused_with_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(paper, "find_spec", lambda name: None)
    with pytest.raises(BadInput, match=r"--sheet: the typesetter is missing: pip install 'kitopt\[sheet\]'"):
        Paper(sheet=tmp_path / "kit.pdf").check()
    # a folder holds what can be made without it
    Paper(out=tmp_path / "new").check()


def test_page_and_sheet_are_written_where_they_are_asked_for(hut: Path) -> None:
    page, sheet = hut / "there.html", hut / "there.pdf"
    done = kitopt("pack", hut / "hut.toml", "--no-reasons", "--page", page, "--sheet", sheet, "--paper", "letter")
    assert done.returncode == 0, done.stderr
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    first = pypdf.PdfReader(sheet).pages[0]
    # US letter is 8.5 by 11 inches of 72 points
    assert (float(first.mediabox.width), float(first.mediabox.height)) == (612.0, 792.0)
    # 16 h of 10 W are 160 Wh: three small boxes of 4 Ah x 12.8 V hold 153.6 Wh, so no kit goes without a tin box
    assert "tin box" in first.extract_text()


def test_a_folder_is_written_without_a_sheet_where_the_typesetter_is_missing(
    hut: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(paper, "find_spec", lambda name: None)
    done = kitopt("pack", hut / "hut.toml", "--no-reasons", "--out", hut / "held")
    assert done.returncode == 0, done.stderr
    assert "No sheet: the typesetter is missing: pip install 'kitopt[sheet]'." in done.stderr
    assert sorted(one.name for one in (hut / "held").iterdir()) == ["checklist.csv", "kit.html", "kit.json"]
