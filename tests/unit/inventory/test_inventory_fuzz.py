"""Whatever is in the files, reading them gives an inventory or faults, and nothing else."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from kitopt.errors import BadInput, Fault
from kitopt.inventory import demo_folder, read_inventory

FILES = {
    name: (demo_folder() / name).read_bytes()
    for name in ("panels.csv", "batteries.csv", "controllers.csv", "leads.csv", "loads.csv", "inventory.toml")
}
INSERTED = st.one_of(
    st.binary(max_size=6),
    st.sampled_from(
        [
            b'"',
            b",",
            b";",
            b"\n",
            b"\r",
            b"\t",
            b"\0",
            b"#",
            b"nan",
            b"1e400",
            b"-",
            b" lb",
            b"%",
            b"\xff\xfe",
            "½".encode(),
        ]
    ),
)


def read(files: dict[str, bytes]) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        for name, content in files.items():
            (folder / name).write_bytes(content)
        faults: tuple[Fault, ...] = ()
        try:
            inventory = read_inventory(folder)
        except BadInput as error:
            faults = error.faults
        else:
            assert all(item.mass_g >= 0 and item.count >= 0 for item in inventory.by_id.values())
            return
        assert faults
        assert all(fault.file.startswith(str(folder)) for fault in faults)
        assert all(fault.line is None or fault.line >= 1 for fault in faults)
    finally:
        shutil.rmtree(folder)


@given(st.sampled_from(sorted(FILES)), st.binary(max_size=300))
@settings(max_examples=150, deadline=None)
def test_random_bytes(name: str, content: bytes) -> None:
    read({**FILES, name: content})


@given(st.sampled_from(sorted(FILES)), st.text(alphabet='id,mass_g;"\n\t#12.', max_size=120))
@settings(max_examples=100, deadline=None)
def test_random_text_of_the_signs_that_matter(name: str, text: str) -> None:
    read({**FILES, name: text.encode()})


@given(
    st.sampled_from(sorted(FILES)),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 5), INSERTED), min_size=1, max_size=4),
)
@settings(max_examples=250, deadline=None)
def test_the_demo_with_bytes_cut_and_put_in(name: str, edits: list[tuple[float, int, bytes]]) -> None:
    content = FILES[name]
    for place, cut, inserted in edits:
        at = int(place * len(content))
        content = content[:at] + inserted + content[at + cut :]
    read({**FILES, name: content})
