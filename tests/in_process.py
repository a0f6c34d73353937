"""A command in this process: for its answers; where descriptors or signals are on trial it is a process of its own."""

from __future__ import annotations

import contextlib
import functools
import io
import signal
from contextvars import copy_context
from subprocess import CompletedProcess

import pytest
import typer

from kitopt.cli import main

# it is built once: with many short commands that would take more than half of the time
_parser = functools.cache(typer.main.get_command)


def kitopt(*args: object) -> CompletedProcess[str]:
    """Run a command; interrupts, width and letters are then as they were before."""
    out, err = io.StringIO(), io.StringIO()
    words = [*map(str, args)]
    # a command ends deaf to interrupts; the processes of other tests would inherit that
    heard = signal.getsignal(signal.SIGINT)
    try:
        with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            patch.setattr(typer.main, "get_command", _parser)
            with pytest.raises(SystemExit) as ended:
                copy_context().run(main, words)
    finally:
        signal.signal(signal.SIGINT, heard)
    assert isinstance(ended.value.code, int)
    return CompletedProcess(words, ended.value.code, out.getvalue(), err.getvalue())
