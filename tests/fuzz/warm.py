"""Runs commands in forks of a process in which all is loaded, and kills, fills up or takes away what it is told to.

One JSON object a line comes in, one goes out. A fork is the command as its own process would be, but for the loading.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any


def start(order: dict[str, Any], streams: list[str]) -> int:
    """Fork the command; its process number."""
    number = os.fork()
    if number:
        return number
    code = 1
    try:
        os.chdir(order["cwd"])
        os.environ.update(order.get("env", {}))
        for descriptor, name in zip((1, 2), streams, strict=True):
            os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), descriptor)
        limit = order.get("largest_bytes")
        if limit is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        from kitopt.cli.run import main
        from kitopt.sky import fetch

        fetch.URL = order.get("url", fetch.URL)
        main(order["args"])
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    finally:
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except OSError:
                code = 1
        os._exit(code)
    return 0


def seen(folder: str) -> object:
    """What a watched folder holds: names, sizes and times."""
    found = []
    for above, _, files in os.walk(folder):
        for name in files:
            try:
                stat = os.stat(os.path.join(above, name))
                found.append((above, name, stat.st_size, stat.st_mtime_ns))
            except OSError:
                found.append((above, name, -1, 0))
    return sorted(found)


def obey(order: dict[str, Any]) -> dict[str, Any]:
    """Run a command, or two at once, and do to them what is asked."""
    with tempfile.TemporaryDirectory() as folder:
        n = order.get("at_once", 1)
        names = [[f"{folder}/{i}.out", f"{folder}/{i}.err"] for i in range(n)]
        before = seen(order["cwd"]) if "watch" in order else None
        began = time.monotonic()
        numbers = [start(order, some) for some in names]
        if "watch" in order:
            # as soon as anything is written, and a moment
            while (
                seen(order["cwd"]) == before
                and os.waitid(os.P_PID, numbers[0], os.WEXITED | os.WNOHANG | os.WNOWAIT) is None
            ):
                pass
            time.sleep(order["watch"])
        elif "after_s" in order:
            time.sleep(order["after_s"])
        if "take_away" in order:
            shutil.rmtree(order["take_away"], ignore_errors=True)
        elif "watch" in order or "after_s" in order:
            os.kill(numbers[0], signal.SIGKILL)
        codes = [os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]) for number in numbers]
        texts = [Path(name).read_text() if os.path.exists(name) else "" for some in names for name in some]
        return {"codes": codes, "out": texts[::2], "err": texts[1::2], "took_s": time.monotonic() - began}


def main() -> None:
    """Obey until nobody asks any more."""
    import kitopt.certificate.issue
    import kitopt.cli.certify
    import kitopt.cli.check
    import kitopt.cli.field
    import kitopt.cli.pack
    import kitopt.cli.start
    import kitopt.cli.weather
    import kitopt.interface.calls
    import kitopt.interface.hold
    import kitopt.report.text
    import kitopt.sky.climate  # noqa: F401

    for line in sys.stdin:
        print(json.dumps(obey(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
