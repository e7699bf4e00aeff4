"""Are the strips' markers found, and are their corners where the simulator put them?"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from simulator import Background
from strip_photos import covered, numbers_on, photograph, printed

from calibration.photo import Photo
from calibration.strip_finder import StripSightings, find_strips
from calibration.strips import CELLS, Side, marker_id

ALL_OF_120 = sorted(number for side in Side for number in numbers_on(side, 120))


def found(photo: Photo) -> StripSightings:
    sightings = find_strips(photo)
    assert sightings is not None
    return sightings


def with_codes(photo: Photo, codes: np.ndarray) -> Photo:
    return replace(photo, codes=codes)


@pytest.mark.parametrize("roll_deg", [-171, -126, -88, -40, 0, 33, 95, 140, 180])
def test_all_markers_are_found_whichever_way_the_photo_is_turned(roll_deg: float) -> None:
    """At 4 px/mm, tilted by 12 degrees, 40 % falloff, blur, noise, JPEG. OpenCV's own corners are off by 0.3 px."""
    tilt = 12 * np.cos(roll_deg), 12 * np.sin(roll_deg)
    taken = photograph(120, 60, roll_deg=roll_deg, tilt_deg=tilt, seed=round(roll_deg) % 360)
    sightings = found(taken.photo)
    assert sorted(sightings.numbers) == ALL_OF_120
    assert not sightings.is_mirrored
    true = taken.true_markers_px()
    error = np.array([corners - true[n] for n, corners in zip(sightings.numbers, sightings.corners_px, strict=True)])
    distance = np.hypot(error[..., 0], error[..., 1])
    assert distance.mean() < 0.07
    assert distance.max() < 0.25
    assert np.abs(error.mean(axis=(0, 1))).max() < 0.03


def test_corners_are_not_pulled_inwards_by_blur() -> None:
    """Mean corner against the marker's middle, by blur: a tenth of a pixel would show as 0.5 % of scale."""
    for blur in (0.5, 1.5):
        taken = photograph(120, 60, blur_sigma_px=blur, falloff=0.0)
        sightings, true = found(taken.photo), taken.true_markers_px()
        outwards = []
        for number, corners in zip(sightings.numbers, sightings.corners_px, strict=True):
            arm = true[int(number)] - true[int(number)].mean(axis=0)
            outwards.append(((corners - true[int(number)]) * arm).sum(axis=1) / np.hypot(*arm.T))
        assert abs(np.mean(outwards)) < 0.05


def test_a_large_photo_is_searched_on_a_smaller_copy_and_measured_on_itself() -> None:
    taken = photograph(120, 60, size_px=(3200, 2500), px_per_mm=12, blur_sigma_px=1.5, roll_deg=20)
    sightings, true = found(taken.photo), taken.true_markers_px()
    assert sorted(sightings.numbers) == ALL_OF_120
    error = np.array([corners - true[n] for n, corners in zip(sightings.numbers, sightings.corners_px, strict=True)])
    assert np.hypot(error[..., 0], error[..., 1]).mean() < 0.06


def test_markers_too_small_for_the_copy_are_found_at_full_size() -> None:
    """1.9 px/mm: 24 px a marker in the photo, 12 px on the copy of half the size."""
    taken = photograph(1500, 60, px_per_mm=1.9, blur_sigma_px=0.5, size_px=(3100, 500), falloff=0.0)
    sightings = found(taken.photo)
    assert len(sightings.numbers) >= 0.9 * 2 * len(numbers_on(Side.TOP, 1500))


def test_covered_markers_are_left_out_and_the_others_stay_exact() -> None:
    hidden = [1, 4, 6, marker_id(Side.BOTTOM, 0), marker_id(Side.BOTTOM, 5)]
    taken = photograph(strips=covered(printed(300), hidden), tilt_deg=(10, 5))
    sightings, true = found(taken.photo), taken.true_markers_px()
    assert set(sightings.numbers.tolist()) == set(true) - set(hidden)
    error = np.array([corners - true[n] for n, corners in zip(sightings.numbers, sightings.corners_px, strict=True)])
    assert np.hypot(error[..., 0], error[..., 1]).max() < 0.4


def test_a_mirrored_photo_is_recognised() -> None:
    photo = photograph(120, 60, roll_deg=10).photo
    sightings = found(with_codes(photo, np.ascontiguousarray(photo.codes[:, ::-1])))
    assert sightings.is_mirrored
    assert sorted(sightings.numbers) == ALL_OF_120


def test_sixteen_bits_tell_the_same() -> None:
    photo = photograph(120, 60).photo
    codes = photo.codes.astype(np.uint16) * 257
    curve = np.stack([np.interp(np.arange(65536) / 257, np.arange(256), photo.curve[:, k]) for k in range(3)], axis=1)
    finer = replace(photo, codes=codes, curve=curve.astype(np.float32))
    eight, sixteen = found(photo), found(finer)
    assert sorted(sixteen.numbers) == sorted(eight.numbers)
    order = [int(np.flatnonzero(sixteen.numbers == number)[0]) for number in eight.numbers]
    assert sixteen.corners_px[order] == pytest.approx(eight.corners_px, abs=0.02)


@pytest.mark.parametrize(
    ("dictionary", "first", "count"),
    [
        (cv2.aruco.DICT_ARUCO_MIP_36h12, 2 * CELLS, 50),  # of the strips' own dictionary, but not on any strip
        (cv2.aruco.DICT_4X4_50, 0, 50),
        (cv2.aruco.DICT_5X5_100, 0, 100),
        (cv2.aruco.DICT_6X6_250, 0, 200),
        (cv2.aruco.DICT_APRILTAG_36h11, 0, 200),
    ],
)
def test_markers_of_other_kinds_are_not_taken_for_ours(dictionary: int, first: int, count: int) -> None:
    markers = cv2.aruco.getPredefinedDictionary(dictionary)
    page = np.full((10 * 80, 20 * 80), 230, np.uint8)
    for k in range(count):
        row, column = divmod(k, 20)
        page[row * 80 + 16 : row * 80 + 64, column * 80 + 16 : column * 80 + 64] = cv2.resize(
            cv2.aruco.generateImageMarker(markers, first + k, markers.markerSize + 2),
            (48, 48),
            interpolation=cv2.INTER_NEAREST,
        )
    detected = cv2.aruco.ArucoDetector(markers).detectMarkers(page)[1]
    assert len(detected) == count  # they can be seen
    photo = photograph(120, 60, top=None, bottom=None).photo
    assert find_strips(with_codes(photo, np.repeat(page[..., None], 3, axis=2))) is None


def test_a_board_without_strips_has_no_markers() -> None:
    assert find_strips(photograph(top=None, bottom=None, background=Background(texture=0.2)).photo) is None


@pytest.mark.parametrize("blur_sigma_px", [0.8, 1.6])
def test_the_width_of_the_edges_tells_the_blur(blur_sigma_px: float) -> None:
    """10-90 % of a Gaussian step is 2.563 sigma; a pixel adds 1/12 to its square, reading between pixels 1/6."""
    sightings = found(photograph(120, 60, px_per_mm=8, blur_sigma_px=blur_sigma_px).photo)
    assert sightings.edge_width_px == pytest.approx(2.563 * np.sqrt(blur_sigma_px**2 + 1 / 12 + 1 / 6), rel=0.08)
