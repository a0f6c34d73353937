"""Which inventory belongs to an operation, and whether it holds what the operation names."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.inventory import demo_folder, read_inventory
from kitopt.inventory.items import Connector, Inventory, Load
from kitopt.operation import check_against, find_inventory, read_operation
from kitopt.operation.check import check_programme
from kitopt.operation.plans import Outing, Programme
from kitopt.operation.terms import Operation

OPERATIONS = sorted((demo_folder() / "operations").glob("*.toml"))


def place(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "batteries.csv").write_text("")
    return folder


def test_the_order_in_which_folders_are_looked_at(tmp_path: Path) -> None:
    operation = tmp_path / "kit" / "operations" / "x.toml"
    beside = place(operation.parent / "inventory")
    assert find_inventory(operation) == beside
    above = place(operation.parent.parent)
    assert find_inventory(operation) == above
    own = place(operation.parent)
    assert find_inventory(operation) == own


def test_relative_paths_stay_relative(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place(tmp_path)
    (tmp_path / "a" / "b").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "a")
    assert find_inventory(Path("x.toml")) == Path("..")
    assert find_inventory(Path("b") / ".." / "x.toml").resolve() == tmp_path
    monkeypatch.chdir(tmp_path / "a" / "b")
    assert find_inventory(Path("..") / "x.toml").resolve() == tmp_path
    with pytest.raises(BadInput):
        find_inventory(Path("x.toml"))


def test_no_inventory_says_where_it_looked(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        find_inventory(tmp_path / "x.toml")
    assert str(tmp_path / "inventory") in str(caught.value)
    assert "--inventory" in str(caught.value)


def test_a_misspelt_battery_file_is_found_so_that_its_reader_can_say_so(tmp_path: Path) -> None:
    for name in ("battery.csv", "Batteries.csv", "batteries.xlsx"):
        folder = tmp_path / name.replace(".", "-")
        folder.mkdir()
        (folder / name).write_text("")
        (folder / "loads.csv").write_text("id,mass_g,connector\n")
        found = find_inventory(folder / "x.toml")
        assert found == folder
        with pytest.raises(BadInput, match=f'Is "{name}" meant'):
            read_inventory(found)


@pytest.mark.parametrize("path", OPERATIONS, ids=lambda path: path.stem)
def test_the_demo_operations_read_without_warnings_and_find_their_loads(path: Path) -> None:
    operation = read_operation(path)
    assert operation.warnings == ()
    check_against(operation, read_inventory(find_inventory(path)))


def test_there_are_demo_operations() -> None:
    assert len(OPERATIONS) >= 4


def load(name: str, count: int = 1) -> Load:
    return Load(id=name, name=name, count=count, mass_g=1, idle_a=1, full_a=1, connector=Connector("x"))


def test_loads_that_are_not_owned(read: Callable[..., Operation]) -> None:
    operation = read(end='[[loads]]\nid = "light"\ncount = 2\nwh_per_day = 3\n[[loads]]\nid = "p"\nwh_per_day = 3\n')
    check_against(operation, Inventory("kit", loads=(load("hf-20w"), load("light", 2), load("p"))))
    from kitopt.inventory.items import Extra

    inventory = Inventory(
        "kit", loads=(load("hf-20"), load("light")), extras=(Extra(id="p", name="p", mass_g=1, file="extras.csv"),)
    )
    with pytest.raises(BadInput) as caught:
        check_against(operation, inventory)
    assert [(fault.line, fault.column) for fault in caught.value.faults] == [
        (16, "loads[1].id"),
        (20, "loads[2].count"),
        (24, "loads[3].id"),
    ]
    texts = [fault.text for fault in caught.value.faults]
    assert "Did you mean hf-20?" in texts[0]
    assert 'found 2, but kit has 1 of "light"' in texts[1]
    assert "extras.csv" in texts[2]


def test_two_at_once_need_one_of_each_only_of_what_must_run(read: Callable[..., Operation]) -> None:
    light = '[[loads]]\nid = "light"\nwh_per_day = 3\npriority = '
    inventory = Inventory("kit", loads=(load("hf-20w", 2), load("light", 1)))
    nice, must = (read(end=f'{light}"{priority}"\n') for priority in ("nice", "must"))
    check_programme(Programme("plan.toml", "both", (Outing(nice), Outing(nice))), inventory)
    with pytest.raises(BadInput, match="2 × light at the same time"):
        check_programme(Programme("plan.toml", "both", (Outing(must), Outing(must))), inventory)


def test_several_kits_have_one_circuit_each(read: Callable[..., Operation]) -> None:
    operation = read(end='[[loads]]\nid = "light"\nwh_per_day = 3\ncircuit = "small"\n')
    assert operation.circuits == ("", "small")
    inventory = Inventory("kit", loads=(load("hf-20w"), load("light")))
    check_against(operation, inventory)
    with pytest.raises(BadInput) as caught:
        check_programme(Programme("plan.toml", "both", (Outing(operation),)), inventory)
    assert [(fault.line, fault.column) for fault in caught.value.faults] == [(20, "loads[2].circuit")]
