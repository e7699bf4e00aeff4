"""Figure that bends with the grain, against surfaces painted with and without it."""

import math

import numpy as np
import pytest
from evenness_fields import Array, luminance, patches, random_streaks, sine_streaks, unit

from analyzer.bands import between, modes_of
from analyzer.evenness import evenness
from analyzer.figure import without_figure
from analyzer.grain_lines import along_grain

MM_PER_PX = 0.5
SHAPE = (180, 220)  # 90 x 110 mm


def arches(shape: tuple[int, int], ring_mm: float = 7.0, seed: int = 0) -> Array:
    """Growth rings as a flat-sawn face shows them: nested arches about a pith line, with a sharp late edge."""
    rng = np.random.default_rng(seed)
    rows, columns = ((np.arange(n) + 0.5) * MM_PER_PX for n in shape)
    depth_mm = rng.uniform(30, 50) + 0.1 * columns
    wander_mm = 2 * np.sin(2 * np.pi * columns / 160 + rng.uniform(0, 2 * np.pi))
    radius = np.hypot(rows[:, None] - rng.uniform(0.2, 0.4) * rows[-1] + wander_mm, depth_mm)
    return unit((radius / ring_mm % 1) ** 2)


def read(L_star: Array) -> tuple[float, float, float]:
    found = evenness(luminance(L_star), np.ones(L_star.shape, bool), MM_PER_PX)
    assert found.blotch is not None
    assert found.blotch_u95 is not None
    assert found.figure is not None
    return found.blotch, found.blotch_u95, found.figure


def rest_of(surface: Array) -> tuple[Array, Array]:
    """What is left of the power of each mode without the mean along the grain, and of patches by the closed form."""
    modes = modes_of(*surface.shape, MM_PER_PX)
    amplitude = modes.analyse(surface)
    found = along_grain(amplitude, modes, MM_PER_PX)
    return (amplitude - found.amplitude) ** 2, found.left


@pytest.mark.parametrize("slope_deg", [0, 10, -30, 45])
def test_straight_streaks_keep_on_along_their_own_slope(slope_deg: float) -> None:
    streaks = sine_streaks(SHAPE, MM_PER_PX, 5, slope_deg=slope_deg)
    assert rest_of(streaks)[0].sum() < 0.01 * streaks.size


def circles() -> Array:
    rows, columns = (np.arange(n) * MM_PER_PX for n in SHAPE)
    return unit(np.sin(2 * np.pi * np.hypot(rows[:, None] - 200, columns - 55) / 9))


def test_circles_keep_on_around_their_centre() -> None:
    assert rest_of(circles())[0].sum() < 0.02 * circles().size


def test_lap_marks_do_not_keep_on() -> None:
    marks = sine_streaks(SHAPE[::-1], MM_PER_PX, 8).T
    assert rest_of(marks)[0].sum() == pytest.approx(marks.size, rel=0.02)


def test_what_is_left_of_patches_under_bent_grain_is_the_share_that_the_closed_form_says() -> None:
    """The grain is that of bold circles; patches far weaker are followed through the same lines, by differences."""
    grain = 10 * circles()
    modes = modes_of(*SHAPE, MM_PER_PX)
    band = between(modes, 5, 40)
    found, expected = 0.0, 0.0
    for seed in range(6):
        field = 0.02 * patches(SHAPE, MM_PER_PX, seed, coarseness=1)
        both, alone, cloud = (modes.analyse(one) for one in (grain + field, grain, field))
        with_field, without = (along_grain(one, modes, MM_PER_PX) for one in (both, alone))
        found += float((band * (cloud - with_field.amplitude + without.amplitude) ** 2).sum())
        expected += float((band * without.left * cloud**2).sum())
    assert found == pytest.approx(expected, rel=0.08)


def test_even_arches_are_mostly_figure() -> None:
    """Where only straight figure is known they read 0.5 to 0.7 of the figure."""
    for seed in range(4):
        blotch, u95, figure = read(50 + 2 * arches(SHAPE, seed=seed))
        assert blotch < 0.2 * figure
        assert blotch <= u95


@pytest.mark.parametrize("figure", [1.0, 2.0, 3.0])
def test_blotch_under_arches_up_to_three_times_as_strong_is_held_by_its_interval(figure: float) -> None:
    found = []
    for seed in range(5):
        cloud = unit(patches(SHAPE, MM_PER_PX, seed, coarseness=1))
        blotch, u95, _ = read(50 + cloud + figure * arches(SHAPE, seed=seed))
        assert abs(blotch - 1) <= u95
        found.append(blotch)
    assert np.mean(found) == pytest.approx(1, rel=0.15)


@pytest.mark.parametrize("figure", [0.5, 1.0, 2.0, 3.0])
def test_blotch_under_straight_streaks_of_any_strength_is_measured_within_15_percent(figure: float) -> None:
    for seed in range(3):
        cloud = unit(patches(SHAPE, MM_PER_PX, seed, coarseness=1))
        blotch, _, _ = read(50 + cloud + figure * random_streaks(SHAPE, MM_PER_PX, seed, 6))
        assert blotch == pytest.approx(1, rel=0.15)


@pytest.mark.parametrize("waves_mm", [(6, 10), (8, 12), (12, 18), (15, 20), (20, 30), (25, 35)])
def test_patches_of_one_size_are_not_taken_for_bent_grain(waves_mm: tuple[float, float]) -> None:
    """Ridges of such a surface look like short pieces of grain; lines of the grain would follow them."""
    for seed in range(6):
        blotch, _, _ = read(50 + unit(patches(SHAPE, MM_PER_PX, seed, waves_mm, coarseness=1)))
        assert blotch == pytest.approx(1, rel=0.10)


def test_pores_are_figure() -> None:
    """Dashes 5 mm long and 0.5 mm wide, anywhere: longer waves along the grain have them as white as noise."""
    rng = np.random.default_rng(3)
    dashes = np.zeros(SHAPE)
    for row, column in zip(rng.integers(0, SHAPE[0], 700), rng.integers(0, SHAPE[1] - 10, 700), strict=True):
        dashes[row, column : column + 10] = -6
    modes = modes_of(*SHAPE, MM_PER_PX)
    band = between(modes, 4, 50)
    found = without_figure(modes, modes.analyse(dashes - dashes.mean()), 0.0, MM_PER_PX, (4, 50))
    held = float((band * found.amplitude**2).sum()) / dashes.size
    thin = float((band * found.thin).sum())
    assert thin == pytest.approx(held, rel=0.25)
    blotch, u95, figure = read(50 + dashes)
    assert blotch < 0.5 * math.sqrt(held)
    assert blotch <= u95
    assert figure > 2 * blotch
