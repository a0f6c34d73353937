"""Bad operations: every fault with its line and key."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import BadInput, Fault
from kitopt.operation import read_operation
from kitopt.operation.terms import Operation

FaultsOf = Callable[..., list[Fault]]
Read = Callable[..., Operation]


def where(faults: list[Fault]) -> list[tuple[int | None, str | None]]:
    return [(fault.line, fault.column) for fault in faults]


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "text"),
    [
        ("start = 2026-10-10T09:00:00", "start = 2026-10-10", 2, "start", "a date with a time"),
        ("start = 2026-10-10T09:00:00", 'start = "2026-10-10T09:00:00"', 2, "start", "without quotes"),
        ("start = 2026-10-10T09:00:00", "start = 0001-01-01T00:00:00", 2, "start", "need a date with a time"),
        ("start = 2026-10-10T09:00:00", "", 1, "start", "missing"),
        ("hours = 26", "hours = 0", 3, "hours", "of at least 0.1"),
        ("hours = 26", "hours = 1441", 3, "hours", "from 0.1 to 1,440"),
        ("hours = 26", "hours = inf", 3, "hours", "of at least 0.1"),
        ("hours = 26", "hours = nan", 3, "hours", "of at least 0.1"),
        ("hours = 26", "hours = true", 3, "hours", 'found "true"'),
        ("hours = 26", "hours = [26]", 3, "hours", "of at least 0.1"),
        ("hours = 26", "hours = 26\nbatteries = 'series'", 4, "batteries", "in turn, parallel"),
        ("hours = 26", "hours = 26\npanel_distance_m = -1", 4, "panel_distance_m", "at least 0"),
        ("hours = 26", "hours = 26\nstation_connector = 'a:b'", 4, "station_connector", "connector"),
        ("hours = 26", "hours = 26\nhours = 27", 4, None, "overwrite"),
        ("hours = 26", "hours = 26\ncharge = 'turns'", 4, "charge", "together, apart"),
        ("hours = 26", "hours = 26\ncharge = 'apart'", 4, "charge", 'swap = ["06:00", "18:00"]'),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = []", 4, "charge", 'swap = ["06:00", "18:00"]'),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = ['6 pm']", 5, "swap[1]", 'found "6 pm"'),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = ['06:00',\n'24:00']", 5, "swap[2]", "a time of the day"),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = ['06:60']", 5, "swap[1]", "a time of the day"),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = '06:00'", 5, "swap", "need"),
        ("hours = 26", "hours = 26\ncharge = 'apart'\nswap = ['06:00', '6:00']", 5, "swap[2]", "found 06:00 again"),
        ("hours = 26", "hours = 8\ncharge = 'apart'\nswap = ['06:00', '17:00']", 5, "swap", "never on the air"),
        ("latitude = 43.46", "latitude = 90.1", 6, "site.latitude", "from -90 to 90"),
        ("latitude = 43.46", "latitude = '43N'", 6, "site.latitude", 'found "43N"'),
        ("latitude = 43.46", "", 5, "site", "latitude missing"),
        ("latitude = 43.46", "locator = 'IN83cl'", 6, "site.locator", "beside"),
        ("latitude = 43.46\nlongitude = -3.8", "locator = 'IN83cz'", 6, "site.locator", "IN83cl"),
        ("latitude = 43.46\nlongitude = -3.8", "", 5, "site", "latitude and longitude missing"),
        ('"Europe/Madrid"', '"Europe/Madird"', 8, "site.timezone", "Did you mean Europe/Madrid?"),
        ('"Europe/Madrid"', '"Europe"', 8, "site.timezone", "need a time zone"),
        ('"Europe/Madrid"', '"../../etc/passwd"', 8, "site.timezone", "need a time zone"),
        ('"Europe/Madrid"', "1", 8, "site.timezone", "need a time zone"),
        ("coldest_degc = 6", "coldest_degc = 20", 9, "site.coldest_degc", "above warmest_degc"),
        ("coldest_degc = 6", "coldest_degc = '6 km'", 9, "site.coldest_degc", "an air temperature in °C"),
        ("coldest_degc = 6", "", 5, "site.coldest_degc", "[site] coldest_degc and warmest_degc"),
        ("warmest_degc = 19", "", 5, "site.warmest_degc", "[site] coldest_degc and warmest_degc"),
        ("warmest_degc = 19", "warmest_degc = 19\nhorizon = [[1, 2],\n[400, 2]]", 11, "site.horizon[2][1]", "0 to 360"),
        ("warmest_degc = 19", "warmest_degc = 19\nhorizon = [[1]]", 11, "site.horizon[1][2]", "need"),
        ("warmest_degc = 19", "warmest_degc = 19\nhorizon = [[1, 2, 3]]", 11, "site.horizon[1]", "pairs"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = ['9-10']", 11, "site.shade[1]", "18:00-23:00"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ beam = 0 }]", 11, "site.shade[1]", "with hours"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ hours = [] }]", 11, "site.shade[1]", "with hours"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ hours = '8-9' }]", 11, "site.shade[1]", "with hours"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ hours = [8] }]", 11, "site.shade[1]", "with hours"),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ hours = ['08:00-09:00'], beam = 40 }]", 11,
         "site.shade[1]", 'such as "0 %" and "40 %"'),
        ("warmest_degc = 19", "warmest_degc = 19\nshade = [{ hours = ['08:00-09:00'], trees = 1 }]", 11,
         "site.shade[1]", "beam and diffuse"),
        ("warmest_degc = 19", "warmest_degc = 19\ncells = 61", 11, "site.cells", 'such as 5 or "41 °F"'),
        ("warmest_degc = 19", "warmest_degc = 19\ncells = 'warm'", 11, "site.cells", '"as the air"'),
        ("windows = 40", "windows = 0", 13, "need.windows", "at least 1"),
        ("windows = 40", "windows = 20001", 13, "need.windows", "20,000"),
        ("windows = 40", "windows = 1.5", 13, "need.windows", "whole"),
        ("windows = 40", "windows = -9999999995000000142622326785", 13, "need.windows", "at least 1"),
        ("windows = 40", "seed = 4294967296", 13, "need.seed", "4,294,967,295"),
        ("windows = 40", "seed = -1", 13, "need.seed", "at least 0"),
        ("windows = 40", "confidence = 0", 13, "need.confidence", "above 0"),
        ("windows = 40", "confidence = 95", 13, "need.confidence", "at most 1"),
        ("windows = 40", "reserve = 10", 13, "need.reserve", '"10 %" or "30 Wh"'),
        ("windows = 40", "reserve = '10'", 13, "need.reserve", '"10 %" or "30 Wh"'),
        ("windows = 40", "reserve = '100 %'", 13, "need.reserve", '"10 %" or "30 Wh"'),
        ("windows = 40", "reserve = '3 Ah'", 13, "need.reserve", '"10 %" or "30 Wh"'),
        ("windows = 40", "reserve = '-5 Wh'", 13, "need.reserve", '"10 %" or "30 Wh"'),
        ("windows = 40", "weather = 'away.epw'", 13, "need.weather", "is no file"),
        ("windows = 40", "weather = 'a\\u0000b'", 13, "need.weather", "need"),
        ("windows = 40", f"weather = '{'n' * 300}'", 13, "need.weather", "which cannot be read: "),
        ("windows = 40", "weather = 'no sun'\nforecast = [0.5]", 14, "need.forecast", 'need weather = "climate"'),
        ("windows = 40", "weather = [0.3]\nforecast = [0.5]", 14, "need.forecast", 'need weather = "climate"'),
        ("windows = 40", "weather = []", 13, "need.weather", "daily shares"),
        ("windows = 40", "weather = [0.3, 1.3]", 13, "need.weather", "from 0 to 1.2"),
        ("windows = 40", "forecast = 0.3", 13, "need.forecast", "a word"),
        ("windows = 40", 'forecast = ["sunny"]', 13, "need.forecast", "dull"),
        ("windows = 40", "forecast = [1.1]", 13, "need.forecast", "from 0 to 1"),
        ("windows = 40", "weather = [true]", 13, "need.weather", "daily shares"),
        ("windows = 40", "start_charge = '120 %'", 13, "need.start_charge", "80 %"),
        ("windows = 40", "backup = ['radio']", 13, "need.backup", "battery, controller, panel, lead"),
        ("windows = 40", "backup = [['battery']]", 13, "need.backup", "battery, controller, panel, lead"),
        ("windows = 40", "step_minutes = 4", 13, "need.step_minutes", "from 5 to 60"),
        ('mode = "ssb"', 'mode = "lsb"', 17, "loads[1].mode", "ssb-compressed"),
        ('mode = "ssb"', "", 15, "loads[1]", "neither mode nor full_share nor wh_per_day"),
        ('mode = "ssb"', 'mode = "ssb"\nfull_share = 0.3', 18, "loads[1].full_share", "mode and full_share"),
        ('mode = "ssb"', 'mode = "ssb"\non = ["09:00-10:00"]', 18, "loads[1].on", "need on_air"),
        ('mode = "ssb"', 'mode = "on"\non_air = ["09:00-10:00"]', 18, "loads[1].on_air", "need on "),
        ('mode = "ssb"', 'mode = "ssb"\non_air = []', 18, "loads[1].on_air", "empty"),
        ('mode = "ssb"', 'mode = "ssb"\non_air = "09:00-10:00"', 18, "loads[1].on_air", "a list"),
        ('mode = "ssb"', 'mode = "ssb"\non_air = [9]', 18, "loads[1].on_air[1]", "18:00-23:00"),
        ('mode = "ssb"', "wh_per_day = 0", 17, "loads[1].wh_per_day", "above 0"),
        ('mode = "ssb"', 'mode = "ssb"\ncount = 0', 18, "loads[1].count", "at least 1"),
        ('mode = "ssb"', 'mode = "ssb"\npriority = "maybe"', 18, "loads[1].priority", "must, nice"),
        ('mode = "ssb"', 'mode = "ssb"\n[limits]\nnice_at_most_g = 0', 19, "limits.nice_at_most_g", "9 kg"),
        ("transmit = 0.2", "transmit = 1.2", 18, "loads[1].transmit", "from 0 to 1"),
        ('id = "hf-20w"', "", 15, "loads[1].id", "missing"),
        ('id = "hf-20w"', 'id = "hf 20"', 16, "loads[1].id", "without blanks"),
    ],
)  # fmt: skip
def test_one_fault(faults_of: FaultsOf, old: str, new: str, line: int, column: str | None, text: str) -> None:
    faults = faults_of((old, new))
    assert where(faults) == [(line, column)]
    assert text in faults[0].text
    assert "Input should" not in faults[0].text


@pytest.mark.parametrize(
    ("end", "line", "column"),
    [
        ('[[loads]]\nid = "hf-20w"\nmode = "cw"\n', 20, "loads[2].id"),
        ("[aim]\nevery_h = 1\n", 19, "aim.mode"),
        ("[aim]\nmode = 'fixed'\ntilt_deg = 91\n", 21, "aim.tilt_deg"),
        ("[aim]\nmode = 'fixed'\nazimuth_deg = -1\n", 21, "aim.azimuth_deg"),
        ("[limits]\nmass_g = '9 kgg'\n", 20, "limits.mass_g"),
        ("[limits]\nair_travel = 'perhaps'\n", 20, "limits.air_travel"),
        ("[goal]\nleast = 'volume'\n", 20, "goal.least"),
        ("[[goal]]\nleast = 'mass'\n", 19, "goal"),
    ],
)
def test_one_fault_in_a_table_at_the_end(faults_of: FaultsOf, end: str, line: int, column: str) -> None:
    assert where(faults_of(end=end)) == [(line, column)]


def test_all_faults_are_collected_in_order(faults_of: FaultsOf) -> None:
    faults = faults_of(
        ("hours = 26", "hours = 0"),
        ("latitude = 43.46", "latitude = 95"),
        ("windows = 40", "windows = 0\nweather = 'away.epw'"),
        ("transmit = 0.2", "transmit = 2"),
        end='[[loads]]\nid = "b"\n',
    )
    assert where(faults) == [
        (3, "hours"),
        (6, "site.latitude"),
        (13, "need.windows"),
        (14, "need.weather"),
        (19, "loads[1].transmit"),
        (20, "loads[2]"),
    ]


def test_tables_that_are_no_tables(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("start = 2026-10-10T09:00:00\nhours = 3\nsite = 1\nneed = 2\nloads = 3\naim = []\n")
    with pytest.raises(BadInput) as caught:
        read_operation(path)
    assert where(list(caught.value.faults)) == [(3, "site"), (4, "need"), (5, "loads"), (6, "aim")]
    path.write_text("loads = [1, {id = 'x', mode = 'cw'}]\n")
    with pytest.raises(BadInput) as caught:
        read_operation(path)
    assert (1, "loads[1]") in where(list(caught.value.faults))


def test_no_loads_and_no_site(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("start = 2026-10-10T09:00:00\nhours = 3\n")
    with pytest.raises(BadInput) as caught:
        read_operation(path)
    assert [fault.column for fault in caught.value.faults] == ["site", "loads"]


def test_a_time_that_clocks_skip(faults_of: FaultsOf) -> None:
    """Directive 2000/84/EC: summer time begins on the last Sunday of March at 01:00 UTC."""
    faults = faults_of(("2026-10-10T09:00:00", "2026-03-29T02:30:00"))
    assert where(faults) == [(2, "start")]
    assert "skip" in faults[0].text
    assert "03:30" in faults[0].text


@pytest.mark.parametrize(
    "content",
    [
        b"", b"\xff\xfe", b"\xff", b"a = \0", b"# \r", b"\xc3(" * 10, b"[" * 200_000, b"a." * 100_000, b"[\n" * 100_000,
        b"x" * 10_000_000, b"\n" * 249_000, b"a = 1\n" * 40_000, b"[[loads]]\n" * 24_000,
        b"a = '''" + b"x\n" * 120_000, b"site." + b"a." * 4_000 + b"a = 1\n", (b"a." * 4_000 + b"a = 1\n") * 30,
        b"[site]\nlatitude." + b"a." * 4_000 + b"a = 1\n", b"loads = " + b"[" * 90 + b"]" * 90,
    ],
    ids=lambda content: f"{content[:8]!r}-{len(content)}",
)  # fmt: skip
def test_junk_gives_few_faults_quickly(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "junk.toml"
    path.write_bytes(content)
    before = time.process_time()
    with pytest.raises(BadInput) as caught:
        read_operation(path)
    assert time.process_time() - before < 4
    assert 1 <= len(caught.value.faults) <= 51
    assert all(fault.file == str(path) and len(fault.text) < 500 for fault in caught.value.faults)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_operation(tmp_path / "x.toml")
    with pytest.raises(BadInput, match="not a file"):
        read_operation(tmp_path)


# ---- numbers mean what was typed


def test_a_number_with_a_unit_that_nothing_settles_shows_both_readings(faults_of: FaultsOf) -> None:
    faults = faults_of(end="[limits]\nmass_g = '1,500 g'\n")
    assert [fault.column for fault in faults] == ["limits.mass_g"]
    assert "write 1500 g or 1.5 g." in faults[0].text
    (fault,) = faults_of(("windows = 40", "reserve = '1,500 Wh'"))
    assert (fault.line, fault.column) == (13, "need.reserve")
    assert "write 1500 Wh or 1.5 Wh." in fault.text


def test_kilograms_for_grams_and_a_percentage_of_a_percentage(faults_of: FaultsOf) -> None:
    faults = faults_of(("windows = 40", "windows = 40\nconfidence = '0.95 %'"), end="[limits]\nmass_g = 9\n")
    assert [(fault.column, fault.text.partition(": ")[2]) for fault in faults] == [
        ("need.confidence", 'percent or a plain share? Write "0.95".'),
        ("limits.mass_g", 'grams or kilograms? Write "9 kg".'),
    ]


def test_a_reserve_in_percent_of_a_percent_and_in_kilowatt_hours_shows_what_may_be_meant(
    faults_of: FaultsOf, read: Read
) -> None:
    (fault,) = faults_of(("windows = 40", "windows = 40\nreserve = '0.1 %'"))
    assert fault.text.endswith('percent or a plain share? Write "10 %".')
    (fault,) = faults_of(("windows = 40", "windows = 40\nreserve = '0.03 Wh'"))
    assert fault.text.endswith('watt-hours or kilowatt-hours? Write "0.03 kWh".')
    (warning,) = read(("windows = 40", "windows = 40\nreserve = '30 kWh'")).warnings
    assert warning.endswith('kilowatt-hours or watt-hours? Write "30 Wh".')


def test_a_day_that_is_nearly_dark_is_asked_about_and_one_without_sun_is_not(read: Read) -> None:
    (warning,) = read(("windows = 40", "weather = [0.5, 0.01]")).warnings
    assert warning.startswith("trial.toml, line 13, need.weather: ")
    assert "a daily share of clear sky" in warning
    assert read(("windows = 40", "weather = [0.5, 0]")).warnings == ()


def test_of_very_many_keys_that_are_unknown_fifty_are_told(read: Read) -> None:
    keys = "".join(f"unknown_{n} = 1\n" for n in range(80))
    assert len(read(("hours = 26\n", f"hours = 26\n{keys}")).warnings) == 50
