"""What can be said against a photo of a board: its place, sharpness, scale and exposure?"""

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import PlaceError
from calibration.findings import REGISTRY, Finding, finding
from calibration.photo import Photo
from calibration.place import Place
from calibration.plane import Plane, face_corners_mm
from calibration.quads import side_lengths

MIN_PX_PER_MM = 1.0  # a 4 mm wave is then four pixels wide
WANTED_PX_PER_MM = 2.5  # one photo pixel for each pixel of the flat board
MAX_CLIPPED = 0.001  # of the board
# A channel without light beside one with plenty: the colour lies outside the photo's colour space, and was cut off.
NO_LIGHT, SOME_LIGHT = 0.0006, 0.05  # of full scale, linear: codes 2 and 63 of 255 (chosen)
MAX_CUT_OFF = 0.02  # of the board (chosen)
DARK_LEVEL = 0.04  # of full scale, linear: code 56 of 255; half of all codes lie below it
MAX_EDGE_WIDTH_MM = 1.0  # 10-90 %: a wave of 6 mm then keeps 93 % of its height (Gaussian blur)
MAX_OUTLINE_ERROR_MM = 0.5
MIN_IN_PHOTO, WHOLE_IN_PHOTO = 0.25, 0.99  # of the face; corners clicked at the frame's edge may miss it (chosen)
MAX_MISFIT = 1.5  # of the proportion by given corners to that of the job: a tilt of 48 degrees (cosine)


def place_findings(photo: Photo, place: Place, plane: Plane) -> list[Finding]:
    """Findings about where the board lies and how sharply and large it is seen.

    Raises
    ------
    PlaceError
        If most of it lies outside the photo, or it is seen too small.
    """
    px_per_mm = plane.px_per_mm()[0]
    return [
        *place.findings,
        *_frame_findings(photo, plane),
        *_scale_findings(photo, px_per_mm),
        *_misfit_findings(place, plane),
        *_outline_findings(place, px_per_mm),
        *_blur_findings(place, px_per_mm),
    ]


def _frame_findings(photo: Photo, plane: Plane) -> list[Finding]:
    rows, columns = photo.codes.shape[:2]
    frame = face_corners_mm(columns, rows).astype(np.float32) - np.float32(0.5)
    face = plane.corners_px().astype(np.float32)
    shared, _ = cv2.intersectConvexConvex(frame, face)
    share = float(shared) / max(float(cv2.contourArea(face)), 1e-9)
    if share < MIN_IN_PHOTO:
        raise PlaceError(
            f"only {share:.0%} of the board lies in the photo ({columns} x {rows} pixels).",
            photo=photo.name,
            remedy="Check the corners in job.toml: pixels of the upright photo, x to the right, y down.",
            code="board-not-found",
        )
    return [finding("board-cut-off", percent=100 * (1 - share))] if share < WHOLE_IN_PHOTO else []


def _misfit_findings(place: Place, plane: Plane) -> list[Finding]:
    if place.located_by != "corners":
        return []
    sides = side_lengths(plane.corners_px())
    seen, told = float(sides[[0, 2]].sum() / sides[[1, 3]].sum()), plane.length_mm / plane.width_mm
    misfit = max(seen / told, told / seen)
    return [finding("corners-misfit", seen=seen, told=told)] if misfit > MAX_MISFIT else []


def _scale_findings(photo: Photo, px_per_mm: float) -> list[Finding]:
    if px_per_mm < MIN_PX_PER_MM:
        raise PlaceError(
            f"only {px_per_mm:.2f} px/mm on the board (at least {MIN_PX_PER_MM:.2f} needed).",
            photo=photo.name,
            remedy=REGISTRY["far-too-few-pixels"].remedy,
            code="far-too-few-pixels",
        )
    if px_per_mm < WANTED_PX_PER_MM:
        return [finding("too-few-pixels", px_per_mm=px_per_mm, limit=WANTED_PX_PER_MM)]
    return []


def _outline_findings(place: Place, px_per_mm: float) -> list[Finding]:
    found = [finding("board-turned")] if place.turned else []
    if place.board_edges is not None:
        error_mm = place.board_edges.scatter_px / px_per_mm
        if error_mm > MAX_OUTLINE_ERROR_MM:
            found.append(finding("outline-rough", error_mm=error_mm))
    return found


def _blur_findings(place: Place, px_per_mm: float) -> list[Finding]:
    edges = (place.card_edges, place.board_edges)
    widths = [edge.edge_width_px for edge in edges if edge is not None and edge.edge_width_px is not None]
    if place.strips is not None and place.strips.laid.edge_width_px is not None:
        widths.append(place.strips.laid.edge_width_px)
    if not widths:
        return []
    width_mm = min(widths) / px_per_mm
    return [finding("blurred", blur_mm=width_mm, limit=MAX_EDGE_WIDTH_MM)] if width_mm > MAX_EDGE_WIDTH_MM else []


def exposure_findings(linear_RGB: NDArray[np.float32], clipped: float) -> list[Finding]:
    """Findings about the exposure of the board.

    Parameters
    ----------
    linear_RGB : ndarray of float32, (..., 3)
        Of the board, evenly spread, 0..1 of full scale.
    clipped : float
        Share of the board's pixels with a channel at full scale.
    """
    found = []
    if clipped > MAX_CLIPPED:
        found.append(finding("clipped", percent=100 * clipped, limit=100 * MAX_CLIPPED))
    brightest = linear_RGB.max(axis=-1)
    cut_off = float(((linear_RGB.min(axis=-1) < NO_LIGHT) & (brightest > SOME_LIGHT)).mean())
    if cut_off > MAX_CUT_OFF:
        found.append(finding("colour-cut-off", percent=100 * cut_off, limit=100 * MAX_CUT_OFF))
    level = float(np.percentile(brightest, 98))
    if level < DARK_LEVEL:
        found.append(finding("too-dark", percent=100 * level, limit=100 * DARK_LEVEL))
    return found
