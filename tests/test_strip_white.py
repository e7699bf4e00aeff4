"""Do the white fields of the strips show the light, and nothing but the light?"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from simulator.truth import light_map
from strip_photos import StripPhoto, askew, covered, laid_of, photograph, printed

from calibration.strip_white import white_samples


def relative_error(
    taken: StripPhoto, points_mm: NDArray[np.float64], green: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Of the light that the samples show, against the light that the scene has."""
    ratio = green / light_map(taken.scene, points_mm)
    return np.asarray(ratio / np.median(ratio) - 1)


def test_white_fields_show_the_light() -> None:
    taken = askew()
    points_px, points_mm, linear_RGB, spread = white_samples(taken.photo, laid_of(taken))
    assert len(points_mm) >= 8 * 16
    assert points_px == pytest.approx(laid_of(taken).to_px(points_mm))
    assert (points_mm[:, 1] < 0).sum() >= 60
    assert (points_mm[:, 1] > 150).sum() >= 60
    outward_mm = np.where(points_mm[:, 1] < 0, -points_mm[:, 1], points_mm[:, 1] - 150)
    assert (outward_mm < 17.5).sum() == pytest.approx((outward_mm > 17.5).sum(), abs=8)  # two rows a strip
    assert np.ptp(light_map(taken.scene, points_mm)) > 0.35  # there is something to show
    assert np.abs(relative_error(taken, points_mm, linear_RGB[:, 1])).max() < 0.01
    assert spread.max() < 0.03


def test_dirt_and_covers_do_not_darken_the_white_fields() -> None:
    """A fifth of all fields' area is stained; things lie on some of them."""
    strips = printed(300)
    top = covered(strips, [1, 4]).top.copy()
    rng = np.random.default_rng(2)
    for x, y in rng.uniform((0, 40), (top.shape[1] - 20, 170), (60, 2)).astype(int):
        top[y : y + 18, x : x + 18] = 120
    taken = photograph(strips=replace(strips, top=top))
    _, points_mm, linear_RGB, _ = white_samples(taken.photo, laid_of(taken))
    assert len(points_mm) > 40
    assert np.abs(relative_error(taken, points_mm, linear_RGB[:, 1])).max() < 0.02


def test_white_at_full_scale_is_not_sampled() -> None:
    taken = photograph(120, 60, exposure_EV=0.6, falloff=0.0)
    assert len(white_samples(taken.photo, laid_of(taken)).spread) == 0


@pytest.mark.parametrize("length_mm", [30.0, 55.0])
def test_boards_shorter_than_any_strip_have_their_light_sampled_too(length_mm: float) -> None:
    """The shortest strips, for 60 mm, reach beyond the board's right end."""
    taken = photograph(length_mm, 80, strips=printed(60), px_per_mm=6.0, falloff=0.1)
    laid = laid_of(taken)
    _, points_mm, linear_RGB, _ = white_samples(taken.photo, laid)
    assert len(points_mm) >= 16
    assert np.abs(relative_error(taken, points_mm, linear_RGB[:, 1])).max() < 0.015
    top = laid.papers_mm()[0]
    assert top[:, 0].min() == pytest.approx(-12.0, abs=0.3)  # as cut: 12 mm beyond either end of 60 mm
    assert top[:, 0].max() == pytest.approx(72.0, abs=0.3)
