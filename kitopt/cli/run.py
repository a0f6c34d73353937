"""From arguments to an exit code: every error becomes words here, and only here.

Parsing and running are two steps, so that the parser's own handling of interrupts and broken
pipes, which has other exit codes, never meets a running command.
"""

from __future__ import annotations

import contextlib
import gc
import io
import os
import re
import signal
import sys
import threading
import traceback
import warnings
from collections.abc import Callable, Sequence
from typing import NoReturn

from kitopt.cli.request import BAD_INPUT, DEFECT, INTERRUPTED, Answer, Request
from kitopt.cli.streams import say, settle, write_answer
from kitopt.errors import BadInput, Fault
from kitopt.files.plain import error_line

_SOUTH = re.compile(r"-[0-9.]+\s*[,;]")


def main(args: Sequence[str] | None = None, *, interrupted: Callable[[], bool] = lambda: False) -> NoReturn:
    """Run one command line and exit.

    Parameters
    ----------
    args : sequence of str, optional
        Those of the process when not given.
    interrupted : callable
        Whether the user has given up before anything could be answered.
    """
    given = [_no_option(one) for one in (sys.argv[1:] if args is None else args)]
    # one short run makes few cycles: looking for them often costs a tenth of its time
    gc.set_threshold(1_000_000)
    settle()
    try:
        code = _answer(given, interrupted)
    except KeyboardInterrupt:
        code = INTERRUPTED
    # all is said: an interrupt now would only add Python's own words
    with contextlib.suppress(ValueError):  # not the main thread, which interrupts never reach
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(code)


def _no_option(typed: str) -> str:
    """What was typed; a place south of the equator, such as -33.9,18.4, is no option for its minus."""
    return f" {typed}" if _SOUTH.match(typed) else typed


def _answer(args: list[str], interrupted: Callable[[], bool]) -> int:
    if not sys.warnoptions:
        # what libraries warn of concerns developers
        warnings.simplefilter("ignore")
    options = args[: args.index("--")] if "--" in args else args
    request = Request(run=lambda: Answer(""), is_json="--json" in options)
    try:
        if (
            signal.getsignal(signal.SIGINT) is not signal.SIG_IGN
            and threading.current_thread() is threading.main_thread()
        ):
            signal.signal(signal.SIGINT, signal.default_int_handler)
        if interrupted():
            raise KeyboardInterrupt
        parsed = _parse(args)
        if isinstance(parsed, Answer):
            return _told(parsed)
        request = parsed
        answer = request.run()
    except BadInput as error:
        answer = Answer(_bad_input(request, error.faults), BAD_INPUT)
    except KeyboardInterrupt:
        say("Interrupted.")
        answer = Answer(_failure(request, "interrupted", "interrupted"), INTERRUPTED)
    except Exception as error:
        if os.environ.get("KITOPT_TRACEBACK"):
            say(*traceback.format_exc().splitlines())
        text = f"a defect in kitopt, please report it: {error_line(error)}"
        say(f"kitopt: {text}")
        answer = Answer(_failure(request, "defect", text), DEFECT)
    return _told(answer)


def _told(answer: Answer) -> int:
    why = write_answer(answer.text)
    if why is None:
        return answer.exit_code
    say(f"kitopt: the answer cannot be written: {why}.")
    return DEFECT


def _parse(args: list[str]) -> Request | Answer:
    """What is asked for, or the parser's own answer such as the help text."""
    from kitopt.cli.app import parse

    spoken = io.StringIO()
    with contextlib.redirect_stdout(spoken):
        parsed = parse(args)
    return parsed if isinstance(parsed, Request) else Answer(spoken.getvalue(), parsed)


def _bad_input(request: Request, faults: Sequence[Fault]) -> str:
    if request.is_json:
        from kitopt.report.encode import as_json

        told = [{"file": f.file, "line": f.line, "column": f.column, "text": f.text} for f in faults]
        return as_json({"schema": request.schema, "status": "bad-input", "faults": told})
    lines = [str(fault) for fault in faults]
    if len(faults) > 1:
        lines.append(f"({len(faults)} faults.)")
    say(*lines)
    return ""


def _failure(request: Request, status: str, text: str) -> str:
    if not request.is_json:
        return ""
    from kitopt.report.encode import as_json

    return as_json({"schema": request.schema, "status": status, "text": text})
