"""Millimetres to pixels and the one resampling, against closed forms and patterns painted in millimetres."""

import cv2
import numpy as np
import pytest
from board_photos import photo_of_codes, photo_of_light
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from calibration.photo import Photo
from calibration.plane import Plane, flatten, plane_from_corners

LENGTH_mm, WIDTH_mm = 120.0, 60.0
FACE = np.array([[0.0, 0.0], [LENGTH_mm, 0.0], [LENGTH_mm, WIDTH_mm], [0.0, WIDTH_mm]])
SQUARE_ON = np.array([[49.5, 29.5], [529.5, 29.5], [529.5, 269.5], [49.5, 269.5]])  # 4 px/mm, whole pixels covered
TILTED = np.array([[60.2, 45.7], [520.4, 20.1], [545.9, 285.3], [40.8, 262.4]])
SHAPE = (320, 600)
SINGLE_px = 1e-4  # corners are taken in single precision: a few hundred thousandths of a pixel


def painted(pattern: object, corners: ArrayLike = TILTED, *, finer: int = 2, shape: tuple[int, int] = SHAPE) -> Photo:
    """Photo of a face whose light is `pattern(x_mm, y_mm)`, each pixel the mean over its square."""
    to_mm = cv2.getPerspectiveTransform(np.asarray(corners, np.float32), FACE.astype(np.float32))
    part = (np.arange(finer) + 0.5) / finer - 0.5
    columns = (np.arange(shape[1])[:, None] + part).ravel()
    rows = (np.arange(shape[0])[:, None] + part).ravel()
    x, y = np.meshgrid(columns, rows)
    u, v, w = (row[0] * x + row[1] * y + row[2] for row in to_mm)
    light = np.asarray(pattern(u / w, v / w), dtype=np.float64)  # type: ignore[operator]
    light = light.reshape(shape[0], finer, shape[1], finer).mean(axis=(1, 3))
    return photo_of_light(np.repeat(light[..., None], 3, axis=2))


def centres_mm(shape: tuple[int, int], mm_per_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    return x * mm_per_px, y * mm_per_px


def test_corners_map_to_corners() -> None:
    plane = plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm)
    assert plane.to_px(FACE) == pytest.approx(TILTED, abs=SINGLE_px)
    assert plane.to_mm(TILTED) == pytest.approx(FACE, abs=SINGLE_px)
    assert plane.corners_px() == pytest.approx(TILTED, abs=SINGLE_px)


def test_the_middle_of_a_face_is_where_its_diagonals_cross() -> None:
    """Not the mean of the corners: under perspective the far half looks smaller."""
    (x1, y1), (x2, y2) = TILTED[0], TILTED[2]
    (x3, y3), (x4, y4) = TILTED[1], TILTED[3]
    system = np.array([[x2 - x1, x3 - x4], [y2 - y1, y3 - y4]])
    t, _ = np.linalg.solve(system, [x3 - x1, y3 - y1])
    crossing = TILTED[0] + t * (TILTED[2] - TILTED[0])
    plane = plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm)
    assert plane.to_px((LENGTH_mm / 2, WIDTH_mm / 2)) == pytest.approx(crossing, abs=SINGLE_px)


@settings(max_examples=60)
@given(st.lists(st.floats(-35, 35), min_size=8, max_size=8), st.floats(0, 360))
def test_there_and_back_again_for_any_pose(shake: list[float], turn_deg: float) -> None:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    corners = (SQUARE_ON + np.array(shake).reshape(4, 2)) @ np.array([[c, s], [-s, c]])
    plane = plane_from_corners(corners, LENGTH_mm, WIDTH_mm)
    points = np.random.default_rng(1).uniform((0, 0), (LENGTH_mm, WIDTH_mm), (20, 2))
    assert plane.to_mm(plane.to_px(points)) == pytest.approx(points, abs=1e-6)
    assert plane.to_px(FACE) == pytest.approx(corners, abs=SINGLE_px)


def test_scale_of_a_face_seen_square_on() -> None:
    assert plane_from_corners(SQUARE_ON, LENGTH_mm, WIDTH_mm).px_per_mm() == pytest.approx((4, 4), rel=1e-6)


def test_scale_of_a_face_seen_foreshortened() -> None:
    """480 px for 120 mm one way, 120 px for 60 mm the other."""
    corners = SQUARE_ON * [1, 0.5]
    assert plane_from_corners(corners, LENGTH_mm, WIDTH_mm).px_per_mm() == pytest.approx((2, 4), rel=1e-6)


def test_scale_agrees_with_a_small_step_on_the_face() -> None:
    """Largest and least stretch over directions, at corners and centre, by differences."""
    plane = plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm)
    directions = np.radians(np.arange(0, 180, 0.5))
    steps = 1e-3 * np.stack([np.cos(directions), np.sin(directions)], axis=1)
    places = [*FACE, np.array([LENGTH_mm / 2, WIDTH_mm / 2])]
    stretch = [np.hypot(*(plane.to_px(p + steps) - plane.to_px(p)).T) / 1e-3 for p in places]
    assert plane.px_per_mm() == pytest.approx((np.min(stretch), np.max(stretch)), rel=1e-3)


@pytest.mark.parametrize(
    "corners",
    [
        TILTED[[0, 2, 1, 3]],  # bow tie
        [[0, 0], [100, 60], [200, 0], [100, 200]],  # one corner inside the others
        [[0, 0], [100, 0], [200, 0], [100, 200]],  # three on a line
        np.zeros((4, 2)),
        TILTED[:3],
    ],
)
def test_corners_of_no_face_are_refused(corners: ArrayLike) -> None:
    with pytest.raises(ValueError, match="convex"):
        plane_from_corners(corners, LENGTH_mm, WIDTH_mm)


@pytest.mark.parametrize("mm_per_px", [0.25, 0.4, 0.5, 1.0])
def test_a_flat_picture_has_the_size_of_the_face(mm_per_px: float) -> None:
    picture = flatten(painted(lambda x, _: 0 * x + 0.3), plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm), mm_per_px)
    assert picture.linear_RGB.shape == (round(WIDTH_mm / mm_per_px), round(LENGTH_mm / mm_per_px), 3)
    assert picture.seen.all()
    assert picture.clipped == 0


@pytest.mark.parametrize("mm_per_px", [0.25, 0.4, 1.0])
@pytest.mark.parametrize("corners", [SQUARE_ON, TILTED, np.roll(TILTED, 2, axis=0)])
def test_one_resampling_keeps_a_linear_ramp(mm_per_px: float, corners: NDArray[np.float64]) -> None:
    """A ramp's mean over a square is its value at the square's middle, half a pixel from the face's corner."""
    ramp = lambda x, y: 0.2 + 0.004 * x - 0.002 * y  # noqa: E731 - used twice, a formula
    picture = flatten(painted(ramp, corners), plane_from_corners(corners, LENGTH_mm, WIDTH_mm), mm_per_px)
    wanted = ramp(*centres_mm(picture.seen.shape, mm_per_px))
    assert np.abs(picture.linear_RGB - wanted[..., None]).max() < 2e-4


def test_a_painted_dot_lands_on_its_millimetres() -> None:
    for x0, y0 in [(10.0, 8.0), (60.0, 30.0), (110.0, 50.0)]:
        dot = lambda x, y, x0=x0, y0=y0: 0.2 + 0.6 * np.exp(-((x - x0) ** 2 + (y - y0) ** 2) / (2 * 1.5**2))  # noqa: E731
        picture = flatten(painted(dot, finer=3), plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm), 0.4)
        weight = picture.linear_RGB[..., 1].astype(np.float64) - 0.2
        weight[weight < 0.01] = 0
        x, y = centres_mm(picture.seen.shape, 0.4)
        assert (x * weight).sum() / weight.sum() == pytest.approx(x0, abs=0.02)
        assert (y * weight).sum() / weight.sum() == pytest.approx(y0, abs=0.02)


def test_a_fine_checkerboard_averages_to_half_the_light() -> None:
    """Black and white squares of 2 px: half the light is 0.5; averaged as sRGB codes it would be code 128, 0.216."""
    rows, columns = np.mgrid[0:320, 0:600]
    codes = (255 * ((rows // 2 + columns // 2) % 2)).astype(np.uint8)
    # full scale is taken for clipped: stay just below
    photo = photo_of_codes(np.repeat(np.minimum(codes, 250)[..., None], 3, axis=2))
    white = float(photo.curve[250, 1])
    picture = flatten(photo, plane_from_corners(SQUARE_ON, LENGTH_mm, WIDTH_mm), 2.0)
    assert np.abs(picture.linear_RGB[1:-1, 1:-1] - white / 2).max() < 0.001


def test_texture_finer_than_a_pixel_is_averaged_not_aliased() -> None:
    """Stripes of 0.9 mm seen at 4 px/mm, flattened to 1 mm: without averaging they would beat at full depth."""
    stripes = lambda x, _: 0.4 + 0.3 * np.sin(2 * np.pi * x / 0.9)  # noqa: E731
    picture = flatten(painted(stripes, finer=5), plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm), 1.0)
    # the mean of a wave of period P over a square of side w keeps sin(pi w/P)/(pi w/P): 0.098 of its depth
    assert np.abs(picture.linear_RGB - 0.4).max() < 0.3 * 0.12


def test_the_mean_over_the_face_is_the_mean_of_the_light() -> None:
    rng = np.random.default_rng(7)
    blobs = rng.uniform(size=(12, 24))
    pattern = lambda x, y: blobs[  # noqa: E731
        np.clip(y / 5, 0, 11.999).astype(int), np.clip(x / 5, 0, 23.999).astype(int)
    ]
    picture = flatten(
        painted(lambda x, y: 0.9 * pattern(x, y), finer=5), plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm), 0.4
    )
    assert picture.linear_RGB.mean() == pytest.approx(0.9 * blobs.mean(), abs=1e-3)


def test_what_lies_outside_the_photo_is_not_seen() -> None:
    corners = SQUARE_ON - [170, 0]  # 30 mm of the face lie left of the photo: pixel -0.5 is x = 30 mm
    picture = flatten(painted(lambda x, _: 0 * x + 0.3, corners), plane_from_corners(corners, LENGTH_mm, WIDTH_mm), 0.5)
    assert not picture.seen[:, :60].any()
    assert picture.seen[:, 61:].all()
    assert np.abs(picture.linear_RGB[:, 61:] - 0.3).max() < 1e-4


def test_a_face_wholly_outside_is_not_seen_at_all() -> None:
    corners = SQUARE_ON + 5000
    picture = flatten(painted(lambda x, _: 0 * x + 0.3), plane_from_corners(corners, LENGTH_mm, WIDTH_mm), 0.5)
    assert not picture.seen.any()
    assert picture.clipped == 0


def test_clipped_pixels_are_not_seen_and_are_counted() -> None:
    """A strip of 12 mm of 120 is at full scale, in one channel only."""
    light = np.full((*SHAPE, 3), 0.3)
    light[:, 250:298, 0] = 1.0
    picture = flatten(photo_of_light(light), plane_from_corners(SQUARE_ON, LENGTH_mm, WIDTH_mm), 0.5)
    assert picture.clipped == pytest.approx(0.1, abs=0.01)
    clipped_columns = ~picture.seen.any(axis=0)
    x_mm = (np.flatnonzero(clipped_columns) + 0.5) * 0.5
    assert (x_mm.min(), x_mm.max()) == pytest.approx((50.25, 61.75), abs=0.51)  # 250 px - 49.5 at 4 px/mm
    assert (picture.seen.all(axis=0) | clipped_columns).all()


def test_eight_and_sixteen_bits_agree() -> None:
    rng = np.random.default_rng(3)
    light = cv2.GaussianBlur(rng.uniform(0, 1, (*SHAPE, 3)), (0, 0), 3)
    plane = plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm)
    eight = flatten(photo_of_light(light, bits=8), plane, 0.4).linear_RGB
    sixteen = flatten(photo_of_light(light, bits=16), plane, 0.4).linear_RGB
    assert np.abs(eight - sixteen).max() <= 0.5 / 255 + 1e-4  # half a code
    assert eight.mean() == pytest.approx(sixteen.mean(), abs=2e-5)


def test_tiles_leave_no_seam() -> None:
    """A whole face at once and its tiles give the same; here against a face laid out so that tiles shift by 13 px."""
    smooth = lambda x, y: 0.4 + 0.2 * np.sin(x / 9) * np.cos(y / 7)  # noqa: E731
    photo = painted(smooth)
    plane = plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm)
    whole = flatten(photo, plane, 0.4).linear_RGB
    moved = plane.mm_to_px @ np.array([[1, 0, 13 * 0.4], [0, 1, 7 * 0.4], [0, 0, 1]])
    part = flatten(photo, Plane(moved, LENGTH_mm - 13 * 0.4, WIDTH_mm - 7 * 0.4), 0.4).linear_RGB
    assert np.abs(part - whole[7:, 13:]).max() < 2e-3


def test_a_photo_coarser_than_the_picture_is_read_between_its_pixels() -> None:
    """1 px/mm flattened to 0.4 mm: a ramp stays a ramp."""
    corners = SQUARE_ON / 4
    ramp = lambda x, y: 0.2 + 0.004 * x - 0.002 * y  # noqa: E731
    photo = painted(ramp, corners, shape=(90, 160))
    picture = flatten(photo, plane_from_corners(corners, LENGTH_mm, WIDTH_mm), 0.4)
    wanted = ramp(*centres_mm(picture.seen.shape, 0.4))
    assert np.abs(picture.linear_RGB[..., 1] - wanted).max() < 3e-4


def test_the_photo_is_left_as_it_was() -> None:
    photo = painted(lambda x, _: 0.3 + 0 * x)
    before = photo.codes.copy()
    flatten(photo, plane_from_corners(TILTED, LENGTH_mm, WIDTH_mm), 0.4)
    assert np.array_equal(photo.codes, before)
