"""A file's bytes to text, with a clear fault where that is not possible."""

from __future__ import annotations

import codecs
from pathlib import Path

from kitopt.files.faults import FaultList
from kitopt.files.reading import LARGEST_BYTES, read_bytes

_OTHER_MARKS = (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)


def read_text(path: Path, faults: FaultList, save_as: str, largest: int = LARGEST_BYTES) -> str | None:
    """Return the text of a file of bearable size, or None after noting a fault; see `decode`."""
    content = read_bytes(path, faults, largest)
    return None if content is None else decode(content, faults, save_as)


def decode(content: bytes, faults: FaultList, save_as: str) -> str | None:
    """Return the text of UTF-8 (with or without mark) or marked UTF-16 bytes, or None after noting a fault.

    Parameters
    ----------
    content : bytes
        The whole file.
    faults : FaultList
        Where a fault is noted, with its line.
    save_as : str
        The advice, such as "save it as CSV UTF-8".
    """
    if content.startswith(_OTHER_MARKS):
        faults.add(1, None, f"found UTF-32 text, need UTF-8; {save_as}.")
        return None
    encoding = "utf-16" if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding == "utf-16":
            faults.add(1, None, f"found a UTF-16 mark but broken UTF-16 text, need UTF-8; {save_as}.")
        else:
            # the decoder counts from behind the mark
            start = error.start + (3 if content.startswith(codecs.BOM_UTF8) else 0)
            byte = content[min(start, len(content) - 1)]
            line = content.count(b"\n", 0, start) + 1
            faults.add(line, None, f"found the byte 0x{byte:02X}, which is not UTF-8 text; {save_as}.")
        return None
    nul = text.find("\0")
    if nul >= 0:
        line = text.count("\n", 0, nul) + 1
        faults.add(line, None, f"found a NUL character, so this is not UTF-8 text; {save_as}.")
        return None
    return text
