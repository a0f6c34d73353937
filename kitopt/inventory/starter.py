"""A small commented inventory and operation to edit."""

from __future__ import annotations

from pathlib import Path

from kitopt.files.writing import write_folder

_INVENTED = "# Invented rows: replace them by what you own. A cell may carry its own unit: 1.5 kg, 3 lb 2 oz, 25 ft."

_BATTERIES = f"""\
{_INVENTED}
# Required: id, mass_g, chemistry (lifepo4, agm, li-ion), capacity_ah, connector. Blank cells are assumed and listed.
# measured_ah: what a capacity test gave. max_charge_a and max_discharge_a: what its label or its protection allows.
# fused: whether its plug has a fuse, of fuse_a; a battery's electronics are none.
id,name,count,mass_g,price,chemistry,nominal_v,capacity_ah,measured_ah,charged_on,max_charge_a,max_discharge_a,fused,fuse_a,connector,notes
lfp-6,small battery 6 Ah,1,780,45,lifepo4,12.8,6,5.8,,3,10,no,,genderless-30,
lfp-12,battery 12 Ah,2,1.45 kg,85,lifepo4,12.8,12,,,6,20,no,,genderless-30,measure this one
"""

_PANELS = f"""\
{_INVENTED}
# Required: id, mass_g, rated_w, connector. A connector is `family` when it mates with itself, such as genderless-30,
# and family:plug or family:socket otherwise. tilts: whether it can be aimed. output_factor: real output over label.
id,name,count,mass_g,price,rated_w,vmp_v,imp_a,voc_v,isc_a,power_per_degc,connector,tilts,folding,output_factor
fold-50,folding panel 50 W,1,1700,110,50,18,2.8,21.6,3,-0.4 %,pv-latch:plug,yes,yes,
fold-100,folding panel 100 W,1,3.2 kg,190,100,,,,,,pv-latch:plug,yes,yes,
"""

_CONTROLLERS = f"""\
{_INVENTED}
# Required: id, mass_g, kind (pwm, mppt), max_charge_a, pv_connector, battery_connector.
# chemistries: the profiles that it can be set to, separated by blanks. rf: quiet, hash or unknown.
id,name,count,mass_g,price,kind,max_charge_a,max_pv_v,idle_ma,pv_connector,battery_connector,chemistries,rf
pwm-10,controller 10 A,1,140,20,pwm,10,50,10,pv-latch:socket,genderless-30,lifepo4 agm,quiet
mppt-10,controller 10 A,1,260,80,mppt,10,50,20,pv-latch:socket,genderless-30,lifepo4,unknown
"""

_LEADS = f"""\
{_INVENTED}
# Required: id, mass_g, from, to, length_m, and one of awg and area_mm2. ways: 2 for a Y, 6 for a strip.
# fuse_at_m: where its fuse sits, from the `from` end. Adapters are short leads. Words for ends: check --connectors.
# fuse_holder: blade, maxi, midi or glass where the fuse can be changed; fuse_max_a: the largest that it takes, and
# fuse_a the one that is in it now. Without a holder fuse_a is a fixed fuse.
id,name,count,mass_g,price,from,to,length_m,awg,area_mm2,ways,fuse_a,fuse_at_m,fuse_holder,fuse_max_a,max_a
pv-5m,panel lead,2,350,20,pv-latch:socket,pv-latch:plug,5,14,,1,,,,,15
fused-1,fused battery lead,3,60,9,genderless-30,genderless-30,0.3,12,,1,,0.1,blade,20,20
strip-6,distribution strip,1,210,30,genderless-30,genderless-30,0.2,12,,6,,,,,30
usb-lead,USB lead,1,28,6,usb-a:plug,usb-c:plug,1,22,,1,,,,,3
"""

_CONVERTERS = f"""\
{_INVENTED}
# What makes another voltage from the battery's: a USB supply, a laptop supply.
# Required: id, mass_g, from, to, out_v, max_w. ports: loads that one of it feeds at a time.
id,name,count,mass_g,price,from,to,out_v,max_w,efficiency,idle_ma,ports
usb-5v,USB supply,1,45,16,genderless-30,usb-a:socket,5,30,90 %,10,2
"""

_LOADS = f"""\
{_INVENTED}
# Required: id, mass_g, connector, and idle_a or idle_w, full_a or full_w: current or power when receiving or idle,
# and at full output. supply_v: the voltage that it wants; lowest_v and highest_v: between which it works.
# What wants other volts than the battery's, such as a phone, goes through a converter (converters.csv).
# own_lead: yes where its connector is the end of its maker's lead, which is taken with its fuse as it is.
id,name,count,mass_g,idle_a,idle_w,full_a,full_w,supply_v,lowest_v,highest_v,connector,own_lead
hf-20w,transceiver 20 W,1,1.1 kg,0.5,,4.5,,13.8,11.7,15.8,genderless-30,yes
light,area light,1,180,,0,,3,12,,,genderless-30,
phone,phone,1,190,,1,,12,5,,,usb-c:socket,
"""

_EXTRAS = f"""\
{_INVENTED}
# Things that draw nothing and are always packed.
id,name,count,mass_g
pegs,pegs and cord for the panel,1,150
fuses,spare fuses,1,30
"""

_CURRENCY = """\
# In which the prices are written.
currency = "EUR"
"""

_OPERATION = """\
# One outing, invented: replace its place, time and loads by yours. `kitopt pack operation.toml` chooses the kit.
name = "First outing"
start = 2027-06-12T10:00:00      # time of day at the site
hours = 24
station_connector = "genderless-30"
panel_distance_m = 5
batteries = "in turn"            # one after another, or "parallel"
battery_lead = "each"            # each on its own fused lead; "moved": one lead goes from battery to battery

[site]
locator = "JO20aa"               # or latitude and longitude
coldest_degc = 8                 # of the air
warmest_degc = 20
shade = []                       # such as ["16:00-20:00"]

[need]
confidence = 0.95                # share of weather windows that must be survived
reserve = "10 %"                 # of usable capacity, or such as "30 Wh"
weather = "climate"              # or "no sun", daily shares of clear sky such as [0.3, 0.2], or a weather file

[aim]
mode = "flat"                    # or "fixed" or "re-aimed"

[goal]
least = "mass"                   # or "price" or "items"

[[loads]]
id = "hf-20w"                    # as in loads.csv
mode = "ssb"                     # ssb, ssb-compressed, cw, fm, data, or full_share; "on"; or wh_per_day
transmit = 0.2                   # share of the time on the air
on_air = ["08:00-23:00"]
quiet = "off"                    # otherwise; or "listen"

[[loads]]
id = "light"
mode = "on"
on = ["21:00-23:30"]
priority = "nice"
"""

STARTER = {
    "batteries.csv": _BATTERIES,
    "panels.csv": _PANELS,
    "controllers.csv": _CONTROLLERS,
    "leads.csv": _LEADS,
    "converters.csv": _CONVERTERS,
    "loads.csv": _LOADS,
    "extras.csv": _EXTRAS,
    "inventory.toml": _CURRENCY,
    "operation.toml": _OPERATION,
}
"""Each file's name and text."""


def write_starter(folder: Path) -> list[Path]:
    """Write a starter inventory and operation; all of it or nothing.

    Parameters
    ----------
    folder : Path
        Made when it is not there.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    BadInput
        If one of the files is already there, or the folder cannot be written.
    """
    return write_folder(folder, STARTER)
