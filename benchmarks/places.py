"""How true the climate is at places with weather files of their own.

For every file of a folder that the program reads, and every month: light on the flat and on a tilted panel over one
and three days, how often it lies below our windows' 5th percentile, and of the file's own windows the share that the
kit survives which is chosen for our windows. ``benchmarks/stations.py`` writes files of ten measured places. Typical
years are counted apart: they hide bad years. ``--fit`` fits what the data are lowered by and the spread of places,
leaving one place out at a time. ``--learned N`` chooses every kit for N owners, whose panels are worth what they
happen to be and were read ten times each (``benchmarks/learned.py``), and judges it by what they are worth.

    python benchmarks/places.py FOLDER [--months 1,4,7,10] [--no-kits] [--fit] [--learned N] [--smoke]
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from learned import after_readings, drawn_worths, with_worths
from numpy.typing import NDArray

from kitopt.choice import pack, with_fresh
from kitopt.errors import BadInput
from kitopt.inventory import demo_folder, read_inventory
from kitopt.inventory.items import Inventory, Panel
from kitopt.model.kit import Join, KitModel
from kitopt.operation.terms import Aim, LoadUse, Need, Operation, Site, WeatherFile
from kitopt.sky import Sky, climate, windows_for
from kitopt.sky.draws import place_factors
from kitopt.sky.sun import outside_day_whm2
from kitopt.sky.weather_file import read_weather

Array = NDArray[np.float64]

N_OURS = 500
NEAR_DAYS = 15
YEAR = 2026


@dataclass(frozen=True)
class Light:
    """Sums of light in windows of three days, shape (n_windows, 3): flat and tilted. [kWh m⁻²]"""

    flat: Array
    tilted: Array


@dataclass(frozen=True)
class Row:
    """One place in one month."""

    place: str
    month: int
    is_typical: bool
    n: int
    theirs: Light
    ours: Light
    survived_share: float

    def below_share(self, days: int, laid: str = "flat") -> float:
        """Share of the place's sums below the 5th percentile of ours."""
        theirs, ours = (getattr(light, laid)[:, :days].sum(axis=1) for light in (self.theirs, self.ours))
        return float((theirs < np.quantile(ours, 0.05)).mean())

    def lag_one(self) -> float:
        """Correlation of one day's Gaussianised light with the next day's."""
        from scipy.special import ndtri
        from scipy.stats import rankdata

        gauss = ndtri((rankdata(self.theirs.flat, axis=0) - 0.5) / self.n)
        return float(np.mean([np.corrcoef(gauss[:, day], gauss[:, day + 1])[0, 1] for day in (0, 1)]))


def outing(path: Path, month: int) -> Operation:
    """72 h from midnight, standard time, in the middle of a month at a file's place; its own stated loads."""
    place = read_weather(path).place
    zone_h = round(place.longitude_deg / 15)
    zone = ZoneInfo(f"Etc/GMT{-zone_h:+d}" if zone_h else "UTC")
    return Operation(
        file=path.name,
        name=path.stem,
        start=datetime(YEAR, month, 15, tzinfo=zone),
        hours=72.0,
        # as mild as it takes for every chemistry to charge: the light is what is on trial
        site=Site(place.latitude_deg, place.longitude_deg, max(place.altitude_m, 0.0), zone, 8.0, 18.0),
        loads=(
            LoadUse("hf-20w", wh_per_day=200.0),
            LoadUse("mesh-node", mode="data", transmit_share=0.1),
        ),
        need=Need(windows=N_OURS),
        aim=Aim(
            "fixed", tilt_deg=min(abs(place.latitude_deg), 60.0), azimuth_deg=180.0 if place.latitude_deg >= 0 else 0.0
        ),
        panel_distance_m=5.0,
    )


def light_of(sky: Sky, factor: Array) -> Light:
    """Daily sums, each window's moved to the middle of the month by its light outside the atmosphere."""
    flat, tilted = (
        sky.poa_wm2[laid].reshape(sky.n_windows, 3, -1).sum(axis=2) * sky.step_h / 1000.0 * factor[:, None]
        for laid in ("flat", "aimed")
    )
    return Light(flat, tilted)


def near(sky: Sky, operation: Operation) -> tuple[Sky, Array]:
    """A file's windows within half a month, and what moves each one's light to the operation's date."""
    middle = operation.start.timetuple().tm_yday
    starts = [datetime.strptime(f"2025-{label[-5:]}".replace("02-29", "02-28"), "%Y-%m-%d") for label in sky.labels]
    days = np.array([start.timetuple().tm_yday for start in starts])
    keep = np.flatnonzero(np.abs((days - middle + 182) % 365 - 182) <= NEAR_DAYS)
    outside = outside_day_whm2(operation.site.latitude_deg, np.array([middle + 1, *(days[keep] + 1)]))

    return sky.only(keep), outside[0] / outside[1:]


def survived_share(operation: Operation, ours: Sky, theirs: Sky, n_owners: int = 0) -> float:
    """Share of a file's windows that the kits chosen for ours survive; NaN where no kit with a panel is chosen.

    Parameters
    ----------
    n_owners : int
        With panels that were read ten times each; none with panels as the demo guesses them.
    """
    guessed = read_inventory(demo_folder())
    if not n_owners:
        return _survived_share(operation, ours, theirs, guessed, {})
    shares = []
    for owner in range(n_owners):
        draw = np.random.default_rng([owner, operation.start.month, *operation.name.encode()])
        worths = drawn_worths(guessed, draw)
        shares.append(_survived_share(operation, ours, theirs, after_readings(guessed, worths, draw), worths))
    known = [share for share in shares if not math.isnan(share)]
    return float(np.mean(known)) if known else math.nan


def _survived_share(
    operation: Operation, ours: Sky, theirs: Sky, inventory: Inventory, worths: Mapping[str, float]
) -> float:
    choice = pack(operation, inventory, ours)
    made = choice.made
    if made is None or not any(item.kind == "panel" for item in choice.packed):
        return math.nan
    # the air is ours, so that light alone is on trial, and what the panels are worth
    mild = replace(theirs, air_degc=ours.air_degc[:1], battery_degc=ours.battery_degc[:1])
    if worths:
        really = {panel.id: panel for panel in with_worths(inventory, worths).panels}
        choice = replace(choice, made=replace(made, model=_of_panels(made.model, really)))
    survival = with_fresh(choice, lambda: [mild]).survival
    return survival.fresh_survived / survival.fresh_tried if survival and survival.fresh_tried else math.nan


def _of_panels(model: KitModel, really: Mapping[str, Panel]) -> KitModel:
    """A model whose panels are others."""
    columns = [
        replace(one, meaning=replace(one.meaning, panel=really[one.meaning.panel.id]))
        if isinstance(one.meaning, Join)
        else one
        for one in model.columns
    ]
    return replace(model, columns=columns)


def rows_of(path: Path, months: Sequence[int], with_kits: Sequence[int], n_owners: int = 0) -> Iterable[Row]:
    """One row a month; nothing where the climate does not reach."""
    for month in months:
        operation = outing(path, month)
        if outside_day_whm2(operation.site.latitude_deg, np.array([operation.start.timetuple().tm_yday]))[0] < 500.0:
            continue
        by_file = replace(operation, need=replace(operation.need, weather=WeatherFile(path), windows=20_000))
        theirs, factor = near(windows_for(by_file), operation)
        ours = windows_for(operation)
        share = survived_share(operation, ours, theirs, n_owners) if month in with_kits else math.nan
        yield Row(
            path.stem,
            month,
            read_weather(path).is_typical,
            theirs.n_windows,
            light_of(theirs, factor),
            light_of(ours, np.ones(ours.n_windows)),
            share,
        )


def line(row: Row) -> str:
    """A row of the table."""
    cells = []
    for laid in ("flat", "tilted"):
        for days in (1, 3):
            for light in (row.theirs, row.ours):
                sums = getattr(light, laid)[:, :days].sum(axis=1)
                cells.append(f"{sums.mean():6.2f}{np.quantile(sums, 0.05):6.2f}")
    below = [f"{row.below_share(days, laid):5.1%}" for laid in ("flat", "tilted") for days in (1, 3)]
    kit = "     -" if math.isnan(row.survived_share) else f"{row.survived_share:6.1%}"
    return f"{row.place[:14]:14} {row.month:2} {row.n:4} {' '.join(cells)} {row.lag_one():5.2f} {' '.join(below)} {kit}"


HEAD = (
    "place        month   n  flat 1 d theirs/ours    flat 3 d theirs/ours    tilted 1 d              tilted 3 d"
    "              lag1  below our 5 %: f1 f3 t1 t3  kit"
)


def band(kind: str, what: str, by_place: Array, predicted: Array, good: float) -> str:
    """Mean over places with its standard error, and whether the spread is what the model itself predicts."""
    n = len(by_place)
    if n < 2:
        return f"{kind}: {what}: {by_place.mean():.1%} at one place"
    luck = np.random.default_rng(1).choice(predicted, (4000, n))
    low, high = np.quantile(luck.std(axis=1, ddof=1), (0.05, 0.95))
    spread, error = by_place.std(ddof=1), by_place.std(ddof=1) / math.sqrt(n)
    return (
        f"{kind}: {what}: {by_place.mean():.1%} ± {error:.1%} over {n} places (aim {good:.0%}), spread {spread:.1%}, "
        f"the model's own 90 % band {low:.1%} to {high:.1%}"
    )


def predicted_below(rows: Sequence[Row], n_places: int = 300) -> Array:
    """Shares below the 5th percentile at places that are as the model says: one place factor in all their windows."""
    factors = place_factors(3, np.arange(n_places), climate.PLACE_SPREAD)[:, 0]
    own = place_factors(1, np.arange(N_OURS), climate.PLACE_SPREAD)[:, 0]
    shares = np.zeros((n_places, len(rows)))
    for column, row in enumerate(rows):
        sums = row.ours.flat.sum(axis=1)
        limit, bare = np.quantile(sums, 0.05), sums / own
        shares[:, column] = [(bare * factor < limit).mean() for factor in factors]
    return shares.mean(axis=1)


def summary(rows: Sequence[Row]) -> list[str]:
    """Measured places and typical years, each on their own."""
    lines = []
    for kind, is_typical in (("measured", False), ("typical", True)):
        mine = [row for row in rows if row.is_typical == is_typical]
        names = sorted({row.place for row in mine})
        if not names:
            continue
        below = np.array([np.mean([row.below_share(3) for row in mine if row.place == name]) for name in names])
        predicted = predicted_below(mine[:24])
        lines.append(band(kind, "three days below our 5th percentile", below, predicted, 0.05))
        kits = {name: [r.survived_share for r in mine if r.place == name and r.survived_share >= 0] for name in names}
        survived = np.array([np.mean(shares) for shares in kits.values() if shares])
        if len(survived):
            n_kits = sum(len(shares) for shares in kits.values())
            # a window fails where its light is among the dullest: at a place as the model says, as often as it is there
            lines.append(band(kind, f"survived by {n_kits} kits", survived, 1 - predicted, 0.95))
    return lines


def fit(rows: Sequence[Row]) -> list[str]:
    """The pair that brings 5 % and 25 % of three-day sums below ours' same percentiles, one place left out in turn."""
    measured = [row for row in rows if not row.is_typical]
    names = sorted({row.place for row in measured})
    lowered, spreads = np.arange(0.82, 0.95, 0.02), np.arange(0.10, 0.31, 0.02)
    levels = np.array([0.05, 0.25])
    z = np.log(place_factors(1, np.arange(N_OURS), 1.0)[:, 0]) + 0.5
    found = np.zeros((len(lowered), len(spreads), len(names), 2))
    own = np.exp(climate.PLACE_SPREAD * z - climate.PLACE_SPREAD**2 / 2) * climate.TOO_SUNNY_SHARE
    for at, name in enumerate(names):
        for row in (row for row in measured if row.place == name):
            bare = row.ours.flat.sum(axis=1) / own
            sums = row.theirs.flat.sum(axis=1)
            for i, low in enumerate(lowered):
                for j, spread in enumerate(spreads):
                    limits = np.quantile(bare * low * np.exp(spread * z - spread**2 / 2), levels)
                    count = len([one for one in measured if one.place == name])
                    found[i, j, at] += (sums[:, None] < limits).mean(axis=0) / count
    lines = []
    for left_out in (None, *range(len(names))):
        rest = [at for at in range(len(names)) if at != left_out]
        miss = ((found[:, :, rest].mean(axis=2) / levels - 1) ** 2).sum(axis=2)
        i, j = np.unravel_index(int(np.argmin(miss)), miss.shape)
        who = "all places" if left_out is None else f"without {names[left_out]}"
        there = "" if left_out is None else f", there {found[i, j, left_out, 0]:.1%} below the 5th percentile"
        lines.append(f"{who}: lowered to {lowered[i]:.2f}, spread {spreads[j]:.2f}{there}")
    return lines


def files_in(folder: Path | None) -> list[Path]:
    """Files of a folder, or the typical years that pvlib carries."""
    if folder is not None:
        return sorted(path for path in folder.iterdir() if path.is_file())
    import pvlib

    carried = Path(pvlib.__file__).parent / "data"
    return [carried / name for name in ("12839.tm2", "703165TY.csv", "723170TYA.CSV")]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", help="weather files; without it the three that pvlib carries")
    parser.add_argument("--months", default="1,2,3,4,5,6,7,8,9,10,11,12")
    parser.add_argument("--kit-months", default="1,4,7,10")
    parser.add_argument("--no-kits", action="store_true")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--learned", type=int, default=0, metavar="N", help="owners whose panels were read ten times")
    parser.add_argument("--smoke", action="store_true", help="October only")
    given = parser.parse_args()
    months = [int(month) for month in given.months.split(",")]
    if given.smoke:
        months = [10]
    with_kits = [] if given.no_kits else [int(month) for month in given.kit_months.split(",")]
    rows: list[Row] = []
    print(HEAD)
    for path in files_in(given.folder):
        try:
            for row in rows_of(path, months, with_kits, given.learned):
                rows.append(row)
                print(line(row), flush=True)
        except BadInput as why:
            print(f"{path.name}: left out: {why.faults[0].text}")
    for text in [*summary(rows), *(fit(rows) if given.fit else [])]:
        print(text)


if __name__ == "__main__":
    main()
