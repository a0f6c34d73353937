"""Windows from weather files: the same year written in four formats, bad files, gaps, years, and the shape of windows.

Formats: TMY3 by NREL/TP-581-43156; EPW by the EnergyPlus Auxiliary Programs documentation; NSRDB by the SAM CSV
description; NASA POWER by its API documentation.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Aim, Operation, WeatherFile
from kitopt.sky import windows_for
from kitopt.sky.between_hours import light_over_steps, mean_between, n_parts, value_at
from kitopt.sky.weather_file import read_weather

Make = Callable[..., Operation]
Rows = list[tuple[int, int, int, float, float, float, float, float]]

PLACE = (36.1, -79.95)
ZONE = "America/New_York"


def _epw(rows: Rows) -> str:
    head = ["LOCATION,Greensboro,NC,USA,TMY3,723170,36.1,-79.95,-5.0,273.0", *(["X,0"] * 7)]
    body = [
        f"1999,{month},{day},{hour + 1},60,?,{air:.2f},0,50,101000,0,0,0,{ghi:.1f},{dni:.1f},{dhi:.1f},0,0,0,0,180,"
        f"{wind:.2f},5,5,10,100,9,999999999,10,0.1,0,88,0.2,0,0"
        for month, day, hour, ghi, dni, dhi, air, wind in rows
    ]
    return "\n".join([*head, *body]) + "\n"


def _nsrdb(rows: Rows) -> str:
    head = [
        "Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,Local Time Zone",
        "NSRDB,1,-,-,-,36.1,-79.95,-5,273,-5",
        "Year,Month,Day,Hour,Minute,GHI,DNI,DHI,Temperature,Wind Speed",
    ]
    body = [
        f"2009,{month},{day},{hour},30,{ghi},{dni},{dhi},{air},{wind}"
        for month, day, hour, ghi, dni, dhi, air, wind in rows
    ]
    return "\n".join([*head, *body]) + "\n"


def _power(rows: Rows, years: tuple[int, ...] = (2009,), lst: bool = False) -> str:
    head = [
        "-BEGIN HEADER-",
        "NASA/POWER Source Native Resolution Hourly Data",
        f"Dates (month/day/year): 01/01/{years[0]} through 12/31/{years[-1]} in {'LST' if lst else 'UTC'}",
        "Location: latitude  36.1   longitude -79.95",
        "elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = 273.0 meters",
        "parameter(s):",
        "-END HEADER-",
        "YEAR,MO,DY,HR,ALLSKY_SFC_SW_DWN,ALLSKY_SFC_SW_DNI,ALLSKY_SFC_SW_DIFF,T2M,WS10M",
    ]
    body = []
    for year in years:
        for month, day, hour, ghi, dni, dhi, air, wind in rows:
            at = datetime(year, month, day, hour) + (timedelta(0) if lst else timedelta(hours=5))
            body.append(f"{at.year},{at.month},{at.day},{at.hour},{ghi},{dni},{dhi},{air},{wind}")
    return "\n".join([*head, *body]) + "\n"


@pytest.mark.parametrize("kind", ["EPW", "NSRDB", "NASA POWER", "NASA POWER in solar time"])
def test_one_year_in_other_formats_gives_the_same_light(
    outing: Make, tmp_path: Path, greensboro: Path, greensboro_rows: Rows, kind: str
) -> None:
    text = {
        "EPW": lambda: _epw(greensboro_rows),
        "NSRDB": lambda: _nsrdb(greensboro_rows),
        "NASA POWER": lambda: _power(greensboro_rows),
        "NASA POWER in solar time": lambda: _power(greensboro_rows, lst=True),
    }[kind]()
    path = tmp_path / "weather.csv"
    path.write_text(text)
    operation = outing(weather=WeatherFile(greensboro), place=PLACE, zone=ZONE, hours=48.0, aim=Aim("re-aimed"))
    expected = windows_for(operation)
    ours = windows_for(replace(operation, need=replace(operation.need, weather=WeatherFile(path))))
    assert ours.source == f"{kind.replace(' in solar time', '')} file weather.csv"
    assert [label[-5:] for label in ours.labels] == [label[-5:] for label in expected.labels]
    for laid in ("flat", "aimed"):
        # a year that was measured keeps its own sun, a typical one that of 2001: up to 0.25° of declination apart
        np.testing.assert_allclose(ours.poa_wm2[laid], expected.poa_wm2[laid], atol=3.0)
    # air is that of the hour's end in TMY3 and EPW, the middle of the hour in the others
    assert np.abs(ours.air_degc - expected.air_degc).mean() < (0.01 if kind == "EPW" else 1.0)


@pytest.mark.parametrize("step_h", [0.25, 0.5, 1.0, 0.4])
@pytest.mark.parametrize("minute", [0, 7, 20, 45])
def test_energy_is_kept_whatever_the_step(greensboro: Path, greensboro_rows: Rows, step_h: float, minute: int) -> None:
    # 10 July, from some minutes past two in the morning, for 24 h: the sums of the file's own beam and diffuse columns
    record = read_weather(greensboro)
    first = (181 + 9) * 24 + 2
    n_steps = round(24 / step_h)
    dni, dhi = light_over_steps(record, np.array([first]), minute * 60.0, step_h * 3600.0, n_steps)
    day = [row for row in greensboro_rows if row[:2] == (7, 10)]
    assert dni.sum() * step_h == pytest.approx(sum(row[4] for row in day), rel=1e-6)
    assert dhi.sum() * step_h == pytest.approx(sum(row[5] for row in day), rel=1e-6)


def test_each_hour_keeps_its_own_energy(greensboro: Path, greensboro_rows: Rows) -> None:
    record = read_weather(greensboro)
    dni, dhi = light_over_steps(record, np.array([0]), 0.0, 1800.0, 17520)
    for ours, column in ((dni, 4), (dhi, 5)):
        hourly = ours.reshape(8760, 2).mean(axis=1)
        np.testing.assert_allclose(hourly, [row[column] for row in greensboro_rows], atol=1e-6)


@pytest.mark.parametrize(
    ("interval_s", "step_s", "offset_s", "parts"),
    [
        *[(3600, 1800, 0, 2), (3600, 3600, 0, 2), (3600, 1800, 600, 6), (3600, 1440, 0, 5), (1800, 1800, 0, 1)],
        # a minute is in common, five are the least: of 12 the next that fits is 4
        (720, 1740, 0, 3),
    ],
)
def test_intervals_are_cut_where_steps_begin(interval_s: int, step_s: float, offset_s: float, parts: int) -> None:
    assert n_parts(interval_s, step_s, offset_s) == parts


def test_steps_that_fit_no_cut_take_shares_of_the_parts() -> None:
    # by hand: half of 1 and half of 2; half of 2, the whole of 3 and half of 4
    ours = mean_between(np.array([[1.0, 2.0, 3.0, 4.0], [0.0, 0.0, 8.0, 0.0]]), np.array([0.5, 1.5, 3.5]))
    np.testing.assert_allclose(ours, [[1.5, 3.0], [0.0, 4.0]])


def test_air_goes_round_a_typical_year_and_stops_at_the_ends_of_others(
    greensboro: Path, three_years: Path, greensboro_rows: Rows
) -> None:
    # readings hold at the end of their hour in TMY3, in the middle of it in NASA POWER
    last, first = greensboro_rows[-1][6], greensboro_rows[0][6]
    typical, years = read_weather(greensboro), read_weather(three_years)
    assert typical.air_degc is not None
    assert years.air_degc is not None
    start = np.array([0])
    ours = value_at(typical, typical.air_degc, start, np.array([0.0, 1800.0, 3600.0]))
    np.testing.assert_allclose(ours[0], [last, (last + first) / 2, first])
    np.testing.assert_allclose(value_at(years, years.air_degc, start, np.array([-7200.0, 1800.0]))[0], [first, first])
    end = np.array([years.n_intervals])
    np.testing.assert_allclose(value_at(years, years.air_degc, end, np.array([-1800.0, 7200.0]))[0], [last, last])


def test_half_hourly_stamps_stand_in_the_middle(tmp_path: Path, greensboro_rows: Rows) -> None:
    # NSRDB's half hours are stamped :00 and :30; a beam at the stamp of noon alone must lie a quarter hour around it
    head = _nsrdb(greensboro_rows).splitlines()[:3]
    body = []
    for month, day, hour, *_ in greensboro_rows:
        for minute in (0, 30):
            beam = 600 if (hour, minute) == (12, 0) else 0
            body.append(f"2009,{month},{day},{hour},{minute},{beam},{beam},0,10,1")
    path = tmp_path / "half.csv"
    path.write_text("\n".join([*head, *body]) + "\n")
    record = read_weather(path)
    assert record.interval_s == 1800
    lit = np.flatnonzero(record.dni_wm2)
    # hours of local standard time, five behind universal time
    begins = (record.start_s + lit * 1800.0 - 5 * 3600) % 86400 / 3600
    assert len(lit) == 365
    assert set(begins) == {11.75}


def test_windows_start_on_41_days_at_the_same_time(outing: Make, greensboro: Path) -> None:
    sky = windows_for(outing(weather=WeatherFile(greensboro), place=PLACE, zone=ZONE))
    assert len(sky.labels) == 41
    assert sky.labels[0] == "typical 09-20"
    assert sky.labels[-1] == "typical 10-30"
    assert not sky.can_refresh
    assert any("41 spells" in note for note in sky.notes)


def test_a_typical_year_goes_round(outing: Make, greensboro: Path, greensboro_rows: Rows) -> None:
    operation = outing(
        weather=WeatherFile(greensboro), place=PLACE, zone="Etc/GMT+5", start="2026-01-01T00:00", hours=72.0
    )
    sky = windows_for(operation)
    assert {"typical 12-12", "typical 12-30", "typical 01-01", "typical 01-21"} <= set(sky.labels)
    # the window from 30 December runs over the year's end into the file's first day
    row = sky.labels.index("typical 12-30")
    first_day = sum(row[3] for row in greensboro_rows if row[:2] == (1, 1))
    assert sky.poa_wm2["flat"][row, 96:].sum() * 0.5 == pytest.approx(first_day, rel=0.03)


def test_fewer_windows_are_a_sample_and_larger_ones_keep_smaller_ones(outing: Make, greensboro: Path) -> None:
    operation = outing(weather=WeatherFile(greensboro), place=PLACE, zone=ZONE)
    whole, ten, twenty = (windows_for(operation, n=n) for n in (41, 10, 20))
    assert len(ten.labels) == 10
    assert set(ten.labels) < set(twenty.labels) < set(whole.labels)
    other_seed = windows_for(replace(operation, need=replace(operation.need, seed=2)), n=10)
    assert set(other_seed.labels) != set(ten.labels)
    rows = [whole.labels.index(label) for label in ten.labels]
    assert np.array_equal(whole.poa_wm2["flat"][rows], ten.poa_wm2["flat"])


@pytest.fixture(scope="module")
def three_years(tmp_path_factory: pytest.TempPathFactory, greensboro_rows: Rows) -> Path:
    path = tmp_path_factory.mktemp("power") / "years.csv"
    path.write_text(_power(greensboro_rows, (2009, 2010, 2011)))
    return path


def test_years_give_windows_each_and_those_over_the_end_are_left_out(outing: Make, three_years: Path) -> None:
    middle = windows_for(outing(weather=WeatherFile(three_years), place=PLACE, zone=ZONE))
    assert len(middle.labels) == 3 * 41
    assert {"2009-10-10", "2010-10-10", "2011-10-10"} <= set(middle.labels)
    edge = windows_for(
        outing(weather=WeatherFile(three_years), place=PLACE, zone=ZONE, start="2026-12-31T09:00", hours=72.0)
    )
    # from 11 December to 20 January; a window from 29 December would end at nine on New Year's Day, after the file
    assert edge.labels[0] == "2009-01-01"
    assert edge.labels[-1] == "2011-12-28"
    assert "2010-01-05" in edge.labels


def test_the_29th_of_february_finds_windows_in_ordinary_years(outing: Make, three_years: Path) -> None:
    sky = windows_for(outing(weather=WeatherFile(three_years), place=PLACE, zone=ZONE, start="2028-02-29T09:00"))
    assert len(sky.labels) == 3 * 41
    assert "2010-02-28" in sky.labels


def test_far_file_is_noted(outing: Make, greensboro: Path) -> None:
    near = windows_for(outing(weather=WeatherFile(greensboro), place=PLACE, zone=ZONE), n=3)
    far = windows_for(outing(weather=WeatherFile(greensboro), place=(43.46, -3.8)), n=3)
    assert not any("km" in note for note in near.notes)
    assert any("km from the operation's" in note for note in far.notes)


def test_file_gives_air_and_coldest(outing: Make, greensboro: Path, greensboro_rows: Rows) -> None:
    operation = outing(weather=WeatherFile(greensboro), place=PLACE, zone=ZONE, coldest_degc=None, warmest_degc=None)
    sky = windows_for(operation)
    assert sky.air_degc.shape == (41, 52)
    assert sky.coldest_degc == pytest.approx(sky.air_degc.min())
    window = sky.labels.index("typical 10-10")
    # the reading of 10:00 standard time (11:00 on the clock) is stamped with that hour; steps stand a quarter off it
    reading = next(row[6] for row in greensboro_rows if row[:3] == (10, 10, 9))
    around = sky.air_degc[window, 3:5]
    assert around.min() - 0.6 <= reading <= around.max() + 0.6
    # cells have the air of three hours before
    np.testing.assert_allclose(sky.battery_degc[window, 6:], sky.air_degc[window, :-6])
    own = windows_for(replace(operation, site=replace(operation.site, coldest_degc=-30.0)))
    assert own.coldest_degc == -30.0
    assert np.array_equal(own.air_degc, sky.air_degc)


def _spoilt(text: str, lines: range, column: int) -> str:
    rows = text.splitlines()
    for line in lines:
        cells = rows[line].split(",")
        cells[column] = "-999"
        rows[line] = ",".join(cells)
    return "\n".join(rows) + "\n"


def test_file_without_air_takes_the_operations(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(_spoilt(_power(greensboro_rows), range(8, 8 + 8760), 7))
    operation = outing(weather=WeatherFile(path), place=PLACE, zone=ZONE)
    sky = windows_for(operation)
    assert sky.air_degc.shape == (1, 52)
    assert any("no air temperature" in note for note in sky.notes)
    with pytest.raises(BadInput) as error:
        windows_for(replace(operation, site=replace(operation.site, coldest_degc=None, warmest_degc=None)))
    assert [fault.column for fault in error.value.faults] == ["site.coldest_degc", "site.warmest_degc"]


def test_file_without_columns_of_air_takes_the_operations(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    head, body = _power(greensboro_rows).split("YEAR,")
    path = tmp_path / "weather.csv"
    path.write_text(head + "\n".join(row.rsplit(",", 2)[0] for row in f"YEAR,{body}".splitlines()) + "\n")
    assert "T2M" not in path.read_text()
    sky = windows_for(outing(weather=WeatherFile(path), place=PLACE, zone=ZONE))
    assert sky.air_degc.shape == (1, 52)
    assert any("no air temperature" in note for note in sky.notes)


def test_short_gap_is_bridged_and_a_long_one_leaves_its_windows_out(
    outing: Make, tmp_path: Path, greensboro_rows: Rows
) -> None:
    text = _power(greensboro_rows)
    noon = 8 + 24 * (31 + 28 + 31 + 30 + 31 + 30 + 31 + 31 + 30 + 9) + 12
    short, long = tmp_path / "short.csv", tmp_path / "long.csv"
    short.write_text(_spoilt(text, range(noon, noon + 2), 5))
    long.write_text(_spoilt(text, range(noon, noon + 9), 5))
    whole = windows_for(outing(weather=WeatherFile(short), place=PLACE, zone=ZONE))
    assert len(whole.labels) == 41
    holed = windows_for(outing(weather=WeatherFile(long), place=PLACE, zone=ZONE))
    # the gap is on 10 October from noon; the window of the day before ends that morning
    assert set(whole.labels) - set(holed.labels) == {"2009-10-10"}
    assert np.isfinite(holed.poa_wm2["flat"]).all()


def test_gaps_in_most_windows_are_told(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    """Thirty days round 10 October of the 41 on which windows start; 8 % of the year are not too much to be missing."""
    noon = 8 + 24 * (31 + 28 + 31 + 30 + 31 + 30 + 31 + 31 + 30 + 9) + 12
    path = tmp_path / "weather.csv"
    path.write_text(_spoilt(_power(greensboro_rows), range(noon - 15 * 24, noon + 15 * 24), 5))
    said = _fault(outing, path)
    assert "in most windows of 26 h within 20 days of the date" in said
    assert "get a file with fewer gaps or more years" in said


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("95.0,-79.95", "found latitude 95, need one between -90 and 90"),
        ("36.1,-400", "found longitude -400, need one"),
    ],
)
def test_a_place_off_the_globe_is_told(
    outing: Make, tmp_path: Path, greensboro_rows: Rows, place: str, said: str
) -> None:
    path = tmp_path / "weather.epw"
    path.write_text(_epw(greensboro_rows).replace(",36.1,-79.95,", f",{place},", 1))
    assert said in _fault(outing, path)


def test_rows_two_hours_apart_are_too_coarse(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(_power(greensboro_rows[::2]))
    assert "found rows 120 minutes apart, need an even part of an hour" in _fault(outing, path)


def test_a_header_with_blanks_round_its_end_is_one(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path, blank = tmp_path / "weather.csv", tmp_path / "blank.csv"
    path.write_text(_power(greensboro_rows))
    blank.write_text(_power(greensboro_rows).replace("-END HEADER-", "-END HEADER-  "))
    plain, odd = (windows_for(outing(weather=WeatherFile(one), place=PLACE, zone=ZONE), n=3) for one in (path, blank))
    np.testing.assert_array_equal(plain.poa_wm2["flat"], odd.poa_wm2["flat"])


def _fault(outing: Make, path: Path) -> str:
    with pytest.raises(BadInput) as error:
        windows_for(outing(weather=WeatherFile(path), place=PLACE, zone=ZONE))
    (fault,) = error.value.faults
    assert fault.file == str(path)
    return fault.text


BAD = {
    "empty": ("", "known kind"),
    "prose": ("Dear diary, it rained.\n" * 30, "known kind"),
    "binary": ("\x00\x01\x7fELF" * 1000, "known kind"),
    "cut EPW": ("LOCATION,Here,NC,USA,TMY3,723170,36.1,-79.95,-5.0,273.0\n", "need a whole year"),
    "EPW in the sky": ("LOCATION,Here,NC,USA,TMY3,723170,ninety,-79.95,-5.0,273.0\n" * 20, "get the file again"),
    "headless POWER": ("-BEGIN HEADER-\nLocation: latitude 1 longitude 2\n", "-END HEADER-"),
    "POWER from nowhere": ("-BEGIN HEADER-\nx\n-END HEADER-\nYEAR,MO,DY,HR\n", "Location"),
    "POWER without rows": (
        "-BEGIN HEADER-\nLocation: latitude 1 longitude 2\n-END HEADER-\nfoo,bar\n1,2\n",
        "YEAR,MO,DY,HR",
    ),
    "POWER without beam": (
        "-BEGIN HEADER-\nLocation: latitude 1 longitude 2\n-END HEADER-\nYEAR,MO,DY,HR,T2M\n2020,1,1,0,0\n",
        "ALLSKY_SFC_SW_DNI",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_file_says_what_it_is_and_what_it_should_be(outing: Make, tmp_path: Path, name: str) -> None:
    text, said = BAD[name]
    path = tmp_path / "weather.csv"
    path.write_text(text)
    assert said in _fault(outing, path)


def test_missing_file_and_folder(outing: Make, tmp_path: Path) -> None:
    assert "no such file" in _fault(outing, tmp_path / "none.epw")
    assert "not a file" in _fault(outing, tmp_path)


def test_a_20_gb_file_is_refused_by_its_size_before_it_is_read(outing: Make, tmp_path: Path) -> None:
    path = tmp_path / "sparse.epw"
    with path.open("wb") as stream:
        stream.write(b"LOCATION,Here,NC,USA,TMY3,723170,36.1,-79.95,-5.0,273.0\n")
        stream.truncate(20_000_000_000)
    assert "found 20,000 MB, need a smaller file, of 64 MB at most" in _fault(outing, path)


def test_rows_thousands_of_years_apart_take_no_memory(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(_power(greensboro_rows, (1700, 2200)))
    assert "found rows from 1700-01-01 to 2201-01-01, but too few" in _fault(outing, path)


@pytest.mark.parametrize("zone", ["1e14", "-15", "nan"])
def test_a_time_zone_that_no_place_has_is_refused(
    outing: Make, tmp_path: Path, greensboro_rows: Rows, zone: str
) -> None:
    # found by changing cells at random
    path = tmp_path / "weather.epw"
    path.write_text(_epw(greensboro_rows).replace(",-5.0,", f",{zone},", 1))
    assert re.search("need at most 14 h|get the file again", _fault(outing, path))


def test_a_row_without_a_date_is_told(outing: Make, tmp_path: Path, greensboro: Path) -> None:
    # found by changing cells at random; the file is the one that pvlib carries
    lines = greensboro.read_text().splitlines(keepends=True)
    lines[6048] = '""' + lines[6048][lines[6048].index(",") :]
    path = tmp_path / "weather.csv"
    path.write_text("".join(lines))
    assert "rows without a date and hour" in _fault(outing, path)


def test_short_doubled_and_holed_files(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(_power(greensboro_rows[: 24 * 40]))
    assert "40.0 days" in _fault(outing, path)
    whole = _power(greensboro_rows).splitlines()
    path.write_text("\n".join([*whole, *whole[-5:]]) + "\n")
    assert "twice" in _fault(outing, path)
    path.write_text(_spoilt("\n".join(whole) + "\n", range(1000, 3000), 6))
    assert "missing" in _fault(outing, path)


def test_ten_megabytes_of_junk_are_refused_quickly(outing: Make, tmp_path: Path) -> None:
    path = tmp_path / "junk.epw"
    path.write_bytes(bytes(range(256)) * 40_000)
    assert "known kind" in _fault(outing, path)


def test_file_of_another_script_is_still_read(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.epw"
    path.write_bytes(_epw(greensboro_rows).replace("Greensboro", "Grénsboro").encode("latin-1"))
    assert windows_for(outing(weather=WeatherFile(path), place=PLACE, zone=ZONE), n=3).n_windows == 3


def test_a_file_that_changed_is_read_again(outing: Make, tmp_path: Path, greensboro_rows: Rows) -> None:
    path = tmp_path / "weather.csv"
    operation = outing(weather=WeatherFile(path), place=PLACE, zone=ZONE)
    path.write_text(_power(greensboro_rows))
    before = windows_for(operation, n=3)
    path.write_text(_power([(*row[:3], 0.0, 0.0, 0.0, *row[6:]) for row in greensboro_rows]))
    after = windows_for(operation, n=3)
    assert before.poa_wm2["flat"].max() > 100
    assert after.poa_wm2["flat"].max() == 0
