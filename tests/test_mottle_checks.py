"""The blotch index beside published measures of mottle and graininess, on the same painted surfaces.

ISO/IEC 13660:2001 (withdrawn, followed by ISO/IEC 24790:2017) divides a print into square tiles of 1.27 mm or more,
at 600 dots an inch 30 x 30 readings of 42.3 um each. With m the mean and s the standard deviation within a tile:
graininess is the root mean square of s, mottle the standard deviation of m. Written here from memory and from
secondary sources, since the standard itself was not at hand; theirs are readings of density, ours of lightness.
"""

import math

import numpy as np
import pytest
from evenness_fields import Array, averaged, drift, luminance, patches, unit
from scipy.stats import spearmanr

from analyzer.bands import between, modes_of
from analyzer.evenness import OCTAVES_MM, Evenness, evenness

TILE_MM = 1.27
TILE_PX = 30
MM_PER_PX = 0.4
SHAPE = (200, 300)  # 80 x 120 mm


def tiled(values: Array, tile_px: int) -> Array:
    """Tiles (n, readings) of an image; what fills no tile is left out."""
    rows, columns = (n // tile_px for n in values.shape)
    cut = values[: rows * tile_px, : columns * tile_px].reshape(rows, tile_px, columns, tile_px)
    return cut.swapaxes(1, 2).reshape(rows * columns, tile_px**2)


def graininess(values: Array, tile_px: int) -> float:
    """Root mean square of the standard deviations within tiles."""
    return math.sqrt(float(tiled(values, tile_px).var(axis=1, ddof=1).mean()))


def mottle(values: Array, tile_px: int) -> float:
    """Standard deviation of the tiles' means."""
    return float(tiled(values, tile_px).mean(axis=1).std(ddof=1))


def read(L_star: Array, mm_per_px: float = MM_PER_PX) -> Evenness:
    return evenness(luminance(L_star), np.ones(L_star.shape, bool), mm_per_px)


def index(L_star: Array, mm_per_px: float = MM_PER_PX) -> float:
    blotch = read(L_star, mm_per_px).blotch
    assert blotch is not None
    return blotch


# ---- the published measures, as written here, against closed forms


def test_white_noise_is_graininess_and_a_thirtieth_of_it_mottle() -> None:
    """By the definitions in ISO/IEC 13660:2001 (from memory): the mean of 30 x 30 independent readings has sigma / 30.

    Tolerance: 3 standard errors, sigma / sqrt(2 n) of n readings for the one, of n tiles for the other.
    """
    sigma, tiles_a_side = 2.0, 40
    noise = sigma * np.random.default_rng(20).standard_normal((tiles_a_side * TILE_PX, tiles_a_side * TILE_PX))
    assert graininess(noise, TILE_PX) == pytest.approx(sigma, rel=3 / math.sqrt(2 * noise.size))
    assert mottle(noise, TILE_PX) == pytest.approx(sigma / TILE_PX, rel=3 / math.sqrt(2 * tiles_a_side**2))


@pytest.mark.parametrize(
    ("period_mm", "passed"), [(2.54, 0.6366), (5.08, 0.9003), (10.0, 0.9737), (20.0, 0.9934)], ids=lambda v: f"{v:g}"
)
def test_mottle_sees_of_a_wave_what_the_mean_over_a_tile_leaves_of_it(period_mm: float, passed: float) -> None:
    """Closed form: amplitude / sqrt(2) times sinc(tile / period), for tiles as ISO/IEC 13660:2001 has (from memory).

    Root mean square over phases: of a period of just two tiles, one phase alone says nothing.
    """
    amplitude, mm_per_px = 3.0, TILE_MM / TILE_PX
    assert passed == pytest.approx(np.sinc(TILE_MM / period_mm), abs=5e-5)
    x_mm = (np.arange(round(1270 / mm_per_px)) + 0.5) * mm_per_px
    found = []
    for phase in np.arange(8) * np.pi / 8:
        wave = amplitude * np.cos(2 * np.pi * x_mm / period_mm + phase)
        found.append(mottle(np.broadcast_to(wave, (TILE_PX, x_mm.size)), TILE_PX))
    rms = math.sqrt(float(np.mean(np.square(found))))
    assert rms == pytest.approx(amplitude / math.sqrt(2) * passed, rel=0.005)


def test_a_checkerboard_of_tiles_is_all_mottle_and_no_graininess() -> None:
    """Identity, by the definitions in ISO/IEC 13660:2001 (from memory)."""
    amplitude, tiles_a_side = 1.5, 20
    sign = (-1.0) ** np.add.outer(np.arange(tiles_a_side), np.arange(tiles_a_side))
    board = amplitude * np.kron(sign, np.ones((TILE_PX, TILE_PX)))
    n = tiles_a_side**2
    assert mottle(board, TILE_PX) == pytest.approx(amplitude * math.sqrt(n / (n - 1)), abs=1e-9)
    assert graininess(board, TILE_PX) == pytest.approx(0, abs=1e-9)


# ---- what any such index must do, ours


def test_an_even_surface_and_an_even_gradient_have_no_blotch() -> None:
    """A gradient is light or one end of a board, no patch. To mottle (ISO/IEC 13660:2001, from memory) it counts."""
    assert index(np.full(SHAPE, 45.0)) == pytest.approx(0, abs=1e-9)
    slope = 45 + np.linspace(-4, 4, SHAPE[1])[None, :] + np.linspace(-2, 2, SHAPE[0])[:, None]
    assert mottle(slope, 3) > 2
    assert index(slope) < 0.001


@pytest.mark.parametrize("k", [0.25, 2.0, 3.0])
def test_deviations_k_times_as_large_have_k_times_the_blotch(k: float) -> None:
    """Exact for mottle (ISO/IEC 13660:2001, from memory), which is linear. Ours levels luminance: to 0.01 %."""
    field = unit(patches(SHAPE, MM_PER_PX, 24))
    assert mottle(k * field, 3) == pytest.approx(k * mottle(field, 3), rel=1e-12)
    assert index(45 + k * field) == pytest.approx(k * index(45 + field), rel=1e-4)


def test_twice_the_resolution_leaves_blotch_within_2_percent() -> None:
    """Sizes are in mm, as in ISO/IEC 13660:2001 (from memory), whose tiles are."""
    fine = 45 + 1.5 * unit(patches((400, 600), MM_PER_PX / 2, 25))
    assert index(fine, MM_PER_PX / 2) == pytest.approx(index(averaged(fine, 2)), rel=0.02)


def test_a_quarter_turn_swaps_along_and_across_and_leaves_mottle_and_patches_alone() -> None:
    """Mottle (ISO/IEC 13660:2001, from memory) knows no direction; a wave along the grain is blotch for us, one across
    it is figure, and turned they change places.
    """
    field = unit(patches(SHAPE, MM_PER_PX, 26))
    assert mottle(np.rot90(field), 4) == pytest.approx(mottle(field, 4), rel=1e-9)
    assert index(45 + np.rot90(field)) == pytest.approx(index(45 + field), rel=1e-3)
    bars = (
        2 * np.cos(2 * np.pi * (np.arange(200) + 0.5) * MM_PER_PX / 10)[None, :] * np.ones((200, 1))
    )  # across the grain
    lying, standing = read(45 + bars.T), read(45 + bars)
    assert (lying.blotch, lying.figure) == pytest.approx((0, math.sqrt(2)), abs=0.1)
    assert (standing.blotch, standing.figure) == pytest.approx((math.sqrt(2), 0), abs=0.1)


def test_the_octaves_of_a_surface_hold_its_variance_between_them() -> None:
    """Parseval, for the waves of 1.6 mm and more that are kept; each is shared out between neighbouring octaves."""
    modes = modes_of(*SHAPE, MM_PER_PX)
    amplitude = modes.analyse(patches(SHAPE, MM_PER_PX, 27, (5.0, 50.0), coarseness=1.0))
    power = amplitude**2 / (modes.rows * modes.columns)
    assert power.sum() == pytest.approx(float(np.mean(modes.synthesise(amplitude) ** 2)), rel=1e-9)
    octaves = sum(float((between(modes, *octave) * power).sum()) for octave in OCTAVES_MM)
    assert octaves == pytest.approx(float((between(modes, 4, 64) * power).sum()), rel=1e-9)


def test_the_bands_of_patches_well_inside_them_add_up_to_the_index() -> None:
    """Patches of 6 to 35 mm lie within B's 4 to 50 mm and the octaves' 4 to 64 mm alike."""
    found = read(45 + unit(patches(SHAPE, MM_PER_PX, 28)))
    assert found.blotch is not None
    assert math.hypot(*(band.blotch for band in found.bands)) == pytest.approx(found.blotch, rel=0.02)


# ---- the same surfaces, ranked by each


def test_blotch_ranks_surfaces_as_mottle_does_and_not_as_graininess() -> None:
    """Isotropic patches of 6 to 35 mm under grain finer than a tile, each as strong as chance has it, apart.

    Tiles of 1.2 mm, the nearest to the 1.27 mm of ISO/IEC 13660:2001 (from memory) that three pixels make.
    """
    rng = np.random.default_rng(29)
    surfaces = []
    for seed in range(30):
        cloud = rng.uniform(0.2, 3.0) * unit(patches(SHAPE, MM_PER_PX, seed, coarseness=float(rng.uniform(0, 2))))
        grain = rng.uniform(0.2, 3.0) * rng.standard_normal(SHAPE)
        surfaces.append(55 + cloud + grain)
    ours = [index(surface) for surface in surfaces]
    as_mottle = spearmanr(ours, [mottle(surface, 3) for surface in surfaces]).statistic
    as_graininess = spearmanr(ours, [graininess(surface, 3) for surface in surfaces]).statistic
    assert as_mottle > 0.95
    assert abs(as_graininess) < 0.4  # 30 pairs by chance: within 0.36 in 95 % of cases


def test_slow_drift_is_mottle_and_no_blotch() -> None:
    """Where the two part: mottle as in ISO/IEC 13660:2001 (from memory) has no long end, B ends at 50 mm."""
    slow = 2 * drift(SHAPE, 0.5, 0, 0.3)
    assert mottle(slow, 3) == pytest.approx(2, rel=0.02)
    assert index(45 + slow) < 0.3
