"""A certificate held against what it is made from: every row, bound and total anew, and the programs solved by another.

Nothing that a certificate tells is taken over but where its rows come from: a plant, some spells, a side, a kit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.certificate.document import differences, is_same, read_document, row_value
from kitopt.certificate.inputs import Restate, unpacked
from kitopt.certificate.learned import Learned, Origin
from kitopt.certificate.proof import Stated
from kitopt.certificate.stated import (
    OfClass,
    cases_value,
    class_value,
    classes_of,
    incumbent_value,
    said,
    totals_value,
)
from kitopt.engine import Case
from kitopt.engine.solver import least_otherwise
from kitopt.errors import BadInput, Fault
from kitopt.sky import windows_for

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Verified:
    """What was made again and found to be as it was told."""

    name: str
    of: str
    bound: float
    packed: tuple[tuple[str, int], ...]
    totals: Mapping[str, int]
    n_classes: int
    says: str


def verify(path: Path, restate: Restate) -> Verified:
    """Make everything again that a certificate tells, and solve it with another solver.

    Raises
    ------
    BadInput
        With every difference that was found.
    """
    told = read_document(path)
    try:
        with unpacked(told["inputs"], restate) as (operation, inventory):
            sky = windows_for(operation)
            classes = list(classes_of(operation, inventory, sky))
            name, of = operation.name, operation.least
            faults = list(_Check(told, classes, of).faults())
    except BadInput as error:
        inside = [Fault(str(path), None, "inputs", str(fault)) for fault in error.faults]
        raise BadInput(inside) from error
    if faults:
        raise BadInput([Fault(str(path), None, fault.column, fault.text) for fault in faults])
    packed = tuple((one["id"], one["count"]) for one in told["incumbent"]["packed"])
    return Verified(name, of, told["bound"], packed, told["totals"], len(classes), told["says"])


class _Check:
    def __init__(self, told: Mapping[str, Any], classes: Sequence[OfClass], of: str) -> None:
        self.told, self.classes, self.of = told, classes, of
        self.n_others: list[int] = []
        """How many other spells there are; none where a kit is not tried by any."""

    def faults(self) -> Iterator[Fault]:
        """Every difference; what rests on what is wrong already is not looked at."""
        told, n = self.told, len(self.classes)
        yield from differences(told["of"], self.of, "of")
        yield from differences(told["says"], said(self.of), "says")
        if len(told["classes"]) != n:
            yield Fault("", None, "classes", f"has {len(told['classes'])}, and the files make {n}.")
            return
        found = list(self._incumbent())
        if found:
            yield from found
            return
        stated = []
        for i, (one, value) in enumerate(zip(self.classes, told["classes"], strict=True)):
            where = f"classes[{i}]"
            found += differences(value, class_value(one), where)
            made = _Rows(one, value, where, self.n_others)
            found += made.faults
            stated.append(made.stated)
        totals = totals_value([(one, made.rows) for one, made in zip(self.classes, stated, strict=True)])
        found += differences(told["totals"], totals, "totals")
        if not is_same(told["bound"], told["incumbent"]["objective"]):
            found.append(Fault("", None, "bound", f"says {told['bound']:g}, and the incumbent has another objective."))
        yield from found
        if not found:
            yield from self._solved(stated)

    def _incumbent(self) -> Iterator[Fault]:
        told = self.told["incumbent"]
        if not 0 <= told["class"] < len(self.classes):
            yield Fault("", None, "incumbent.class", "there is no such class.")
            return
        one = self.classes[told["class"]]
        counts = _counts_of(told["counts"], one)
        if counts is None:
            yield Fault("", None, "incumbent.counts", "are no counts of the columns of its class.")
            return
        broken = one.plan.broken_rows(counts)
        if broken:
            yield Fault("", None, "incumbent.counts", f"break {broken[0].rule or 'a rule'}: {broken[0].text}.")
            return
        made = incumbent_value(told["class"], one, counts)
        self.n_others = [fares["tried"] for fares in made["others"]]
        yield from differences(told, made, "incumbent")
        for i, (case, fares) in enumerate(
            zip([case for case in one.plan.cases if case.is_asked(counts)], made["cases"], strict=True)
        ):
            if fares["survived"] < case.n_needed:
                yield Fault("", None, f"incumbent.cases[{i}]", f"survives fewer than the {case.n_needed} needed.")
        for i, fares in enumerate(made["others"]):
            if fares["survived"] < fares["needed"]:
                yield Fault("", None, f"incumbent.others[{i}]", f"survives fewer than the {fares['needed']} needed.")

    def _solved(self, stated: Sequence[Stated]) -> Iterator[Fault]:
        bound = self.told["bound"]
        for i, one in enumerate(stated):
            # the least of the kit's own class is just the bound, of any other class no less
            fixed, is_own = one.plan.objectives[0].fixed, i == self.told["incumbent"]["class"]
            least = least_otherwise(one.program(None if is_own else bound - 1.0))
            is_as_told = least is None if not is_own else least is not None and is_same(bound, least + fixed)
            if not is_as_told:
                found = "nothing" if least is None else f"{least + fixed:g}"
                text = f"says {bound:g}, and another solver finds {found} in classes[{i}]."
                yield Fault("", None, "bound", text)


class _Rows:
    """The learned rows of a class, made again from where they come from."""

    def __init__(self, one: OfClass, value: Mapping[str, Any], where: str, n_others: Sequence[int]) -> None:
        self.faults: list[Fault] = []
        origins = [Origin(i, one.plan, case) for i, case in enumerate(one.plan.cases)]
        others: list[tuple[int, ...]] = []
        for spells in (case["others"] for case in value["cases"] if case["others"] is not None):
            case = _case_of_others(one, spells, n_others)
            if case is None:
                self.faults.append(Fault("", None, f"{where}.cases", "names other spells that there are not."))
                break
            origins.append(Origin(len(origins), one.plan, case))
            others.append(tuple(spells))
        self.stated = Stated(one.plan, origins, others)
        if self.faults:
            return
        self.faults += differences(value["cases"], cases_value(origins, others), f"{where}.cases")
        if self.faults:
            return
        for k, told in enumerate(value["learned"]):
            made = self._row(told, one)
            at = f"{where}.learned[{k}]"
            if made is None:
                self.faults.append(Fault("", None, at, "nothing that is learned comes from there."))
            else:
                self.stated.rows.append(made)
                self.faults += differences(told, row_value(made), at)

    def _row(self, told: Mapping[str, Any], one: OfClass) -> Learned | None:
        number: int = told["case"]
        if not 0 <= number < len(self.stated.origins):
            return None
        origin = self.stated.origins[number]
        sort: str = told["row"]
        if sort == "side":
            side: list[int] = told["side"]
            if not origin.has_sides or len(side) != origin.sides.n_classes or min(side, default=0) < 0:
                return None
            return origin.side(side)
        counts = _counts_of(told["counts"], one, is_whole=sort == "kit")
        if counts is None:
            return None
        if sort == "kit":
            return origin.kit(counts)
        spells: list[int] = [told["spell"]] if sort == "spell" else told["spells"]
        if not spells or min(spells) < 0 or max(spells) >= origin.case.conditions.n_windows:
            return None
        return origin.spell(counts, spells[0]) if sort == "spell" else origin.cut(counts, spells)


def _counts_of(pairs: Sequence[Sequence[Any]], one: OfClass, *, is_whole: bool = True) -> Floats | None:
    """Counts of a file within their bounds, whole where they must be; None where they are not."""
    plan = one.plan
    counts = np.zeros(plan.n_columns)
    for j, n in pairs:
        if not 0 <= j < plan.n_columns:
            return None
        counts[j] = n
    if is_whole and np.any(plan.whole(counts) != counts):
        return None
    is_within = np.all((counts >= np.minimum(plan.lower, 0.0) - 1e-6) & (counts <= plan.upper + 1e-6))
    return counts if is_within and len({j for j, _ in pairs}) == len(pairs) else None


def _case_of_others(one: OfClass, spells: Sequence[int], n_others: Sequence[int]) -> Case | None:
    """The case of some of the many other spells; None where there are no such."""
    if len(n_others) != 1 or len(one.plan.trials) != 1 or not spells or sorted(set(spells)) != list(spells):
        return None
    if spells[0] < 0 or spells[-1] >= n_others[0]:
        return None
    return one.plan.trials[0].hardest(np.array(spells, dtype=np.intp), n_others[0])
