"""Does the board lie where the strips say, however they were laid, turned, covered or photographed?

The truth is the simulator's geometry. All accuracies are over the zones' edges: lines across the board every 1/8 of its
length, kept 5 mm from the long edges, as zones are.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from simulator import Background
from simulator.strips_in_scene import Laid
from strip_photos import (
    ASKEW_BOTTOM,
    ASKEW_TOP,
    StripPhoto,
    askew,
    covered,
    laid_of,
    numbers_on,
    photograph,
    printed,
    sightings_of,
)

from calibration.errors import PlaceError
from calibration.findings import REGISTRY
from calibration.strip_board import settle_board
from calibration.strip_finder import StripSightings
from calibration.strip_plane import StripPlane, board_from_strips, place_by_strips
from calibration.strips import CELLS, Side, marker_id

THIRD = [0, 3, 4, marker_id(Side.BOTTOM, 2), marker_id(Side.BOTTOM, 7)]  # of 16 markers on a 300 mm board


def zone_edges(taken: StripPhoto) -> NDArray[np.float64]:
    length, width = taken.board.size_mm
    x, y = np.meshgrid(np.linspace(0, length, 9), np.linspace(5, width - 5, 5))
    return np.column_stack([x.ravel(), y.ravel()])


def zone_error_mm(taken: StripPhoto, laid: StripPlane) -> tuple[float, float]:
    """Largest error of the zones' edges along the board, and of points on them across it."""
    points = zone_edges(taken)
    along, across = np.abs(laid.to_mm(taken.true_px(points)) - points).max(axis=0)
    return float(along), float(across)


def scale_error(taken: StripPhoto, laid: StripPlane) -> float:
    """Largest relative error of the board's sides and diagonals as the strips measure them."""
    length, width = taken.board.size_mm
    corners = np.array([(0, 0), (length, 0), (length, width), (0, width)], dtype=np.float64)
    seen = laid.to_mm(taken.true_px(corners))
    pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)]
    return max(abs(float(np.hypot(*(seen[b] - seen[a])) / np.hypot(*(corners[b] - corners[a])) - 1)) for a, b in pairs)


# --- accuracy --------------------------------------------------------------------------------------------------------


def test_strips_laid_well_place_the_board_by_themselves() -> None:
    """As good as the corners are: hundredths of a millimetre."""
    taken = photograph(roll_deg=30, tilt_deg=(-10, 8))
    laid = laid_of(taken)
    assert sorted(laid.used) == sorted(number for side in Side for number in numbers_on(side, 300))
    assert laid.missing is None
    assert max(zone_error_mm(taken, laid)) < 0.08
    assert scale_error(taken, laid) < 0.001
    assert laid.residual_mm < 0.03
    assert laid.residual_max_mm < 0.1
    assert laid.zero_apart_mm == pytest.approx(0, abs=0.1)
    assert laid.width_error_mm == pytest.approx(0, abs=0.1)


def test_strips_1_mm_and_1_degree_off_still_tell_the_scale_and_the_board_is_found_by_its_ends() -> None:
    """Before the ends are looked at within 2 mm, afterwards within 0.1 mm along the board."""
    taken = askew()
    laid = laid_of(taken)
    assert scale_error(taken, laid) < 0.0015
    assert zone_error_mm(taken, laid)[0] < 2
    settled = settle_board(taken.photo, laid)
    assert settled.left
    assert settled.right
    along, across = zone_error_mm(taken, settled.laid)
    assert along < 0.1
    assert across < 1.0
    assert settled.length_error_mm == pytest.approx(0, abs=0.1)
    assert settled.laid.u_mm < laid.u_mm


def test_what_hands_did_is_measured() -> None:
    """Zero arrows 2 mm apart, the strips 0.5 mm too far apart at the left end and more at the right one."""
    taken = photograph(top=(Laid((0.8, -0.3), 0.1),), bottom=(Laid((-1.2, 0.2), 0.3),))
    laid = settle_board(taken.photo, laid_of(taken)).laid
    assert laid.zero_mm(Side.TOP) == pytest.approx(0.8, abs=0.1)
    assert laid.zero_mm(Side.BOTTOM) == pytest.approx(-1.2, abs=0.1)
    assert laid.zero_apart_mm == pytest.approx(-2.0, abs=0.1)
    turn_mm = 150 * np.tan(np.radians(0.3 - 0.1))  # at the middle of the board
    assert laid.width_error_mm == pytest.approx(0.5 + turn_mm, abs=0.1)


@pytest.mark.parametrize(
    ("top", "bottom", "hidden", "missing"),
    [
        (ASKEW_TOP, ASKEW_BOTTOM, THIRD, None),
        (None, ASKEW_BOTTOM, [], Side.TOP),
        (ASKEW_TOP, None, [], Side.BOTTOM),
        (ASKEW_TOP, None, [2, 5], Side.BOTTOM),
    ],
)
def test_hidden_markers_or_a_missing_strip_leave_scale_and_zones_right(
    top: tuple[Laid, ...] | None, bottom: tuple[Laid, ...] | None, hidden: list[int], missing: Side | None
) -> None:
    taken = photograph(top=top, bottom=bottom, strips=covered(printed(300), hidden), roll_deg=75, tilt_deg=(8, 10))
    laid = laid_of(taken)
    assert laid.missing is missing
    assert not set(hidden) & set(laid.used)
    assert scale_error(taken, laid) < 0.003
    along, _ = zone_error_mm(taken, settle_board(taken.photo, laid).laid)
    assert along < 0.5
    if missing:
        assert laid.u_mm > 1.3 * laid_of(askew()).u_mm
        assert laid.u_plane_mm > 1.3 * laid_of(askew()).u_plane_mm
        assert laid.zero_apart_mm is None
        assert laid.width_error_mm is None


def test_sections_joined_carelessly_are_placed_one_by_one() -> None:
    """A board of 400 mm, both strips in two sections, each off on its own."""
    taken = photograph(
        400,
        top=(Laid((0.5, -0.5), 0.2), Laid((1.2, 0.3), -0.5)),
        bottom=(Laid((-0.4, 0.4), -0.3), Laid((0.9, 0.6), 0.4)),
        tilt_deg=(9, -9),
        roll_deg=8,
    )
    laid = laid_of(taken)
    assert [(section.side, section.index) for section in laid.sections] == [(side, k) for side in Side for k in (0, 1)]
    assert laid.residual_mm < 0.03  # as one piece each they would miss by a millimetre
    assert scale_error(taken, laid) < 0.001
    assert zone_error_mm(taken, settle_board(taken.photo, laid).laid)[0] < 0.1
    tops = [section for section in laid.sections if section.side is Side.TOP]
    joint = [section.on_board((240.0, 0.0)) for section in tops]
    assert joint[1][0] - joint[0][0] == pytest.approx(0.7, abs=0.1)


@pytest.mark.parametrize("k1", [0.02, -0.02])
def test_a_lens_that_bends_by_2_per_cent_is_recovered(k1: float) -> None:
    taken = photograph(top=ASKEW_TOP, bottom=ASKEW_BOTTOM, roll_deg=15, tilt_deg=(9, 6), k1=k1)
    laid = laid_of(taken)
    assert laid.lens.k1 == pytest.approx(k1, abs=0.001)
    assert laid.residual_mm < 0.03
    assert scale_error(taken, laid) < 0.0015
    assert zone_error_mm(taken, settle_board(taken.photo, laid).laid)[0] < 0.1


def test_a_straight_lens_is_not_bent() -> None:
    assert laid_of(askew()).lens.k1 == pytest.approx(0, abs=0.0005)


# --- the board's own edges -------------------------------------------------------------------------------------------


def test_a_board_that_is_longer_than_said_begins_at_its_left_end() -> None:
    taken = photograph(300, strips=printed(297))
    laid = place_by_strips(taken.photo, 297, 150)
    assert laid is not None
    settled = settle_board(taken.photo, laid)
    assert settled.length_error_mm == pytest.approx(3, abs=0.1)
    assert settled.laid.to_mm(taken.true_px([(0.0, 75.0)]))[0, 0] == pytest.approx(0, abs=0.1)


def test_strips_lower_than_the_face_show_as_a_board_too_long_and_the_error_is_halved() -> None:
    """On the bench beside a board 9 mm thick, 0.3 m from the camera: the face is nearer and looks larger."""
    taken = photograph(below_face_mm=9, size_px=(1700, 1200))
    laid = laid_of(taken)
    left, right = laid.to_mm(taken.true_px([(0.0, 75.0), (300.0, 75.0)]))[:, 0]
    assert right - left - 300 > 4
    settled = settle_board(taken.photo, laid)
    assert settled.length_error_mm == pytest.approx(right - left - 300, abs=0.3)
    along, _ = zone_error_mm(taken, settled.laid)
    assert along < 0.55 * (right - left - 300)


def test_an_edge_that_shows_beside_its_strip_places_the_board_across_too() -> None:
    """Both strips 2 mm too low: the top one covers the board, the bottom one leaves a gap of 2 mm."""
    low = (Laid((0.0, 2.0)),)
    taken = photograph(top=low, bottom=low)
    laid = laid_of(taken)
    assert zone_error_mm(taken, laid)[1] == pytest.approx(2, abs=0.1)
    settled = settle_board(taken.photo, laid)
    assert settled.edges_seen == (Side.BOTTOM,)
    assert zone_error_mm(taken, settled.laid)[1] < 0.4


def test_where_no_end_is_seen_the_board_stays_between_the_strips() -> None:
    taken = photograph(board_Lab=(34.0, 0.0, 1.0), background=Background(Lab=(34.0, 0.0, 1.0)))
    laid = laid_of(taken)
    settled = settle_board(taken.photo, laid)
    assert (settled.left, settled.right, settled.length_error_mm, settled.edges_seen) == (None, None, None, ())
    assert settled.laid is laid


def test_the_paper_that_covers_the_board_is_known() -> None:
    """The top strip, turned about its zero arrow by 1 degree, covers 300 tan(1°) - 0.6 mm at the right end."""
    settled = settle_board(askew().photo, laid_of(askew())).laid
    paper = settled.papers_mm()[1].astype(np.float32)  # its second section, where the board's end is
    true = askew().true_px([(285.0, 285 * np.tan(np.radians(1.0)) - 0.6 - 0.5), (285.0, 6.5)])
    inside = [cv2.pointPolygonTest(paper, tuple(map(float, point)), measureDist=False) for point in settled.to_mm(true)]
    assert inside == [1.0, -1.0]


# --- refusals --------------------------------------------------------------------------------------------------------


def chosen(sightings: StripSightings, numbers: list[int]) -> StripSightings:
    kept = np.isin(sightings.numbers, numbers)
    return replace(
        sightings,
        numbers=sightings.numbers[kept],
        corners_px=sightings.corners_px[kept],
        scatter_px=sightings.scatter_px[kept],
    )


def refused(sightings: StripSightings, width_mm: float = 150) -> PlaceError:
    with pytest.raises(PlaceError) as caught:
        board_from_strips(sightings, 300, width_mm)
    assert caught.value.code in REGISTRY
    assert caught.value.remedy
    return caught.value


def test_a_mirrored_photo_is_refused_with_its_reason() -> None:
    photo = askew().photo
    mirrored = replace(photo, codes=np.asarray(np.ascontiguousarray(photo.codes[::-1]), dtype=np.uint8))
    with pytest.raises(PlaceError, match=r"board\.jpg: the photo is mirrored") as caught:
        place_by_strips(mirrored, 300, 150)
    assert caught.value.code == "photo-mirrored"


def test_too_few_markers_are_refused_and_no_marker_is_no_strip() -> None:
    for numbers in ([0, 1], [0, CELLS], [5]):
        assert refused(chosen(sightings_of(askew()), numbers)).code == "strips-hidden"
    assert place_by_strips(photograph(120, 60, top=None, bottom=None).photo, 120, 60) is None


def test_three_markers_are_enough() -> None:
    laid = board_from_strips(chosen(sightings_of(askew()), [0, 6, CELLS + 4]), 300, 150)
    assert len(laid.used) == 3
    assert scale_error(askew(), laid) < 0.005
    assert laid.u_plane_mm > laid_of(askew()).u_plane_mm


def test_strips_of_another_board_are_refused() -> None:
    error = refused(sightings_of(askew()), width_mm=200)
    assert error.code == "strips-apart"
    assert "the board is 200 mm wide" in str(error)


def test_strips_that_changed_places_are_refused() -> None:
    """Top along the bottom edge, bottom along the top edge, neither turned round."""
    sightings = sightings_of(askew())
    swapped = replace(sightings, numbers=(sightings.numbers + CELLS) % (2 * CELLS))
    assert refused(swapped).code == "strips-apart"


# --- stray markers ---------------------------------------------------------------------------------------------------


def test_stray_markers_are_ignored() -> None:
    """A second sheet on the bench: one marker with a number of its own, one that is seen twice."""
    sightings = sightings_of(askew())
    stray = sightings.corners_px[:2] + np.array([40.0, 260.0])
    more = replace(
        sightings,
        numbers=np.append(sightings.numbers, [11, sightings.numbers[3]]),
        corners_px=np.concatenate([stray[:1], sightings.corners_px[:0], sightings.corners_px, stray[1:]])[
            np.r_[1 : len(sightings.numbers) + 1, 0, len(sightings.numbers) + 1]
        ],
        scatter_px=np.append(sightings.scatter_px, [0.05, 0.05]),
    )
    alone, together = (board_from_strips(seen, 300, 150) for seen in (sightings, more))
    assert sorted(together.ignored) == sorted([11, int(sightings.numbers[3])])
    assert together.used == alone.used
    assert together.corners_px() == pytest.approx(alone.corners_px(), abs=1e-6)


def test_a_marker_that_was_measured_wrong_has_no_say() -> None:
    """One marker 3 mm off (12 px): a curled corner, a patch pasted over it."""
    sightings = sightings_of(askew())
    bent = sightings.corners_px.copy()
    bent[4] += (9.0, 8.0)
    laid = board_from_strips(replace(sightings, corners_px=bent), 300, 150)
    assert laid.ignored == (int(sightings.numbers[4]),)
    assert laid.corners_px() == pytest.approx(board_from_strips(sightings, 300, 150).corners_px(), abs=0.1)
