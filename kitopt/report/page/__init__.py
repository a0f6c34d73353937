"""The page: one file that needs nothing else, for a phone in the field and for paper."""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Sequence
from importlib.resources import files

from kitopt.report.page.html import Inside, Markup, el, name
from kitopt.report.page.kit import KitOnPage, article

__all__ = ["KitOnPage", "page", "whole"]


def page(title: str, kits: Sequence[KitOnPage], intro: str = "") -> str:
    """All kits in one document; where there are several, a list of them comes first.

    Parameters
    ----------
    title : str
        Of the document.
    intro : str
        A sentence before several kits.
    """
    main: list[Inside] = []
    if len(kits) > 1:
        links = [el("li", el("a", name(kit.title), href=f"#k{n}")) for n, kit in enumerate(kits, start=1)]
        main.append(el("nav", el("p", intro) if intro else None, el("ul", links), aria_label="Kits"))
    main += [article(kit, f"k{n}") for n, kit in enumerate(kits, start=1)]
    return whole(title, main, f"{_own('judge.js')}\n{_own('page.js')}")


def whole(title: str, main: Inside, script: str = "") -> str:
    """One document around what is told, with the style that all pages share and a script of its own, if any."""
    style = _own("page.css")
    policy = f"default-src 'none'; style-src '{_hash(style)}'; base-uri 'none'; form-action 'none'"
    policy += f"; script-src '{_hash(script)}'" if script else ""
    head = [
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("title", title),
        el("style", Markup(style)),
    ]
    body = el("body", el("main", main), el("script", Markup(script)) if script else None)
    return f"<!DOCTYPE html>\n{el('html', el('head', head), body, lang='en')}\n"


def _own(file: str) -> str:
    """A file that lies beside this one."""
    return files(__package__).joinpath(file).read_text(encoding="utf-8").replace("\r\n", "\n")


def _hash(text: str) -> str:
    return f"sha256-{b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
