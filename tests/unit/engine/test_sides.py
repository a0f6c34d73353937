"""Which cases can be told by their panel sides, what rows ask at least, and when a listing may be used again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from dark_batteries import memory

from kitopt.engine import Objective, Plan, Row, choose
from kitopt.engine.case import Case
from kitopt.engine.joint import in_banks
from kitopt.engine.judge import cuts, flow_of, needed_wh, simulate
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listing, fixed_of
from kitopt.engine.matrix import Matrix
from kitopt.engine.needs import Fixed
from kitopt.engine.plant import Conditions, Layout, Source
from kitopt.engine.sides import Sides, can_hold, least_by_rows
from kitopt.engine.tangents import Tangent

LAYOUT = Layout(1, 2, 0)
"""A unit, and two sources of panel power."""


def case(*columns: dict[int, float], **more: object) -> Case:
    """Columns as what each brings to a coordinate."""
    entries = {(coordinate, j): size for j, column in enumerate(columns) for coordinate, size in column.items()}
    sun = np.zeros((1, 1))
    dark = memory(1, 0).case
    met = replace(dark.conditions, layout=LAYOUT, shapes=(sun, sun), demand_shapes=np.zeros((0, 1)))
    made = Case("by hand", met, dark.confidence, Matrix.of((LAYOUT.size, len(columns)), entries))
    return replace(made, **more)  # type: ignore[arg-type]


BATTERY = {LAYOUT.capacity: 10.0}
UNIT = {LAYOUT.limit(0): 60.0}
JOIN, OTHER = {LAYOUT.panel(0, 0): 20.0}, {LAYOUT.panel(0, 1): 30.0}
KINDS = {(0, 2): 1.0, (1, 3): 1.0}
BOTH_KINDS = {(k, j): 1.0 for k in (0, 1) for j in (2, 3)}


@pytest.mark.parametrize(
    "one",
    [
        case(BATTERY, UNIT, JOIN, OTHER),
        case(BATTERY, UNIT, JOIN, OTHER, pieces=Matrix.of((2, 4), KINDS)),
        # half of a battery of 1 Wh may be missing
        case({LAYOUT.capacity: 1.0, LAYOUT.missing: 0.5}, UNIT, JOIN, OTHER),
    ],
)
def test_joins_of_one_kind_on_one_unit_make_sides(one: Case) -> None:
    assert can_hold(one)


@pytest.mark.parametrize(
    "one",
    [
        case(BATTERY, UNIT, JOIN | OTHER),
        case(BATTERY, UNIT, JOIN, OTHER, pieces=Matrix.of((2, 4), BOTH_KINDS)),
        case(BATTERY, UNIT, {LAYOUT.panel(0, 0): -1.0}),
        case(BATTERY, UNIT, JOIN, {LAYOUT.missing: 1.0}),
        case(BATTERY, UNIT, JOIN, served=1),
        case(BATTERY, UNIT, JOIN, within=1),
        case(BATTERY, UNIT, JOIN, gone=(0,)),
        case(BATTERY, UNIT, JOIN, less=((2, 0, 0.5),)),
        in_banks([case(BATTERY, UNIT, JOIN)] * 2),
    ],
    ids=["two sources", "two kinds", "less than nothing", "missing", "served", "within", "gone", "less", "two plants"],
)
def test_what_does_not_is_left_to_cuts(one: Case) -> None:
    assert not can_hold(one)


def test_what_a_sum_is_at_least_is_the_most_that_a_row_asks() -> None:
    weights = np.array([2.0, 3.0, 0.0])
    # four of what costs 2 or 3; three of what costs 2 for two, 1.5 each; and what costs nothing asks for nothing
    four = Row(((0, 1.0), (1, 1.0)), lower=4.0)
    three = Row(((0, 2.0), (1, 0.0), (2, -1.0)), lower=3.0)
    free = Row(((0, 1.0), (2, 1.0)), lower=9.0)
    assert least_by_rows(weights, []) == 0.0
    assert least_by_rows(weights, [three]) == 3.0
    assert least_by_rows(weights, [three, four, free, Row(((0, 1.0),), lower=0.0)]) == 8.0


def test_a_listing_is_used_again_for_the_very_same_question_alone() -> None:
    cases = (memory(2, 0, hours=1.0, load_w=17.0).case, memory(2, 1, hours=1.0, load_w=17.0).case)
    plan = Plan(np.array([0.0, 1.0]), np.array([5.0, 1.0]), (), cases, (Objective("mass", np.array([100.0, 0.0])),))
    known = [CaseMemory(one) for one in cases]

    def n_listings(asked: Plan, memories: list[CaseMemory]) -> int:
        assert choose(asked, memories=memories).objective == 300.0
        return len(memories[0].listings)

    assert n_listings(plan, known) == 1
    assert n_listings(plan, known) == 1
    assert n_listings(replace(plan, upper=plan.upper.copy()), known) == 2
    # of the second case nothing is known any more: it may be another
    assert n_listings(plan, [known[0], CaseMemory(cases[1])]) == 3


def test_a_side_is_as_strong_as_its_panels_whatever_source_and_lead_they_share() -> None:
    # two panels of 20 W on one lead and one of 30 W that follows another source, on a unit of 60 W
    pieces = Matrix.of((2, 4), {(0, 2): 2.0, (1, 3): 1.0})
    one = case(BATTERY, UNIT, {LAYOUT.panel(0, 0): 40.0}, OTHER, pieces=pieces)
    needs = Sides(one, Fixed(np.array([10.0, 0.0, 0.0, 60.0, 40.0, 30.0, 0.0]), np.zeros(0))).needs
    assert needs.plant(np.array([2, 1])).tolist() == [0.0, 0.0, 0.0, 60.0, 40.0, 30.0, 0.0]
    assert needs.plant(np.array([1, 0])).tolist() == [0.0, 0.0, 0.0, 60.0, 20.0, 0.0, 0.0]


def test_of_the_hardest_windows_one_more_than_may_fail_are_looked_at() -> None:
    # eight windows leave 1, 31/32, 30/32 … 25/32 of a battery: where one may fail the second hardest tells, 26/32
    case_of = memory(8, 1, hours=1.0, load_w=17.0).case
    sides = Sides(case_of, Fixed(np.array([50.0, 0.0, 0.0, 0.0, 0.0]), np.zeros(1)))
    none = np.zeros(0, dtype=np.int64)
    sides.tangent(none)
    assert sides.need_at_least_wh(none[None, :]) == pytest.approx([17.0 * 32.0 / 26.0])
    assert sides.need_wh(none) == pytest.approx(17.0 * 32.0 / 26.0)


@pytest.mark.parametrize(("n_told", "n_allowed"), [(9, 2), (12, 2), (3, 2), (9, 0), (11, 2)])
def test_of_windows_of_which_a_tangent_tells_nothing_none_needs_less_than_nothing(n_told: int, n_allowed: int) -> None:
    rng = np.random.default_rng(n_told)
    least, saved = np.zeros(12), np.zeros((12, 3))
    told = rng.permutation(12)[:n_told]
    least[told], saved[told] = rng.uniform(-20.0, 80.0, n_told), rng.uniform(0.0, 9.0, (n_told, 3))
    sets = rng.integers(0, 6, (40, 3))
    needs = np.sort(least - sets @ saved.T, axis=1)[:, 11 - n_allowed]
    assert Tangent(least, saved).need_wh(sets, n_allowed) == pytest.approx(needs)
    assert n_told < 4 or len(np.unique(needs)) > 3


def test_many_plants_need_what_each_needs_alone() -> None:
    # three kits under conditions with all that counts: two units of which one clips, batteries drained hard, two shapes
    # one of which has its own share in each window, nights too cold to discharge
    rng = np.random.default_rng(3)
    n_windows, n_steps = 7, 9
    layout = Layout(2, 2, 1)
    conditions = Conditions(
        layout,
        tuple(rng.uniform(0.0, 1.0, (n_windows, n_steps)) for _ in range(2)),
        rng.uniform(0.0, 1.0, (1, n_steps)),
        load_w=rng.uniform(5.0, 30.0, n_steps),
        step_h=np.full(n_steps, 0.5),
        capacity_share=rng.uniform(0.7, 1.0, (n_windows, n_steps)),
        may_charge=rng.uniform(size=(n_windows, n_steps)) > 0.2,
        charge_efficiency=0.95,
        discharge_efficiency=0.9,
        reserve_share=0.1,
        reserve_wh=2.0,
        has_charge_limit=False,
        n_windows=n_windows,
        first_of_cell=np.array([0, 0, 2, 2, 4, 4, 6, 6, 8]),
        may_discharge=rng.uniform(size=(n_windows, n_steps)) > 0.01,
        peukert=1.2,
        rated_w=1.0,
        sources=(Source(0), Source(1, rng.uniform(0.5, 1.0, n_windows))),
    )
    plants = rng.uniform(0.0, 40.0, (3, layout.size))
    plants[0, layout.panel(1, 0) : layout.panel(1, 0) + 2] = 0.0
    some = np.array([1, 4, 5])
    together = needed_wh(conditions, plants, 0.1)
    assert together.shape == (3, n_windows)
    for plant, needs in zip(plants, together, strict=True):
        assert needed_wh(conditions, plant, 0.1) == pytest.approx(needs, rel=1e-12)
        assert needed_wh(conditions, plant, 0.1, some) == pytest.approx(needs[some], rel=1e-12)
    assert needed_wh(conditions, plants, 0.1, some) == pytest.approx(together[:, some], rel=1e-12)
    # what flows is the same whatever the batteries hold, and in some of the windows
    plant, flow = plants[1], flow_of(conditions, plants[1])
    assert needed_wh(conditions, plant, 0.1, some, flow.of(some)).tolist() == together[1, some].tolist()
    for plant[layout.capacity] in (30.0, 300.0):
        alone, known = simulate(conditions, plant, some), simulate(conditions, plant, some, flow.of(some))
        assert known.margin_wh.tolist() == alone.margin_wh.tolist()
        last = alone.lowest_step
        slopes = [cuts(conditions, plant, last, some, one).slope.tolist() for one in (None, flow.of(some))]
        assert slopes[0] == slopes[1]
    assert len(np.unique(together[np.isfinite(together)])) > 10


@pytest.mark.parametrize(("n", "is_refined", "n_wired"), [(1, True, 0), (2, True, 1), (3, False, 0)])
def test_what_the_judge_refuses_is_told_of_the_side_or_of_the_very_kit(n: int, is_refined: bool, n_wired: int) -> None:
    # 17 Wh of which the colder window leaves 7/8: 19.4, two batteries of 10 Wh. What goes along draws 1 Wh more: 20.6,
    # three of them, which no side tells
    case_of = memory(2, 0, hours=1.0, load_w=17.0).case
    objective = Objective("mass", np.array([100.0, 0.0]))
    plan = Plan(np.array([0.0, 1.0]), np.array([5.0, 1.0]), (), (case_of,), (objective,))
    sides = Sides(case_of, fixed_of(case_of, plan, np.array([50.0, 0.0, 0.0, 1.0, 0.0])))
    listing = Listing(plan, [sides], objective, lambda: 1.0)
    listed = listing.within(500.0)
    listed.need_wh[:] = 0.0
    assert listing.refined_by(listed, np.array([float(n), 1.0])) is is_refined
    assert listed.need_wh.tolist() == [20.0]
    assert [wired.need_wh for wired in listing.wired] == [30.0] * n_wired


@pytest.mark.parametrize(
    ("joins", "is_told"), [((1.0, 0.0, 1.0), True), ((1.0, 1.0, 1.0), False), ((2.0, 2.0, 1.0), True)]
)
def test_of_a_side_whose_panels_are_joined_in_two_ways_no_sum_tells_the_wiring(
    joins: tuple[float, ...], is_told: bool
) -> None:
    # two of each join are owned: with one of either, one more of the one and one less of the other has the same sum
    pieces = Matrix.of((2, 5), {(0, 2): 1.0, (0, 3): 1.0, (1, 4): 1.0})
    one = case(BATTERY, UNIT, JOIN, {LAYOUT.panel(0, 0): 19.0}, OTHER, pieces=pieces)
    sides = Sides(one, Fixed(np.array([10.0, 0.0, 0.0, 60.0, 80.0, 30.0, 0.0]), np.zeros(0)))
    found = sides.as_wired(np.array([5.0, 1.0, *joins]), np.array([5.0, 1.0, 2.0, 2.0, 1.0]))
    assert (found is not None) is is_told
