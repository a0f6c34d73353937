"""A small invented inventory to edit: every column of every file, each explained above the rows."""

from __future__ import annotations

import csv
import io

from kitopt.inventory.columns import Blank, Column, Table, Unless, columns_of, shown
from kitopt.inventory.explained import explained
from kitopt.inventory.fields import OneOf
from kitopt.inventory.fill import KINDS
from kitopt.inventory.rows import ContactRow, FuseRow, ReadingRow, SettingsTable

_INVENTED = """\
# Invented rows: replace them by what you own. A cell may carry its own unit: 1.5 kg, 3 lb 2 oz, 25 ft.
# Blank cells are assumed, and listed by kitopt check. A connector is written genderless-30 when it mates with itself,
# barrel-5.5x2.1:plug or :socket otherwise; kitopt check --connectors prints the words.
"""

_ROWS = {
    "batteries": """\
id,name,count,mass_g,price,chemistry,nominal_v,capacity_ah,measured_ah,max_charge_a,max_discharge_a,fused,connector,notes
lfp-6,small battery 6 Ah,1,780,45,lifepo4,12.8,6,5.8,3,10,no,genderless-30,
lfp-12,battery 12 Ah,2,1.45 kg,85,lifepo4,12.8,12,,6,20,no,genderless-30,measure this one
""",
    "panels": """\
id,name,count,mass_g,price,rated_w,vmp_v,imp_a,voc_v,isc_a,power_per_degc,connector,tilts,folding
fold-50,folding panel 50 W,1,1700,110,50,18,2.8,21.6,3,-0.4 %,pv-latch:plug,yes,yes
fold-100,folding panel 100 W,1,3.2 kg,190,100,,,,,,pv-latch:plug,yes,yes
""",
    "controllers": """\
id,name,count,mass_g,price,kind,max_charge_a,max_pv_v,idle_ma,pv_connector,battery_connector,chemistries,rf
pwm-10,controller 10 A,1,140,20,pwm,10,50,10,pv-latch:socket,genderless-30,lifepo4 agm,quiet
mppt-10,controller 10 A,1,260,80,mppt,10,50,20,pv-latch:socket,genderless-30,lifepo4,unknown
""",
    "leads": """\
id,name,count,mass_g,price,from,to,length_m,awg,ways,fuse_at_m,fuse_holder,fuse_max_a,max_a
pv-5m,panel lead,2,350,20,pv-latch:socket,pv-latch:plug,5,14,1,,,,15
fused-1,fused battery lead,3,60,9,genderless-30,genderless-30,0.3,12,1,0.1,blade,20,20
strip-6,distribution strip,1,210,30,genderless-30,genderless-30,0.2,12,6,,,,30
usb-lead,USB lead,1,28,6,usb-a:plug,usb-c:plug,1,22,1,,,,3
""",
    "converters": """\
id,name,count,mass_g,price,from,to,out_v,max_w,efficiency,idle_ma,ports
usb-5v,USB supply,1,45,16,genderless-30,usb-a:socket,5,30,90 %,10,2
""",
    "loads": """\
id,name,count,mass_g,idle_a,idle_w,full_a,full_w,supply_v,lowest_v,highest_v,connector,own_lead,role
hf-20w,transceiver 20 W,1,1.1 kg,0.5,,4.5,,13.8,11.7,15.8,genderless-30,yes,hf
light,area light,1,180,,0,,3,12,,,genderless-30,,
phone,phone,1,190,,1,,12,5,,,usb-c:socket,,
""",
    "extras": """\
id,name,count,mass_g,with
pegs,pegs and cord for the panel,1,150,panel
fuses,spare fuses,1,30,
""",
}
"""Rows by file, with the columns that some row fills."""


def inventory_files() -> dict[str, str]:
    """Return each file's name and text."""
    models = {kind.stem: kind.model for kind in KINDS}
    files = {f"{stem}.csv": _INVENTED + explained_csv(models[stem], rows) for stem, rows in _ROWS.items()}
    others = "".join(
        f"# {model.KIND}.csv, where there is one, {what}: {', '.join(columns_of(model))}.\n"
        for model, what in (
            (FuseRow, "lists the fuses that you own"),
            (ContactRow, "replaces what is usual of ends"),
            (ReadingRow, "is written by kitopt reading --keep"),
        )
    )
    files["leads.csv"] = others + files["leads.csv"]
    return {**files, "inventory.toml": explained(SettingsTable, {"currency": '"EUR"'})}


def explained_csv(model: type[Table], rows: str) -> str:
    """Return rows below a header of every column, below a comment of a line on each.

    Parameters
    ----------
    rows : str
        CSV text of some of the columns.
    """
    columns = columns_of(model)
    needed = ", ".join(name for name, column in columns.items() if column.is_required)
    text = io.StringIO()
    text.write(f"# Needed in every row: {needed}.\n")
    text.writelines(f"# {name}: {help_of(column)}\n" for name, column in columns.items())
    writer = csv.DictWriter(text, list(columns), lineterminator="\n")
    writer.writeheader()
    writer.writerows(csv.DictReader(io.StringIO(rows)))
    return text.getvalue()


def help_of(column: Column) -> str:
    """Return what is said of a column in one line: what it is, its words, and what is assumed without it."""
    text = column.help
    if isinstance(column.field, OneOf):
        text += f": {', '.join(column.field.choices)}"
    blank = column.blank
    if isinstance(blank, Unless):
        return f"{text}. Blank: {blank.told}."
    if isinstance(blank, Blank):
        return f"{text}. Blank: {blank.shown or shown(blank.value)}, {blank.rule}."
    if column.is_required or column.default in (None, "", ()):
        return f"{text}."
    return f"{text}. Blank: {shown(column.default)}."
