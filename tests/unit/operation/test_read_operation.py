"""Good operations: defaults, units, places, times, loads."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from kitopt.inventory.items import Connector
from kitopt.operation import read_operation
from kitopt.operation.terms import Aim, Climate, NoSun, Operation, Shade, Shares, Span, WeatherFile

Read = Callable[..., Operation]


def test_defaults(read: Read) -> None:
    operation = read()
    assert (operation.name, operation.hours, operation.n_steps) == ("Trial", 26, 52)
    assert operation.start.isoformat() == "2026-10-10T09:00:00+02:00"
    assert (operation.site.latitude_deg, operation.site.longitude_deg, operation.site.altitude_m) == (43.46, -3.8, 0)
    assert (operation.site.coldest_degc, operation.site.warmest_degc) == (6, 19)
    need = operation.need
    assert (need.confidence, need.reserve_share, need.reserve_wh) == (Fraction(95, 100), 0.1, 0)
    assert (need.weather, need.windows, need.seed, need.start_charge_share) == (Climate(), 40, 1, 1)
    assert (need.backup, need.step_h) == ((), 0.5)
    assert operation.aim == Aim("flat")
    assert (operation.station_connector, operation.panel_distance_m, operation.batteries) == (None, 0, "in turn")
    assert (operation.mass_limit_g, operation.air_travel, operation.least) == (None, False, "mass")
    assert operation.assumed == operation.warnings == ()


def test_everything_said(read: Read) -> None:
    operation = read(
        (
            "hours = 26",
            'hours = 25.2\nstation_connector = "genderless-30"\npanel_distance_m = "15 ft"\nbatteries = "parallel"',
        ),
        ("warmest_degc = 19", 'warmest_degc = "68 °F"\nhorizon = [[180, 3], [90, 4.5]]\nshade = ["16:00-20:00"]'),
        (
            "windows = 40",
            (
                'confidence = "55 %"\nreserve = "0.03 kWh"\nweather = "No sun"\nstart_charge = "80 %"\n'
                'backup = ["battery", "lead"]\nstep_minutes = 20\nseed = 0'
            ),
        ),
        end=(
            '[aim]\nmode = "fixed"\ntilt_deg = 30\n[limits]\nmass_g = "9 kg"\nair_travel = true\n'
            '[goal]\nleast = "items"\n'
        ),
    )
    assert operation.station_connector == Connector("genderless-30")
    assert operation.panel_distance_m == pytest.approx(4.572)
    assert operation.batteries == "parallel"
    assert operation.site.warmest_degc == pytest.approx(20)
    assert operation.site.horizon_deg == ((90, 4.5), (180, 3))
    assert operation.site.shade == (Shade((Span(960, 1200),)),)
    need = operation.need
    # 0.55 as a binary float times 100 is above 55: the share must be kept exactly
    assert need.confidence == Fraction(55, 100)
    assert (need.reserve_share, need.reserve_wh) == (0, pytest.approx(30))
    assert (need.weather, need.start_charge_share, need.seed) == (NoSun(), 0.8, 0)
    assert need.backup == ("battery", "lead")
    assert need.step_h == pytest.approx(1 / 3)
    assert operation.n_steps == 76
    assert operation.aim == Aim("fixed", 2.0, 30, None)
    assert (operation.mass_limit_g, operation.air_travel, operation.least) == (9000, True, "items")


def test_shade_may_say_what_passes(read: Read) -> None:
    """Of what is not said, no beam passes, and 40 % of the sky's own light."""
    text = (
        "shade = [{ hours = ['08:00-09:30', '16:00-20:00'], beam = '10 %', diffuse = 0.7 }, "
        "{ hours = ['12:00-13:00'] }, '22:00-06:00']"
    )
    thin, *thick = read(("warmest_degc = 19", f"warmest_degc = 19\n{text}")).site.shade
    assert thin == Shade((Span(480, 570), Span(960, 1200)), 0.1, 0.7)
    assert thick == [Shade((Span(720, 780),), 0.0, 0.4), Shade((Span(1320, 360),), 0.0, 0.4)]


@pytest.mark.parametrize(
    ("written", "degc"),
    # 41 °F are (41 - 32) x 5 / 9
    [("5", 5.0), ("-7.5", -7.5), ("'41 °F'", 5.0), ("'As the air'", None)],
)
def test_cells_that_are_kept_warm_are_as_cold_as_is_said(read: Read, written: str, degc: float | None) -> None:
    found = read(("warmest_degc = 19", f"warmest_degc = 19\ncells = {written}")).site.cells_degc
    assert found == (None if degc is None else pytest.approx(degc))


def test_a_forecast_before_the_climate(read: Read) -> None:
    # words: common practice, no source
    need = read(("windows = 40", 'forecast = [0.8, "30 %", "Dull"]')).need
    assert need.weather == Climate((0.8, 0.3, 0.3))


def test_weather_by_shares_and_by_file(read: Read, tmp_path: Path) -> None:
    assert read(("windows = 40", 'weather = [0, 0.3, "45 %", 1.2]')).need.weather == Shares((0, 0.3, 0.45, 1.2))
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "x.epw").write_text("")
    changes = [("windows = 40", 'weather = "data/x.epw"'), ("coldest_degc = 6\nwarmest_degc = 19\n", "")]
    operation = read(*changes)
    assert operation.need.weather == WeatherFile(tmp_path / "data" / "x.epw")
    assert operation.site.coldest_degc is None
    assert operation.site.warmest_degc is None


def test_a_large_seed_keeps_every_digit(read: Read) -> None:
    assert read(("windows = 40", "seed = 4294967295")).need.seed == 4294967295


# ---- place and time


def test_a_locator_is_the_centre_of_its_square(read: Read) -> None:
    site = read(("latitude = 43.46\nlongitude = -3.8", 'locator = "JN58td"')).site
    # Tyson, QST, January 1989: 48.14666, 11.60833 lies in JN58td
    assert site.latitude_deg == pytest.approx(48.14666, abs=1 / 48)
    assert site.longitude_deg == pytest.approx(11.60833, abs=1 / 24)


# cities and their zones as the IANA time zone database's zone.tab pairs them, from memory
@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [(43.46, -3.8, "Europe/Madrid"), (40.71, -74.0, "America/New_York"), (-33.87, 151.2, "Australia/Sydney"),
     (27.7, 85.32, "Asia/Kathmandu"), (0, -30, "Etc/GMT+2")],
)  # fmt: skip
def test_the_time_zone_is_found_from_the_place(read: Read, latitude: float, longitude: float, zone: str) -> None:
    operation = read(
        ("latitude = 43.46", f"latitude = {latitude}"),
        ("longitude = -3.8", f"longitude = {longitude}"),
        ('timezone = "Europe/Madrid"\n', ""),
    )
    assert str(operation.site.timezone) == zone
    assert [(one.column, one.value) for one in operation.assumed] == [("site.timezone", zone)]


def test_a_blank_time_zone_is_found_from_the_place_too(read: Read) -> None:
    operation = read(('"Europe/Madrid"', '""'))
    assert str(operation.site.timezone) == "Europe/Madrid"
    assert [one.column for one in operation.assumed] == ["site.timezone"]


@pytest.mark.parametrize("place", [(90, 0), (-90, 180), (0, -180), (89.9, 179.9)])
def test_every_corner_of_the_globe_has_a_time_zone(read: Read, place: tuple[float, float]) -> None:
    operation = read(
        ("latitude = 43.46", f"latitude = {place[0]}"),
        ("longitude = -3.8", f"longitude = {place[1]}"),
        ('timezone = "Europe/Madrid"\n', ""),
    )
    assert operation.start.utcoffset() is not None


def test_a_start_with_an_offset_is_converted(read: Read) -> None:
    start = read(("2026-10-10T09:00:00", "2026-10-10T09:00:00-05:00")).start
    assert start == datetime(2026, 10, 10, 14, tzinfo=UTC)
    assert start.isoformat() == "2026-10-10T16:00:00+02:00"


def test_a_time_that_clocks_show_twice_is_the_first(read: Read) -> None:
    """Directive 2000/84/EC: summer time ends on the last Sunday of October at 01:00 UTC."""
    operation = read(("2026-10-10T09:00:00", "2026-10-25T02:30:00"))
    assert operation.start.utcoffset() == timedelta(hours=2)
    assert operation.start.astimezone(UTC) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert [one.column for one in operation.assumed] == ["start"]


# ---- loads


def test_modes_and_their_shares(read: Read) -> None:
    """Mean over key-down current while transmitting: common practice, no source."""
    modes = {"ssb": 0.4, "ssb-compressed": 0.6, "cw": 0.5, "fm": 1.0, "data": 1.0}
    end = "".join(f'[[loads]]\nid = "{mode}"\nmode = "{mode}"\n' for mode in modes)
    operation = read(end=end)
    uses = {use.id: use for use in operation.loads}
    assert {mode: uses[mode].full_share for mode in modes} == modes
    assert {uses[mode].transmit_share for mode in modes} == {0.5}
    assert {uses[mode].quiet for mode in modes} == {"listen"}
    assert [(one.id, one.column, one.value) for one in operation.assumed] == [
        (mode, "transmit", "0.5") for mode in modes
    ]


def test_loads_that_are_on_and_loads_by_energy(read: Read) -> None:
    operation = read(
        end='[[loads]]\nid = "light"\nmode = "on"\non = ["18:00-23:00", "05:30-07:00"]\npriority = "nice"\ncount = 2\n'
        '[[loads]]\nid = "phone"\nwh_per_day = 15\n'
        '[[loads]]\nid = "node"\nfull_share = "35 %"\ntransmit = 0.1\non_air = ["22:00-24:00"]\nquiet = "off"\n'
    )
    radio, light, phone, node = operation.loads
    assert (radio.id, radio.mode, radio.transmit_share, radio.spans, radio.priority) == (
        "hf-20w",
        "ssb",
        0.2,
        (),
        "must",
    )
    assert radio.line == 16
    assert (light.mode, light.full_share, light.transmit_share, light.quiet) == ("on", 1, 1, "off")
    assert (light.spans, light.priority, light.count) == ((Span(1080, 1380), Span(330, 420)), "nice", 2)
    assert (phone.wh_per_day, phone.spans, phone.quiet) == (15, (), "off")
    assert (node.full_share, node.transmit_share, node.spans, node.quiet) == (0.35, 0.1, (Span(1320, 1440),), "off")
    assert operation.assumed == ()


def test_a_share_of_ones_own_is_taken_to_run_all_the_time(read: Read) -> None:
    operation = read(end='[[loads]]\nid = "fan"\nfull_share = 0.5\n')
    assert operation.loads[1].transmit_share == 1
    assert [(one.id, one.column, one.value) for one in operation.assumed] == [("fan", "transmit", "1")]


def test_unknown_keys_are_warned_about(read: Read) -> None:
    operation = read(
        ("hours = 26", "hours = 26\nbateries = 1"),
        ("latitude = 43.46", "latitude = 43.46\naltitude = 3"),
        end='repeat = 2\n[gaol]\nleast = "price"\n[aim]\nmode = "flat"\ntilt_deg = 3\n',
    )
    assert operation.warnings == (
        'trial.toml, line 4, bateries: the unknown key "bateries" is ignored. Did you mean batteries?',
        'trial.toml, line 22, gaol: the unknown key "gaol" is ignored. Did you mean goal?',
        'trial.toml, line 8, site.altitude: the unknown key "altitude" is ignored. Did you mean altitude_m?',
        'trial.toml, line 26, aim.tilt_deg: only mode = "fixed" uses it; with "flat" it is ignored.',
        'trial.toml, line 21, loads[1].repeat: the unknown key "repeat" is ignored.',
    )
    assert operation.least == "mass"


def test_what_is_said_and_never_used_is_warned_about(read: Read) -> None:
    operation = read(
        ("hours = 26", "hours = 26\nswap = ['06:00']"),
        end='[[loads]]\nid = "lamp"\nwh_per_day = 9\ntransmit = 0.5\nquiet = "off"\n',
    )
    assert set(operation.warnings) == {
        'trial.toml, line 4, swap: only charge = "apart" uses it; it is ignored.',
        "trial.toml, line 23, loads[2].transmit: a load with wh_per_day does not use it.",
        "trial.toml, line 24, loads[2].quiet: a load with wh_per_day does not use it.",
    }


def test_marks_and_line_ends_of_other_editors(tmp_path: Path) -> None:
    text = (
        "start = 2026-10-10T09:00:00\r\nhours = 3\r\n[site]\r\nlocator = 'JN58td'\r\ncoldest_degc = 1\r\n"
        "warmest_degc = 2\r\n[[loads]]\r\nid = 'a'\r\nmode = 'cw'\r\n"
    )
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        path = tmp_path / "one two.toml"
        path.write_bytes(text.encode(encoding))
        operation = read_operation(path)
        assert operation.name == "one two"
        assert operation.loads[0].line == 8
