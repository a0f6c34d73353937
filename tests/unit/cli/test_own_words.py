"""An invented inventory in its owner's words: one check, each answer written where it belongs, and the first kit."""

from __future__ import annotations

import re
from pathlib import Path

from kitopt.choice import pack
from kitopt.errors import BadInput, Fault
from kitopt.inventory import read_inventory
from kitopt.operation import read_operation
from kitopt.sky import windows_for

FILES = {
    "batteries.csv": """\
id,name,count,mass_g,price,owner,chemistry,capacity_ah,measured_ah,max_charge_a,max_discharge_a,fused,connector
small,6 Ah for walks,2,750 g,40,,LFP,6 Ah,5.8,,10,no,5.5 x 2.1 mm barrel socket
twelve,12 Ah in a dry bag,2,1.4 kg,80,,LiFePO4,12,11.4,6,20,BMS,genderless-30
twenty,20 Ah with handles,1,2.6kg,140,,lfp,20,,,30 A,no,M5 studs
thirty,30 Ah of the club,1,3.6 kg,210,club,lithium iron phosphate,30,29,15,30,no,ring terminal M6
alarm,from the alarm,1,2.5 kg,,,gel,7,6,,,no,faston tabs female
phone-pack,four cells,1,12 oz,35,,lithium-ion,5200 mAh,,,5,yes,round plug 5.5/2.5
""",
    "panels.csv": """\
id,name,count,mass_g,price,rated_w,vmp_v,imp_a,voc_v,isc_a,connector,folding,tilts,usb_w,out
ten,little folding one,1,410,30,10,,,,,barrel plug 5.5x2.1,yes,no,10 W,
twenty-eight,folding,1,700 g,60,28 W,,,,,barrel-5.5x2.1:plug,yes,yes,,
sixty,folding,1,3 lb 12 oz,110,60,18,3.3,22,3.6,solar plug,yes,yes,,
hundred,folding,1,2.9 kg,190,100,19,5.3,23,5.7,genderless 30,yes,yes,,
glass,from the van,1,3.4 kg,,50,18,2.8,22,3,solar plug,no,yes,,
torn,one fold gone,1,1.9 kg,,60,,,,,solar plug,yes,yes,,yes
""",
    "controllers.csv": """\
id,name,mass_g,price,kind,max_charge_a,max_pv_v,pv_connector,battery_connector,chemistries,rf
plain,ten ampere,150,20,PWM,10,30,solar socket,genderless-30,LFP AGM,quiet
tracker,ten ampere,280,90,MPPT,10,50,solar socket,genderless 30,LFP,noisy
""",
    "leads.csv": """\
id,name,count,mass_g,price,from,to,length_m,awg,area_mm2,ways,fuse_a,fuse_at_m,fuse_holder,fuse_max_a,max_a
sun-5,panel extension,1,420,20,solar socket,solar plug,5,12,,,,,,,20
sun-16,panel extension in feet,1,400,18,solar socket,solar plug,16 ft,14,,,,,,,15
round-sun,round to solar,1,25,5,barrel socket 5.5x2.1,solar plug,0.2 m,18,,,,,,,
g-sun,genderless to solar,1,30,6,genderless-30,solar plug,0.2,14,,,,,,,
zip,zip cord,2,120,,genderless-30,genderless-30,3,,,,,,,,
fused,fused lead,3,70,10,genderless-30,genderless-30,40 cm,12,,,20,10 cm,blade,20,20
ring-6,fused ring lead,1,90,12,ring M6,genderless-30,0.4,12,,,25,0.1,blade,30,30
ring-5,fused ring lead,1,90,12,eyelet M5,genderless-30,0.4,12,,,25,0.1,blade,30,30
tabs,fused lead for the alarm's,1,45,9,tab male,genderless-30,0.3,16,,,10,0.1,blade,10,10
round-g,round to genderless,1,35,6,barrel male 5.5x2.1,genderless-30,0.5,18,,,,,,,
g-round,genderless to round,2,40,6,genderless-30,barrel male 5.5x2.1,0.8,18,,,,,,,
box,box of six,1,260,40,genderless-30,genderless-30,0.1,10,,6,,,,,30
stripped,stripped ends,2,40,,bare wire,genderless-30,0.4,,2.5,,,,,,
clips,for somebody's car,1,80,,crocodile clips,genderless-30,0.5,14,,,,,,,
a-c,USB lead,2,30,,USB A male,USB C male,1,24,,,,,,,3
a-micro,USB lead,1,25,,USB A male,micro USB male,1,24,,,,,,,2
lighter,lighter socket,1,85,10,genderless-30,cigarette lighter socket,0.3,14,,,,,,,10
""",
    "converters.csv": """\
id,name,count,mass_g,price,from,to,out_v,max_w,ports
usb-box,USB supply,1,50,15,genderless-30,USB A socket,5,24 W,2
usb-car,USB supply for the car,1,20,8,lighter plug,USB A socket,5 V,12,1
""",
    "loads.csv": """\
id,name,count,mass_g,idle_a,idle_w,full_a,full_w,supply_v,connector,own_lead,role,battery_wh
walk,little radio,1,900,0.4,,2.2,,13.8,barrel female 5.5x2.1,,hf,
home,hundred watts,1,2.4 kg,1.2,,20 A,,13.8,genderless-30,yes,hf,
field,twenty watts,1,2 lb 10 oz,500 mA,,4.5,,13.8,genderless-30,,hf,
telephone,telephone,2,190,,,,10 W,,USB C female,,,15
lamp,camp lamp,1,200,,,,4 W,,USB C socket,,light,
node,mesh node,1,180,,,,1.6,5,micro USB socket,,,
fan,fan,1,340,,3 W,,6,12,lighter plug,,,
""",
    "extras.csv": """\
id,name,mass_g,with
pegs,pegs and cord,120,panel
key,Morse key,150,cw
log,log and pencil,90,
tape,tape,50,
""",
    "inventory.toml": 'currency = "EUR"\nunits = "lb ft"\n',
    "outing.toml": """\
name = "Hill"
start = 2027-06-12 10:00
hours = 24
station_connector = "genderless-30"

[site]
locator = "JN76"
coldest_degc = 8
warmest_degc = 20

[need]
windows = 20

[[loads]]
id = "field"
mode = "ssb"
transmit = "20 %"
on_air = ["08:00-23:00"]
quiet = "off"

[[loads]]
id = "telephone"
wh_per_day = 12

[[loads]]
id = "node"
mode = "data"
transmit = "10 %"
""",
}


def written(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def faults_of(folder: Path) -> list[Fault]:
    found: list[Fault] = []
    for read in (lambda: read_inventory(folder), lambda: read_operation(folder / "outing.toml")):
        try:
            read()
        except BadInput as error:
            found += error.faults
    return found


def test_after_one_check_there_is_a_kit(tmp_path: Path) -> None:
    rows = sum(len(text.splitlines()) - 1 for name, text in FILES.items() if name.endswith(".csv"))
    assert rows >= 40
    folder = written(tmp_path, FILES)
    files = {name: text.splitlines(keepends=True) for name, text in FILES.items()}
    faults = faults_of(folder)
    assert len(faults) > 20
    for fault in faults:
        said = re.search(r'found "(.+?)".*\b[Ww]rite ([^\s,]+[^\s,.])', fault.text)
        assert said is not None, fault
        assert fault.line is not None
        lines = files[Path(fault.file).name]
        cell = rf"(^|,){re.escape(said[1])}(?=,|$)"
        # another cell of the line that says the same has a fault of its own
        lines[fault.line - 1] = re.sub(cell, rf"\g<1>{said[2]}", lines[fault.line - 1], count=1, flags=re.MULTILINE)
    written(folder, {name: "".join(lines) for name, lines in files.items()})
    assert faults_of(folder) == []
    inventory, operation = read_inventory(folder), read_operation(folder / "outing.toml")
    assert inventory.warnings == ()
    choice = pack(operation, inventory, windows_for(operation))
    assert choice.status == "found"
    assert {"field", "telephone", "node"} <= {one.id for one in choice.packed}
