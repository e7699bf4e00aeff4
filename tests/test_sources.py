"""Where the ± of a colour difference comes from."""

import numpy as np
import pytest
from board_photos import Floats
from hypothesis import given
from hypothesis import strategies as st
from readings import blocks_of, reading_of, sight_of, zone_of

from analyzer.compare import difference
from analyzer.report.sources import source_table
from analyzer.sources import sources_u95

TARGET = np.array([45.0, 15.0, 25.0])
STEPS = st.tuples(st.floats(-6, 6), st.floats(-4, 4), st.floats(-4, 4)).map(np.array)


def along(axis: int, u: float) -> Floats:
    covariance = np.zeros((3, 3))
    covariance[axis, axis] = u**2
    return covariance


@given(STEPS, st.floats(0.05, 3))
def test_squares_of_the_parts_add_up_to_the_whole(step: Floats, u95: float) -> None:
    """The law of propagation for independent sources (JCGM 100:2008, 5.1.2)."""
    parts = {"light": along(0, 0.3), "camera": along(1, 0.2) + along(2, 0.1), "wood": np.eye(3) * 0.1}
    found = sources_u95(TARGET, step, u95, parts)
    assert np.hypot.reduce(list(found.values())) == pytest.approx(u95)


def test_only_what_acts_along_a_clear_difference_counts() -> None:
    found = sources_u95(TARGET, np.array([6.0, 0, 0]), 0.5, {"light": along(0, 0.3), "camera": along(1, 3.0)})
    assert found["light"] == pytest.approx(0.5, rel=1e-6)
    assert found["camera"] == pytest.approx(0, abs=1e-6)


def test_where_there_is_no_difference_all_directions_count() -> None:
    found = sources_u95(TARGET, np.zeros(3), 0.5, {"light": along(0, 0.3), "camera": along(1, 0.3)})
    assert found["light"] > 0.2
    assert found["camera"] > 0.2


def test_no_doubt_has_no_sources() -> None:
    assert sources_u95(TARGET, np.zeros(3), 0.0, {"light": np.zeros((3, 3))}) == {}


def test_a_pair_of_zones_names_the_sources_of_its_half_width() -> None:
    first, second = (zone_of(sight_of(reading_of(blocks_of(Lab)))) for Lab in ((45, 15, 25), (40, 14, 22)))
    found = difference(first, second)
    assert set(found.sources) == {"reference", "light", "tone", "camera", "repeats"}
    assert found.de00_u95 == pytest.approx(np.hypot.reduce(list(found.sources.values())))


def test_the_table_is_empty_where_nothing_is_known() -> None:
    assert source_table([]).rows == ()
