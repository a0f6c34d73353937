"""Whatever is in the file, reading it gives an operation or faults, and nothing else."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from kitopt.errors import BadInput, Fault
from kitopt.inventory import demo_folder
from kitopt.operation import read_operation, share_of_steps, step_starts

DEMO = [path.read_bytes() for path in sorted((demo_folder() / "operations").glob("*.toml"))]
INSERTED = st.one_of(
    st.binary(max_size=6),
    st.sampled_from(
        [b'"', b"'", b"[", b"]", b"[[", b"{", b"}", b"=", b"\n", b"\r", b"\0", b"#", b".", b"nan", b"inf", b"true",
         b"[[]]", b"1e400", b"-", b"%", b'"""', b"99999999999999999999", b"\xff\xfe", b"\xef\xbb\xbf", "½".encode()]
    ),
)  # fmt: skip
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


def read(content: bytes) -> None:
    faults: tuple[Fault, ...] = ()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.toml"
        path.write_bytes(content)
        try:
            operation = read_operation(path)
        except BadInput as error:
            faults = error.faults
        else:
            assert len(step_starts(operation)) == operation.n_steps
            for use in operation.loads:
                assert share_of_steps(operation, use.spans).shape == (operation.n_steps,)
            return
        assert faults
        assert all(fault.file == str(path) for fault in faults)
        n_lines = content.count(b"\n") + 1
        assert all(fault.line is None or 1 <= fault.line <= n_lines for fault in faults)
        assert not any("Input should" in fault.text for fault in faults)


@given(st.binary(max_size=300))
@settings(max_examples=100, deadline=None)
def test_random_bytes(content: bytes) -> None:
    read(content)


@given(st.sampled_from(DEMO), st.lists(st.tuples(st.floats(0, 1), st.integers(0, 5), INSERTED), min_size=1, max_size=3))
@settings(max_examples=300, deadline=None)
def test_the_demo_with_bytes_cut_and_put_in(content: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    for place, cut, inserted in edits:
        at = int(place * len(content))
        content = content[:at] + inserted + content[at + cut :]
    read(content)


@given(
    st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=8),
    st.lists(st.dictionaries(st.sampled_from(LOAD_KEYS), VALUES, max_size=5), max_size=2),
)
@settings(max_examples=300, deadline=None)
def test_known_keys_with_values_of_any_type(keys: dict[str, str], loads: list[dict[str, str]]) -> None:
    text = "".join(f"{key} = {value}\n" for key, value in keys.items())
    for load in loads:
        text += "[[loads]]\n" + "".join(f"{key} = {value}\n" for key, value in load.items())
    read(text.encode())
