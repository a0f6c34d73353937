"""What is written beside the answer is refused before any long work."""

from __future__ import annotations

from pathlib import Path

import pytest

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
