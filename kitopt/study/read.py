"""A study's file and its file of sites to values, or to every fault in them and in what they name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kitopt.errors import BadInput
from kitopt.files.decode import read_text
from kitopt.files.faults import FaultList, quoted
from kitopt.files.nearest import did_you_mean
from kitopt.files.reading import what_lies_at
from kitopt.files.table import read_table
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Inventory
from kitopt.inventory.sheet import rows_of
from kitopt.operation.check import check_each
from kitopt.operation.find import find_inventory
from kitopt.operation.force import pieces_of_kit
from kitopt.operation.moment import zone_at
from kitopt.operation.place import Unplaced, place_given
from kitopt.operation.read_plans import NamingOperations
from kitopt.operation.terms import Operation, Site, WeatherFile
from kitopt.study import tables
from kitopt.study.terms import Kit, Place, Store, Study, When, month_days

LARGEST_SITES_BYTES = 16_000_000
_TABLES = ("patterns", "stores")


def read_study(file: Path | str, inventories: Sequence[Path | str] = ()) -> Study:
    """Read what a study asks, and everything that it names.

    Parameters
    ----------
    inventories : sequence of Path
        Folders instead of those that the file names.

    Raises
    ------
    BadInput
        With every fault of every file: the study's, the sites', the patterns' and the inventories'.
    """
    document = _Study(Path(file))
    study = document.read(tuple(Path(one) for one in inventories))
    document.stop_if_any()
    assert study is not None
    return study


class _Study(NamingOperations):
    """The state of one reading."""

    def read(self, inventories: tuple[Path, ...]) -> Study | None:
        top = self.top(tables.StudyTable, *_TABLES)
        stores = self._stores()
        patterns = self._patterns()
        folders = self._folders(top, inventories)
        owned = [one for folder in folders if (one := self._inventory(folder)) is not None]
        if top is None:
            return None
        is_told = all(isinstance(one.need.weather, WeatherFile) for one in patterns)
        places = self._places(self.path.parent / top.sites, {one.name for one in stores}, needs_air=not is_told)
        if len(owned) == len(folders):
            self._check_loads(patterns, owned)
        labels = [folder.resolve().name for folder in folders]
        if len(set(labels)) < len(labels):
            self.fault(("inventories",), f"found two folders of one name ({', '.join(labels)}); need a name for each.")
        beside = self.path.parent / top.catalogue if top.catalogue else None
        if beside is None and folders and what_lies_at(folders[0] / "catalogue") == "folder":
            beside = folders[0] / "catalogue"
        catalogue = None if beside is None else self._inventory(beside)
        kits = tuple(self._kits(top.kits, owned))
        if bool(top.months) == bool(top.dates):
            found = "months beside dates" if top.months else "neither months nor dates"
            self.fault(("dates" if top.months else "months",), f'found {found}; need one, such as months = ["jan"].')
        whens = month_days(top.months) or tuple(When(one.month, one.day, one.year) for one in top.dates)
        if top.standard_kits and top.kits:
            self.fault(("standard_kits",), "found beside kits; need one: standard kits are chosen among those found.")
        return Study(
            str(self.path),
            top.name or self.path.stem,
            tuple(places),
            whens,
            tuple(patterns),
            tuple(owned),
            catalogue,
            kits,
            top.standard_kits,
            top.fresh,
            tuple(stores),
            tuple(self.warnings),
        )

    def _stores(self) -> list[Store]:
        found: dict[str, Store] = {}
        for path, _, table in self.tables(tables.StoreTable, "stores"):
            if table is not None and table.name in found:
                self.fault((*path, "name"), f"found {quoted(table.name)} again; need each store once.")
            elif table is not None:
                found[table.name] = Store(table.name, table.at_once)
        return list(found.values())

    def _patterns(self) -> list[Operation]:
        found: dict[str, Operation] = {}
        for path, _, table in self.tables(tables.PatternTable, "patterns", "need at least one [[patterns]]."):
            operation = None if table is None else self.operation(table.file, path)
            if operation is None:
                continue
            if operation.name in found:
                text = f"found another pattern of the name {quoted(operation.name)}; need a name for each."
                self.fault((*path, "file"), text)
            found[operation.name] = operation
        return list(found.values())

    def _folders(self, top: tables.StudyTable | None, named: tuple[Path, ...]) -> list[Path]:
        if named:
            return list(named)
        if top is not None and top.inventories:
            return [self.path.parent / one for one in top.inventories]
        try:
            return [find_inventory(self.path)]
        except BadInput as error:
            self.others.extend(error.faults)
            return []

    def _inventory(self, folder: Path) -> Inventory | None:
        try:
            found = read_inventory(folder)
        except BadInput as error:
            self.others.extend(error.faults)
            return None
        self.warnings += [one for one in found.warnings if one not in self.warnings]
        return found

    def _check_loads(self, patterns: Sequence[Operation], owned: Sequence[Inventory]) -> None:
        for inventory in owned:
            try:
                check_each(patterns, inventory)
            except BadInput as error:
                self.others.extend(error.faults)

    def _kits(self, texts: Sequence[str], owned: Sequence[Inventory]) -> list[Kit]:
        """Each named kit, which every inventory must hold; what always goes along is left out of it."""
        found: dict[Kit, None] = {}
        for n, text in enumerate(texts):
            try:
                counts = [pieces_of_kit(inventory, text) for inventory in owned]
            except BadInput as error:
                for fault in error.faults:
                    self.fault(("kits", n), fault.text)
                continue
            for inventory, pieces in zip(owned, counts, strict=True):
                chosen = {item.id for item in inventory.chosen_from}
                found[tuple(sorted((i, count) for i, count in pieces.items() if i in chosen))] = None
        return list(found)

    def _places(self, file: Path, stores: set[str], *, needs_air: bool) -> list[Place]:
        faults = FaultList(str(file))
        text = read_text(file, faults, 'save it as "CSV UTF-8"', LARGEST_SITES_BYTES)
        table = None if text is None else read_table(text, faults)
        found: dict[str, Place] = {}
        first: dict[str, int] = {}
        for row, checked, _ in (
            () if table is None else rows_of(tables.SiteRow, file.name, table, faults, self.warnings)
        ):
            name = row.cells.get("name", "")
            if name in first:
                text = f"found {quoted(name)} again, first in line {first[name]}; need another name."
                faults.add(row.lines["name"], "name", text)
            first.setdefault(name, row.line)
            place = None
            if checked is not None:
                place = _place(checked, stores, row.line, row.lines, faults, needs_air)
            if place is not None:
                found[name] = place
        if table is not None and not table.rows:
            faults.add(None, None, "found no site; need a row for each.")
        self.others += faults.listed()
        return list(found.values())


def _place(
    row: tables.SiteRow, stores: set[str], line: int, lines: dict[str, int], faults: FaultList, needs_air: bool
) -> Place | None:
    """One site, or None after noting its faults."""
    before = faults.n
    try:
        latitude, longitude = place_given(row.latitude, row.longitude, row.locator)
    except Unplaced as error:
        faults.add(lines.get(error.key, line), error.key or "latitude", error.text)
    if row.store and row.store not in stores:
        text = f"found {quoted(row.store)}, need the name of one of [[stores]].{did_you_mean(row.store, stores)}"
        faults.add(lines["store"], "store", text)
    for column in ("coldest_degc", "warmest_degc"):
        if getattr(row, column) is None and needs_air:
            text = "the cell is blank; need the air's temperature, one number or twelve: only a weather file brings it."
            faults.add(line, column, text)
    if row.coldest_degc and row.warmest_degc:
        wrong = [(c, w) for c, w in zip(row.coldest_degc, row.warmest_degc, strict=True) if c > w]
        if wrong:
            text = f"found {wrong[0][0]:g} °C, above warmest_degc ({wrong[0][1]:g} °C); swap them."
            faults.add(lines["coldest_degc"], "coldest_degc", text)
    if faults.n > before:
        return None
    zone = row.timezone or zone_at(latitude, longitude)
    site = Site(latitude, longitude, row.altitude_m, zone, None, None, row.horizon)
    return Place(row.name, site, row.coldest_degc, row.warmest_degc, row.priority, row.store)
