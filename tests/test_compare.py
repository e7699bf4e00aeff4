"""Differences between zones: signs, zero, what is common, and the nearest colour between range boards.

Closed forms of CIELAB and the published formula of CIEDE2000 (Sharma 2005, tested beside it).
"""

import colour
import numpy as np
import pytest
from board_photos import Floats
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from readings import COLUMNS, ROWS, blocks_of, reading_of, sight_of, zone_of

from analyzer.colour_interval import delta_E_00_u95
from analyzer.compare import Difference, difference, difference_to_range, difference_to_value
from analyzer.pooling import MeasuredZone

BASE = np.array([45.0, 15.0, 25.0])
LABS = st.tuples(st.floats(15, 85), st.floats(-5, 30), st.floats(0, 45)).map(np.array)


def moved(Lab: Floats, L: float, a: float, b: float) -> Floats:
    return np.asarray(Lab + np.array([L, a, b]))


def plain(Lab: Floats, *, start: int = 0, zone_id: str = "a", sd: float = 0.3, **of_sight: object) -> MeasuredZone:
    blocks = blocks_of(Lab, sd * np.random.default_rng(start).standard_normal((ROWS, COLUMNS)))
    return zone_of(sight_of(reading_of(blocks, x_px=100.0 + 50 * start), **of_sight), zone_id=zone_id)


def u95(found: Difference) -> float:
    assert found.de00_u95 is not None
    return found.de00_u95


@settings(max_examples=40)
@given(LABS, LABS)
def test_a_difference_is_b_minus_a_by_the_published_formula(a: Floats, b: Floats) -> None:
    first, second = plain(a, sd=0.0), plain(b, sd=0.0)
    found = difference(first, second)
    assert found.delta_Lab == pytest.approx(b - a, abs=1e-6)
    assert found.Lab_a == pytest.approx(a, abs=1e-6)
    assert found.Lab_b == pytest.approx(b, abs=1e-6)
    assert found.de00 == pytest.approx(float(colour.delta_E(a, b, method="CIE 2000")), abs=1e-4)


@settings(max_examples=40)
@given(LABS, st.tuples(st.floats(-4, 4), st.floats(-3, 3), st.floats(-3, 3)).map(np.array))
def test_swapping_zones_turns_the_signs_and_keeps_the_size(a: Floats, step: Floats) -> None:
    first, second = plain(a, start=1), plain(a + step, start=2)
    there, back = difference(first, second), difference(second, first)
    assert back.de00 == pytest.approx(there.de00, abs=1e-9)
    assert back.delta_Lab == pytest.approx(-there.delta_Lab, abs=1e-9)
    assert u95(back) == pytest.approx(u95(there), rel=0.2)  # it is taken along the way from the first to the second


@pytest.mark.parametrize("start", range(5))
def test_zones_of_one_colour_differ_by_nothing_within_their_interval(start: int) -> None:
    """Two zones whose blocks are drawn from one wood, taken for what they are: samples of it."""
    found = difference(plain(BASE, start=2 * start), plain(BASE, start=2 * start + 1))
    assert found.covariance is not None
    assert found.wood is not None
    as_samples = found.covariance + found.wood
    assert found.de00 < delta_E_00_u95(found.Lab_a, found.delta_Lab, as_samples, both_measured=True)


def test_a_zone_against_itself_is_zero() -> None:
    zone = plain(BASE)
    found = difference(zone, zone)
    assert found.de00 == 0
    assert np.array_equal(found.delta_Lab, np.zeros(3))
    assert 0 < u95(found) < 1


def test_a_difference_in_one_photo_is_surer_than_one_to_a_value() -> None:
    first, second = plain(BASE, start=1), plain(moved(BASE, 2, 0, 1), start=2)
    assert 3 * u95(difference(first, second)) < u95(difference_to_value(BASE, second))


def test_a_value_counts_as_exact_and_the_zone_is_held_against_it() -> None:
    zone = plain(moved(BASE, 3.0, 0.0, 0.0), sd=0.0)
    found = difference_to_value(BASE, zone)
    assert found.delta_Lab == pytest.approx([3, 0, 0], abs=1e-9)
    assert np.array_equal(found.Lab_a, BASE)
    assert found.de00 == pytest.approx(float(colour.delta_E(BASE, moved(BASE, 3, 0, 0), method="CIE 2000")), abs=1e-4)


@given(st.floats(0.5, 0.999) | st.floats(1.001, 2.0))
def test_another_value_of_the_card_changes_colours_but_hardly_differences(times: float) -> None:
    """The card's level enters both zones alike: L* moves by several units, the difference in proportion only."""
    a, b = plain(BASE, sd=0.0), plain(moved(BASE, 2.0, 0.0, 0.0), sd=0.0)
    scaled = [zone_of(sight_of(reading_of(times * zone.sights[0].reading.block_XYZ))) for zone in (a, b)]
    before, after = difference(a, b), difference(*scaled)
    lifted = abs(scaled[0].Lab[0] - a.Lab[0])
    changed = abs(after.delta_Lab[0] - before.delta_Lab[0])
    # L* + 16 goes with the cube root of light, and so does a difference of L*
    assert changed == pytest.approx(abs(times ** (1 / 3) - 1) * 2, rel=1e-6)
    assert changed < 0.04 * lifted


LIGHT_LIMIT, MIDDLE, DARK_LIMIT = (
    np.array([60.0, 10.0, 30.0]),
    np.array([50.0, 12.0, 28.0]),
    np.array([40.0, 14.0, 22.0]),
)


def ranges(*labs: Floats) -> tuple[MeasuredZone, ...]:
    return tuple(plain(Lab, sd=0.0, zone_id=f"limit-{k}", photo=f"{k}.jpg") for k, Lab in enumerate(labs))


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 1.0])
def test_a_colour_between_the_range_boards_differs_by_nothing(share: float) -> None:
    zone = plain(LIGHT_LIMIT + share * (DARK_LIMIT - LIGHT_LIMIT), sd=0.0)
    found = difference_to_range(ranges(LIGHT_LIMIT, DARK_LIMIT), zone)
    assert found.de00 == pytest.approx(0, abs=1e-6)
    assert u95(found) > 0


@pytest.mark.parametrize(("beyond", "limit"), [(-0.3, LIGHT_LIMIT), (1.2, DARK_LIMIT)])
def test_beyond_the_range_the_nearer_limit_counts(beyond: float, limit: Floats) -> None:
    zone = plain(LIGHT_LIMIT + beyond * (DARK_LIMIT - LIGHT_LIMIT), sd=0.0)
    found = difference_to_range(ranges(LIGHT_LIMIT, DARK_LIMIT), zone)
    assert found.Lab_a == pytest.approx(limit, abs=1e-6)
    assert found.delta_Lab == pytest.approx(zone.Lab - limit, abs=1e-6)


def test_beside_the_range_the_foot_of_the_perpendicular_counts() -> None:
    along = (DARK_LIMIT - LIGHT_LIMIT) / np.linalg.norm(DARK_LIMIT - LIGHT_LIMIT)
    aside = np.cross(along, [0.0, 0.0, 1.0])
    foot = LIGHT_LIMIT + 8 * along
    found = difference_to_range(
        ranges(LIGHT_LIMIT, DARK_LIMIT), plain(foot + 2 * aside / np.linalg.norm(aside), sd=0.0)
    )
    assert found.Lab_a == pytest.approx(foot, abs=1e-6)
    assert np.linalg.norm(found.delta_Lab) == pytest.approx(2, abs=1e-6)


def test_with_three_range_boards_the_line_bends_at_the_middle_one() -> None:
    bent = moved(MIDDLE, 0.0, 3.0, 0.0)
    limits = ranges(LIGHT_LIMIT, bent, DARK_LIMIT)
    for zone_Lab in ((LIGHT_LIMIT + bent) / 2, (bent + DARK_LIMIT) / 2, bent):
        assert difference_to_range(limits, plain(zone_Lab, sd=0.0)).de00 == pytest.approx(0, abs=1e-6)
    assert difference_to_range(ranges(LIGHT_LIMIT, DARK_LIMIT), plain(bent, sd=0.0)).de00 > 1


@settings(max_examples=40)
@given(LABS, LABS, LABS)
def test_no_colour_of_the_range_is_nearer_than_the_one_that_is_taken(light: Floats, dark: Floats, Lab: Floats) -> None:
    """In CIELAB, by trying many."""
    assume(np.linalg.norm(dark - light) > 1)
    found = difference_to_range(ranges(light, dark), plain(Lab, sd=0.0))
    tried = light + np.linspace(0, 1, 400)[:, None] * (dark - light)
    assert np.linalg.norm(found.delta_Lab) <= np.linalg.norm(Lab - tried, axis=1).min() + 1e-6


@pytest.mark.parametrize(("share", "nearer"), [(0.02, 0), (0.4, 0), (0.6, 1), (0.98, 1)])
def test_the_interval_is_that_of_the_nearer_range_board(share: float, nearer: int) -> None:
    """The light limit lies in the zone's own photo, the dark one in another, where the doubt of both photos counts."""
    limits = plain(LIGHT_LIMIT, sd=0.0), plain(DARK_LIMIT, sd=0.0, photo="b.jpg")
    zone = plain(LIGHT_LIMIT + share * (DARK_LIMIT - LIGHT_LIMIT) + np.array([0.0, 2.0, 0.0]), sd=0.0)
    found = difference_to_range(limits, zone).covariance
    expected = [difference(limit, zone).covariance for limit in limits]
    assert np.array_equal(found, expected[nearer])
    assert not np.allclose(found, expected[1 - nearer], rtol=0.05)


def test_range_boards_of_one_colour_are_one_target() -> None:
    found = difference_to_range(ranges(MIDDLE, MIDDLE), plain(moved(MIDDLE, 1.0, 0.0, 0.0), sd=0.0))
    assert found.delta_Lab == pytest.approx([1, 0, 0], abs=1e-6)


def test_repeated_photos_are_averaged_over_light() -> None:
    """Mean of XYZ, then CIELAB; photos that show both zones decide."""
    both = [sight_of(reading_of(blocks_of(moved(BASE, k, 0.0, 0.0))), photo=f"{k}.jpg") for k in (0, 2)]
    zone = zone_of(*both)
    assert zone.Lab == pytest.approx(plain(moved(BASE, 1.0, 0.0, 0.0), sd=0.0).Lab, abs=0.05)
    assert zone.photos == ("0.jpg", "2.jpg")
    other = plain(BASE, sd=0.0, photo="2.jpg")
    assert difference(other, zone).delta_Lab[0] == pytest.approx(2, abs=1e-6)
