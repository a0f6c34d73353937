"""What goes into a command that is shown to be typed."""

from __future__ import annotations

import os
import shlex
import subprocess
from pathlib import Path


def as_typed(path: Path | str) -> str:
    """A path as it is typed on a command line, in the quotation marks of the system."""
    text = str(path)
    return subprocess.list2cmdline([text]) if os.name == "nt" else shlex.quote(text)
