"""Whatever bytes are in the files, reading them gives an inventory, an operation or faults, and nothing else."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from kitopt.errors import BadInput, Fault
from kitopt.inventory import demo_folder, read_inventory
from kitopt.operation import read_operation, share_of_steps, step_starts

FILES = {
    name: (demo_folder() / name).read_bytes()
    for name in ("panels.csv", "batteries.csv", "controllers.csv", "leads.csv", "loads.csv", "inventory.toml")
}
DEMO = [path.read_bytes() for path in sorted((demo_folder() / "operations").glob("*.toml"))]
INSERTED = st.one_of(
    st.binary(max_size=6),
    st.sampled_from(
        [b'"', b"'", b"[", b"]", b"[[", b"{", b"}", b"=", b",", b";", b"\n", b"\r", b"\t", b"\0", b"#", b".", b"nan",
         b"inf", b"true", b"[[]]", b"1e400", b"-", b" lb", b"%", b'"""', b"99999999999999999999", b"\xff\xfe",
         b"\xef\xbb\xbf", "½".encode()]
    ),
)  # fmt: skip
EDITS = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 5), INSERTED), min_size=1, max_size=4)
VALUES = st.recursive(
    st.one_of(
        st.integers(), st.floats().map(str), st.booleans().map(lambda b: str(b).lower()),
        st.sampled_from(['"climate"', '"on"', '"10 %"', '"1 Wh"', '"09:00-10:00"', '""', "2026-10-25T02:30:00",
                         "2026-10-25", "09:00:00", "1979-05-27T00:32:00-07:00",
                         '"a/b"', '"\\u0000"', "9999-12-31T23:59:59"]),
    ).map(str),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda parts: f"[{', '.join(parts)}]") | inner.map(lambda x: f"{{ a = {x} }}")
    ),
    max_leaves=5,
)  # fmt: skip
KEYS = [
    "name", "start", "hours", "station_connector", "panel_distance_m", "batteries", "site.latitude", "site.longitude",
    "site.locator", "site.altitude_m", "site.timezone", "site.coldest_degc", "site.warmest_degc", "site.horizon",
    "site.shade", "need.confidence", "need.reserve", "need.weather", "need.windows", "need.seed", "need.start_charge",
    "need.backup", "need.step_minutes", "aim.mode", "aim.every_h", "aim.tilt_deg", "limits.mass_g", "limits.air_travel",
    "goal.least", "site", "need", "aim", "loads",
]  # fmt: skip
LOAD_KEYS = ["id", "count", "mode", "full_share", "wh_per_day", "transmit", "on_air", "on", "quiet", "priority"]


def edited(content: bytes, edits: list[tuple[float, int, bytes]]) -> bytes:
    """Bytes with some cut out and some put in."""
    for place, cut, inserted in edits:
        at = int(place * len(content))
        content = content[:at] + inserted + content[at + cut :]
    return content


def check(faults: tuple[Fault, ...], root: str, most_lines: int = 10**6) -> None:
    assert faults
    assert all(fault.file.startswith(root) for fault in faults)
    assert all(fault.line is None or 1 <= fault.line <= most_lines for fault in faults)
    assert not any("Input should" in fault.text for fault in faults)


def read_folder(files: dict[str, bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        try:
            inventory = read_inventory(Path(folder))
        except BadInput as error:
            check(error.faults, folder)
        else:
            assert all(item.mass_g >= 0 and item.count >= 0 for item in inventory.by_id.values())


def read_one(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.toml"
        path.write_bytes(content)
        try:
            operation = read_operation(path)
        except BadInput as error:
            check(error.faults, str(path), content.count(b"\n") + 1)
        else:
            assert len(step_starts(operation)) == operation.n_steps
            for use in operation.loads:
                assert share_of_steps(operation, use.spans).shape == (operation.n_steps,)


@given(st.sampled_from(sorted(FILES)), st.binary(max_size=300))
@settings(max_examples=150)
def test_random_bytes(name: str, content: bytes) -> None:
    read_folder({**FILES, name: content})
    read_one(content)


@given(st.sampled_from(sorted(FILES)), st.text(alphabet='id,mass_g;"\n\t#12.', max_size=120))
@settings(max_examples=100)
def test_random_text_of_the_signs_that_matter(name: str, text: str) -> None:
    read_folder({**FILES, name: text.encode()})


@given(st.sampled_from(sorted(FILES)), EDITS)
@settings(max_examples=250)
def test_the_demo_inventory_with_bytes_cut_and_put_in(name: str, edits: list[tuple[float, int, bytes]]) -> None:
    read_folder({**FILES, name: edited(FILES[name], edits)})


@given(st.sampled_from(DEMO), EDITS)
@settings(max_examples=300)
def test_the_demo_operations_with_bytes_cut_and_put_in(content: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    read_one(edited(content, edits))


@given(
    st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=8),
    st.lists(st.dictionaries(st.sampled_from(LOAD_KEYS), VALUES, max_size=5), max_size=2),
)
@settings(max_examples=300)
def test_known_keys_with_values_of_any_type(keys: dict[str, str], loads: list[dict[str, str]]) -> None:
    text = "".join(f"{key} = {value}\n" for key, value in keys.items())
    for load in loads:
        text += "[[loads]]\n" + "".join(f"{key} = {value}\n" for key, value in load.items())
    read_one(text.encode())
