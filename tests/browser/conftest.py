"""A browser without a network.

Where it is missing these tests skip and say what to install; where KITOPT_BROWSER says "must" they fail.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pages import Open, Opened

INSTALL = "apt-get install --no-install-recommends chromium && pip install -e '.[test]'"


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium."""
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        program = None
    if program is None:
        text = f"no browser; to run these tests: {INSTALL}"
        if os.environ.get("KITOPT_BROWSER") == "must":
            pytest.fail(text)
        pytest.skip(text)
    with sync_playwright() as play:
        # a container's root has no sandbox of its own
        started = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Open]:
    """Open some markup as a file, the network off; any request but for the file is a fault."""
    contexts = []

    def open_it(markup: str, *, wide: int = 360, theme: str = "light", script: bool = True) -> Opened:
        file = tmp_path / "kit.html"
        file.write_text(markup, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": wide, "height": 800}, color_scheme=theme, offline=True, java_script_enabled=script
        )
        contexts.append(context)
        found = Opened(context.new_page(), [])
        found.page.on("console", lambda said: found.faults.append(said.text) if said.type == "error" else None)
        found.page.on("pageerror", lambda error: found.faults.append(str(error)))
        found.page.on(
            "request",
            lambda asked: None if asked.url == file.as_uri() else found.faults.append(f"asks for {asked.url}"),
        )
        found.page.goto(file.as_uri())
        return found

    yield open_it
    for context in contexts:
        context.close()
