"""The table of hours and chances, on a hut whose kits are weighed by hand.

A lamp of 10 W and no sun, so the chance changes nothing. A box-10 gives 103.68 Wh for 1,200 g, a box-4 41.472 Wh for
500 g, and the lamp weighs 300 g; two and three of them are owned:

  5 h    50 Wh    2 box-4    82.9 Wh    1,300 g
  10 h   100 Wh   1 box-10   103.7 Wh   1,500 g
  15 h   150 Wh   1 box-10 and 2 box-4 186.6 Wh   2,500 g (with one box-4 145.2 Wh)
  20 h   200 Wh   2 box-10   207.4 Wh   2,700 g
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kitopt.choice import Choice, pack
from kitopt.facts.grid import grid
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.sky import windows_for

BY_HAND_G = {5.0: 1300, 10.0: 1500, 15.0: 2500, 20.0: 2700}
CASE = Path(__file__).parents[2] / "golden" / "no_sun_one_battery.txt"


@pytest.fixture
def hut(tmp_path: Path) -> Choice:
    parts = re.split(r"^# file (\S+)\n", CASE.read_text(encoding="utf-8").split("# stdout")[0], flags=re.MULTILINE)[1:]
    for name, text in zip(parts[::2], parts[1::2], strict=True):
        (tmp_path / name).write_text(text, encoding="utf-8")
    operation = read_operation(tmp_path / "hut.toml")
    return pack(operation, read_inventory(tmp_path), windows_for(operation))


def test_what_is_told_of_a_cell_is_true(hut: Choice) -> None:
    for most in (0, 2, 6):
        found = grid(hut, windows_for, most_solves=most)
        assert found is not None
        assert found.n_solves <= most
        assert found.hours == tuple(BY_HAND_G)
        row, column = found.asked
        asked = found.cells[row][column].kit
        assert asked is not None
        assert found.masses_g[asked] == 1500
        for cells in found.cells:
            for hours, cell in zip(found.hours, cells, strict=True):
                assert not cell.is_none
                assert (cell.least_g or 0) <= BY_HAND_G[hours] <= (cell.most_g or 10**9)
                if cell.kit is not None:
                    assert found.masses_g[cell.kit] == BY_HAND_G[hours]


def test_mass_never_falls_to_the_right_nor_upward(hut: Choice) -> None:
    found = grid(hut, windows_for, most_solves=6)
    assert found is not None
    for r, cells in enumerate(found.cells):
        for c, cell in enumerate(cells):
            for other in (*cells[c:], *(row[c] for row in found.cells[:r])):
                if cell.kit is not None and other.kit is not None:
                    assert found.masses_g[cell.kit] <= found.masses_g[other.kit]
    # six questions leave little open
    known = [cell.kit is not None for cells in found.cells for cell in cells]
    assert sum(known) >= len(known) // 2
