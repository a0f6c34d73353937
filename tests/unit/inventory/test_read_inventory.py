"""Good inventories: dialects of CSV, blanks filled, warnings."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.inventory import demo, demo_folder, demo_operation, read_inventory
from kitopt.inventory.fill import awg_to_mm2
from kitopt.inventory.items import Connector, Inventory

Write = Callable[..., Path]
PANELS = 'id,name,mass_g,rated_w,connector\np1,olive,1500,50,x:plug\np2,"grey, large",2500,100,x:plug\n'


def masses(inventory: Inventory) -> list[tuple[str, int]]:
    return [(panel.id, panel.mass_g) for panel in inventory.panels]


@pytest.mark.parametrize(
    "content",
    [
        PANELS.encode(),
        PANELS.encode("utf-8-sig"),
        PANELS.encode("utf-16"),
        b"\xfe\xff" + PANELS.encode("utf-16-be"),
        PANELS.replace("\n", "\r\n").encode(),
        ("\n# remark, with \"a mark\n" + PANELS + ",,,,\n\n").encode(),
        ("sep=,\n" + PANELS).encode(),
        PANELS.replace(",", ";").replace("grey; large", "grey, large").encode(),
        ("sep=;\r\n" + PANELS.replace(",", ";")).encode(),
        PANELS.replace(",", "\t").encode(),
        PANELS.replace("1500", "1.5 kg").replace("2500", '"2.5 kg"').encode(),
        PANELS.replace(",", ";").replace("1500", "1,5 kg").replace("2500", "2500,0").encode(),
        PANELS.replace("id,name,mass_g", " ID , Name,Mass g").encode(),
        ('"# a remark, quoted by a spreadsheet",,,,\n' + PANELS).replace('"# a', "# a").encode(),
        (PANELS + '"# a remark, ""quoted"" by a spreadsheet",,,,\n').encode(),
        ('"# a remark of 5" that is never closed\n' + PANELS).encode(),
        ('"# a remark that is never closed\n' + PANELS).encode(),
    ],
    ids=[
        "utf-8", "utf-8 with mark", "utf-16", "utf-16 big", "windows", "remarks and blanks", "sep=,", "semicolons",
        "sep=;", "tabs", "units", "decimal commas", "header in other letters", "first remark", "last remark",
        "inches in a remark", "open remark",
    ],
)  # fmt: skip
def test_dialects_of_csv_say_the_same(write: Write, content: bytes) -> None:
    inventory = read_inventory(write(panels__csv=content))
    assert masses(inventory) == [("p1", 1500), ("p2", 2500)]
    assert inventory.warnings == ()


def test_decimal_commas_in_every_column_of_a_semicolon_file(write: Write) -> None:
    text = "id;mass_g;rated_w;vmp_v;connector;power_per_degc;price\np;740;50,5;18,2;x;-0,35 %;12,5\n"
    panel = read_inventory(write(panels__csv=text)).panels[0]
    assert (panel.rated_w, panel.vmp_v, panel.power_per_degc, panel.price_cents) == (50.5, 18.2, -0.0035, 1250)


def test_masses_are_whole_grams_rounded_half_up_and_prices_cents(write: Write) -> None:
    text = (
        "id,mass_g,rated_w,connector,price\na,30.5,1,x,0.005\nb,31.4999,1,x,0.29\nc,32.5,1,x,1.115\nd,0.0325 kg,1,x,\n"
    )
    panels = read_inventory(write(panels__csv=text)).panels
    assert [panel.mass_g for panel in panels] == [31, 31, 33, 33]
    assert [panel.price_cents for panel in panels] == [1, 29, 112, None]


def test_items_know_where_they_stand_and_are_sorted(write: Write) -> None:
    text = "# remark\nid,mass_g,rated_w,connector,tags,owner,notes\nz,9,1,x,a b,club,'=1+1\na,9,1,x:socket,,,\n"
    first, second = read_inventory(write(panels__csv=text)).panels
    assert (first.id, first.file, first.line, first.name, first.count) == ("a", "panels.csv", 4, "a", 1)
    assert first.connector == Connector("x", "socket")
    assert (second.line, second.tags, second.owner, second.notes) == (3, ("a", "b"), "club", "=1+1")


def test_unknown_columns_are_warned_about_with_the_nearest_name(write: Write) -> None:
    text = "id,mass_g,rated_w,connector,vpm_v,weather\np,9,1,x,18,\n"
    inventory = read_inventory(write(panels__csv="# r\n" + text))
    assert inventory.warnings == (
        'panels.csv, line 2: the unknown column "vpm_v" is ignored. Did you mean vmp_v?',
        'panels.csv, line 2: the unknown column "weather" is ignored.',
    )


def test_the_currency_and_unknown_keys(write: Write) -> None:
    inventory = read_inventory(write(inventory__toml='\ufeff# x\r\ncurrency = "EUR"\r\ncurency = "USD"\r\n'))
    assert inventory.currency == "EUR"
    assert inventory.warnings == (
        'inventory.toml, line 3, curency: the unknown key "curency" is ignored. Did you mean currency?',
    )


def test_the_fingerprint_is_that_of_the_bytes(write: Write) -> None:
    folder = write(inventory__toml='currency = "EUR"\n')
    names = ("batteries.csv", "inventory.toml", "loads.csv")
    expected = hashlib.sha256(b"".join((folder / name).read_bytes() for name in names)).hexdigest()[:12]
    assert read_inventory(folder).fingerprint == expected
    (folder / "catalogue").mkdir()
    (folder / "notes.txt").write_text("anything")
    assert read_inventory(folder).fingerprint == expected
    # plans count with what was read
    (folder / "readings.csv").write_text("at,panel,amps,worth\n")
    assert read_inventory(folder).fingerprint != expected


# ---- blanks


def assumed(inventory: Inventory, name: str) -> dict[str, str]:
    return {one.column: one.value for one in inventory.assumed if one.id == name}


def test_a_panel_with_only_watts(write: Write) -> None:
    """The ratios are common practice, no source; the coefficient is the CEC module list's median, second-hand."""
    inventory = read_inventory(write(panels__csv="id,mass_g,rated_w,connector\np,2700,90,x\n"))
    panel = inventory.panels[0]
    assert (panel.vmp_v, panel.imp_a, panel.isc_a, panel.voc_v) == pytest.approx((18, 5, 5.5, 23.04))
    assert (panel.power_per_degc, panel.voc_per_degc) == (-0.0045, None)
    assert (panel.folding, panel.tilts, panel.output_factor) == (True, False, 0.75)
    assert set(assumed(inventory, "p")) == {
        "vmp_v", "imp_a", "isc_a", "voc_v", "power_per_degc", "voc_per_degc", "folding", "tilts", "output_factor",
    }  # fmt: skip
    assert all(one.file == "panels.csv" and one.rule for one in inventory.assumed if one.id == "p")


def test_a_framed_panel_gives_more_of_its_label(write: Write) -> None:
    text = "id,mass_g,rated_w,connector,folding\np,5400,90,x,no\n"
    assert read_inventory(write(panels__csv=text)).panels[0].output_factor == 0.9


def test_a_filled_rating_never_contradicts_a_given_one(write: Write) -> None:
    text = "id,mass_g,rated_w,connector,imp_a,voc_v,isc_a\na,1800,60,x,,,3.2\nb,400,10,x,,7,\nc,3000,100,x,5,,\n"
    a, b, c = read_inventory(write(panels__csv=text)).panels
    assert a.imp_a <= a.isc_a == 3.2
    assert b.vmp_v <= b.voc_v == 7
    assert c.imp_a * c.vmp_v == pytest.approx(100)


def test_a_label_that_does_not_multiply_is_asked_about(write: Write) -> None:
    text = "id,mass_g,rated_w,connector,vmp_v,imp_a\na,3000,100,x,18,4\nb,3000,100,x,18,4.4\n"
    unusual = read_inventory(write(panels__csv=text)).unusual
    assert [(one.line, one.column) for one in unusual] == [(2, "rated_w")]
    # 18 V times 4 A are 72 W
    assert "vmp_v times imp_a over rated_w is 0.72 W/W, usually 0.75 to 1.25 W/W" in unusual[0].text


# common practice, no source
@pytest.mark.parametrize(
    ("chemistry", "mass_kg", "nominal_v", "depth", "efficiency", "lowest"),
    [("lifepo4", 2.4, 12.8, 0.9, 0.98, 0), ("agm", 6, 12.0, 0.5, 0.90, -20), ("li-ion", 2, 14.4, 0.9, 0.98, 0)],
)
def test_a_battery_with_only_its_label(
    write: Write, chemistry: str, mass_kg: float, nominal_v: float, depth: float, efficiency: float, lowest: float
) -> None:
    text = f"id,mass_g,chemistry,capacity_ah,connector,charged_on\nb,{mass_kg} kg,{chemistry},20,x,2026-10-09\n"
    inventory = read_inventory(write(batteries__csv=text))
    battery = inventory.batteries[0]
    assert (battery.nominal_v, battery.depth_share, battery.efficiency) == (nominal_v, depth, efficiency)
    assert battery.lowest_charging_degc == lowest
    assert (battery.measured_ah, battery.max_charge_a, battery.max_discharge_a) == pytest.approx((18, 4, 10))
    assert battery.usable_wh == pytest.approx(18 * nominal_v * depth)
    assert battery.charged_on == date(2026, 10, 9)
    assert battery.fused is False
    assert len(assumed(inventory, "b")) == 8


def test_controllers_leads_and_converters_with_blanks(write: Write) -> None:
    inventory = read_inventory(
        write(
            controllers__csv="id,mass_g,kind,max_charge_a,pv_connector,battery_connector\nm,150,MPPT,5,x,y\nq,90,pwm,5,x,y\n",
            leads__csv="id,mass_g,from,to,length_m,awg,fuse_a,fuse_at_m\nl,90,x,y,2,,10,\nk,300,x,y,2,10,,0.1\n",
            converters__csv="id,mass_g,from,to,out_v,max_w\nc,150,x,y,20,65\n",
        )
    )
    mppt, pwm = inventory.controllers
    assert (mppt.efficiency, mppt.idle_ma, mppt.max_pv_v, mppt.chemistries, mppt.rf) == (0.95, 40, None, (), "unknown")
    assert (pwm.efficiency, pwm.idle_ma) == (1, 15)
    assert set(assumed(inventory, "m")) == {"max_pv_v", "efficiency", "idle_ma", "chemistries", "rf"}
    fused = inventory.by_id["l"]
    assert assumed(inventory, "l") == {"awg": "18", "fuse_at_m": "2"}
    assert (fused.area_mm2, fused.fuse_at_m) == (awg_to_mm2(18), 2)  # type: ignore[attr-defined]
    assert len(inventory.warnings) == 1
    assert inventory.warnings[0].startswith("leads.csv, line 3, column fuse_at_m")
    assert assumed(inventory, "c") == {"efficiency": "0.85", "idle_ma": "10"}


def test_a_holder_takes_what_is_in_it_or_what_is_usual(write: Write) -> None:
    """A blade holder in a lead takes 30 A where nobody wrote it down (fuses.py); its place is the far end."""
    text = (
        "id,mass_g,from,to,length_m,awg,fuse_a,fuse_holder,fuse_max_a\n"
        "a,300,x,y,2,10,15,blade,\nb,300,x,y,2,10,,blade,\nc,300,x,y,2,10,15,blade,25\nd,300,x,y,2,10,15,,\n"
    )
    leads = read_inventory(write(leads__csv=text)).leads
    assert [lead.fuse_max_a for lead in leads] == [15, 30, 25, None]
    assert [lead.fuse_at_m for lead in leads] == [2, 2, 2, 2]


def test_fuses_of_one_holder_and_rating_are_counted_together(write: Write) -> None:
    text = "rating_a,holder,count\n10,blade,2\n7.5,,\n10,,3\n10,glass,1\n"
    found = read_inventory(write(fuses__csv=text)).fuses
    assert found == {("blade", 10): 5, ("blade", 7.5): 1, ("glass", 10): 1}


def test_a_file_of_fuses_without_rows_says_that_there_are_none(write: Write) -> None:
    """Without the file nothing is known of them."""
    assert read_inventory(write()).fuses is None
    assert read_inventory(write(fuses__csv="rating_a,holder,count\n")).fuses == {}


@pytest.mark.parametrize(
    ("file", "text", "said"),
    [
        (
            "converters__csv",
            "id,mass_g,from,to,out_v,max_w\nc,150,x,usb-a,12,65\n",
            "converters.csv, line 2, column out_v: 12 V, which usb-a does not carry; check both.",
        ),
        (
            "loads__csv",
            "id,mass_g,connector,idle_a,full_a,supply_v\na,90,usb-a:plug,0.5,1,13.8\n",
            "loads.csv, line 2, column supply_v: 13.8 V, which usb-a:plug does not carry; check both.",
        ),
    ],
)
def test_volts_that_a_connector_does_not_carry_are_asked_about(write: Write, file: str, text: str, said: str) -> None:
    """USB-A carries 5 V (USB 2.0)."""
    assert said in read_inventory(write(**{file: text})).warnings
    assert read_inventory(write(**{file: text.replace("12,65", "5,65").replace("13.8", "5")})).warnings == ()


def test_a_load_that_says_half(write: Write) -> None:
    text = "id,mass_g,connector,idle_a,idle_w,full_a,full_w\na,9,x,0.5,,,\nb,9,x,,,,30\nc,9,x,0.5,,,30\nd,9,x,2,,1,\n"
    inventory = read_inventory(write(loads__csv=text))
    a, b, c, _ = inventory.loads
    assert (a.full_a, a.full_w, b.idle_a, b.idle_w) == (0.5, None, None, 30)
    assert (c.idle_a, c.full_w, c.full_a, c.idle_w) == (0.5, 30, None, None)
    assert [(one.id, one.column) for one in inventory.assumed if one.file == "loads.csv"] == [
        ("a", "full_a"),
        ("a", "supply_v"),
        ("b", "idle_w"),
        *((name, "supply_v") for name in "bcd"),
    ]
    assert len(inventory.warnings) == 1
    assert "line 5" in inventory.warnings[0]


@pytest.mark.parametrize(("awg", "diameter_mm"), [(10, 2.588), (36, 0.127), (0, 8.251), (18, 1.024), (40, 0.0799)])
def test_wire_gauges(awg: int, diameter_mm: float) -> None:
    """ASTM B258-02, table 1: diameters. AWG 10 as read there, the others from memory."""
    assert awg_to_mm2(awg) == pytest.approx(3.14159265 / 4 * diameter_mm**2, rel=2e-3)


# ---- the demo


def test_the_demo_reads_without_warnings() -> None:
    inventory = read_inventory(demo_folder())
    assert len(inventory.by_id) >= 60
    assert inventory.warnings == ()
    assert demo_operation().is_file()


def test_a_package_without_the_demo_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "__file__", str(tmp_path / "kitopt" / "inventory" / "demo.py"))
    with pytest.raises(BadInput, match="the demo inventory is missing; name an operation, or install again"):
        demo_folder()


def test_importing_the_types_loads_no_reader() -> None:
    code = (
        "import sys, kitopt.inventory.items, kitopt.operation.terms\n"
        "sys.exit(any(name in sys.modules for name in ('pydantic', 'pint', 'tomlkit', 'numpy', 'tzfpy')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, env={**os.environ}).returncode == 0


def test_thousands_of_rows_are_read(write: Write) -> None:
    text = "id,mass_g,rated_w,connector\n" + "".join(f"p{n},900,20,x\n" for n in range(5000))
    assert len(read_inventory(write(panels__csv=text)).panels) == 5000
