"""Change one thing in one line of the program, and run the tests that execute that line: do they notice?

By area: its tests are run once and each line keeps who executes it and how long they take; then a mutant meets those
tests alone, the quickest first, in a fork of a process that has everything but kitopt loaded, so that a verdict takes
seconds. What survives is printed with its line, to be read: it may be the same program, or a test that is missing.
Mutants are drawn by what stands in their line, so that those of other lines stay drawn when a line is mended.

    python benchmarks/mutants.py judge --n 50        # fifty of that area, by a seed
    python benchmarks/mutants.py --list              # the areas
    python benchmarks/mutants.py --smoke             # two mutants of the smallest area
"""

from __future__ import annotations

import argparse
import ast
import copy
import hashlib
import itertools
import os
import resource
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent


def _golden(*starts: str) -> tuple[str, ...]:
    """The golden cases whose names start so."""
    names = sorted(path.stem for path in (HERE / "tests" / "golden").glob("*.txt"))
    return tuple(f"tests/golden/test_golden.py::test_golden[{name}]" for name in names if name.startswith(starts))


_ENGINE, _LAWS, _MODEL = "tests/unit/engine/test_", "tests/laws/test_law_", "tests/unit/model/wiring/test_"
_AGREES = f"{_LAWS}choice.py::test_the_choice_agrees_with_trying_every_kit[0-49]"
_CIRCUITS = f"{_LAWS}circuits.py::test_circuits_agree_with_trying_every_pair_of_kits[0-19]"
AREAS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "judge": (
        ("engine/judge.py",),
        (
            *(f"{_ENGINE}{name}.py" for name in ("judge", "least_charge", "needed_capacity", "confidence")),
            f"{_LAWS}margin.py",
        ),
    ),
    "search": (
        ("engine/search.py", "engine/by_sides.py", "engine/proposals.py", "engine/plan.py"),
        (
            *(f"{_ENGINE}{name}.py" for name in ("plan", "how_a_search_goes_on", "choose_plan")),
            *(_AGREES, f"{_LAWS}second_set.py", "tests/unit/choice/test_what_a_proof_says.py"),
        ),
    ),
    "cuts": (
        ("engine/learned.py", "engine/write.py"),
        (
            *(f"{_ENGINE}{name}.py" for name in ("confidence", "learned_rows", "written_rows")),
            f"{_LAWS}rows.py",
            _AGREES,
            _CIRCUITS,
        ),
    ),
    "sides": (
        ("engine/sides.py", "engine/needs.py", "engine/listing.py"),
        (f"{_ENGINE}sides.py", f"{_LAWS}sides.py", _AGREES),
    ),
    "rules": (
        ("model/rules.py",),
        (f"{_MODEL}rules_at_their_boundary.py", "tests/published/test_panels.py", _AGREES),
    ),
    "wiring": (
        ("model/wiring/*.py", "model/station_side.py", "model/wiring_list.py"),
        (
            *(
                f"{_MODEL}{name}.py"
                for name in (
                    "chains",
                    "rules_at_their_boundary",
                    "what_cannot_be_joined",
                    "wiring_cautions",
                    "wiring_list",
                )
            ),
            *("tests/unit/model/test_stock.py", "tests/published/test_conductors.py", f"{_LAWS}wiring.py"),
            *_golden("each_", "one_lead", "the_blade", "usb_c", "a_makers"),
        ),
    ),
    "several": (
        ("choice/*.py",),
        (
            "tests/unit/choice",
            *(f"{_LAWS}{name}.py" for name in ("dark_plans", "forced", "wrong_answers")),
            f"{_LAWS}many.py::test_grab_kits_agree_with_trying_every_bag[0-19-False]",
            f"{_LAWS}many.py::test_purchases_agree_with_trying_every_one[0-19-False]",
            f"{_LAWS}many.py::test_sharing_agrees_with_trying_every_way[0-19-False]",
            f"{_LAWS}nices.py::test_the_loads_that_run_agree_with_trying_every_set_of_them[0-19]",
            f"{_LAWS}apart.py::test_banks_agree_with_trying_every_kit[0-3]",
            _CIRCUITS,
            *_golden("buy_", "forced_", "grab_", "named_", "nice_", "share_", "two_circuits"),
        ),
    ),
    "opinion": (("second_opinion/*.py",), ("tests/unit/second_opinion",)),
    "diagnosis": (
        ("field/*.py",),
        (
            "tests/unit/field",
            *(
                f"tests/unit/cli/test_cli_field.py::test_{name}"
                for name in ("nothing_is_promised_by_night", "the_test_as_json")
            ),
            "tests/unit/explain/test_measurement.py",
            "tests/published/test_field_practice.py",
            *_golden("now_", "reading_", "review_", "sun_", "two_minute_"),
        ),
    ),
    "certificate": (
        ("certificate/*.py",),
        (f"{_LAWS}certificate.py", "tests/unit/certificate", "tests/unit/cli/test_certify.py"),
    ),
    "marks": (("files/nearest.py",), ("tests/unit/files/test_nearest.py",)),
}
"""What is changed, below kitopt, and the tests that are to notice."""

MOST_S = 60
"""Processor time of a verdict beyond twice what its tests take; a mutant that takes longer is noticed by that."""
OPPOSITES: dict[type, type] = {
    **{ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq},
    **{ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And},
    **{ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is},
}
NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any"}
NAMES |= {"argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor"}


@dataclass(frozen=True)
class Mutant:
    """One change: of which node, in which of its ways, and what that is."""

    file: Path
    place: int
    way: int
    line: int
    column: int
    lines: range
    """Tests that execute one of these are to notice; there are none where it is run on import: all tests are to."""
    what: str

    def text(self) -> str:
        """The file with that change."""
        tree = ast.parse(self.file.read_text(encoding="utf-8"))
        _change(next(itertools.islice(ast.walk(tree), self.place, None)), self.way)
        return ast.unparse(tree)


def mutants_of(file: Path) -> Iterator[Mutant]:
    """Every single change of a file that may matter: not of what guards alone, a frozen class or a strict zip."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    lines, guards = dict(_lines(tree, range(0))), set(_guards(tree))
    for place, node in enumerate(ast.walk(tree)):
        for way in range(2):
            what = _change(copy.copy(node), way)
            if what and isinstance(node, ast.expr | ast.stmt) and node not in guards:
                yield Mutant(file, place, way, node.lineno, node.col_offset + 1, lines[node], what)


def _lines(node: ast.AST, around: range) -> Iterator[tuple[ast.AST, range]]:
    """Of every node the lines whose execution is its own: those of its statement, less the statements in that."""
    yield node, around
    is_function = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    for name, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                within = around
                if isinstance(child, ast.stmt) and (around or (is_function and name == "body")):
                    inner = [one.lineno for one in ast.walk(child) if isinstance(one, ast.stmt) and one is not child]
                    within = range(child.lineno, min([(child.end_lineno or child.lineno) + 1, *inner]))
                yield from _lines(child, within)


def _guards(tree: ast.AST) -> Iterator[ast.AST]:
    """What says how a class is made, or that two lists are as long as each other."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            for one in node.decorator_list:
                yield from ast.walk(one)
        elif isinstance(node, ast.keyword) and node.arg == "strict":
            yield from ast.walk(node.value)


def drawn(every: list[Mutant], n: int, seed: int) -> list[Mutant]:
    """Some of the mutants, whatever the lines above theirs are."""
    seen: Counter[tuple[str, ...]] = Counter()
    by_chance = []
    for one in every:
        text = one.file.read_text(encoding="utf-8").splitlines()[one.line - 1].strip()
        name = (one.file.name, text, one.what)
        seen[name] += 1
        by_chance.append(hashlib.sha256(f"{seed} {name} {seen[name]}".encode()).digest())
    return [every[number] for number in sorted(range(len(every)), key=by_chance.__getitem__)[:n]]


def _change(node: ast.AST, way: int) -> str | None:
    """Change a node in place and say how; None where it is nothing that is changed in that way."""
    if way == 0:
        if isinstance(node, ast.Compare) and type(node.ops[0]) in OPPOSITES:
            was, node.ops = node.ops[0], [OPPOSITES[type(node.ops[0])](), *node.ops[1:]]
            return f"{type(was).__name__} is {type(node.ops[0]).__name__}"
        if isinstance(node, ast.BinOp | ast.BoolOp | ast.AugAssign) and type(node.op) in OPPOSITES:
            was_op, node.op = node.op, OPPOSITES[type(node.op)]()
            return f"{type(was_op).__name__} is {type(node.op).__name__}"
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            value = node.value
            node.value = not value if isinstance(value, bool) else value + 1
            return f"{value} is {node.value}"
        if isinstance(node, ast.Attribute | ast.Name):
            name = node.attr if isinstance(node, ast.Attribute) else node.id
            if name in NAMES and isinstance(node.ctx, ast.Load):
                setattr(node, "attr" if isinstance(node, ast.Attribute) else "id", NAMES[name])
                return f"{name} is {NAMES[name]}"
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        node.test = ast.copy_location(ast.UnaryOp(ast.Not(), node.test), node.test)
        return "the condition is turned round"
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        node.operand = node.operand if isinstance(node.op, ast.UAdd) else ast.UnaryOp(ast.Not(), node.operand)
        return "the sign is left out"
    return None


Measured = tuple[dict[tuple[str, int], set[str]], dict[str, float]]
"""By file and line the tests that execute it, and how long each takes. [s]"""


def lines_of(tests: tuple[str, ...], root: Path) -> Measured:
    """Run the tests of an area in this process."""
    import coverage
    import pytest

    measured = coverage.Coverage(data_file=None, source=[str(root / "kitopt")], config_file=False)
    took: dict[str, float] = {}

    class Heard:
        now = ""

        @pytest.hookimpl(wrapper=True)
        def pytest_make_collect_report(self, collector: pytest.Collector) -> Iterator[None]:
            measured.switch_context(collector.nodeid.split("::")[0])
            return (yield)

        @pytest.hookimpl(wrapper=True)
        def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[None]:
            # what is made once for a file, or where it is collected, is made for all tests of it
            if fixturedef.scope != "function":
                measured.switch_context(self.now.split("::")[0])
            found = yield
            measured.switch_context(self.now)
            return found

        @pytest.hookimpl(wrapper=True)
        def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
            self.now = item.nodeid
            measured.switch_context(self.now)
            began = time.process_time()
            found = yield
            took[item.nodeid] = time.process_time() - began
            return found

    measured.start()
    code = pytest.main([*_QUIET, *tests], plugins=[Heard()])
    measured.stop()
    if code:
        raise SystemExit(f"the tests of the area fail by themselves: {code}")
    of: dict[str, set[str]] = defaultdict(set)
    for test in took:
        of[test].add(test)
        of[test.split("::")[0]].add(test)
    data = measured.get_data()
    found: dict[tuple[str, int], set[str]] = defaultdict(set)
    for file in data.measured_files():
        for line, contexts in data.contexts_by_lineno(file).items():
            found[str(Path(file).relative_to(root)), line].update(*(of[context] for context in contexts))
    return found, took


_QUIET = ["-q", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", "--no-header", "--tb=no", "-W", "ignore"]


def is_noticed(file: Path, text: str, tests: list[str], most_s: int) -> bool:
    """Whether a test fails with another text in a file, or takes without end."""
    good = file.read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    try:
        number = os.fork()
        if not number:
            silent = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silent, 1)
            os.dup2(silent, 2)
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s))
            import pytest

            code = 1
            try:
                code = int(pytest.main([*_QUIET, *tests]))
            finally:
                os._exit(code)
        return os.waitpid(number, 0)[1] != 0
    finally:
        file.write_text(good, encoding="utf-8")


def in_a_fork(tests: tuple[str, ...], root: Path) -> Measured:
    """Measure in a fork, so that this process never loads kitopt."""
    import pickle

    with tempfile.NamedTemporaryFile() as file:
        number = os.fork()
        if not number:
            code = 1
            try:
                Path(file.name).write_bytes(pickle.dumps(lines_of(tests, root)))
                code = 0
            except BaseException:
                # the process that waits is told of a number alone
                traceback.print_exc()
            finally:
                os._exit(code)
        if os.waitpid(number, 0)[1]:
            raise SystemExit("the tests of the area could not be measured")
        found: Measured = pickle.loads(Path(file.name).read_bytes())
        return found


def main() -> None:
    """Make mutants and print what survives."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("area", nargs="?", choices=list(AREAS))
    parser.add_argument("--n", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--smoke", action="store_true")
    given = parser.parse_args()
    if given.list or not (given.area or given.smoke):
        print(*AREAS, sep="\n")
        return
    area, n = (given.area, given.n) if not given.smoke else ("marks", 2)
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name in ("kitopt", "tests", "inventory"):
            shutil.copytree(HERE / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(HERE / name, root)
        os.chdir(root)
        os.environ |= {"PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}
        sys.path[:] = [str(root), str(root / "tests"), *(p for p in sys.path if Path(p or ".").resolve() != HERE)]
        sys.dont_write_bytecode = True
        import hypothesis
        import numpy
        import scipy.optimize  # noqa: F401

        del hypothesis, numpy
        files, tests = AREAS[area]
        by_line, took = in_a_fork(tests, root)
        every = [one for name in files for file in sorted((root / "kitopt").glob(name)) for one in mutants_of(file)]
        n = min(n, len(every))
        print(f"{area}: {len(took)} tests, {sum(took.values()):.0f} s; {n} of {len(every)} mutants", flush=True)
        most_s = MOST_S + int(2 * sum(took.values()))
        if is_noticed(every[0].file, every[0].file.read_text(encoding="utf-8"), list(took), most_s):
            raise SystemExit("the tests of the area fail where nothing is changed")
        # of a test whose commands are processes of their own no line is told: every mutant meets it, last
        elsewhere = dict.fromkeys(sorted(set(took).difference(*by_line.values()))).keys()
        killed = unseen = 0
        chosen = drawn(every, n, given.seed)

        def order(test: str) -> tuple[float, str]:
            return took[test], test

        for one in chosen:
            name = str(one.file.relative_to(root))
            # what is run on import is told of no test: it may be read by any
            on_its_lines = (by_line.get((name, line), set()) for line in one.lines)
            here = [*sorted(set().union(*on_its_lines) if one.lines else set(took) - elsewhere, key=order), *elsewhere]
            if here and is_noticed(one.file, one.text(), here, most_s):
                killed += 1
                continue
            unseen += not here
            line = one.file.read_text(encoding="utf-8").splitlines()[one.line - 1].strip()
            where = f"{name}:{one.line}:{one.column}"
            print(f"{'survives' if here else 'never run'}: {where}: {one.what}: {line}", flush=True)
        print(f"{area}: {killed} of {len(chosen)} noticed, {unseen} on lines that none of these tests runs")


if __name__ == "__main__":
    main()
