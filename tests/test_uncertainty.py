"""Named sources of uncertainty: what adds, what cancels, and whether the spread of wood is told rightly.

Oracles: finite differences of CIELAB, closed forms of the law of propagation (JCGM 100:2008, 5.1 and 5.2), and fields
drawn many times over, whose spread is then known.
"""

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from board_photos import Floats
from hypothesis import given
from hypothesis import strategies as st
from readings import COLUMNS, ROWS, blocks_of, reading_of, sight_of

from analyzer.guard_band import Z_975
from analyzer.replicates import student_t_975
from analyzer.uncertainty import (
    SOURCES,
    Budget,
    absolute_budget,
    covariance_of,
    in_common,
    pair_budget,
    wood_of_pair,
    wood_of_zone,
)
from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab
from calibration.correction import U_CARD_LEVEL
from calibration.white_preserving import Lab_slopes

MAPLE, CHERRY, DARK = (62.0, 9.0, 24.0), (45.0, 16.0, 25.0), (24.0, 8.0, 9.0)
LABS = st.tuples(st.floats(3, 95), st.floats(-40, 60), st.floats(-40, 60)).map(np.array)


def spread(start: int, sd: float = 0.5) -> Floats:
    return sd * np.random.default_rng(start).standard_normal((ROWS, COLUMNS))


def u_L(covariance: Floats) -> float:
    return float(np.sqrt(covariance[0, 0]))


@given(LABS)
def test_derivatives_of_Lab_are_those_of_the_formula(Lab: Floats) -> None:
    """Central differences of CIELAB itself."""
    XYZ = np.maximum(Lab_to_XYZ(Lab), 2e-3)
    step = 1e-6 * XYZ
    numeric = np.stack(
        [(XYZ_to_Lab(XYZ + h) - XYZ_to_Lab(XYZ - h)) / (2 * h.sum()) for h in np.diag(step)],
        axis=1,
    )
    near_joint = np.abs(XYZ / D50 / (6 / 29) ** 3 - 1) < 1e-4
    if not near_joint.any():  # the formula's two pieces meet there
        assert Lab_slopes(XYZ) == pytest.approx(numeric, rel=1e-4, abs=1e-4)


BLOCKS = st.integers(0, 2**32 - 1).map(lambda start: spread(start, 1.0))
HOLES = st.sets(st.tuples(st.integers(0, ROWS - 1), st.integers(0, COLUMNS - 1)), max_size=20)


def budgets(a: Floats, b: Floats, holes: set[tuple[int, int]]) -> list[Budget]:
    blocks = blocks_of(CHERRY, a), blocks_of(DARK, b)
    for hole in holes:
        blocks[0][hole] = np.nan
    first, second = sight_of(reading_of(blocks[0])), sight_of(reading_of(blocks[1], x_px=300))
    elsewhere = sight_of(reading_of(blocks[1]), photo="b.jpg", board="B")
    return [
        absolute_budget([first]),
        pair_budget([first], [second]),
        pair_budget([first], [elsewhere]),
        absolute_budget([second, elsewhere]),
    ]


@given(BLOCKS, BLOCKS, HOLES)
def test_every_source_is_a_covariance(a: Floats, b: Floats, holes: set[tuple[int, int]]) -> None:
    """Finite, symmetric, no negative variance in any direction, whatever is hidden; and all sources are there."""
    for budget in budgets(a, b, holes):
        assert tuple(budget) == SOURCES
        for covariance in budget.values():
            assert np.isfinite(covariance).all()
            assert covariance == pytest.approx(covariance.T, abs=1e-12)
            assert np.linalg.eigvalsh(covariance).min() > -1e-9
        assert covariance_of(budget) == pytest.approx(sum(budget.values()), abs=1e-12)


def test_the_cards_error_is_common_to_equal_zones_and_cancels() -> None:
    first, second = (sight_of(reading_of(blocks_of(CHERRY)), u_read=0.05) for _ in range(2))
    assert pair_budget([first], [second])["reference"] == pytest.approx(0, abs=1e-12)
    assert u_L(absolute_budget([first])["reference"]) > 1


@pytest.mark.parametrize(("a", "b"), [(CHERRY, DARK), (MAPLE, CHERRY), (MAPLE, DARK)])
def test_a_card_2_percent_off_moves_colours_as_the_budget_says(a: Floats, b: Floats) -> None:
    """All tristimulus values 2 % higher: each zone moves by about one sigma of level, their difference by far less."""
    zones = [sight_of(reading_of(blocks_of(Lab)), u_read=0.0) for Lab in (a, b)]
    moved = [XYZ_to_Lab((1 + U_CARD_LEVEL) * zone.reading.XYZ) - zone.reading.Lab for zone in zones]
    for zone, move in zip(zones, moved, strict=True):
        assert abs(move[0]) == pytest.approx(u_L(absolute_budget([zone])["reference"]), rel=0.05)
    pair = pair_budget([zones[0]], [zones[1]])["reference"]
    assert abs(moved[1][0] - moved[0][0]) == pytest.approx(u_L(pair), rel=0.1)
    assert u_L(pair) < 0.7 * u_L(absolute_budget([zones[0]])["reference"])


def test_the_cards_noise_shrinks_with_the_number_of_photos() -> None:
    sights = [sight_of(reading_of(blocks_of(CHERRY)), photo=f"{k}.jpg", u_read=0.05) for k in range(4)]
    stated = absolute_budget([sight_of(reading_of(blocks_of(CHERRY)), u_read=0.0)])["reference"]
    one, four = (absolute_budget(sights[:count])["reference"] - stated for count in (1, 4))
    assert four == pytest.approx(one / 4, rel=1e-9)


def test_a_doubt_of_the_light_acts_along_lightness_as_its_derivative() -> None:
    """1 % of light is 116/3 f x 0.01 of L*; a* and b* follow in proportion (CIE 1976)."""
    reading = reading_of(blocks_of(CHERRY))
    light = absolute_budget([sight_of(reading, u_light=0.01)])["light"]
    f = np.cbrt(reading.XYZ / D50)
    moves = np.array([116 * f[1], 500 * (f[0] - f[1]), 200 * (f[1] - f[2])]) / 3 * 0.01
    assert light == pytest.approx(np.outer(moves, moves), rel=1e-6)


def test_light_of_changing_colour_adds_a_doubt_to_each_colour_and_to_differences() -> None:
    """Its own covariance is the square of what the light tells, whatever else the light leaves in doubt."""
    a, b = reading_of(blocks_of(CHERRY)), reading_of(blocks_of((48.0, 15.0, 26.0)), x_px=300)
    plain, mixed = {"u_light": 0.01}, {"u_light": 0.01, "u_light_Lab": (0.2, 0.7, 0.6)}
    wanted = np.diag(np.square([0.2, 0.7, 0.6]))
    alone = [absolute_budget([sight_of(a, **how)])["light"] for how in (plain, mixed)]
    pair = [pair_budget([sight_of(a, **how)], [sight_of(b, **how)])["light"] for how in (plain, mixed)]
    apart = [pair_budget([sight_of(a, **how)], [sight_of(b, photo="b.jpg", **how)])["light"] for how in (plain, mixed)]
    assert alone[1] - alone[0] == pytest.approx(wanted, abs=1e-9)
    assert pair[1] - pair[0] == pytest.approx(wanted, abs=1e-9)
    assert apart[1] - apart[0] == pytest.approx(2 * wanted, abs=1e-9)


def test_within_a_photo_a_difference_is_surer_than_either_colour_and_than_across_photos() -> None:
    a = reading_of(blocks_of(CHERRY, spread(1)))
    b = reading_of(blocks_of((48.0, 15.0, 26.0), spread(2)), x_px=300)
    together = covariance_of(pair_budget([sight_of(a)], [sight_of(b)]))
    apart = covariance_of(pair_budget([sight_of(a)], [sight_of(b, photo="b.jpg")]))
    other_light = covariance_of(pair_budget([sight_of(a)], [sight_of(b, photo="b.jpg", light_name="window")]))
    other_camera = covariance_of(pair_budget([sight_of(a)], [sight_of(b, photo="b.jpg", camera="two")]))
    unknown = covariance_of(pair_budget([sight_of(a, camera=None)], [sight_of(b, photo="b.jpg", camera=None)]))
    alone = covariance_of(absolute_budget([sight_of(a)]))
    assert np.trace(together) < np.trace(apart) < np.trace(unknown) < np.trace(other_light)
    assert np.trace(other_light) == pytest.approx(np.trace(other_camera))
    assert np.trace(together) < np.trace(alone)


def test_photos_that_show_both_zones_decide() -> None:
    a = [sight_of(reading_of(blocks_of(CHERRY)), photo=name) for name in ("1.jpg", "2.jpg")]
    b = [sight_of(reading_of(blocks_of(DARK)), photo=name) for name in ("2.jpg", "3.jpg")]
    assert in_common(a, b) == ([a[1]], [b[0]])
    assert in_common(a[:1], b) == (a[:1], b)
    assert covariance_of(pair_budget(a, b)) == pytest.approx(covariance_of(pair_budget(a[1:], b[:1])), rel=1e-12)


def test_repeats_enter_with_their_own_spread() -> None:
    """Three photos whose L* is 1 apart: the standard uncertainty of their mean is 1 / sqrt(3) (JCGM 100, 4.2.3)."""
    labs = [(44.0, 16.0, 25.0), (45.0, 16.0, 25.0), (46.0, 16.0, 25.0)]
    sights = [sight_of(reading_of(blocks_of(Lab)), photo=f"{k}.jpg") for k, Lab in enumerate(labs)]
    assert u_L(absolute_budget(sights)["repeats"]) == pytest.approx(1 / np.sqrt(3), rel=1e-6)
    assert absolute_budget(sights[:1])["repeats"] == pytest.approx(0)
    pairs = pair_budget(sights, [sight_of(reading_of(blocks_of(DARK)), photo=s.photo) for s in sights])
    assert u_L(pairs["repeats"]) == pytest.approx(1 / np.sqrt(3), rel=1e-6)


def test_streaks_that_cross_both_zones_cancel_on_one_board_but_not_between_boards() -> None:
    streaks = np.repeat(np.random.default_rng(3).normal(0, 1.5, (ROWS, 1)), COLUMNS, axis=1)
    a = reading_of(blocks_of(CHERRY, streaks + spread(1, 0.1)))
    b = reading_of(blocks_of((46.0, 16.0, 25.0), streaks + spread(2, 0.1)))
    same = wood_of_pair([sight_of(a)], [sight_of(b)])
    other = wood_of_pair([sight_of(a)], [sight_of(b, board="B")])
    shifted = wood_of_pair([sight_of(a)], [sight_of(reading_of(b.block_XYZ, across_mm=(40.0, 150.0)))])
    assert u_L(same) < 0.15
    assert u_L(other) > 0.7
    assert shifted == pytest.approx(other, rel=1e-9)


def test_strips_that_are_never_seen_together_are_not_paired() -> None:
    """The card hides the upper half of one zone and the lower half of the other: their wood is in doubt, not sure."""
    upper, lower = blocks_of(CHERRY, spread(1, 1.0)), blocks_of(CHERRY, spread(2, 1.0))
    upper[3:], lower[:3] = np.nan, np.nan
    wood = wood_of_pair([sight_of(reading_of(upper))], [sight_of(reading_of(lower))])
    alone = [wood_of_zone([sight_of(reading_of(blocks))]) for blocks in (upper, lower)]
    assert wood == pytest.approx(sum(alone), rel=0.05)


# Fields drawn on sheets much larger than a zone, at 1 mm a pixel; a zone of 105 x 75 mm in blocks of 15 mm.
BLOCK_mm = 15
SHEET = (1400, 1100)


def patchy(rng: np.random.Generator) -> Floats:
    """Patches of about 7 mm, independent a few patches on."""
    return np.asarray(cv2.GaussianBlur(rng.standard_normal(SHEET), (0, 0), 3)) * 10


def streaky(rng: np.random.Generator) -> Floats:
    """Streaks of about 6 mm right along the grain on a patchy ground."""
    rows = cv2.GaussianBlur(rng.standard_normal((SHEET[0], 1)), (0, 0), sigmaX=0.1, sigmaY=2.5) * 3
    return patchy(rng) + np.repeat(rows, SHEET[1], axis=1)


def windows(field: Floats) -> Floats:
    """All zones side by side, (n, ROWS, COLUMNS) block means."""
    height, width = ROWS * BLOCK_mm, COLUMNS * BLOCK_mm
    zones = [
        field[top : top + height, left : left + width]
        for top in range(0, SHEET[0] - height, height + 25)
        for left in range(0, SHEET[1] - width, width + 25)
    ]
    return np.array([zone.reshape(ROWS, BLOCK_mm, COLUMNS, BLOCK_mm).mean(axis=(1, 3)) for zone in zones])


def two_way_u_L(blocks: Floats) -> float:
    """The code's uncertainty of a zone's mean L*, without its widening for few strips."""
    wood = wood_of_zone([sight_of(reading_of(blocks_of((50.0, 0.0, 0.0), blocks)))])
    return u_L(wood) / (student_t_975(ROWS - 1) / Z_975)


def bootstrap_u_L(blocks: Floats, rng: np.random.Generator, *, whole_rows: bool) -> float:
    """Standard deviation of the mean over blocks, or whole rows of them, drawn again with replacement."""
    units = blocks.mean(axis=1) if whole_rows else blocks.ravel()
    draws = units[rng.integers(0, units.size, (400, units.size))].mean(axis=1)
    return float(draws.std() * np.sqrt(units.size / (units.size - 1)))


@pytest.mark.parametrize(("field", "whole_rows"), [(patchy, False), (streaky, True)])
def test_the_spread_of_wood_is_that_of_zones_drawn_again_and_of_a_block_bootstrap(
    field: Callable[[np.random.Generator], Floats], whole_rows: bool
) -> None:
    """Root mean square over 660 zones of six sheets. Single blocks would be blind to streaks: half the true spread."""
    rng = np.random.default_rng(8)
    zones = np.concatenate([windows(field(np.random.default_rng(start))) for start in range(6)])
    true = zones.mean(axis=(1, 2)).std()
    told = np.sqrt(np.mean([two_way_u_L(zone) ** 2 for zone in zones]))
    resampled = np.sqrt(np.mean([bootstrap_u_L(zone, rng, whole_rows=whole_rows) ** 2 for zone in zones[::4]]))
    assert told == pytest.approx(true, rel=0.2)
    assert told == pytest.approx(resampled, rel=0.25)  # blocks of 15 mm are not quite independent
    if whole_rows:
        assert np.mean([bootstrap_u_L(zone, rng, whole_rows=False) for zone in zones[::4]]) < 0.7 * true


@pytest.mark.parametrize("field", [patchy, streaky])
def test_the_wood_alone_holds_its_95_percent(field: Callable[[np.random.Generator], Floats]) -> None:
    """Over 660 zones; chance is 0.9 %."""
    zones = np.concatenate([windows(field(np.random.default_rng(start))) for start in range(6)])
    inside = [abs(zone.mean()) < two_way_u_L(zone) * student_t_975(ROWS - 1) for zone in zones]
    assert 0.93 <= np.mean(inside) <= 0.97
