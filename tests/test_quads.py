"""Four-sided shapes in a map: found, clockwise, with a hidden corner put back. Closed forms throughout."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from calibration.quads import (
    clockwise,
    corner_angles_deg,
    quad_mask,
    quad_of_hull,
    quads_in,
    shrunk,
    side_lengths,
)

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]])  # clockwise, since y runs down


def painted(*shapes: NDArray[np.float64], size: tuple[int, int] = (300, 400)) -> NDArray[np.uint8]:
    mask = np.zeros(size, np.uint8)
    for shape in shapes:
        cv2.fillPoly(mask, [np.round(shape).astype(np.int32)], 1)
    return mask


def found(mask: NDArray[np.uint8], min_area_px: float = 500) -> list[NDArray[np.float64]]:
    return list(quads_in(mask, min_area_px))


def nearest_corners_px(quad: NDArray[np.float64], truth: NDArray[np.float64]) -> float:
    return float(min(np.abs(np.roll(quad, k, axis=0) - truth).max() for k in range(4)))


@pytest.mark.parametrize("first", range(4))
def test_corners_come_out_clockwise_wherever_they_start_and_whichever_way_they_ran(first: int) -> None:
    forward = np.roll(SQUARE, -first, axis=0)
    assert np.array_equal(clockwise(forward), forward)
    assert np.array_equal(clockwise(forward[::-1]), forward)


def test_angles_and_sides_of_a_known_shape() -> None:
    """A right trapezoid, 4 wide above, 7 below, 4 high: angles 90, 90 + atan(3/4), 90 - atan(3/4), 90; slope side 5."""
    trapezoid = np.array([[0.0, 0.0], [4.0, 0.0], [7.0, 4.0], [0.0, 4.0]])
    slope = np.degrees(np.arctan2(3, 4))
    assert corner_angles_deg(trapezoid) == pytest.approx([90, 90 + slope, 90 - slope, 90], abs=1e-9)
    assert side_lengths(trapezoid) == pytest.approx([4, 5, 7, 4], abs=1e-12)


@given(st.lists(st.floats(-100, 100), min_size=8, max_size=8))
def test_angles_never_leave_0_to_180_even_of_corners_that_coincide(flat: list[float]) -> None:
    angles = corner_angles_deg(np.array(flat).reshape(4, 2))
    assert np.isfinite(angles).all()
    assert angles.min() >= 0
    assert angles.max() <= 180


@given(st.floats(0.0, 0.9))
def test_shrinking_keeps_the_centre_and_scales_the_sides(share: float) -> None:
    smaller = shrunk(SQUARE, share)
    assert smaller.mean(axis=0) == pytest.approx([2, 1.5], abs=1e-12)
    assert side_lengths(smaller) == pytest.approx((1 - share) * side_lengths(SQUARE), abs=1e-12)


def test_a_mask_holds_the_pixels_whose_centres_lie_inside() -> None:
    """Pixel centres are whole numbers: 2.6 to 7.4 holds the five columns 3 to 7."""
    quad = np.array([[2.6, 1.6], [7.4, 1.6], [7.4, 4.4], [2.6, 4.4]])
    mask = quad_mask((8, 12), quad)
    rows, columns = np.nonzero(mask)
    assert (rows.min(), rows.max(), columns.min(), columns.max(), mask.sum()) == (2, 4, 3, 7, 15)


def test_a_mask_of_a_shape_outside_the_picture_is_empty() -> None:
    assert not quad_mask((8, 12), SQUARE + 100).any()


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 80])
def test_a_turned_rectangle_is_found_to_a_pixel(turn_deg: float) -> None:
    box = cv2.boxPoints(((200, 150), (180, 90), turn_deg)).astype(np.float64)
    (quad,) = found(painted(box))
    assert nearest_corners_px(quad, clockwise(box)) < 1.6


def test_a_hole_is_found_too() -> None:
    """A card darker than the board it lies on is a hole in the board's map."""
    board = np.array([[20.0, 20.0], [380.0, 20.0], [380.0, 280.0], [20.0, 280.0]])
    mask = painted(board)
    mask[100:160, 150:240] = 0
    quads = found(mask)
    hole = np.array([[149.0, 99.0], [240.0, 99.0], [240.0, 160.0], [149.0, 160.0]])  # just around it
    assert len(quads) == 2
    assert min(nearest_corners_px(quad, hole) for quad in quads) < 1.6


WHOLE = np.array([[40.0, 40.0], [360.0, 40.0], [360.0, 240.0], [40.0, 240.0]])


def cut_off(corner: int, cut_px: float) -> NDArray[np.float64]:
    before = WHOLE[corner] + cut_px * np.sign(WHOLE[corner - 1] - WHOLE[corner])
    after = WHOLE[corner] + cut_px * np.sign(WHOLE[(corner + 1) % 4] - WHOLE[corner])
    return np.concatenate([WHOLE[:corner], [before, after], WHOLE[corner + 1 :]])


@pytest.mark.parametrize("cut_px", [24, 36, 48])
@pytest.mark.parametrize("corner", range(4))
def test_a_cut_off_corner_is_put_back(corner: int, cut_px: float) -> None:
    (quad,) = found(painted(cut_off(corner, cut_px)))
    assert nearest_corners_px(quad, WHOLE) < 3


@pytest.mark.parametrize("cut_px", [4, 8, 14])
@pytest.mark.parametrize("corner", range(4))
def test_a_nick_moves_its_corner_by_no_more_than_its_own_size(corner: int, cut_px: float) -> None:
    """Such a first guess is refined to the edges afterwards."""
    (quad,) = found(painted(cut_off(corner, cut_px)))
    assert nearest_corners_px(quad, WHOLE) < cut_px + 2


def test_two_cut_off_corners_are_put_back() -> None:
    cut = np.array([[65, 40], [335, 40], [360, 65], [360, 240], [40, 240], [40, 65]], np.float64)
    (quad,) = found(painted(cut))
    assert nearest_corners_px(quad, WHOLE) < 3


def test_rounds_triangles_and_hollow_shapes_are_no_quadrilaterals() -> None:
    disc = np.zeros((300, 400), np.uint8)
    cv2.circle(disc, (200, 150), 90, 1, -1)
    triangle = painted(np.array([[50.0, 250.0], [350.0, 250.0], [200.0, 40.0]]))
    angle = painted(np.array([[50, 50], [350, 50], [350, 110], [120, 110], [120, 250], [50, 250]], np.float64))
    assert found(disc) == found(triangle) == found(angle) == []


def test_small_specks_are_left_out() -> None:
    mask = painted(np.array([[40.0, 40.0], [60.0, 40.0], [60.0, 55.0], [40.0, 55.0]]))
    assert len(found(mask, min_area_px=200)) == 1
    assert found(mask, min_area_px=400) == []


@given(st.integers(0, 2**32 - 1))
def test_any_convex_outline_gives_a_convex_clockwise_quadrilateral_or_none(seed: int) -> None:
    points = np.random.default_rng(seed).integers(0, 400, (8, 2)).astype(np.int32)
    quad = quad_of_hull(cv2.convexHull(points))
    if quad is not None:
        assert quad.shape == (4, 2)
        assert cv2.contourArea(quad.astype(np.float32), oriented=True) > 0
        assert cv2.isContourConvex(quad.astype(np.float32))
        assert corner_angles_deg(quad).sum() == pytest.approx(360, abs=1e-6)
