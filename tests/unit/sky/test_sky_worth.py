"""What panels are worth in each spell: lognormal of mean one, one number a panel and spell, whatever else is asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from oracle.instances import panel
from oracle.worth import worth_shares

from kitopt.operation.terms import Climate, NoSun, Operation, Shares, WeatherFile
from kitopt.sky import fresh_windows, windows_for
from kitopt.sky.windows import picked
from kitopt.sky.worth import Numbered, together

Make = Callable[..., Operation]

ONE, OTHER = panel("one", 50.0, worth_spread=0.13), panel("other", 50.0, worth_spread=0.2)
MANY = Numbered(3, np.arange(20_000, dtype=np.int64))


def test_mean_spread_and_what_panels_have_in_common() -> None:
    """Within four standard errors of 20,000 draws; 0.4 of the variance is common, so that is the correlation."""
    logs = []
    for some in (ONE, OTHER):
        shares = MANY.worth_shares(some)
        assert shares is not None
        assert shares.mean() == pytest.approx(1.0, abs=4 * some.worth_spread / math.sqrt(20_000))
        assert np.log(shares).std() == pytest.approx(some.worth_spread, rel=4 / math.sqrt(40_000))
        logs.append(np.log(shares))
    assert np.corrcoef(logs)[0, 1] == pytest.approx(0.4, abs=4 * (1 - 0.4**2) / math.sqrt(20_000))


def test_each_is_what_the_published_generator_gives(outing: Make) -> None:
    sky = windows_for(outing(), n=9)
    sky = replace(sky, numbered=Numbered(7, np.array([0, 1, 2, 3, 4, 1023, 1024, 1_000_000, 2_000_003])))
    assert sky.worth_shares(ONE) == pytest.approx(worth_shares(sky, ONE), rel=1e-12)


def test_a_spell_keeps_its_worth(outing: Make) -> None:
    first = windows_for(outing(weather=Climate()), n=6).worth_shares(ONE)
    assert first is not None
    longer = windows_for(outing(weather=Climate(), hours=60.0, start="2026-10-10T15:00"), n=9).worth_shares(ONE)
    assert longer is not None
    assert longer[:6].tolist() == first.tolist()
    after = windows_for(outing(weather=Climate()), n=2, first=4).worth_shares(ONE)
    assert after is not None
    assert after.tolist() == first[4:].tolist()


def test_unseen_spells_have_their_own(outing: Make) -> None:
    (unseen,) = fresh_windows(outing(weather=Climate()), total=6)
    seen = windows_for(outing(weather=Climate()), n=6)
    both = [sky.worth_shares(ONE) for sky in (seen, unseen)]
    assert both[0] is not None
    assert both[1] is not None
    assert not np.any(np.isclose(both[0], both[1]))
    some = picked([seen.only(np.arange(3)), seen.only(np.arange(3, 6))], np.array([1, 4]))
    assert some.worth_shares(ONE) == pytest.approx(both[0][[1, 4]])


def test_a_spell_of_a_file_is_known_by_its_day(outing: Make, greensboro: Path) -> None:
    """Fewer spells of the same file, and longer ones, leave each its worth."""
    at = {"place": (36.1, -79.95), "zone": "America/New_York"}
    found = {}
    for n, hours in ((41, 26.0), (7, 26.0), (41, 50.0)):
        sky = windows_for(outing(weather=WeatherFile(greensboro), hours=hours, **at), n=n)
        shares = sky.worth_shares(ONE)
        assert shares is not None
        for label, share in zip(sky.labels, shares, strict=True):
            assert found.setdefault(label, share) == share
    assert len(set(found.values())) == 41


def test_a_spell_that_is_told_counts_with_the_mean_and_says_so(outing: Make) -> None:
    told = windows_for(outing(weather=Shares((0.5,))))
    assert told.worth_shares(ONE) is None
    assert any("one spell" in note for note in told.notes)
    assert windows_for(outing(weather=NoSun())).worth_shares(ONE) is None


def test_a_worth_that_is_certain_is_not_drawn() -> None:
    assert MANY.worth_shares(panel("sure", 50.0)) is None


def test_spells_of_which_some_have_no_number_have_none_together() -> None:
    """Numbers are followed by those of the next part; a sky of which a part is nobody's cannot be told apart."""
    one, other = Numbered(3, np.array([4, 5])), Numbered(3, np.array([9]))
    both = together([one, other])
    assert both is not None
    assert (both.seed, both.numbers.tolist()) == (3, [4, 5, 9])
    assert together([one, None]) is None
    assert together([]) is None
