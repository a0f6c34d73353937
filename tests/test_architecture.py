"""How the house is built: layers, single importers, names, docstrings, the spelling of units, a light start."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import kitopt

PACKAGE = Path(kitopt.__file__).parent

LAYERS: tuple[frozenset[str], ...] = tuple(
    frozenset(names.split())
    for names in (
        "errors budget copies",
        "engine files at_once",
        "inventory",
        "operation",
        "sky",
        "model second_opinion",
        "choice",
        "ask certificate",
        "explain field",
        "facts",
        "report",
        "study",
        "interface",
        "cli",
        "__main__",
    )
)
"""Each imports only from those above it in this list, and those on one line not from each other."""

FLOORS: dict[str, tuple[frozenset[str], ...]] = {
    "model": tuple(
        frozenset(names.split())
        for names in (
            "bus need harvest rulebook",
            "wiring feeding",
            "kit",
            "fuse_stock own_battery protection panel_side",
            "in_use",
            "case station_side",
            "rules",
            "backup",
            "wiring_list",
        )
    ),
    "choice": tuple(
        frozenset(names.split())
        for names in (
            "side_by_side classes",
            "laid",
            "problem",
            "program",
            "found",
            "search",
            "buying",
            "rents",
            "apart",
            "terms",
            "measure in_the_way lasts",
            "strongest bags handovers offers purchase serving",
            "circuits",
            "kit",
            "named singles trials",
            "spending",
            "standing sharing season in_hand",
        )
    ),
    "study": tuple(
        frozenset(names.split())
        for names in (
            "tables row program",
            "terms rows standard",
            "read answer summary stock",
            "processes",
            "run cluster",
            "found",
            "text",
            "page",
        )
    ),
    "facts": tuple(
        frozenset(names.split())
        for names in ("charge power amperes chances spells joins bags grid", "two_minutes", "carried")
    ),
}
"""Within a layer, likewise."""

NO_ITEMS = {"engine"}
"""They see numbers, never an item: anything from here may be imported by them, the errors and the budget."""

APART = {"second_opinion": {"errors", "files", "inventory", "operation", "sky"}}
"""What checks the planner from outside, and all that it may share with it."""

SINGLE_IMPORTERS = {
    "pvlib": ("kitopt.sky", "kitopt.second_opinion"),
    "gsee_climate_data": ("kitopt.sky",),
    "requests": ("kitopt.sky.fetch",),
    "pulp": ("kitopt.engine.solver",),
    "highspy": ("kitopt.engine.solver",),
    "typer": ("kitopt.cli",),
    "typst": ("kitopt.report.sheet",),
    "pyarrow": ("kitopt.study.rows",),
    "distributed": ("kitopt.study.cluster",),
}
"""Who alone imports a library; pvlib has two, since whoever checks the panels must not share the planner's."""

HEAVY = {
    "numpy",
    "pandas",
    "scipy",
    "pvlib",
    "pulp",
    "highspy",
    "pydantic",
    "pint",
    "requests",
    "tomlkit",
    "rich",
    "typst",
    "pyarrow",
    "distributed",
}
"""What a help text must not wait for."""

UNITS = {
    *("W", "Wh", "V", "A", "Ah", "Ω", "Ω m⁻¹", "g", "m", "km", "mm²", "s", "h", "Pa", "°C", "Wm⁻²", "Wh m⁻²", "m/s"),
    *("°", "deg", "0–1", "1/100", "UTC", "cm", "bits"),
}
"""Units in docstrings, each spelled one way."""

NOT_UNITS = re.compile(r"\d+|[a-z]|.*\".*")
"""Brackets that hold no unit: references, indices, examples."""

TABLES = {"site", "need", "aim", "limits", "goal"}


def module_name(path: Path) -> str:
    parts = ("kitopt", *path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py")) if "demo" not in path.parts}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in MODULES.items()}


def imports(name: str, nodes: Iterator[ast.AST]) -> set[str]:
    """Full names of the modules and members that some nodes of a module import."""
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} imports relatively"
            assert node.module is not None
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


def at_load(tree: ast.Module) -> Iterator[ast.AST]:
    """Nodes that run when a module is loaded."""
    waiting: list[ast.AST] = list(tree.body)
    while waiting:
        node = waiting.pop()
        yield node
        is_for_types = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        if not is_for_types and not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            waiting.extend(ast.iter_child_nodes(node))


def top(name: str) -> str:
    """First part of a name below kitopt; "" for the package itself."""
    return name.split(".")[1] if "." in name else ""


def level(part: str, layers: tuple[frozenset[str], ...] = LAYERS) -> int:
    return next(i for i, layer in enumerate(layers) if part in layer)


def second(name: str) -> str:
    """Second part of a name below kitopt; "" for a layer itself."""
    return [*name.split("."), "", ""][2]


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def test_every_module_has_a_layer() -> None:
    known = frozenset().union(*LAYERS)
    assert {top(name) for name in MODULES} - {""} <= known


@pytest.mark.parametrize("name", MODULES)
def test_imports_go_downwards(name: str) -> None:
    for other in imports(name, ast.walk(TREES[name])):
        if not within(other, "kitopt") or top(other) in ("", "__version__"):
            continue
        if top(other) == top(name):
            floors = FLOORS.get(top(name))
            if floors and second(name) and second(other) and second(name) != second(other):
                assert level(second(other), floors) < level(second(name), floors), f"{name} imports {other}"
            continue
        if not top(name):
            # what it exports, loaded on first use
            assert level(top(other)) <= level("interface"), f"the package itself imports {other}"
            continue
        assert level(top(other)) < level(top(name)), f"{name} imports {other}"
        if top(name) in NO_ITEMS:
            assert top(other) in NO_ITEMS | {"errors", "budget"}, f"{name} imports {other}, which knows items"


def test_nothing_is_loaded_in_a_circle() -> None:
    graph: dict[str, set[str]] = {}
    for name, tree in TREES.items():
        used = {other for other in imports(name, at_load(tree)) if within(other, "kitopt")}
        # a member's module, where the name is not a module itself
        graph[name] = {other if other in MODULES else other.rpartition(".")[0] for other in used} - {name}
    order = list(TopologicalSorter(graph).static_order())  # raises CycleError, which shows the circle
    assert set(order) >= set(MODULES)


@pytest.mark.parametrize("name", [name for name in MODULES if top(name) in APART])
def test_what_checks_the_planner_shares_nothing_with_it(name: str) -> None:
    used = {top(other) for other in imports(name, ast.walk(TREES[name])) if within(other, "kitopt")}
    assert used - {top(name)} <= APART[top(name)]


@pytest.mark.parametrize(("library", "owners"), SINGLE_IMPORTERS.items())
def test_a_library_has_its_importers(library: str, owners: tuple[str, ...]) -> None:
    importers = {
        name for name, tree in TREES.items() if any(within(one, library) for one in imports(name, ast.walk(tree)))
    }
    assert importers, f"nobody imports {library}"
    assert {name for name in importers if not any(within(name, owner) for owner in owners)} == set()


def test_every_library_that_is_imported_is_declared_and_no_other() -> None:
    with (PACKAGE.parent / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    # what a sheet, rows and a cluster need are extras
    extras = [one for name in ("sheet", "study", "cluster") for one in project["optional-dependencies"][name]]
    wanted = [*project["dependencies"], *extras]
    declared = {re.split(r"[<>=]", one)[0].replace("-", "_") for one in wanted}
    used = {one.split(".")[0] for name, tree in TREES.items() for one in imports(name, ast.walk(tree))}
    # pydantic_core comes with pydantic; tzdata is found by the standard library; distributed is dask's other half
    own = {"kitopt", "pydantic_core", *sys.stdlib_module_names}
    assert used - own - declared == set()
    assert declared - used == {"tzdata", "dask"}


def test_no_module_is_a_drawer_for_odds_and_ends() -> None:
    odd = {"utils", "util", "helpers", "common", "misc", "tools"}
    assert {name for name in MODULES if odd & set(name.split("."))} == set()


def documented(tree: ast.Module) -> Iterator[tuple[str, ast.AST]]:
    """Public functions, classes and methods of a module, and the module."""
    yield "module", tree
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node.name, node
            if isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                        yield f"{node.name}.{inner.name}", inner


@pytest.mark.parametrize("name", MODULES)
def test_everything_public_is_documented(name: str) -> None:
    missing = [
        what
        for what, node in documented(TREES[name])
        if not ast.get_docstring(node)  # type: ignore[arg-type]  # only nodes that have one are given
        and not (name.endswith("__main__") and what != "module")
    ]
    assert missing == []


@pytest.mark.parametrize("name", MODULES)
def test_units_are_spelled_one_way(name: str) -> None:
    for what, node in documented(TREES[name]):
        text = ast.get_docstring(node) or ""  # type: ignore[arg-type]
        # names of tables are written [[loads]] or ``[site]``
        text = re.sub(r"\[\[\w+\]\]", "", text)
        for found in re.findall(r"\[([^\]\n]{1,20})\]", text):
            is_other = NOT_UNITS.fullmatch(found) or found in TABLES
            assert found in UNITS or is_other, f"{name}.{what}: [{found}]"


@pytest.mark.parametrize("name", [name for name, tree in TREES.items() if "__all__" in ast.dump(tree)])
def test_what_is_exported_exists(name: str) -> None:
    module = importlib.import_module(name)
    assert [one for one in module.__all__ if not hasattr(module, one)] == []
    assert len(set(module.__all__)) == len(module.__all__)


def test_the_package_is_typed() -> None:
    assert (PACKAGE / "py.typed").is_file()


def test_nothing_heavy_is_loaded_before_a_command_runs() -> None:
    code = "import sys, kitopt.cli.app; print(*{name.split('.')[0] for name in sys.modules})"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "kitopt" in loaded
    assert HEAVY & set(loaded) == set()


def test_the_tree_of_errors_is_drawn_where_it_is_defined() -> None:
    drawn = ast.get_docstring(TREES["kitopt.errors"]) or ""
    classes = [node.name for node in TREES["kitopt.errors"].body if isinstance(node, ast.ClassDef)]
    errors = [name for name in classes if name != "Fault"]
    assert errors
    assert [name for name in errors if name not in drawn] == []
