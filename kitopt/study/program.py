"""What the program is known by: an answer of another program is asked for again, and one cluster runs one program."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib import metadata
from pathlib import Path

from kitopt import __version__

_RECKON = ("numpy", "scipy", "pandas", "pvlib", "gsee-climate-data", "pulp", "highspy")
_SEND = ("dask", "distributed", "cloudpickle", "msgpack")


@cache
def program_text() -> str:
    """The version with a digest of the source: the same on every machine that has the same program."""
    package = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for source in sorted(package.rglob("*.py")):
        digest.update(source.relative_to(package).as_posix().encode())
        digest.update(source.read_bytes().replace(b"\r\n", b"\n"))
    return f"{__version__}+{digest.hexdigest()[:12]}"


def versions(*, sent: bool = False) -> dict[str, str]:
    """Versions of all that answers depend on; with `sent`, of what carries them over a network too."""
    found = {"kitopt": program_text(), "python": ".".join(platform.python_version_tuple()[:2])}
    for name in (*_RECKON, *(_SEND if sent else ())):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "none"
    return found
