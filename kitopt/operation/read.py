"""A TOML file to an Operation, or to every fault in it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar, cast
from zoneinfo import available_timezones

from pydantic import ValidationError

from kitopt.errors import BadInput
from kitopt.files.decode import decode
from kitopt.files.faults import FaultList, quoted
from kitopt.files.marks import decimal_mark
from kitopt.files.nearest import did_you_mean
from kitopt.files.reading import read_bytes, what_lies_at
from kitopt.files.toml_text import LARGEST_BYTES, KeyLines, KeyPath, dotted, parse_toml, texts_in
from kitopt.files.unknown import is_unknown
from kitopt.inventory.fields import needed
from kitopt.inventory.items import Assumed
from kitopt.inventory.ranges import judge
from kitopt.operation import tables
from kitopt.operation.moment import Moment, Skipped, moment_of, zone_at
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

T = TypeVar("T", bound=tables.Table)

_TABLES = ("site", "need", "aim", "limits", "goal")
_SHAPES = {
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
    "missing": "a value here",
    "too_long": "pairs, such as [270, 12]",
}
NOTED_AT_MOST = 50


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
    path = Path(path)
    faults = FaultList(str(path))
    content = read_bytes(path, faults, LARGEST_BYTES)
    text = None if content is None else decode(content, faults, "save it as UTF-8 text")
    # TOML knows no lone carriage returns, and Windows ends lines with two characters
    text = None if text is None else text.replace("\r\n", "\n")
    values = None if text is None else parse_toml(text, faults)
    operation = None if text is None or values is None else _Document(path, values, KeyLines(text), faults).read()
    if operation is None or faults.n:
        raise BadInput(faults.listed())
    return operation


class _Document:
    """The state of one reading."""

    def __init__(self, path: Path, values: dict[str, Any], lines: KeyLines, faults: FaultList) -> None:
        self.path = path
        self.values = values
        self.lines = lines
        self.faults = faults
        self.assumed: list[Assumed] = []
        self.warnings: list[str] = []
        self.decimal = decimal_mark(texts_in(values))

    def read(self) -> Operation | None:
        self._warn_unknown(self.values, [*tables.TopTable.model_fields, *_TABLES, "loads"], ())
        top = self._table(tables.TopTable, self.values, ())
        site_table = self._table(tables.SiteTable, self.values.get("site"), ("site",))
        need_table = self._table(tables.NeedTable, self.values.get("need", {}), ("need",))
        aim_table = self._table(tables.AimTable, self.values.get("aim", {"mode": "flat"}), ("aim",))
        limits = self._table(tables.LimitsTable, self.values.get("limits", {}), ("limits",))
        goal = self._table(tables.GoalTable, self.values.get("goal", {}), ("goal",))
        site = None if site_table is None else self._site(site_table)
        need = None if need_table is None else self._need(need_table, site_table)
        if need_table is None:
            self._weather_beside_faults()
        aim = None if aim_table is None else self._aim(aim_table)
        loads = self._loads(self.values.get("loads"))
        if top is None or site is None or need is None or aim is None or limits is None or goal is None:
            return None
        moment = self._moment(top, site)
        if moment is None:
            return None
        if moment.is_twice:
            self.assume("start", f"{moment.time:%H:%M %z}", "clocks show this time twice; the first is taken")
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
            mass_limit_g=limits.mass_g,
            air_travel=limits.air_travel,
            least=goal.least,  # type: ignore[arg-type]  # checked against the list
            assumed=tuple(self.assumed),
            warnings=tuple(self.warnings),
        )

    # ---- faults, warnings, assumptions

    def fault(self, path: KeyPath, text: str) -> None:
        self.faults.add(self.lines.of(path), dotted(path) or None, text)

    def warn(self, path: KeyPath, text: str) -> None:
        if len(self.warnings) < NOTED_AT_MOST:
            self.warnings.append(f"{self.path.name}, line {self.lines.of(path)}, {dotted(path)}: {text}")

    def assume(self, column: str, value: str, rule: str, of: str = "") -> None:
        self.assumed.append(Assumed(self.path.name, of, column, value, rule))

    def _warn_unknown(self, values: dict[str, Any], known: list[str], path: KeyPath) -> None:
        for key in values:
            if key not in known:
                self.warn((*path, key), f"the unknown key {quoted(key)} is ignored.{did_you_mean(key, known)}")

    def _table(self, model: type[T], values: Any, path: KeyPath) -> T | None:
        """Return the checked table, or None after noting its faults."""
        if values is None:
            self.fault(path, f"the table [{dotted(path)}] is missing, and is needed.")
            return None
        if not isinstance(values, dict):
            self.fault(path, f"found {quoted(values)}, need a table, such as [{dotted(path)}].")
            return None
        known = list(model.model_fields)
        if path:
            self._warn_unknown(values, known, path)
        # a key left blank is as good as none
        given = {key: value for key, value in values.items() if key in known and not is_unknown(value)}
        try:
            table = model.model_validate(given, context={"decimal": self.decimal})
        except ValidationError as error:
            for one in error.errors(include_url=False):
                self._note(model, (*path, *one["loc"]), one)
            return None
        for found in judge(model.KIND, table, given, self.decimal):
            if found.is_fault:
                self.fault((*path, found.column), found.text)
            else:
                self.warn((*path, found.column), found.text)
        return table

    def _note(self, model: type[tables.Table], path: KeyPath, error: Any) -> None:
        if error["type"] == "need":
            text = error["msg"]
            if path[-1:] == ("timezone",) and isinstance(error["input"], str):
                text += did_you_mean(error["input"], available_timezones())
        elif error["type"] == "missing" and len(error["loc"]) == 1:
            text = f"this key is missing, need {needed(model.model_fields[str(error['loc'][0])].metadata)}."
        else:
            text = f"found {quoted(error['input'])}, need {_SHAPES.get(error['type'], 'another value')}."
        self.fault(path, text)

    # ---- tables

    def _moment(self, top: tables.TopTable, site: Site) -> Moment | None:
        try:
            return moment_of(top.start, site.timezone)
        except Skipped as error:
            found = f"found {top.start:%Y-%m-%d %H:%M}, which clocks in {site.timezone} skip"
            self.fault(("start",), f"{found}; need another time, such as {error.shown:%H:%M}.")
            return None

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
        given = table.latitude is not None or table.longitude is not None
        if table.locator is not None:
            if not given:
                return table.locator
            self.fault(("site", "locator"), "found a locator beside latitude and longitude; need one of them.")
        elif table.latitude is not None and table.longitude is not None:
            return table.latitude, table.longitude
        else:
            missing = "longitude" if table.latitude is not None else "latitude" if given else "latitude and longitude"
            self.fault(("site",), f"{missing} missing; need latitude and longitude, or a locator.")
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

    def _weather_beside_faults(self) -> None:
        """Note a missing weather file although another key of its table is at fault."""
        need = self.values.get("need")
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

    def _loads(self, values: Any) -> tuple[LoadUse, ...]:
        if not isinstance(values, list) or not values:
            self.fault(("loads",), 'no load is named; need at least one [[loads]] with its id, such as id = "hf-20w".')
            return ()
        uses: list[LoadUse] = []
        first: dict[str, int] = {}
        for n, value in enumerate(values):
            if self.faults.is_hopeless:
                break
            path: KeyPath = ("loads", n)
            table = self._table(tables.LoadTable, value, path)
            name = value.get("id") if isinstance(value, dict) else None
            line = self.lines.of((*path, "id")) or 1
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
        return LoadUse(id=table.id, count=table.count, priority=priority, line=line, **more)

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


MODE_SHARES = {**tables.MODES, "on": 1.0}
