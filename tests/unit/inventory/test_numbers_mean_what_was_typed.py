"""Numbers mean what was typed: each case here was once read as something else, without a word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import Fault
from kitopt.inventory import read_inventory
from kitopt.inventory.ranges import RANGES

FaultsOf = Callable[..., list[Fault]]
Write = Callable[..., Path]

PANELS = "id;mass_g;rated_w;connector;price;count\n"
BATTERIES = "id,mass_g,chemistry,capacity_ah,connector\n"
CONTROLLERS = "id,mass_g,kind,max_charge_a,efficiency,pv_connector,battery_connector\n"


@pytest.mark.parametrize(
    ("row", "column", "readings"),
    [
        ("p;1,500 g;50;x;;", "mass_g", "1500 g or 1.5 g"),
        ("p;1.500;50;x;;", "mass_g", "1500 or 1.5"),
        ("p;1.500 g;50;x;;", "mass_g", "1500 g or 1.5 g"),
        ("p;1500;50;x;1.250;", "price", "1250 or 1.25"),
        ("p;1500;50;x;;1,000", "count", "1000 or 1"),
    ],
)
def test_a_mark_that_nothing_settles_is_a_fault_with_both_readings(
    faults_of: FaultsOf, row: str, column: str, readings: str
) -> None:
    faults = faults_of(panels__csv=PANELS + row + "\n")
    assert [(fault.line, fault.column) for fault in faults] == [(2, column)]
    assert f"write {readings}." in faults[0].text


def test_a_capacity_with_a_thousands_mark_is_no_thousandth(faults_of: FaultsOf, write: Write) -> None:
    text = "id;mass_g;chemistry;capacity_ah;nominal_v;connector\nb;540;lifepo4;4,500 mAh;{};x\n"
    assert "4500 mAh or 4.5 mAh" in faults_of(batteries__csv=text.format("")).pop().text
    # 12.8 can be read one way only, which settles the file
    assert read_inventory(write(batteries__csv=text.format("12.8"))).batteries[0].capacity_ah == 4.5


@pytest.mark.parametrize(("price", "mass_g"), [("12,5", 1500), ("1.234,50", 1500)])
def test_one_cell_that_can_be_read_one_way_settles_the_file(write: Write, price: str, mass_g: int) -> None:
    for mass in ("1.500", "1.500 g"):
        inventory = read_inventory(write(panels__csv=PANELS + f"p;{mass};50;x;{price};\n"))
        assert inventory.panels[0].mass_g == mass_g


def test_kilograms_in_a_gram_column_are_a_fault_that_says_how_to_write_them(faults_of: FaultsOf) -> None:
    faults = faults_of(batteries__csv=BATTERIES + "b,2.45,lifepo4,20,x\n")
    assert [(fault.line, fault.column) for fault in faults] == [(2, "mass_g")]
    assert 'found "2.45"' in faults[0].text
    assert "grams or kilograms? Write 2.45 kg." in faults[0].text


@pytest.mark.parametrize("unit", ["g", "gr", "gram", "grams"])
def test_gr_is_grams_and_never_grains(write: Write, unit: str) -> None:
    assert read_inventory(write(batteries__csv=BATTERIES + f"b,120 {unit},lifepo4,1,x\n")).batteries[0].mass_g == 120


@pytest.mark.parametrize(("cell", "meant"), [("0.9 %", "0.9"), ("0.95 %", "0.95")])
def test_a_percentage_of_a_percentage_shows_both_readings(faults_of: FaultsOf, cell: str, meant: str) -> None:
    faults = faults_of(controllers__csv=CONTROLLERS + f"c,260,mppt,10,{cell},x,y\n")
    assert [(fault.line, fault.column) for fault in faults] == [(2, "efficiency")]
    assert f"percent or a plain share? Write {meant}." in faults[0].text


def test_ten_milliampere_hours_are_no_battery(faults_of: FaultsOf) -> None:
    faults = faults_of(batteries__csv=BATTERIES + "b,740,lifepo4,10 mAh,x\n")
    assert [(fault.line, fault.column) for fault in faults] == [(2, "capacity_ah")]
    assert "milliampere-hours or ampere-hours? Write 10 Ah." in faults[0].text


def test_3000_ah_at_390_g_do_not_pass(faults_of: FaultsOf) -> None:
    faults = faults_of(batteries__csv=BATTERIES + "b,390,lifepo4,3000,x\n")
    assert len(faults) == 1
    # 390 kg / 38.4 kWh and 390 g / 38.4 Wh are both 10.2 g/Wh
    assert "Write 390 kg or capacity_ah 3000 mAh, whichever is meant." in faults[0].text


def test_a_12_ah_battery_of_1_g_does_not_pass(faults_of: FaultsOf) -> None:
    faults = faults_of(batteries__csv=BATTERIES + "b,1,lifepo4,12,x\n")
    assert "grams or kilograms? Write 1 kg." in faults[0].text


def test_what_is_outside_the_usual_but_near_is_asked_about(write: Write) -> None:
    inventory = read_inventory(write(batteries__csv=BATTERIES + "b,3000,lifepo4,12,x\n"))
    assert [(one.id, one.line, one.column, one.keeps_out) for one in inventory.unusual] == [("b", 2, "mass_g", True)]
    # 3000 g / 153.6 Wh
    assert "19.5 g/Wh, usually 7 to 14 g/Wh; is it so?" in str(inventory.unusual[0])


@pytest.mark.parametrize(("degc", "keeps_out"), [("25", True), ("-45", False)])
def test_a_temperature_has_no_ten_times_too_much(write: Write, degc: str, keeps_out: bool) -> None:
    """Usual are -30 to 10 °C: outside is asked about, never refused; charged only in the warm, it stays at home."""
    text = f"id,mass_g,chemistry,capacity_ah,connector,lowest_charging_degc\nb,1400,lifepo4,12,x,{degc}\n"
    (asked,) = read_inventory(write(batteries__csv=text)).unusual
    assert (asked.line, asked.column, asked.keeps_out) == (2, "lowest_charging_degc", keeps_out)


# ---- file names


@pytest.mark.parametrize(
    ("name", "meant"),
    [("panel.csv", "panels.csv"), ("Panels.csv", "panels.csv"), ("lead.csv", "leads.csv"), ("panels.txt", "panels.csv"),
     ("inventry.toml", "inventory.toml")],
)  # fmt: skip
def test_a_misspelt_file_is_told_as_a_misspelt_column_is(write: Write, name: str, meant: str) -> None:
    folder = write()
    (folder / name).write_text("id\n")
    inventory = read_inventory(folder)
    assert inventory.warnings == (f'the file "{name}" is ignored. Did you mean {meant}?',)
    assert inventory.other_files == ()


def test_other_files_are_named_and_operations_and_hidden_files_are_not(write: Write) -> None:
    folder = write()
    for name in ("notes.txt", "photo.jpg", "operation.toml", ".hidden", "batteries.csv.bak"):
        (folder / name).write_text("")
    (folder / "operations").mkdir()
    inventory = read_inventory(folder)
    assert inventory.warnings == ()
    assert inventory.other_files == ("batteries.csv.bak", "notes.txt", "photo.jpg")


def test_a_missing_file_names_the_misspelt_one(faults_of: FaultsOf, write: Write) -> None:
    folder = write(battery__csv=BATTERIES)
    (folder / "batteries.csv").unlink()
    with pytest.raises(Exception, match=r'every inventory needs it, if only with a header. Is "battery.csv" meant\?'):
        read_inventory(folder)


# ---- remarks and what is unknown


@pytest.mark.parametrize(
    "remark",
    [
        '"# a remark, with a comma"',
        '"# one"," two",,,',
        '"# over\ntwo lines",,,,',
        '"\'# guarded"',
        ' "# after a blank"',
        '"# a ""mark"" within",,,,',
    ],
)
def test_a_remark_is_one_however_a_spreadsheet_quotes_it(write: Write, remark: str) -> None:
    quoted = '"id","mass_g","chemistry","capacity_ah","connector"\n'
    row = '"b","1400","lifepo4","12","x"\n'
    inventory = read_inventory(write(batteries__csv=f"{remark}\n{quoted}{remark}\n{row}{remark}\n"))
    assert [battery.id for battery in inventory.batteries] == ["b"]
    assert inventory.warnings == ()


@pytest.mark.parametrize("word", ["", "?", "unknown", "n/a", "N/A", " ? "])
def test_blank_and_its_other_spellings_mean_unknown(write: Write, faults_of: FaultsOf, word: str) -> None:
    text = "id,mass_g,chemistry,capacity_ah,connector,max_charge_a,fused,charged_on,name\n"
    inventory = read_inventory(write(batteries__csv=text + f"b,1400,lifepo4,12,x,{word},{word},{word},{word}\n"))
    assert {"max_charge_a", "fused"} <= {one.column for one in inventory.assumed}
    assert (inventory.batteries[0].charged_on, inventory.batteries[0].name) == (None, "b")
    faults = faults_of(batteries__csv=text + f"b,{word},lifepo4,12,x,,,,\n")
    assert [(fault.line, fault.column) for fault in faults] == [(2, "mass_g")]
    assert "need a mass above 0" in faults[0].text


# ---- the table


def test_the_table_is_well_formed() -> None:
    for one in RANGES:
        assert one.low < one.high, one
        assert one.source
        assert len({(r.kind, r.columns, r.what) for r in RANGES}) == len(RANGES)


@pytest.mark.parametrize(
    ("files", "what"),
    [
        # common practice, from memory: the lightest and heaviest of usual things of each size
        ({"batteries__csv": BATTERIES + "".join(
            f"b{ah}{g},{g},lifepo4,{ah},x\n" for ah, g in
            [(3, 350), (3, 500), (6, 700), (6, 900), (12, 1300), (12, 1600), (50, 5200), (50, 6800)])}, "lifepo4"),
        ({"batteries__csv": BATTERIES + "".join(
            f"b{ah}{g},{g},agm,{ah},x\n" for ah, g in
            [(7, 2100), (7, 2600), (12, 3500), (12, 4100), (18, 5200), (18, 6000)])}, "agm"),
        ({"panels__csv": "id,mass_g,rated_w,connector\n" + "".join(
            f"p{w}{g},{g},{w},x\n" for w, g in
            [(10, 350), (10, 500), (50, 1400), (50, 2200), (100, 2200), (100, 4800), (200, 5000), (200, 9500)])},
         "panels"),
        ({"controllers__csv": "id,mass_g,kind,max_charge_a,pv_connector,battery_connector\n" + "".join(
            f"c{kind}{a}{g},{g},{kind},{a},x,y\n" for kind, a, g in
            [("pwm", 5, 60), ("pwm", 5, 120), ("pwm", 20, 150), ("mppt", 5, 80), ("mppt", 10, 500),
             ("mppt", 20, 1300)])}, "controllers"),
        # ASTM B258 gauges; twin leads of 30 to 145 g/m with two plugs
        ({"leads__csv": "id,mass_g,from,to,length_m,awg,max_a\n" + "".join(
            f"l{awg},{20 + 5 * g:g},x,y,5,{awg},{a}\n" for awg, g, a in
            [(18, 30, 20), (16, 43, 25), (14, 65, 35), (12, 95, 45), (10, 145, 60)])}, "leads"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_usual_things_are_asked_nothing(write: Write, files: dict[str, str], what: str) -> None:
    assert [str(one) for one in read_inventory(write(**files)).unusual] == [], what


def test_a_mass_that_would_be_rounded_to_nothing_is_a_fault(faults_of: FaultsOf) -> None:
    (fault,) = faults_of(extras__csv="id,mass_g\npegs,0.15\n")
    assert 'found "0.15"' in fault.text
    assert "0.35 kg" in fault.text


def test_amperes_in_a_column_of_milliamperes_are_named_as_such(faults_of: FaultsOf) -> None:
    header = CONTROLLERS.replace("efficiency", "idle_ma")
    (fault,) = faults_of(controllers__csv=header + "c,300,mppt,10,0.02,x,x\n")
    assert fault.text.endswith("milliamperes or amperes? Write 0.02 A.")
