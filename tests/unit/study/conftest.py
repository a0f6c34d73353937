"""A study of huts without sun: plans that cost next to nothing, and can be worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from dark_hut import LOADS

from kitopt.study.read import read_study
from kitopt.study.terms import Study

BATTERIES = """\
id,name,count,mass_g,price,chemistry,nominal_v,capacity_ah,measured_ah,max_charge_a,max_discharge_a,fused,connector
box-10,tin box,2,1200,80,lifepo4,12.8,10,10,5,20,yes,genderless-30
box-4,small box,3,500,40,lifepo4,12.8,4,4,2,8,yes,genderless-30
"""
PATTERN = """\
name = "{name}"
start = 2027-06-15T12:00:00
hours = {hours}

[site]
latitude = 0
longitude = 0
coldest_degc = 0
warmest_degc = 0

[need]
weather = "no sun"

[[loads]]
id = "lamp"
mode = "on"
"""
SITES = """\
name,latitude,longitude,timezone,coldest_degc,warmest_degc,priority,store
Warm hut,47,13,Europe/Vienna,20,20,1,shed
Cold hut,47.5,13.2,Europe/Vienna,-10,-10,2,shed
Far hut,47.9,13.9,Europe/Vienna,-25 20 20 20 20 20 20 20 20 20 20 20,20,1,
"""
STUDY = """\
name = "Huts"
sites = "sites.csv"
months = ["jan", "jul"]

[[patterns]]
file = "night.toml"

[[patterns]]
file = "evening.toml"

[[stores]]
name = "shed"
at_once = 2
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A study in huts.toml: three sites, two months, two patterns."""
    (tmp_path / "batteries.csv").write_text(BATTERIES, encoding="utf-8")
    (tmp_path / "loads.csv").write_text(LOADS, encoding="utf-8")
    (tmp_path / "sites.csv").write_text(SITES, encoding="utf-8")
    (tmp_path / "huts.toml").write_text(STUDY, encoding="utf-8")
    for name, hours in (("night", 16), ("evening", 6)):
        (tmp_path / f"{name}.toml").write_text(PATTERN.format(name=name, hours=hours), encoding="utf-8")
    return tmp_path


@pytest.fixture
def huts(folder: Path) -> Study:
    """The same, read."""
    return read_study(folder / "huts.toml")
