"""Plans for nights without sun, where energy is all that counts: written as files, and counted out in plain loops.

One chemistry at room temperature, nothing held back, and peaks that every battery carries: a set of
batteries does for an outing when ampere-hours times volts reach watts times hours. Loads are of so
many watts and three tenths, so that no outing needs exactly what some batteries give.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import product
from pathlib import Path
from typing import Any

from in_process import kitopt

VOLTS = 12.8
LAMP_G = 300
FIRST = datetime(2027, 1, 15, 12)
BATTERIES_HEADER = (
    "id,mass_g,price,count,chemistry,nominal_v,capacity_ah,measured_ah,efficiency,depth_share,"
    "max_charge_a,max_discharge_a,lowest_charging_degc,fused,connector\n"
)
LOADS_HEADER = "id,mass_g,count,idle_w,full_w,connector\n"


@dataclass(frozen=True)
class Box:
    """So many of a battery; the price in whole units."""

    id: str
    count: int
    capacity_ah: int
    mass_g: int
    price: int = 1

    @property
    def gives_wh(self) -> float:
        """What one of it gives."""
        return VOLTS * self.capacity_ah


@dataclass(frozen=True)
class Night:
    """A lamp that burns for some hours; it starts so many hours after the first of all could."""

    name: str
    watts: int
    hours: int
    starts_h: int = 0
    operator: str = ""

    @property
    def lamp_w(self) -> float:
        """What its lamp draws."""
        return self.watts + 0.3

    @property
    def needs_wh(self) -> float:
        """What it takes from start to end."""
        return self.lamp_w * self.hours

    @property
    def ends_h(self) -> int:
        """When its batteries are free again."""
        return self.starts_h + self.hours


# -- files and answers -----------------------------------------------------------------------


def write_stock(folder: Path, boxes: Sequence[Box], nights: Sequence[Night]) -> None:
    """An inventory of boxes, and a lamp for each night."""
    folder.mkdir(exist_ok=True)
    rows = []
    for b in boxes:
        ah = b.capacity_ah
        # an ampere per ampere-hour in, two out
        rows.append(f"{b.id},{b.mass_g},{b.price},{b.count},lifepo4,{VOLTS},{ah},{ah},1,1,{ah},{2 * ah},0,yes,plug-1\n")
    (folder / "batteries.csv").write_text(BATTERIES_HEADER + "".join(rows), encoding="utf-8")
    lamps = [f"lamp-{n.name},{LAMP_G},1,0,{n.lamp_w},plug-1\n" for n in nights]
    (folder / "loads.csv").write_text(LOADS_HEADER + "".join(lamps), encoding="utf-8")


def write_plan(folder: Path, table: str, nights: Sequence[Night], more: str = "") -> Path:
    """A file that names the nights' files, which are written too."""
    # what is lost in store, and the way from one to the next, are held to other checks
    lines = ['name = "nights"', "recharge_days = 0" if table == "events" else "hours_between = 0", more]
    for night in nights:
        start = (FIRST + timedelta(hours=night.starts_h)).isoformat()
        (folder / f"{night.name}.toml").write_text(
            f'name = "{night.name}"\nstart = {start}\nhours = {night.hours}\n'
            '[site]\nlatitude = 47\nlongitude = 13\ntimezone = "UTC"\ncoldest_degc = 20\nwarmest_degc = 20\n'
            f'[need]\nweather = "no sun"\nreserve = "0 Wh"\n[[loads]]\nid = "lamp-{night.name}"\nmode = "on"\n',
            encoding="utf-8",
        )
        lines += [f"[[{table}]]", f'file = "{night.name}.toml"']
        if night.operator:
            lines.append(f'operator = "{night.operator}"')
    path = folder / "plan.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def told(*args: object) -> dict[str, Any]:
    """What a command says as JSON, its exit code beside it."""
    done = kitopt(*args, "--json")
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer | {"exit": done.returncode}


def batteries_of(entries: Sequence[Mapping[str, Any]]) -> Counter[str]:
    """How many of each battery a list of entries has."""
    return Counter({one["id"]: one["count"] for one in entries if one["kind"] == "battery"})


# -- by trying everything --------------------------------------------------------------------


def every_set(boxes: Sequence[Box]) -> Iterator[dict[str, int]]:
    """Every choice of some boxes, none among them."""
    for numbers in product(*(range(box.count + 1) for box in boxes)):
        yield {box.id: n for box, n in zip(boxes, numbers, strict=True) if n}


def sums(boxes: Sequence[Box], some: Mapping[str, int]) -> tuple[float, int, int]:
    """What a set gives [Wh], weighs [g] and costs."""
    by_id = {box.id: box for box in boxes}
    return (
        sum(n * by_id[i].gives_wh for i, n in some.items()),
        sum(n * by_id[i].mass_g for i, n in some.items()),
        sum(n * by_id[i].price for i, n in some.items()),
    )


def lightest_g(boxes: Sequence[Box], needs_wh: float) -> int | None:
    """The least mass that gives some energy; None where all together do not."""
    masses = [mass_g for some in every_set(boxes) if some for wh, mass_g, _ in [sums(boxes, some)] if wh >= needs_wh]
    return min(masses, default=None)


def with_bought(owned: Sequence[Box], offered: Sequence[Box], bought: Mapping[str, int]) -> list[Box]:
    """What there is after a purchase; owned and offered boxes have no id in common."""
    return [*owned, *(Box(b.id, n, b.capacity_ah, b.mass_g, b.price) for b in offered if (n := bought.get(b.id, 0)))]


def fewest_bags(pieces: Sequence[int], limits: Sequence[int]) -> int | None:
    """Into how few bags some pieces go, none above its limit; None where they do not go in at all."""
    used = [
        sum(1 for each in loads if each)
        for placed in product(range(len(limits)), repeat=len(pieces))
        for loads in [[sum(g for g, b in zip(pieces, placed, strict=True) if b == bag) for bag in range(len(limits))]]
        if all(each <= limit for each, limit in zip(loads, limits, strict=True))
    ]
    return min(used, default=None)
