"""A folder of CSV files to an Inventory, or to every fault in them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from kitopt.errors import BadInput, Fault
from kitopt.files.decode import decode
from kitopt.files.faults import FaultList, quoted
from kitopt.files.nearest import did_you_mean, nearest
from kitopt.files.reading import read_bytes, what_lies_at
from kitopt.files.table import Row, Table, read_table
from kitopt.files.unknown import is_unknown
from kitopt.inventory import readings, rows
from kitopt.inventory.columns import Table as Described
from kitopt.inventory.columns import columns_of
from kitopt.inventory.document import Document
from kitopt.inventory.families import UNKNOWN_CONTACT_OHM, family_of, first_words
from kitopt.inventory.fill import KINDS, REQUIRED, Inconsistent, Kind, Notes
from kitopt.inventory.items import MODES, Assumed, Connector, Extra, Inventory, Item, Panel, Unusual
from kitopt.inventory.names import CONNECTORS, FUSES, READINGS, SETTINGS, other_names
from kitopt.inventory.ranges import judge
from kitopt.inventory.sheet import Checked, rows_of
from kitopt.inventory.spreads import UNLABELLED_W

_SAVE_CSV = 'save it as "CSV UTF-8"'
MISTYPED_LETTERS = 2
"""A word that is so much longer or shorter than a known one is another word."""


def read_inventory(folder: Path | str, *, may_lack_label: bool = False) -> Inventory:
    """Read every CSV file of an inventory folder.

    ``batteries.csv`` and ``loads.csv`` must be there; other files may be missing. ``connectors.csv``
    replaces the usual contact resistance and most current of connector families.

    Parameters
    ----------
    folder : Path
        The folder; a ``catalogue`` inside it is not read.
    may_lack_label : bool
        Whether a panel with ``rated_w = ?`` may be here of which nothing was read yet: to be read now.

    Returns
    -------
    Inventory
        Items sorted by id, every assumed value, and warnings.

    Raises
    ------
    BadInput
        With every fault of every file.
    """
    return _Folder(Path(folder), may_lack_label).read()


def _ends(item: Item) -> list[Connector]:
    return [value for value in vars(item).values() if isinstance(value, Connector)]


def _families(items: dict[str, tuple[Item, ...]]) -> set[str]:
    """Every family that an item has an end of."""
    return {end.family for some in items.values() for item in some for end in _ends(item)}


class _Folder:
    """The state of one reading."""

    def __init__(self, folder: Path, may_lack_label: bool) -> None:
        self.folder, self.may_lack_label = folder, may_lack_label
        self.read_labels: list[str] = []
        """Panels whose label is lost, and those of them of which nothing was read."""
        self.unlabelled: list[str] = []
        self.faults: list[Fault] = []
        self.assumed: list[Assumed] = []
        self.warnings: list[str] = []
        self.unusual: list[Unusual] = []
        self.first: dict[str, str] = {}
        """Where each id was first seen."""
        self.digest = hashlib.sha256()

    def read(self) -> Inventory:
        if what_lies_at(self.folder) != "folder":
            text = "there is no such folder; name an inventory folder, or make one with `kitopt start`."
            raise BadInput([Fault(str(self.folder), None, None, text)])
        contents: dict[str, bytes] = {}
        misnamed, others = other_names(self.folder)
        for other, wanted in misnamed.items():
            self.warnings.append(f"the file {quoted(other)} is ignored. Did you mean {wanted}?")
        items: dict[str, tuple[Item, ...]] = {}
        faults = FaultList(str(self.folder / READINGS))
        table = self._table(READINGS, contents, faults, misnamed)
        checked = () if table is None else self._rows(rows.ReadingRow, READINGS, table, faults)
        whole = readings.whole(((row, one) for row, one, _ in checked), faults)
        late = faults.listed()
        for kind in KINDS:
            faults = FaultList(str(self.folder / kind.file))
            table = self._table(kind.file, contents, faults, misnamed)
            if table is not None:
                if kind.item is Panel:
                    self._with_labels(table, readings.labels_w(one for _, one in whole), faults)
                items[kind.stem] = self._items(kind, table, faults)
            self.faults += faults.listed()
        faults = FaultList(str(self.folder / CONNECTORS))
        table = self._table(CONNECTORS, contents, faults, misnamed)
        contacts = [] if table is None else self._contacts(table, items, faults)
        self.faults += faults.listed()
        if "leads.csv" in contents:
            # without leads nothing is known of any join
            self._usual_contacts(items, contacts)
        self._unknown_families(items)
        self._ends_without_a_side(items)
        self._hanging_on_nothing(items)
        faults = FaultList(str(self.folder / FUSES))
        table = self._table(FUSES, contents, faults, misnamed)
        fuses = None if table is None else self._fuses(table, faults)
        self.faults += faults.listed()
        self.faults += late
        read = readings.of_owned(whole, items, self.warnings)
        settings = self._settings(contents)
        if self.faults:
            raise BadInput(self.faults)
        for name in sorted(contents):
            self.digest.update(contents[name])
        taken_up, self.assumed = readings.taken_up(items, read, self.assumed, self.read_labels, settings.meter)
        return Inventory(
            folder=str(self.folder),
            **items,  # type: ignore[arg-type]  # each kind's build function returns its own type
            has_leads_file="leads.csv" in contents,
            contact_ohm={c.family: c.contact_mohm / 1000.0 for c in contacts if c.contact_mohm is not None},
            contact_a={c.family: c.max_a for c in contacts if c.max_a is not None},
            fuses=fuses,
            **taken_up,
            unlabelled=tuple(self.unlabelled),
            meter_spread=settings.meter,
            currency=settings.currency,
            units=tuple(unit for unit in settings.units if unit in ("lb", "ft")),
            assumed=tuple(self.assumed),
            warnings=tuple(self.warnings),
            unusual=tuple(self.unusual),
            other_files=others,
            fingerprint=self.digest.hexdigest()[:12],
        )

    def _table(
        self, name: str, contents: dict[str, bytes], faults: FaultList, misnamed: dict[str, str]
    ) -> Table | None:
        path = self.folder / name
        if self._is_missing(path, faults):
            if name in REQUIRED and not faults.n:
                hint = "".join(f" Is {quoted(other)} meant?" for other, meant in misnamed.items() if meant == name)
                need = f"there is no such file; every inventory needs it, if only with a header.{hint}"
                faults.add(None, None, need)
            return None
        content = read_bytes(path, faults)
        if content is None:
            return None
        contents[name] = content
        text = decode(content, faults, _SAVE_CSV)
        return None if text is None else read_table(text, faults)

    def _is_missing(self, path: Path, faults: FaultList) -> bool:
        """Whether there is nothing at a path, or nothing that the system lets be seen, which is a fault."""
        try:
            return what_lies_at(path) == "nothing"
        except BadInput as error:
            faults.add(None, None, error.faults[0].text)
            return True

    def _contacts(self, table: Table, items: dict[str, tuple[Item, ...]], faults: FaultList) -> list[rows.ContactRow]:
        """What the owner knows of connector families, instead of what is usual."""
        families = _families(items)
        first: dict[str, int] = {}
        found: list[rows.ContactRow] = []
        for row, checked, decimal in self._rows(rows.ContactRow, CONNECTORS, table, faults):
            if checked is None:
                continue
            self._judge(CONNECTORS, checked.family, checked, row, faults, decimal)
            line = row.lines["family"]
            if checked.family in first:
                text = f"found {quoted(checked.family)} again, first in line {first[checked.family]}; need it once."
                faults.add(line, "family", text)
                continue
            first[checked.family] = line
            if checked.family not in families:
                hint = did_you_mean(checked.family, sorted(families))
                where = f"{CONNECTORS}, line {line}"
                self.warnings.append(f"{where}: nothing here has a connector of family {checked.family}.{hint}")
            found.append(checked)
        return found

    def _usual_contacts(self, items: dict[str, tuple[Item, ...]], written: list[rows.ContactRow]) -> None:
        """Note what is taken for every family of which the owner wrote nothing."""
        own = {row.family: row for row in written}
        for family in sorted(_families(items)):
            known, row = family_of(family), own.get(family)
            rule = "nothing is known of this family" if known is None else f"usual for {known.name}"
            if row is None or row.contact_mohm is None:
                mohm = 1000 * (UNKNOWN_CONTACT_OHM if known is None else known.contact_ohm)
                self.assumed.append(Assumed(CONNECTORS, family, "contact_mohm", f"{mohm:g}", rule))
            if (row is None or row.max_a is None) and known is not None and known.max_a is not None:
                self.assumed.append(Assumed(CONNECTORS, family, "max_a", f"{known.max_a:g}", rule))

    def _unknown_families(self, items: dict[str, tuple[Item, ...]]) -> None:
        """Words that look like a family and are none: two ends written differently never meet."""
        words = first_words()
        for family in sorted(_families(items)):
            word = family.split("-")[0]
            near = nearest(word, words)
            if family_of(family) is None and near is not None and abs(len(near) - len(word)) <= MISTYPED_LETTERS:
                text = f"{family} is no family that is known (see kitopt check --connectors). Did you mean {near}?"
                self.warnings.append(f"{self.folder.name}: {text}")

    def _ends_without_a_side(self, items: dict[str, tuple[Item, ...]]) -> None:
        """A phone of usb-c among leads of usb-c:plug: it meets none of them, and nothing else would say so."""
        every = [item for some in items.values() for item in some]
        sided = {end.family for item in every for end in _ends(item) if end.side}
        for item in every:
            for family in sorted({end.family for end in _ends(item) if not end.side} & sided):
                text = f"{item.id} has an end {family} of no side, which meets neither plug nor socket of others here."
                where = f"{item.file}, line {item.line}"
                self.warnings.append(f"{where}: {text} Write {family}:plug or {family}:socket.")

    def _hanging_on_nothing(self, items: dict[str, tuple[Item, ...]]) -> None:
        """Extras that are never packed, since what they hang on is not there."""
        known = ["panel", *MODES, *(item.id for kind in ("panels", "loads") for item in items.get(kind, ()))]
        for extra in items.get("extras", ()):
            for word in extra.hangs_on if isinstance(extra, Extra) else ():
                if word not in known:
                    text = f"{quoted(word)} is neither panel nor a mode, nor the id of a panel or load."
                    where = f"{extra.file}, line {extra.line}, column with"
                    self.warnings.append(f"{where}: {text}{did_you_mean(word, known)}")

    def _fuses(self, table: Table, faults: FaultList) -> dict[tuple[str, float], int]:
        """How many fuses of each holder and rating are owned."""
        found: dict[tuple[str, float], int] = {}
        for _, checked, _ in self._rows(rows.FuseRow, FUSES, table, faults):
            if checked is not None:
                key = (checked.holder, checked.rating_a)
                found[key] = found.get(key, 0) + checked.count
        return found

    def _with_labels(self, table: Table, labels: dict[str, float], faults: FaultList) -> None:
        """Put what was read into the cells of panels whose label is lost."""
        for row in table.rows:
            name, cell = row.cells.get("id", ""), row.cells.get("rated_w")
            if not cell or not is_unknown(cell):
                continue
            if name in labels:
                row.cells["rated_w"] = repr(labels[name])
            elif self.may_lack_label:
                self.unlabelled.append(name)
                row.cells["rated_w"] = repr(UNLABELLED_W)
            else:
                text = (
                    f"found {quoted(cell)} and no reading of {name}; need its label, or a reading at noon: "
                    f"kitopt reading {name} --amps A --keep --inventory {self.folder}."
                )
                faults.add(row.lines.get("rated_w", row.line), "rated_w", text)
                row.cells["rated_w"] = repr(UNLABELLED_W)
            self.read_labels.append(name)

    def _items(self, kind: Kind, table: Table, faults: FaultList) -> tuple[Item, ...]:
        built: list[Item] = []
        for row, checked, decimal in self._rows(kind.model, kind.file, table, faults):
            if checked is None or self._judge(kind.file, checked.id, checked, row, faults, decimal):
                continue
            try:
                built.append(kind.build(checked, Notes(kind.file, checked.id, row.line, self.assumed, self.warnings)))
            except Inconsistent as error:
                faults.add(row.lines.get(error.column, row.line), error.column, error.text)
        return tuple(sorted(built, key=lambda item: item.id))

    def _rows(
        self, model: type[Checked], file: str, table: Table, faults: FaultList
    ) -> Iterator[tuple[Row, Checked | None, str | None]]:
        """Every row of a file, as checked unless it is at fault, and the file's decimal mark."""

        def look(row: Row) -> None:
            if "id" in columns_of(model) and "id" in row.cells:
                self._check_id(file, row, faults)

        return rows_of(model, file, table, faults, self.warnings, look)

    def _judge(
        self, file: str, name: str, checked: Described, row: Row, faults: FaultList, decimal: str | None
    ) -> bool:
        """Hold a row to what is usual; returns whether something in it must be a mistake."""
        found = judge(checked, row.cells, decimal)
        for one in found:
            line = row.lines[one.column]
            if one.is_fault:
                faults.add(line, one.column, one.text)
            else:
                self.unusual.append(Unusual(file, line, name, one.column, one.text, one.keeps_out))
        return any(one.is_fault for one in found)

    def _check_id(self, file: str, row: Row, faults: FaultList) -> None:
        name, line = row.cells["id"], row.lines["id"]
        if name in self.first:
            faults.add(line, "id", f"found {quoted(name)} again, first in {self.first[name]}; need another id.")
        else:
            self.first[name] = f"{file}, line {line}"

    def _settings(self, contents: dict[str, bytes]) -> rows.SettingsTable:
        path = self.folder / SETTINGS
        faults = FaultList(str(path))
        if self._is_missing(path, faults):
            self.faults += faults.listed()
            return rows.SettingsTable()
        document = Document(path)
        settings = document.top(rows.SettingsTable)
        if document.content is not None:
            contents[path.name] = document.content
        self.faults += document.faults.listed()
        self.warnings += document.warnings
        return settings or rows.SettingsTable()
