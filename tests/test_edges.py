"""Edges of painted steps: where they run and how wide they are, in closed form.

A straight step between two levels, blurred by a Gaussian, is the error function of the distance to its line; its
10-90 % width is 2 x 1.2816 sigma = 2.563 sigma (quantiles of the normal distribution).
"""

from math import erf

import numpy as np
import pytest
from board_photos import photo_of_light
from numpy.typing import NDArray

from calibration.edges import refine_quad

ROWS, COLUMNS = 400, 600
TRUE = np.array([[90.3, 70.6], [500.8, 98.2], [488.4, 330.9], [101.7, 318.5]])  # no side along the pixels
GAUSS_10_90 = 2.563  # 10-90 % width of a Gaussian-blurred step, in sigma
_erf = np.vectorize(erf)


def stepped(
    sigma_px: float, *, inside: float = 0.12, outside: float = 0.6, noise: float = 0.0, corners: NDArray = TRUE
) -> NDArray[np.float64]:
    """Light (rows, columns, 3) of a four-sided face of one level before another level, edges blurred."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float64)
    covered = np.ones((ROWS, COLUMNS))
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.hypot(*(end - start))
        distance = along[0] * (y - start[1]) - along[1] * (x - start[0])  # positive inside, clockwise corners
        covered *= 0.5 * (1 + _erf(distance / (np.sqrt(2) * sigma_px)))
    light = outside + covered * (inside - outside)
    light = light + np.random.default_rng(1).normal(0, noise, light.shape) if noise else light
    return np.repeat(light[..., None], 3, axis=2)


def distance_to_sides_px(quad: NDArray[np.float64]) -> float:
    """Largest distance of a refined side's ends from the true lines, px."""
    worst = 0.0
    for k in range(4):
        start, end = TRUE[k], TRUE[(k + 1) % 4]
        along = (end - start) / np.hypot(*(end - start))
        for point in (quad[k], quad[(k + 1) % 4]):
            worst = max(worst, abs(along[0] * (point - start)[1] - along[1] * (point - start)[0]))
    return worst


GUESS = TRUE + np.array([[4.0, -3.0], [-5.0, 4.0], [3.0, 5.0], [-4.0, -4.0]])


@pytest.mark.parametrize("sigma_px", [0.6, 1.0, 2.0])
@pytest.mark.parametrize(("inside", "outside"), [(0.12, 0.6), (0.6, 0.12), (0.30, 0.36)])
def test_a_blurred_slanted_edge_is_found_within_a_tenth_of_a_pixel(
    sigma_px: float, inside: float, outside: float
) -> None:
    found = refine_quad(photo_of_light(stepped(sigma_px, inside=inside, outside=outside)), GUESS, 12)
    assert distance_to_sides_px(found.corners_px) < 0.1
    assert np.abs(found.corners_px - TRUE).max() < 0.2  # where two lines meet, their errors add
    assert found.support > 0.9
    assert found.scatter_px < 0.1


def test_under_noise_the_edge_stays_within_a_quarter_of_a_pixel() -> None:
    found = refine_quad(photo_of_light(stepped(1.0, noise=0.02)), GUESS, 12)
    assert distance_to_sides_px(found.corners_px) < 0.25
    assert found.support > 0.8


@pytest.mark.parametrize("sigma_px", [1.0, 1.5, 2.0, 2.5])
def test_the_width_of_a_gaussian_edge_is_2_563_sigma(sigma_px: float) -> None:
    """Read on a grid of a quarter pixel, from either side outwards: up to half a pixel too wide."""
    found = refine_quad(photo_of_light(stepped(sigma_px)), TRUE, 16)
    assert found.edge_width_px is not None
    assert -0.05 < found.edge_width_px - GAUSS_10_90 * sigma_px < 0.5


def test_the_sharpest_side_gives_the_width() -> None:
    """A board's far end may be out of focus; that is not the photo's blur."""
    sharp, soft = stepped(0.8), stepped(3.0)
    mixed = np.where((np.arange(COLUMNS) < 300)[None, :, None], sharp, soft)
    found = refine_quad(photo_of_light(mixed), TRUE, 16)
    assert found.edge_width_px is not None
    assert found.edge_width_px < GAUSS_10_90 * 0.8 + 0.5


def test_a_picture_without_an_edge_supports_nothing_and_moves_nothing() -> None:
    found = refine_quad(photo_of_light(np.full((ROWS, COLUMNS, 3), 0.3)), GUESS, 12)
    assert found.support == 0
    assert found.edge_width_px is None
    assert found.corners_px == pytest.approx(GUESS, abs=1e-6)


def test_noise_alone_supports_nothing() -> None:
    rng = np.random.default_rng(5)
    noise = photo_of_light(0.3 + rng.normal(0, 0.02, (ROWS, COLUMNS, 1)).repeat(3, axis=2))
    assert refine_quad(noise, GUESS, 12).support < 0.4


def test_a_missing_side_is_told_by_the_support_and_leaves_the_others_exact() -> None:
    """The lowest side runs out of the shape: below row 250 all is as inside."""
    light = stepped(1.0)
    light[250:] = 0.12
    light[250:, :80] = light[250:, 520:] = 0.12
    found = refine_quad(photo_of_light(light), GUESS, 12)
    assert found.support == 0
    above = found.corners_px[:2]
    along = (TRUE[1] - TRUE[0]) / np.hypot(*(TRUE[1] - TRUE[0]))
    assert np.abs(along[0] * (above - TRUE[0])[:, 1] - along[1] * (above - TRUE[0])[:, 0]).max() < 0.2


def test_grain_that_runs_along_an_edge_is_not_taken_for_it() -> None:
    """Short strokes, each as strong as the edge, scattered inside: wood against a background of about its level."""
    rng = np.random.default_rng(3)
    light = stepped(0.8, inside=0.30, outside=0.42)
    for _ in range(500):
        x, y, length = rng.integers(105, 440), rng.integers(80, 320), rng.integers(8, 30)
        light[y : y + 2, x : x + length] *= 0.75
    found = refine_quad(photo_of_light(light), GUESS, 12)
    assert distance_to_sides_px(found.corners_px) < 0.6


def test_a_chip_in_the_edge_does_not_bend_the_line() -> None:
    light = stepped(0.8)
    light[60:110, 220:300] = 0.6  # a fifth of the upper side broken out
    found = refine_quad(photo_of_light(light), GUESS, 12)
    assert distance_to_sides_px(found.corners_px) < 0.1
    assert 0.6 < found.support < 0.9


@pytest.mark.parametrize("exposure", [0.05, 0.4])
def test_exposure_moves_no_edge(exposure: float) -> None:
    reference = refine_quad(photo_of_light(stepped(1.0)), GUESS, 12)
    other = refine_quad(photo_of_light(exposure * stepped(1.0)), GUESS, 12)
    assert other.corners_px == pytest.approx(reference.corners_px, abs=0.02)


def test_edges_are_read_in_linear_light_not_in_codes() -> None:
    """The middle of a wide blurred step lies at the mean of the light; in sRGB codes it is shifted by 2 px."""
    linear = stepped(3.0, inside=0.02, outside=0.9)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    as_if_linear = refine_quad(photo_of_light(encoded), TRUE, 16)
    right = refine_quad(photo_of_light(linear), TRUE, 16)
    assert distance_to_sides_px(right.corners_px) < 0.1
    assert distance_to_sides_px(as_if_linear.corners_px) > 1.5


@pytest.mark.parametrize("shape", [(1, 1), (1, 400), (400, 1), (2, 2), (3, 5)])
def test_a_photo_of_a_few_pixels_is_no_accident(shape: tuple[int, int]) -> None:
    assert refine_quad(photo_of_light(np.full((*shape, 3), 0.2)), TRUE, 6).support == 0


def test_a_guess_outside_the_photo_finds_nothing() -> None:
    found = refine_quad(photo_of_light(stepped(1.0)), TRUE + 2000, 12)
    assert found.support == 0
    assert np.isfinite(found.corners_px).all()
