"""Logs of every make: columns by their words and units, in any order, and gaps told."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kitopt.errors import BadInput
from kitopt.files.faults import HOPELESS
from kitopt.operation.log import read_log

ZONE = ZoneInfo("Europe/Madrid")


def log(tmp_path: Path, text: str):  # type: ignore[no-untyped-def]
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path, ZONE, 12.8)


@pytest.mark.parametrize(
    ("header", "rows", "in_a", "out_a"),
    [
        ("time,solar_a,load_a", ["2,0.5", "3,0.5"], [2, 3], [0.5, 0.5]),
        ("Time,PV current [mA],Out (A)", ["2000,0.5", "3000,0.5"], [2, 3], [0.5, 0.5]),
        # a battery's current goes in above zero and out below it
        ("timestamp,Battery current,Battery voltage (V)", ["1.5,13.2", "-0.5,12.8"], [1.5, 0], [0, 0.5]),
        # 26 W at 13 V are 2 A; without volts 25.6 W at 12.8 V are
        ("when,panel w,volts", ["26,13", "13,13"], [2, 1], [0, 0]),
        ("when,panel w,load w", ["25.6,12.8", "12.8,12.8"], [2, 1], [1, 1]),
        # what neither column tells is what the battery's own current leaves
        ("time,solar a,battery a", ["2,1.5", "1,-0.5"], [2, 1], [0.5, 1.5]),
        ("time,load a,battery a", ["0.5,1.5", "1.5,-0.5"], [2, 1], [0.5, 1.5]),
        # what both columns tell is not asked of the battery's own
        ("time,in a,load a,battery a", ["2,0.5,9", "1,0.5,-9"], [2, 1], [0.5, 0.5]),
        # what is blank is as before
        ("time,in a", ["2", "?"], [2, 2], [0, 0]),
    ],
)
def test_columns_mean_what_they_say(
    tmp_path: Path, header: str, rows: list[str], in_a: list[float], out_a: list[float]
) -> None:
    at = ("2027-06-12 12:00", "2027-06-12T12:30:00")
    found = log(tmp_path, "\n".join([header, *(f"{a},{row}" for a, row in zip(at, rows, strict=True))]) + "\n")
    assert found.in_a == pytest.approx(in_a)
    assert found.out_a == pytest.approx(out_a)
    assert found.length_s.tolist() == [1800.0, 1800.0]
    # noon in Madrid in June is ten in universal time
    assert found.start_s[0] % 86400 == 10 * 3600


def test_a_counter_says_nothing_of_what_comes_after_its_last_row(tmp_path: Path) -> None:
    """0.25 Ah more in half an hour is 0.5 A; a counter that is set back begins anew."""
    found = log(tmp_path, "at,used Ah\n2027-06-12 12:00,1.0\n2027-06-12 12:30,1.25\n2027-06-12 13:00,0\n")
    assert found.out_a.tolist() == [0.5, 0.0]
    assert found.length_s.tolist() == [1800.0, 1800.0]


@pytest.mark.parametrize("sign", [1, -1])
def test_what_flows_against_its_column_is_none(tmp_path: Path, sign: int) -> None:
    """A column of loads may be logged below zero; one value of the other sign among many is not what it drew."""
    rows = "".join(f"2027-06-12 1{hour}:00,{sign * amps}\n" for hour, amps in enumerate((2, -1, 3)))
    assert log(tmp_path, f"time,load a\n{rows}").out_a.tolist() == [2.0, 0.0, 3.0]


def test_a_current_that_no_kit_carries_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        log(tmp_path, "time,load a\n2027-06-12 12:00,0.7\n2027-06-12 12:30,700\n")
    (fault,) = caught.value.faults
    assert (fault.line, fault.column) == (3, "load_a")
    assert "is the unit" in fault.text


WAYS = {"leaf-60": "in", "box": "net", "hf-10": "out", "hf-10w": "out"}


@pytest.mark.parametrize(
    ("header", "row", "in_a", "out_a", "of"),
    [
        ("time,LEAF-60 (mA),hf-10w A", "2000,0.5", 2.0, 0.5, {"leaf-60": 2.0, "hf-10w": 0.5}),
        # one load of several: the column of the whole holds it
        ("time,load a,hf-10 a,in a", "1.5,0.5,2", 2.0, 1.5, {"hf-10": 0.5}),
        # 2 A from the panel of which 1.5 go into the battery
        ("time,leaf-60,box", "2,1.5", 2.0, 0.5, {"leaf-60": 2.0, "box": 1.5}),
        ("time,box w,volts", "-13,13", 0.0, 1.0, {"box": -1.0}),
    ],
)
def test_a_column_may_be_of_one_item(
    tmp_path: Path, header: str, row: str, in_a: float, out_a: float, of: dict[str, float]
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"{header}\n2027-06-12 12:00,{row}\n2027-06-12 12:30,{row}\n", encoding="utf-8")
    found = read_log(path, ZONE, 12.8, WAYS)
    assert (found.in_a[0], found.out_a[0]) == pytest.approx((in_a, out_a))
    assert {name: amps[0] for name, amps in found.of.items()} == pytest.approx(of)


def test_a_gap_is_told_and_counts_nothing(tmp_path: Path) -> None:
    """Rows every ten minutes; after 12:20 nothing until 14:00: 12:30 to 14:00."""
    times = ("12:00", "12:10", "12:20", "14:00")
    found = log(tmp_path, "time,in_a\n" + "".join(f"2027-06-12 {at},1\n" for at in times))
    assert found.length_s.tolist() == [600.0] * 4
    ((start_s, length_s),) = found.gaps
    assert (start_s - found.start_s[0], length_s) == (1800.0, 5400.0)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("what,when\nbread,2027-06-12\n", "need a column of times, and one of amperes"),
        ("time,in_a\n2027-06-12 12:00,much\n2027-06-12 12:10,1\n", "need a number in A"),
        ("time,in_a\nnoon,1\n2027-06-12 12:10,1\n", "need a date and time"),
        ("time,in_a\n2027-06-12 12:10,1\n2027-06-12 12:00,1\n", "sort the rows"),
        ("time,in_a\n2027-06-12 12:10,1\n", "need two at least"),
        # a row whose time is blank is none of the log's
        ("time,in_a\n2027-06-12 12:10,1\n,2\n", "need two at least"),
        ("", "empty"),
    ],
)
def test_what_is_no_log_is_a_fault(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(BadInput, match=told):
        log(tmp_path, text)


def test_a_log_of_nonsense_is_not_read_to_its_end(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        log(tmp_path, "time,in_a\n" + "noon,1\n" * (HOPELESS + 100))
    # fifty are shown
    assert len(caught.value.faults) == 51
    said = f"and {HOPELESS - 50:,} more faults in this file; reading stopped there. Is it the right file?"
    assert caught.value.faults[-1].text == said
