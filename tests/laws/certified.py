"""A meadow whose certificate has rows of several sorts, and what can be changed in one so that it stays well-formed.

All data are invented.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

FILES = {
    "batteries.csv": """\
id,count,mass_g,price,chemistry,nominal_v,capacity_ah,measured_ah,max_charge_a,max_discharge_a,fused,connector
box-10,2,1200,80,lifepo4,12.8,10,10,10,20,yes,genderless-30
box-4,3,520,30,lifepo4,12.8,4,4,4,10,yes,genderless-30
agm-7,1,2300,20,agm,12,7,6,2,10,yes,genderless-30
""",
    "panels.csv": """\
id,count,mass_g,price,rated_w,vmp_v,connector,tilts,folding,output_factor
fold-20,2,700,50,20,18,genderless-30,yes,yes,0.7
fold-40,1,1300,90,40,18,genderless-30,yes,yes,0.75
""",
    "controllers.csv": """\
id,count,mass_g,price,kind,max_charge_a,max_pv_v,efficiency,idle_ma,pv_connector,battery_connector
mppt-5,1,180,60,mppt,5,40,0.95,10,genderless-30,genderless-30
pwm-5,1,110,15,pwm,5,40,0.98,5,genderless-30,genderless-30
""",
    "loads.csv": "id,count,mass_g,price,idle_w,full_w,connector\nlamp,1,300,10,0,4.2,genderless-30\n",
    "meadow.toml": """\
name = "Meadow"
start = 2027-05-15T12:00:00
hours = 36

[site]
latitude = 47.0
longitude = 13.0
timezone = "Europe/Vienna"
coldest_degc = 5
warmest_degc = 20

[need]
confidence = 0.9
windows = 40

[[loads]]
id = "lamp"
mode = "on"
""",
}

Place = tuple[dict[Any, Any] | list[Any], Any]
"""Where a value stands: what holds it, and its key there."""


def write_meadow(folder: Path) -> Path:
    """Write the files; the operation's path."""
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "meadow.toml"


def numbers_in(value: Any) -> Iterator[Place]:
    """Every number that the certificate states, but those of the files that it carries."""
    each = enumerate(value) if isinstance(value, list) else value.items()
    for key, one in each:
        if isinstance(one, dict | list):
            if key != "inputs":
                yield from numbers_in(one)
        elif isinstance(one, int | float) and not isinstance(one, bool):
            yield value, key


def mutant(right: dict[str, Any], number: int) -> tuple[str, dict[str, Any]]:
    """A certificate with one thing changed, and what that is."""
    rng = random.Random(number)
    changed = copy.deepcopy(right)
    ways: tuple[Callable[[random.Random, dict[str, Any]], str], ...] = (_a_number, _a_row, _a_list, _a_file)
    (way,) = rng.choices(ways, (12, 3, 3, 2))
    return way(rng, changed), changed


def _a_number(rng: random.Random, changed: dict[str, Any]) -> str:
    part = rng.choice(["classes", "classes", "incumbent", "totals", "bound"])
    holder, key = (changed, "bound") if part == "bound" else rng.choice(list(numbers_in(changed[part])))
    was = holder[key]
    if isinstance(was, int):
        holder[key] = was + rng.choice([-1, 1, 2])
    else:
        # by more than one in a million; where it is small, by more than that
        holder[key] = rng.choice([was * (1 + 1e-5) + 1e-7, -was - 1e-3, was + 1.0, 2.0 * was + 1e-3])
    return f"{part}: {key!r} was {was}, is {holder[key]}"


def _a_row(rng: random.Random, changed: dict[str, Any]) -> str:
    (rows,) = rng.sample([one["learned"] for one in changed["classes"] if one["learned"]], 1)
    k = rng.randrange(len(rows))
    way = rng.choice(["left out", "twice", "loosened", "tightened"])
    if way == "left out":
        del rows[k]
    elif way == "twice":
        rows.append(copy.deepcopy(rows[k]))
    else:
        by = 0.97 if way == "loosened" else 1.03
        name = "capacity_wh" if rows[k]["row"] == "side" else "lower"
        rows[k][name] *= by
    return f"row {k} {way}"


def _a_list(rng: random.Random, changed: dict[str, Any]) -> str:
    """A rule, a column, a case, a term or a piece left out."""
    one = rng.choice(changed["classes"])
    lists = [one["rows"], one["columns"], one["cases"], changed["incumbent"]["packed"], changed["incumbent"]["counts"]]
    lists += [row["terms"] for row in one["learned"] if "terms" in row] + [row["terms"] for row in one["rows"]]
    some = rng.choice([some for some in lists if some])
    k = rng.randrange(len(some))
    del some[k]
    return f"member {k} of {len(some) + 1} left out"


def _a_file(rng: random.Random, changed: dict[str, Any]) -> str:
    """A number in a file that it carries: the rows are then those of another inventory or operation."""
    files = changed["inputs"]["inventory"]
    swaps = [
        (files, "batteries.csv", "box-10,2,1200", f"box-10,2,{rng.randrange(1100, 1200)}"),
        (files, "batteries.csv", "12.8,4,4,", f"12.8,4,{rng.randrange(30, 40) / 10},"),
        (files, "panels.csv", "700,50,20,", f"700,50,{rng.randrange(15, 20)},"),
        (files, "controllers.csv", "0.95,10", f"0.95,{rng.randrange(11, 30)}"),
        (files, "loads.csv", "0,4.2,", f"0,{4.2 + rng.randrange(1, 20) / 100},"),
        (changed["inputs"]["operation"], "text", "hours = 36", f"hours = {rng.randrange(30, 36)}"),
        (changed["inputs"]["operation"], "text", "latitude = 47.0", f"latitude = 4{rng.randrange(1, 7)}.0"),
        (changed["inputs"]["operation"], "text", "windows = 40", f"windows = {rng.randrange(20, 40)}"),
        (changed["inputs"]["operation"], "text", "confidence = 0.9", f"confidence = 0.8{rng.randrange(10)}"),
    ]
    holder, key, was, now = rng.choice(swaps)
    assert was in holder[key]
    holder[key] = holder[key].replace(was, now)
    return f"{key}: {was} is {now}"
