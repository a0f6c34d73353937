"""A second opinion on the demo's kits: what it is asked, and that it hears of the whole kit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kitopt.choice import Choice, pack
from kitopt.explain.agreement import AT_RANDOM, HARDEST, agreement, compare, plain_kit
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Lead
from kitopt.operation import read_operation
from kitopt.report.second_opinion import second_opinion_text, second_opinion_value
from kitopt.sky import windows_for

INVENTORY = Path(__file__).parents[3] / "inventory"


@pytest.fixture(scope="module")
def choice() -> Choice:
    operation = read_operation(INVENTORY / "operations" / "coastal-checkpoint.toml")
    operation = replace(operation, need=replace(operation.need, windows=120))
    return pack(operation, read_inventory(INVENTORY), windows_for(operation))


def test_the_kit_in_plain_terms_is_the_whole_kit(choice: Choice) -> None:
    kit = plain_kit(choice)
    found = {item.id: count for item, count, _ in kit.batteries}
    for circuit in kit.circuits:
        found[circuit.controller.id] = found.get(circuit.controller.id, 0) + 1
        for feed in circuit.feeds:
            found[feed.panel.id] = found.get(feed.panel.id, 0) + feed.n_joined * feed.count
    for fed in kit.loads:
        found[fed.load.id] = found.get(fed.load.id, 0) + fed.count
        if fed.converter is not None:
            found[fed.converter.id] = found.get(fed.converter.id, 0) + fed.count
    packed = {one.id: one.count for one in choice.packed if one.kind not in ("lead", "extra")}
    assert found == packed


def test_every_lead_of_the_kit_has_its_ohms_somewhere(choice: Choice) -> None:
    """No resistance is lost between the list of joins and the plain terms: their sums agree."""
    kit = plain_kit(choice)
    total = kit.strip_ohm + sum(count * ohm for _, count, ohm in kit.batteries)
    total += sum(one.ohm + sum(feed.ohm * feed.count for feed in one.feeds) for one in kit.circuits)
    total += sum(fed.count * (fed.ohm + fed.after_ohm) for fed in kit.loads)
    assert any(isinstance(choice.inventory.by_id[one.id], Lead) for one in choice.packed)
    assert total == pytest.approx(sum(wire.count * (wire.ohm or 0.0) for wire in choice.wiring))


def test_it_is_asked_about_the_hardest_and_some_others(choice: Choice) -> None:
    compared, every = compare(choice), compare(choice, every=True)
    assert compared is not None
    assert every is not None
    margin_wh, opinion = compared
    assert len(margin_wh) == HARDEST + AT_RANDOM < len(every[0])
    hardest = every[1].windows[np.argsort(every[0])[:HARDEST]]
    assert set(hardest) <= set(opinion.windows)
    assert (margin_wh >= -1e-5).all()


def test_it_says_why_where_it_does_not_agree(choice: Choice) -> None:
    """A radio that needs 13.6 V, more than the battery has at key-down, goes off whatever the charge."""
    loads = tuple(replace(one, lowest_v=13.6) if one.id == "hf-20w" else one for one in choice.inventory.loads)
    starved = agreement(replace(choice, inventory=replace(choice.inventory, loads=loads)))
    assert starved is not None
    assert starved.failed == starved.asked
    assert starved.cut_off is not None
    assert starved.cut_off.load_id == "hf-20w"
    value = second_opinion_value(choice, starved)
    assert value is not None
    assert value["cut_off"]["needed_v"] == 13.6
    assert value["cut_off"]["volts"] < 13.6


def test_it_is_told_in_one_sentence(choice: Choice) -> None:
    found = agreement(choice)
    assert found is not None
    agreed = replace(found, failed=0, least_wh=-7.2, most_wh=1.0, cut_off=None, short_wh=0.0)
    assert second_opinion_text(choice, agreed) == "gone through minute by minute, 80 of its spells agree within 8 Wh."
    failed = replace(agreed, failed=2, short_wh=3.1, window="window 7", harvest_wh=-6.4, draw_wh=0.2, refused_wh=0.0)
    assert second_opinion_text(choice, failed) == (
        "gone through minute by minute, 2 of 80 of its spells fail: 4 Wh short in spell no. 7; "
        "the panels give 6 Wh less than planned."
    )


def test_it_takes_no_part_where_there_is_no_kit(choice: Choice) -> None:
    assert agreement(replace(choice, bus=None, made=None)) is None
    assert second_opinion_value(choice, None) is None
