"""The cosine waves behind the blotch index, against closed forms."""

import math

import numpy as np
import pytest

from analyzer.bands import _J0, between, full_width_mm, longer_than, modes_of
from analyzer.levelling import fill_holes, levelled_lightness


@pytest.mark.parametrize(("rows", "columns"), [(75, 100), (76, 101), (201, 63)])
def test_the_waves_are_those_of_the_definition_whatever_the_size(rows: int, columns: int) -> None:
    """Against the sum that defines them: sqrt(2 / n) cos(pi m (i + 1/2) / n), and sqrt(1 / n) for m = 0."""
    modes = modes_of(rows, columns, 0.8)  # all modes are there at this scale
    assert modes.frequency.shape == (rows, columns)
    bases = []
    for count in (rows, columns):
        basis = math.sqrt(2 / count) * np.cos(np.pi * np.outer(np.arange(count), (np.arange(count) + 0.5) / count))
        basis[0] *= math.sqrt(0.5)
        bases.append(basis)
    L = np.random.default_rng(rows).standard_normal((rows, columns))
    np.testing.assert_allclose(modes.analyse(L), bases[0] @ L @ bases[1].T, atol=1e-11)
    np.testing.assert_allclose(modes.synthesise(modes.analyse(L)), L, atol=1e-11)


def test_mean_square_is_the_sum_of_the_powers() -> None:
    """Parseval, for a map that holds no wave finer than the modes."""
    modes = modes_of(100, 150, 0.5)
    amplitude = np.random.default_rng(0).standard_normal(modes.frequency.shape)
    L = modes.synthesise(amplitude)
    np.testing.assert_allclose(modes.analyse(L), amplitude, atol=1e-10)
    assert np.mean(L**2) == pytest.approx((amplitude**2).sum() / L.size, rel=1e-12)


def test_half_a_wave_of_drift_is_one_mode() -> None:
    modes = modes_of(100, 150, 0.5)
    L = np.cos(np.pi * (np.arange(100) + 0.5) / 100)[:, None] + np.zeros(150)
    power = modes.analyse(L) ** 2 / L.size
    assert power[1, 0] == pytest.approx(0.5, rel=1e-12)
    assert power.sum() == pytest.approx(0.5, rel=1e-12)
    assert modes.frequency[1, 0] == pytest.approx(1 / 100)  # 100 mm: twice the side of 50 mm
    assert modes.direction_deg[1, 0] == 0


def test_pixels_too_large_for_the_finest_waves_are_refused() -> None:
    with pytest.raises(ValueError, match="mm_per_px"):
        modes_of(100, 100, 0.81)


def test_neighbouring_bands_share_every_wave_between_them() -> None:
    modes = modes_of(100, 150, 0.5)
    octaves = sum(between(modes, low, 2 * low) for low in (4, 8, 16, 32))
    np.testing.assert_allclose(octaves, between(modes, 4, 64), atol=1e-12)


@pytest.mark.parametrize(("wavelength_mm", "passes"), [(2, 1 / 4097), (4, 0.5), (8, 4096 / 4097)])
def test_the_shoulder_passes_half_at_the_limit_and_nothing_an_octave_off(wavelength_mm: int, passes: float) -> None:
    modes = modes_of(80, 80, 0.5)  # 40 mm: mode 80 / wavelength
    assert longer_than(modes, 4.0)[80 // wavelength_mm, 0] == pytest.approx(passes, rel=1e-9)


def test_J0_is_the_published_one() -> None:
    """Abramowitz & Stegun (1964), table 9.1, and the first zero of table 9.5."""
    assert _J0(np.array([0.0, 1.0, 5.0])) == pytest.approx([1, 0.7651976866, -0.1775967713], abs=1e-4)
    assert _J0(np.array([2.4048255577])) == pytest.approx([0], abs=1e-4)


def test_no_power_has_no_width() -> None:
    modes = modes_of(80, 80, 0.5)
    assert full_width_mm(modes, np.zeros(modes.frequency.shape)) is None


def test_waves_longer_than_the_correlation_is_followed_have_no_width() -> None:
    modes = modes_of(400, 400, 0.5)  # 200 mm
    power = np.zeros(modes.frequency.shape)
    power[1, 0] = 1.0  # 400 mm long
    assert full_width_mm(modes, power) is None


def test_light_that_falls_off_exponentially_is_levelled_exactly() -> None:
    rows, columns = np.mgrid[:100, :150] / 100
    Y = 0.2 * np.exp(-0.4 * rows + 0.3 * columns - 0.2 * rows**2 + 0.1 * rows * columns)
    L = levelled_lightness(Y, np.ones(Y.shape, bool), 0.8)
    np.testing.assert_allclose(L, 0, atol=1e-9)


def test_a_narrow_zone_is_levelled_by_a_plane_only() -> None:
    """A bow over 40 mm is a wave of 40 mm: blotch."""
    bow = np.linspace(-1, 1, 100)[:, None] ** 2 + np.zeros(100)
    L = levelled_lightness(0.2 * (1 + 0.1 * bow), np.ones(bow.shape, bool), 0.4)
    assert L.std() > 0.5
    wide = levelled_lightness(0.2 * (1 + 0.1 * bow), np.ones(bow.shape, bool), 0.8)
    assert wide.std() < 0.02


def test_streaks_are_continued_through_a_hole() -> None:
    rows, columns = np.mgrid[:200, :300] * 0.4
    measured = np.hypot(rows - 40, columns - 60) > 12
    for slope_deg in (0, 8):
        across = rows * math.cos(math.radians(slope_deg)) - columns * math.sin(math.radians(slope_deg))
        L = np.sin(2 * np.pi * across / 8)
        filled = fill_holes(np.where(measured, L, 0.0), measured, modes_of(200, 300, 0.4), 0.4, slope_deg)
        np.testing.assert_array_equal(filled[measured], L[measured])
        assert np.corrcoef(filled[~measured], L[~measured])[0, 1] > 0.95


def test_far_from_anything_measured_the_fill_is_the_mean() -> None:
    measured = np.zeros((200, 400), bool)
    measured[:, :150] = True
    L = np.where(measured, 3.0, 0.0)
    filled = fill_holes(L, measured, modes_of(200, 400, 0.4), 0.4, 0.0)
    assert abs(filled[:, 350:]).max() < 0.05


@pytest.mark.parametrize("grid", [(60, 90), (200, 300), (333, 417)], ids=["coarser", "same", "finer"])
def test_a_map_on_other_pixels_is_the_same_map(grid: tuple[int, int]) -> None:
    """Waves of 12 mm on 80 x 120 mm: cosines that end level at the edges, known at any place; and back again."""
    modes = modes_of(200, 300, 0.4)
    maps = []
    for rows, columns in ((200, 300), grid):
        down, along = (np.arange(rows) + 0.5) / rows, (np.arange(columns) + 0.5) / columns
        maps.append(np.cos(13 * np.pi * down)[:, None] + np.cos(20 * np.pi * along))
    amplitude = modes.analyse(maps[0])
    np.testing.assert_allclose(modes.synthesise_on(amplitude, *grid), maps[1], atol=1e-9)
    back = modes.analyse_on(maps[1])[:50, :80]
    np.testing.assert_allclose(back, amplitude[:50, :80], atol=1e-9 * np.abs(amplitude).max())
