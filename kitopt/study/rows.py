"""Rows of a study in a Parquet file, sorted by key: the same rows, the same bytes.

The only importer of pyarrow. Written whole or not at all, by the one way out to the disk.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, get_type_hints

from kitopt.errors import BadInput, Fault
from kitopt.files.reading import reason_of, what_lies_at
from kitopt.files.writing import write_file
from kitopt.study.row import COLUMNS, Row

SCHEMA = "kitopt/study-rows-1"
_MARK = b"schema"


def check_can_write() -> None:
    """Refuse before any work where the library is missing.

    Raises
    ------
    BadInput
    """
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        text = "needs the package pyarrow, which is not installed: pip install 'kitopt[study]'."
        raise BadInput([Fault("kitopt study", None, None, text)]) from None


def read_rows(path: Path) -> dict[str, Row]:
    """Rows that are there, by fingerprint; none where there is no file yet.

    Raises
    ------
    BadInput
        If the file is broken, or is no file of a study.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    if what_lies_at(path) == "nothing":
        return {}
    try:
        table = pq.read_table(pa.BufferReader(path.read_bytes()))
    except (pa.ArrowException, OSError, ValueError) as error:
        why = reason_of(error) if isinstance(error, OSError | ValueError) else str(error)
        text = f"cannot be read as Parquet ({' '.join(why.split())[:160]}); nothing in it was touched."
        raise BadInput([Fault(str(path), None, None, f"{text} {_NEXT}")]) from None
    if (table.schema.metadata or {}).get(_MARK) != SCHEMA.encode() or set(table.column_names) != set(COLUMNS):
        text = f"found Parquet that is no {SCHEMA}; nothing in it was touched. {_NEXT}"
        raise BadInput([Fault(str(path), None, None, text)])
    rows = (Row(**values) for values in table.to_pylist())
    return {row.fingerprint: row for row in rows}


_NEXT = "Move it away, or name another with --rows."


def write_rows(path: Path, rows: Iterable[Row]) -> None:
    """Write rows instead of those that are there.

    Raises
    ------
    BadInput
        If the file cannot be written; what was there is as it was.
    """
    write_file(path, as_parquet(rows), may_replace=True)


def as_parquet(rows: Iterable[Row]) -> bytes:
    """Rows as the bytes of a file, sorted by key."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds: Mapping[Any, Any] = {str: pa.string(), int: pa.int64(), float: pa.float64()}
    hints = get_type_hints(Row)
    fields = []
    for name in COLUMNS:
        kind = next((one for one in (int, float) if hints[name] in (one, one | None)), str)
        fields.append(pa.field(name, kinds[kind]))
    ordered = sorted(rows, key=lambda row: row.key)
    schema = pa.schema(fields, metadata={_MARK: SCHEMA.encode()})
    arrays = [pa.array([getattr(row, field.name) for row in ordered], field.type) for field in fields]
    sink = pa.BufferOutputStream()
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), sink, compression="zstd")
    return bytes(sink.getvalue().to_pybytes())
