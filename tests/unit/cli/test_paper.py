"""What is written beside the answer is refused before any long work, and nothing is asked that it does not show."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import pytest

from kitopt.budget import UNLIMITED
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
