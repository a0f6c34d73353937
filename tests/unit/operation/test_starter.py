"""The starter: what it writes reads back; it is all or nothing; it overwrites nothing."""

from __future__ import annotations

import csv
import os
import re
import stat
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.files.typed import as_typed
from kitopt.inventory import read_inventory
from kitopt.inventory.columns import Table, columns_of
from kitopt.inventory.fill import KINDS
from kitopt.inventory.rows import ContactRow, FuseRow, Row, SettingsTable
from kitopt.operation import check_against, find_inventory, plan_tables, read_operation, tables
from kitopt.operation.read_plans import read_programme, read_standing
from kitopt.operation.starter import starter_files, write_starter


def test_what_it_writes_reads_back(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "kit"
    written = write_starter(folder)
    assert sorted(path.name for path in written) == sorted(starter_files()) == sorted(os.listdir(folder))
    operation = read_operation(folder / "operation.toml")
    inventory = read_inventory(find_inventory(folder / "operation.toml"))
    check_against(operation, inventory)
    assert inventory.warnings == operation.warnings == ()
    assert inventory.panels
    assert inventory.batteries
    assert inventory.controllers
    assert inventory.leads


def test_files_have_the_mode_of_any_new_file(tmp_path: Path) -> None:
    umask = os.umask(0o027)
    try:
        written = write_starter(tmp_path / "kit")
    finally:
        os.umask(umask)
    assert {stat.S_IMODE(path.stat().st_mode) for path in written} == {0o640}


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "loads.csv").write_text("mine")
    (tmp_path / "operation.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(BadInput) as caught:
        write_starter(tmp_path)
    assert sorted(Path(fault.file).name for fault in caught.value.faults) == ["loads.csv", "operation.toml"]
    assert (tmp_path / "loads.csv").read_text() == "mine"
    assert sorted(os.listdir(tmp_path)) == ["loads.csv", "operation.toml"]


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "kit").write_text("")
    with pytest.raises(BadInput, match="not a folder"):
        write_starter(tmp_path / "kit")
    assert (tmp_path / "kit").read_text() == ""


def test_plans_read_back(tmp_path: Path) -> None:
    write_starter(tmp_path, with_plans=True)
    inventory = read_inventory(tmp_path)
    for name, n in (("season.toml", 2), ("club.toml", 2)):
        programme = read_programme(tmp_path / name)
        assert (len(programme.outings), programme.warnings) == (n, ())
        check_against(programme.outings[0].operation, inventory)
    standing = read_standing(tmp_path / "grab-kit.toml")
    assert standing.warnings == ()
    assert standing.events[0].labels == ("May", "Oct")


# ---- on every system


def test_every_file_is_plain_ascii(tmp_path: Path) -> None:
    """A spreadsheet that is told no encoding takes a file for that of its system: none says ASCII otherwise."""
    for path in write_starter(tmp_path / "kit", with_plans=True):
        assert path.read_bytes().isascii()


@pytest.mark.parametrize(("delimiter", "encoding"), [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-16")])
def test_it_reads_the_same_after_a_spreadsheet_has_saved_it(tmp_path: Path, delimiter: str, encoding: str) -> None:
    """RFC 4180: a cell that holds the delimiter or a mark is quoted, lines end with CR LF; spreadsheets fill every
    line up to the widest, the remarks too."""
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    write_starter(ours)
    theirs.mkdir()
    for path in ours.glob("*.csv"):
        rows = list(csv.reader(path.read_text().splitlines()))
        width = max(len(row) for row in rows)
        with (theirs / path.name).open("w", newline="", encoding=encoding) as file:
            csv.writer(file, delimiter=delimiter).writerows([*row, *[""] * (width - len(row))] for row in rows)
    before, after = read_inventory(ours), read_inventory(theirs)
    assert after.warnings == ()
    assert [replace(item, line=0) for item in after.by_id.values()] == [
        replace(item, line=0) for item in before.by_id.values()
    ]
    assert after.assumed == before.assumed


def test_the_next_command_is_quoted_as_the_system_wants_it(monkeypatch: pytest.MonkeyPatch) -> None:
    assert as_typed(Path("my kit/operation.toml")) == "'my kit/operation.toml'"
    path = Path("my kit/operation.toml")
    monkeypatch.setattr(os, "name", "nt")
    assert as_typed(path) == '"my kit/operation.toml"'


def test_a_path_with_backslashes_is_answered(tmp_path: Path) -> None:
    plan = tmp_path / "season.toml"
    plan.write_text('[[operations]]\nfile = "hills\\operation.toml"\n')
    with pytest.raises(BadInput, match=r"line 2: this is not TOML.* with / between its folders"):
        read_programme(plan)


# ---- every column and key, each explained


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.stem)
def test_every_column_stands_in_the_header_and_is_explained(kind: object) -> None:
    text = starter_files()[kind.file]  # type: ignore[attr-defined]
    remarks = [line for line in text.splitlines() if line.startswith("#")]
    header = next(line for line in text.splitlines() if not line.startswith("#"))
    assert header.split(",") == list(columns_of(kind.model))  # type: ignore[attr-defined]
    for name in header.split(","):
        (remark,) = [line for line in remarks if line.startswith(f"# {name}: ")]
        assert len(remark) > len(f"# {name}: .") + 5


OPERATION = {
    (): tables.TopTable,
    ("site",): tables.SiteTable,
    ("need",): tables.NeedTable,
    ("aim",): tables.AimTable,
    ("limits",): tables.LimitsTable,
    ("goal",): tables.GoalTable,
    ("loads", 0): tables.LoadTable,
}
EVERY = [
    ("inventory.toml", {(): SettingsTable}),
    ("operation.toml", OPERATION),
    ("season.toml", {(): plan_tables.ProgrammeTable, ("operations", 0): plan_tables.OutingTable}),
    (
        "grab-kit.toml",
        {(): plan_tables.StandingTable, ("events", 0): plan_tables.EventTable, ("bags", 0): plan_tables.BagTable},
    ),
]


@pytest.mark.parametrize(("file", "expected"), EVERY, ids=[file for file, _ in EVERY])
def test_every_key_stands_in_its_table_with_a_value_that_can_be_read(
    file: str, expected: dict[tuple[str | int, ...], type[Table]]
) -> None:
    text = starter_files(with_plans=True)[file]
    keys = [line for line in text.splitlines() if re.match(r"(# )?[a-z_]+ = ", line)]
    assert [line for line in keys if not re.search(r" # .{5,}", line)] == []
    # with every # before a key taken away it is still TOML, though it says some things twice over
    values = tomllib.loads("\n".join(line.removeprefix("# ") if line in keys else line for line in text.splitlines()))
    for path, model in expected.items():
        table = values
        for part in path:
            table = table[part]  # type: ignore[index]
        own = {key: value for key, value in table.items() if key in columns_of(model)}
        assert list(own) == list(columns_of(model))
        model.model_validate(own, context={"decimal": None})


def test_every_column_and_key_says_what_it_is() -> None:
    models = [*(kind.model for kind in KINDS), ContactRow, FuseRow, *(m for _, some in EVERY for m in some.values())]
    for model in models:
        for name, column in columns_of(model).items():
            assert len(column.help) > 3, f"{model.__name__}.{name}"


# ---- the README's table


README = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("model", [Row, *(kind.model for kind in KINDS), FuseRow, ContactRow], ids=lambda m: m.__name__)
def test_the_readme_names_every_column(model: type[Row]) -> None:
    name = f"`{model.KIND}.csv`" if model.KIND else "all"
    (line,) = [one for one in README.splitlines() if one.startswith(f"| {name} |")]
    common = set(columns_of(Row)) if issubclass(model, Row) and model is not Row else set()
    needed, others = (re.findall(r"`(\w+)`", cell) for cell in line.split("|")[2:4])
    columns = columns_of(model)
    assert needed == [one for one, column in columns.items() if column.is_required and one not in common]
    assert others == [one for one, column in columns.items() if not column.is_required and one not in common]
