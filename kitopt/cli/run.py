"""From arguments to an exit code: every error becomes words here, and only here.

Parsing and running are two steps, so that the parser's own handling of interrupts and broken
pipes, which has other exit codes, never meets a running command.
"""

from __future__ import annotations

import contextlib
import gc
import io
import os
import sys
import traceback
import warnings
from collections.abc import Sequence
from typing import NoReturn, TextIO

from kitopt.cli.request import BAD_INPUT, DEFECT, FOUND, INTERRUPTED, Answer, Request
from kitopt.errors import BadInput, Fault


def main(args: Sequence[str] | None = None) -> NoReturn:
    """Run one command line and exit.

    Parameters
    ----------
    args : sequence of str, optional
        Those of the process when not given.
    """
    given = list(sys.argv[1:] if args is None else args)
    # one short run makes few cycles: looking for them often costs a tenth of its time
    gc.set_threshold(100_000)
    try:
        code = _answer(given)
    except KeyboardInterrupt:
        code = INTERRUPTED
    sys.exit(code)


def _answer(args: list[str]) -> int:
    if not sys.warnoptions:
        # what libraries warn of concerns developers
        warnings.simplefilter("ignore")
    options = args[: args.index("--")] if "--" in args else args
    request = Request(run=lambda: Answer(""), is_json="--json" in options)
    try:
        parsed = _parse(args)
        if isinstance(parsed, Answer):
            return _write(sys.stdout, parsed.text) or parsed.exit_code
        request = parsed
        answer = request.run()
    except BadInput as error:
        answer = Answer(_bad_input(request, error.faults), BAD_INPUT)
    except KeyboardInterrupt:
        _say("Interrupted.\n")
        answer = Answer(_failure(request, "interrupted", "interrupted"), INTERRUPTED)
    except Exception as error:
        if os.environ.get("KITOPT_TRACEBACK"):
            traceback.print_exc()
        told = " ".join(str(error).split())[:300]
        text = f"a defect in kitopt, please report it: {type(error).__name__}: {told}"
        _say(f"kitopt: {text}\n")
        answer = Answer(_failure(request, "defect", text), DEFECT)
    return _write(sys.stdout, answer.text) or answer.exit_code


def _parse(args: list[str]) -> Request | Answer:
    """What is asked for, or the parser's own answer such as the help text."""
    from kitopt.cli.app import parse

    spoken = io.StringIO()
    with contextlib.redirect_stdout(spoken):
        parsed = parse(args)
    return parsed if isinstance(parsed, Request) else Answer(spoken.getvalue(), parsed)


def _bad_input(request: Request, faults: Sequence[Fault]) -> str:
    if request.is_json:
        from kitopt.report.document import as_json

        told = [{"file": f.file, "line": f.line, "column": f.column, "text": f.text} for f in faults]
        return as_json({"schema": request.schema, "status": "bad-input", "faults": told})
    lines = [str(fault) for fault in faults]
    if len(faults) > 1:
        lines.append(f"({len(faults)} faults.)")
    _say("\n".join(lines) + "\n")
    return ""


def _failure(request: Request, status: str, text: str) -> str:
    if not request.is_json:
        return ""
    from kitopt.report.document import as_json

    return as_json({"schema": request.schema, "status": status, "text": text})


def _say(text: str) -> None:
    _write(sys.stderr, text)


def _write(stream: TextIO | None, text: str) -> int:
    """Write all of it; a reader that has gone away is no failure."""
    if stream is None or not text:
        return FOUND
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")
    try:
        stream.write(text)
        stream.flush()
    except BrokenPipeError:
        # or Python complains when it flushes at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except OSError as error:
        if stream is not sys.stderr:
            _say(f"kitopt: the answer cannot be written: {error.strerror}.\n")
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
        return DEFECT
    return FOUND
