"""The sheet: each kit on one page of paper or two, in black, tagged so that it can be read aloud."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from importlib.resources import files
from tempfile import gettempdir
from typing import Any, Literal

from kitopt.report.page import KitOnPage
from kitopt.report.sheet.values import sheets_of

__all__ = ["Paper", "sheet"]

Paper = Literal["a4", "us-letter"]
SIZES_PT = (10.5, 9.75, 9.0)
"""Of the letters, tried until each kit has one page; else the things on one and the field on others."""
_LAST_LETTER = 0x0590
_SIGNS = (0x2000, 0x2300)


def sheet(title: str, kits: Sequence[KitOnPage], paper: Paper = "a4") -> tuple[bytes, bool]:
    """A PDF of all kits, tagged after PDF/UA-1, and whether letters had to be replaced because no font has them.

    Raises
    ------
    ModuleNotFoundError
        Without the library that sets it: the extra ``sheet``.
    """
    import typst

    values = {"title": title, "paper": paper, "kits": [one for kit in kits for one in sheets_of(kit)]}
    source = files(__package__).joinpath("sheet.typ").read_bytes()

    def at(
        size_pt: float, told: dict[str, Any], *, is_own: bool, is_split: bool = False, has_picture: bool = False
    ) -> bytes:
        flags = {"split": "yes" if is_split else "no", "picture": "yes" if has_picture else "no"}
        inputs = {"data": json.dumps(told), "size": f"{size_pt:g}", **flags}
        # it asks where it is, which may be gone, unless it is told a folder
        how: dict[str, Any] = {"root": gettempdir(), "ignore_system_fonts": is_own}
        made = typst.compile(source, sys_inputs=inputs, pdf_standards=["ua-1"], **how)
        assert isinstance(made, bytes)
        return made

    is_replaced = is_own = True
    for told, is_own in ((values, True), (values, False), (_plain(values), True)):
        is_replaced = told is not values
        try:
            found = at(SIZES_PT[0], told, is_own=is_own)
            break
        except typst.TypstError:
            if is_replaced:
                raise
    size_pt, n_pages = SIZES_PT[0], len(values["kits"])
    if _pages(found) > n_pages:
        # the smallest first: where it does not do, none does
        for smaller_pt in reversed(SIZES_PT[1:]):
            smaller = at(smaller_pt, told, is_own=is_own)
            if _pages(smaller) > n_pages:
                break
            size_pt, found = smaller_pt, smaller
    if _pages(found) > n_pages:
        # the field by itself, a page for each circuit
        n_pages += sum(len(kit.carried) for kit in kits)
        for size_pt, has_picture in ((SIZES_PT[0], True), *((one, False) for one in SIZES_PT)):
            found = at(size_pt, told, is_own=is_own, is_split=True, has_picture=has_picture)
            if _pages(found) <= n_pages:
                break
        return found, is_replaced
    # the picture of the charge where it takes no page more
    drawn = at(size_pt, told, is_own=is_own, has_picture=True)
    return drawn if _pages(drawn) <= n_pages else found, is_replaced


def _pages(pdf: bytes) -> int:
    """How many pages a PDF of the typesetter has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def _plain(value: Any) -> Any:
    """The same with a question mark for each letter that the font may lack."""
    if isinstance(value, str):
        return "".join(a if ord(a) < _LAST_LETTER or _SIGNS[0] <= ord(a) < _SIGNS[1] else "?" for a in value)
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, list) else value
