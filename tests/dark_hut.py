"""A hut without sun, as files: its lamp, and the operation in which it burns; the rest is worked out by hand."""

from __future__ import annotations

LOADS = """\
id,name,count,mass_g,price,idle_w,full_w,connector
lamp,lamp,1,300,10,0,10,genderless-30
"""


def hut(hours: int = 16, load: str = "lamp") -> str:
    """The operation: a load that is on for some hours."""
    return f"""\
name = "Dark hut"
start = 2027-01-15T12:00:00
hours = {hours}

[site]
latitude = 47.0
longitude = 13.0
timezone = "Europe/Vienna"
coldest_degc = 20
warmest_degc = 20

[need]
weather = "no sun"

[[loads]]
id = "{load}"
mode = "on"
"""
