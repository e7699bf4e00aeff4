"""A few boards of the coverage study (tests/studies/coverage_study.py), so that its claims are watched every day.

The study with hundreds of boards is run by hand; its numbers stand in DEVELOPERS.md.
"""

from typing import TYPE_CHECKING

import numpy as np
import pytest
from studies.coverage_study import Judged, measured, table

if TYPE_CHECKING:
    from studies.board_draws import Kind

FEW = {"gray-card": range(9000, 9004), "step-card": range(9004, 9007), "chart-24": range(9007, 9010)}


@pytest.fixture(scope="module", params=list(FEW))
def judged(request: pytest.FixtureRequest) -> list[Judged]:
    kind: Kind = request.param
    outcomes = [measured(number, kind) for number in FEW[kind]]
    assert not any(outcome.refused for outcome in outcomes), table(outcomes)
    return [one for outcome in outcomes for one in outcome.judged]


def test_pairs_of_one_photo_are_right_and_their_intervals_hold(judged: list[Judged]) -> None:
    pairs = [one for one in judged if one.what == "pair"]
    errors = np.abs([one.error for one in pairs])
    assert len(pairs) >= 18
    assert errors.mean() < 0.3
    # of 18 to 24 pairs, six of each board that err together: one odd board may miss half; of hundreds it is 93 to 97 %
    assert np.mean([one.is_held for one in pairs]) >= 0.75
    assert np.median([one.u95 for one in pairs]) < 0.8


def test_absolute_colours_lie_in_their_intervals(judged: list[Judged]) -> None:
    assert np.mean([one.is_held for one in judged if one.what in ("L*", "a*", "b*")]) >= 0.85
