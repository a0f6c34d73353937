"""A TOML file to an Operation, or to every fault in it."""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

from kitopt.errors import BadInput
from kitopt.files.faults import quoted
from kitopt.files.reading import what_lies_at
from kitopt.files.toml_text import KeyPath
from kitopt.inventory.document import Document
from kitopt.inventory.items import MODES, Assumed
from kitopt.operation import tables
from kitopt.operation.clock import swaps_after
from kitopt.operation.moment import Moment, Skipped, moment_of, zone_at
from kitopt.operation.place import Unplaced, place_given
from kitopt.operation.terms import (
    Aim,
    Climate,
    LoadUse,
    Need,
    NoSun,
    Operation,
    Shares,
    Site,
    Span,
    Weather,
    WeatherFile,
)

_TABLES = ("site", "need", "aim", "limits", "goal", "loads")


def read_operation(path: Path | str) -> Operation:
    """Read one operation.

    Parameters
    ----------
    path : Path
        The TOML file; a weather file named in it is relative to it.

    Returns
    -------
    Operation
        Every default filled; what was assumed is listed.

    Raises
    ------
    BadInput
        With every fault found, each with the line of its key.
    """
    document = _Operation(Path(path))
    operation = None if document.values is None else document.read()
    document.stop_if_any()
    assert operation is not None
    return operation


class _Operation(Document):
    """The state of one reading."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.assumed: list[Assumed] = []

    def read(self) -> Operation | None:
        values = self.values or {}
        top = self.top(tables.TopTable, *_TABLES)
        site_table = self.table(tables.SiteTable, values.get("site"), ("site",))
        need_table = self.table(tables.NeedTable, values.get("need", {}), ("need",))
        aim_table = self.table(tables.AimTable, values.get("aim", {"mode": "flat"}), ("aim",))
        limits = self.table(tables.LimitsTable, values.get("limits", {}), ("limits",))
        goal = self.table(tables.GoalTable, values.get("goal", {}), ("goal",))
        site = None if site_table is None else self._site(site_table)
        need = None if need_table is None else self._need(need_table, site_table)
        if need_table is None:
            self._weather_beside_faults(values)
        aim = None if aim_table is None else self._aim(aim_table)
        loads = self._loads()
        if top is None or site is None or need is None or aim is None or limits is None or goal is None:
            return None
        moment = self._moment(top, site)
        if moment is None:
            return None
        if moment.is_twice:
            self.assume("start", f"{moment.time:%H:%M %z}", "clocks show this time twice; the first is taken")
        self._swap(top, moment.time, site)
        return Operation(
            file=str(self.path),
            name=top.name or self.path.stem,
            start=moment.time,
            hours=top.hours,
            site=site,
            loads=loads,
            need=need,
            aim=aim,
            station_connector=top.station_connector,
            panel_distance_m=top.panel_distance_m,
            batteries=top.batteries,  # type: ignore[arg-type]  # checked against the list
            battery_lead=top.battery_lead,  # type: ignore[arg-type]  # checked against the list
            charge=top.charge,  # type: ignore[arg-type]  # checked against the list
            swap=tuple(sorted(top.swap)) if top.charge == "apart" else (),
            mass_limit_g=limits.mass_g,
            nice_at_most_g=limits.nice_at_most_g,
            air_travel=limits.air_travel,
            least=goal.least,  # type: ignore[arg-type]  # checked against the list
            assumed=tuple(self.assumed),
            warnings=tuple(self.warnings),
        )

    def assume(self, column: str, value: str, rule: str, of: str = "") -> None:
        self.assumed.append(Assumed(self.path.name, of, column, value, rule))

    # ---- tables

    def _moment(self, top: tables.TopTable, site: Site) -> Moment | None:
        try:
            return moment_of(top.start, site.timezone)
        except Skipped as error:
            found = f"found {top.start:%Y-%m-%d %H:%M}, which clocks in {site.timezone} skip"
            self.fault(("start",), f"{found}; need another time, such as {error.shown:%H:%M}.")
            return None

    def _swap(self, top: tables.TopTable, start: datetime, site: Site) -> None:
        """Note swap times that change nothing."""
        if top.charge != "apart":
            if top.swap:
                self.warn(("swap",), 'only charge = "apart" uses it; it is ignored.')
            return
        for n, minute in enumerate(top.swap):
            if minute in top.swap[:n]:
                text = f"found {minute // 60:02}:{minute % 60:02} again; need each time once."
                self.fault(("swap", n), text)
        if not top.swap:
            text = 'found "apart" without swap; need the times at which the banks change places, such as '
            self.fault(("charge",), f'{text}swap = ["06:00", "18:00"].')
        elif not swaps_after(start, top.hours, site.timezone, top.swap):
            text = f"found no time between {start:%H:%M} and {top.hours:g} h later; need one, or the second bank is "
            self.fault(("swap",), f"{text}never on the air.")

    def _site(self, table: tables.SiteTable) -> Site | None:
        place = self._place(table)
        if place is None:
            return None
        coldest, warmest = table.coldest_degc, table.warmest_degc
        if coldest is not None and warmest is not None and coldest > warmest:
            self.fault(
                ("site", "coldest_degc"), f"found {coldest:g} °C, above warmest_degc ({warmest:g} °C); swap them."
            )
            return None
        zone = table.timezone
        if zone is None:
            zone = zone_at(*place)
            self.assume("site.timezone", str(zone), "found from the place")
        return Site(
            latitude_deg=place[0],
            longitude_deg=place[1],
            altitude_m=table.altitude_m,
            timezone=zone,
            coldest_degc=coldest,
            warmest_degc=warmest,
            horizon_deg=tuple(sorted(table.horizon)),
            shade=table.shade,
            cells_degc=table.cells,
        )

    def _place(self, table: tables.SiteTable) -> tuple[float, float] | None:
        try:
            return place_given(table.latitude, table.longitude, table.locator)
        except Unplaced as error:
            self.fault(("site", error.key) if error.key else ("site",), error.text)
            return None

    def _need(self, table: tables.NeedTable, site: tables.SiteTable | None) -> Need | None:
        weather = self._weather(table.weather)
        if weather is None:
            return None
        if table.forecast:
            if isinstance(weather, Climate):
                weather = Climate(table.forecast)
            else:
                text = 'found a forecast beside other weather; need weather = "climate" for the days after it.'
                self.fault(("need", "forecast"), text)
        if not isinstance(weather, WeatherFile) and site is not None:
            missing = [key for key in ("coldest_degc", "warmest_degc") if getattr(site, key) is None]
            if missing:
                text = (
                    f"{' and '.join(missing)} missing; need both [site] coldest_degc and warmest_degc, the coldest and "
                    "warmest air expected, such as 6 and 19; only a weather file brings its own."
                )
                self.fault(("site", missing[0]), text)
        share, energy_wh = table.reserve
        return Need(
            confidence=Fraction(str(table.confidence)),
            reserve_share=share,
            reserve_wh=energy_wh,
            weather=weather,
            windows=table.windows,
            seed=table.seed,
            start_charge_share=table.start_charge,
            backup=table.backup,
            step_h=table.step_minutes / 60,
        )

    def _weather(self, value: str | tuple[float, ...]) -> Weather | None:
        if isinstance(value, tuple):
            return Shares(value)
        if value.lower() == "climate":
            return Climate()
        if value.lower() == "no sun":
            return NoSun()
        file = self.path.parent / value
        try:
            if what_lies_at(file) == "file":
                return WeatherFile(file)
        except BadInput as error:
            self.fault(("need", "weather"), f"found {quoted(value)}, which {error.faults[0].text}")
            return None
        text = f'found {quoted(value)}, but {quoted(file)} is no file; need "climate", "no sun", shares, or a file.'
        self.fault(("need", "weather"), text)
        return None

    def _weather_beside_faults(self, values: dict[str, Any]) -> None:
        """Note a missing weather file although another key of its table is at fault."""
        need = values.get("need")
        value = need.get("weather") if isinstance(need, dict) else None
        if isinstance(value, str) and value.strip() and value.isprintable():
            self._weather(value.strip())

    def _aim(self, table: tables.AimTable) -> Aim:
        if table.mode != "fixed":
            for key in ("tilt_deg", "azimuth_deg"):
                if getattr(table, key) is not None:
                    self.warn(("aim", key), f'only mode = "fixed" uses it; with "{table.mode}" it is ignored.')
            return Aim(mode=table.mode, every_h=table.every_h)  # type: ignore[arg-type]  # checked against the list
        return Aim("fixed", table.every_h, table.tilt_deg, table.azimuth_deg)

    # ---- loads

    def _loads(self) -> tuple[LoadUse, ...]:
        uses: list[LoadUse] = []
        first: dict[str, int] = {}
        need = 'no load is named; need at least one [[loads]] with its id, such as id = "hf-20w".'
        for path, value, table in self.tables(tables.LoadTable, "loads", need):
            name = value.get("id") if isinstance(value, dict) else None
            line = self.line((*path, "id"))
            if isinstance(name, str):
                if name in first:
                    text = (
                        f"found {quoted(name)} again, first on line {first[name]}; need each load once, with a count."
                    )
                    self.fault((*path, "id"), text)
                first.setdefault(name, line)
            use = None if table is None else self._use(table, path, line)
            if use is not None:
                uses.append(use)
        return tuple(uses)

    def _use(self, table: tables.LoadTable, path: KeyPath, line: int) -> LoadUse | None:
        kinds = [key for key in ("mode", "full_share", "wh_per_day") if getattr(table, key) is not None]
        if len(kinds) != 1:
            found = f"found {' and '.join(kinds)}" if kinds else "found neither mode nor full_share nor wh_per_day"
            self.fault((*path, *kinds[-1:]), f"{found}; need one of the three.")
            return None
        kind = kinds[0]
        is_on = table.mode == "on"
        spans = self._spans(table, path, "on" if is_on or kind == "wh_per_day" else "on_air")
        if spans is None:
            return None
        if kind == "wh_per_day":
            for key in ("transmit", "quiet"):
                if getattr(table, key) is not None:
                    self.warn((*path, key), "a load with wh_per_day does not use it.")
            return self._load_use(table, line, mode="on", spans=spans, quiet="off", wh_per_day=table.wh_per_day)
        transmit = table.transmit
        if transmit is None and not is_on:
            # a share of one's own may be a light as well as a radio: nothing then says that it ever rests
            transmit = 0.5 if table.mode else 1.0
            rule = "half the time on the air" if table.mode else "all the time on the air"
            self.assume("transmit", f"{transmit:g}", f"taken to transmit {rule}", of=table.id)
        return self._load_use(
            table,
            line,
            mode=table.mode or "share",
            full_share=MODE_SHARES[table.mode] if table.mode else table.full_share,
            transmit_share=1.0 if transmit is None else transmit,
            spans=spans,
            quiet=table.quiet or ("off" if is_on else "listen"),
        )

    def _load_use(self, table: tables.LoadTable, line: int, **more: Any) -> LoadUse:
        priority = cast(Any, table.priority)
        return LoadUse(id=table.id, count=table.count, priority=priority, circuit=table.circuit, line=line, **more)

    def _spans(self, table: tables.LoadTable, path: KeyPath, key: str) -> tuple[Span, ...] | None:
        other = "on_air" if key == "on" else "on"
        if getattr(table, other) is not None:
            self.fault((*path, other), f"this load does not use {other}; need {key} for its hours.")
            return None
        spans = cast("tuple[Span, ...] | None", getattr(table, key))
        if spans == ():
            self.fault((*path, key), "found an empty list; name its hours, or leave the key out for all hours.")
            return None
        return spans or ()


MODE_SHARES = {**MODES, "on": 1.0}
