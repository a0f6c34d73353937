"""The time limit counts from the start of the process, whatever is asked: the one test that looks at a clock."""

from __future__ import annotations

import json
import subprocess
import sys
import time

from kitopt.inventory import demo_folder


def test_three_seconds_end_within_ten() -> None:
    # the demo's club weekend takes a minute when it is let
    began_s = time.monotonic()
    line = [sys.executable, "-m", "kitopt", "share", str(demo_folder() / "plans" / "club.toml")]
    result = subprocess.run([*line, "--seconds", "3", "--json"], capture_output=True, text=True)
    assert time.monotonic() - began_s < 10.0
    assert result.returncode == 4
    document = json.loads(result.stdout)
    assert document["status"] == "time-limit"
    assert {sheet["share_met"] for sheet in document["sheets"]} == {None}
