"""One photo in, one flat upright board in millimetres out: the whole way.

photo -> where the board and the card lie -> light -> gray card -> camera correction -> flat board: XYZ under D50,
what of it can be measured, findings.
"""

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.correction import Correction, with_tone
from calibration.errors import PlaceError
from calibration.findings import REGISTRY, Finding, finding
from calibration.light import Light, gain_over, light_from_background, light_from_flat
from calibration.paper_light import light_by_paper
from calibration.photo import Photo
from calibration.photo_checks import exposure_findings, place_findings
from calibration.place import Place
from calibration.plane import FlatPicture, Plane, flatten, plane_from_corners
from calibration.quads import quad_mask, shrunk, side_lengths
from calibration.reference_reading import (
    correction_findings,
    correction_of,
    read_reference,
    reference_findings,
    stored_for,
    tone_of,
)
from calibration.stored_correction import StoredCorrection
from calibration.tone import tone_findings

# Chosen: ten pixels in the shortest wavelength that counts as blotch (4 mm), and no more work than that needs.
MM_PER_PX = 0.4
MAX_LIGHT_RANGE = 0.10  # over the board, on the background
USUAL_LENGTH_MM = 300.0  # of a test board that no job file names
CHECK_SAMPLES = 40_000  # pixels around the board, evenly spread, are enough to judge exposure
CLIPPED_STRIDE = 2  # every so many lines are enough to find clipped pixels
CHECK_RIM = 0.03  # of the board's sides, where the table shines in
# A photo that is opened for a check at half its size or less: so long a side is left of it. A board of 300 mm that
# fills it has 6 px/mm then; markers are looked for at that size anyway.
CHECK_PX = 1900
# Of it findings are told rather too often than too seldom, and `TOLD_REDUCED` are those that would be told of the whole
# photo as well, by the same numbers: they hang on means and on places, not on single pixels. Tenths of a millimetre do.
TOLD_REDUCED = frozenset(
    {
        "board-cut-off",
        "board-turned",
        "card-dark",
        "card-uneven",
        "chart-seen",
        "corners-misfit",
        "light-from-others",
        "light-residual",
        "light-uneven",
        "mixed-light",
        "nothing-seen",
        "shadow-edge",
        "zero-arrow-off",
    }
)
# Averaging hides pixels at full scale, and channels at zero, between others. Chosen: glare and noise that clip one
# pixel brighten its neighbours as well.
NEAR_FULL_SCALE, NEAR_ZERO = 0.88, 0.002  # of the highest code; of full scale, linear: codes 225 and 8 of 255
CARD_RIM_MM = 3.0  # around the card on the board: its shadow and its edge


@dataclass(frozen=True, slots=True, eq=False)
class FlatBoard:
    """A board's face, upright and flat, in colour that means something.

    Pixel (r, c) of the arrays covers the square from (c, r) to (c + 1, r + 1) times `mm_per_px`, measured from the
    board's top-left corner.
    """

    XYZ: NDArray[np.float32]  # (rows, columns, 3), under D50, Y = 1 for a perfect white
    measurable: NDArray[np.bool_]  # (rows, columns); False: outside the photo, clipped, or under the card
    full_scale: NDArray[np.bool_]  # (rows, columns); of these, the clipped ones: most often glare
    mm_per_px: float
    photo_px_per_mm: float  # coarsest scale in the photo over the board
    located_by: Literal["strips", "corners", "outline"]
    plane: Plane
    card_px: NDArray[np.float64]  # (4, 2), the reference's corners in the photo
    correction: Correction
    light: Light
    findings: tuple[Finding, ...]

    @property
    def light_range(self) -> float | None:
        """(max - min) / max of the light over the board where it was mapped, else None."""
        return self.light.range_over(self.plane) if self.light.mapped else None


def flat_board(
    photo: Photo,
    place: Place,
    size_mm: tuple[float, float],
    *,
    flat: Photo | None = None,
    paired: Photo | None = None,
    stored: StoredCorrection | None = None,
    mm_per_px: float = MM_PER_PX,
) -> FlatBoard:
    """Turn a photo with a reference in it into a flat board in XYZ.

    Parameters
    ----------
    photo : Photo
    place : Place
        Where the board and the reference lie, and what is known of it (`locate`).
    size_mm : (float, float)
        Length along the grain and width of the board, mm.
    flat : Photo, optional
        A plain sheet in the same place and light.
    paired : Photo, optional
        The same still scene at another exposure: it tells the tone curve where only a gray card lies in the photo.
    stored : StoredCorrection, optional
        What an earlier photo told of the camera in this light; it fits this photo (`stored_correction.apart`).
    mm_per_px : float
        Scale of the flat board.

    Raises
    ------
    PlaceError
        If the board was not found, or is seen too small.
    ReferenceCardError
        If the reference was not found or cannot serve.
    """
    if photo.reduced > 1:
        raise ValueError("flat_board: a photo decoded at reduced size averages its codes; open it whole to measure it.")
    plane = _plane(photo, place, size_mm)
    coarsest, _ = plane.px_per_mm()
    findings = [*photo.findings, *place_findings(photo, place, plane)]
    read = read_reference(photo, place)
    light, light_findings = _light(photo, place, plane, flat)
    stored, said = stored_for(photo, read, stored)
    tone = tone_of(photo, read, light, stored, paired)
    if tone.is_usable:
        photo = with_tone(photo, tone)
        light, light_findings = _light(photo, place, plane, flat)
    correction = correction_of(photo, read, tone, light, stored)
    findings += [*reference_findings(photo, place, plane, read, light), *correction_findings(correction, read)]
    if paired is not None and read.gray is not None and stored is None:
        findings += tone_findings(tone)
    findings += [*said, *light_findings]
    picture = flatten(photo, plane, mm_per_px)
    linear = picture.linear_RGB
    if light.mapped:
        linear = linear * gain_over(light, plane, picture.seen.shape, mm_per_px, read.card_px)
    XYZ = np.asarray(cv2.transform(linear, correction.matrix.astype(np.float32)), dtype=np.float32)
    under_card = _under_card(picture, plane.to_mm(read.card_px))
    measurable = picture.seen & ~under_card & ~_under_strips(picture, place, plane)
    some = slice(2, -2, 4)  # not the outermost pixels: the table shines into them
    findings += exposure_findings(picture.linear_RGB[some, some], picture.clipped)
    if not light.mapped:
        findings.append(_unmapped(light.range_over(plane), XYZ, measurable))
    return FlatBoard(
        XYZ,
        measurable,
        picture.full_scale & ~under_card,
        mm_per_px,
        coarsest,
        place.located_by or "corners",
        plane,
        read.card_px,
        correction,
        light,
        tuple(findings),
    )


def photo_findings(photo: Photo, place: Place, size_mm: tuple[float, float] | None) -> list[Finding]:
    """What the checks say of a photo, without flattening the board: quick enough to use while shooting.

    Parameters
    ----------
    photo : Photo
        May be reduced. What is told then holds of the whole photo too if all of it is `TOLD_REDUCED`; else, or if the
        photo is refused, the whole one is to be asked.
    place : Place
        Where the board and the card lie (`locate`).
    size_mm : (float, float) or None
        Length and width of the board, mm. None: its longer side is taken as `USUAL_LENGTH_MM`.

    Returns
    -------
    list of Finding
        Without those that the photo itself carries (`photo.findings`).

    Raises
    ------
    PlaceError, ReferenceCardError
        As `flat_board`.
    """
    plane = _plane(photo, place, size_mm or _usual_size(place))
    findings = place_findings(photo, place, plane)
    read = read_reference(photo, place)
    light, light_findings = _light(photo, place, plane, None)
    findings += reference_findings(photo, place, plane, read, light)
    return [*findings, *light_findings, *_exposure(photo, plane)]


def _exposure(photo: Photo, plane: Plane) -> list[Finding]:
    """What is to be said of the exposure by some pixels of the board."""
    rows, columns = photo.codes.shape[:2]
    corners = shrunk(plane.corners_px(), CHECK_RIM)
    left, top = np.clip(np.floor(corners.min(axis=0)), 0, (columns, rows)).astype(int)
    right, bottom = np.clip(np.ceil(corners.max(axis=0)) + 1, 0, (columns, rows)).astype(int)
    on_board = quad_mask((bottom - top, right - left), corners - (left, top))
    stride = max(1, int(np.sqrt(on_board.size / CHECK_SAMPLES)))
    some = on_board[::stride, ::stride]
    if not some.any():
        return []
    linear_RGB = photo.linear_RGB(slice(top, bottom, stride), slice(left, right, stride))[some]
    if photo.reduced == 1:
        full_scale, margin = photo.clipped_from, 0.0
    else:
        full_scale, margin = round(NEAR_FULL_SCALE * np.iinfo(photo.codes.dtype).max), NEAR_ZERO
    lines = slice(top, bottom, CLIPPED_STRIDE)  # whole lines: OpenCV skips lines without copying
    below = cv2.inRange(photo.codes[lines, left:right], (0, 0, 0), (full_scale - 1,) * 3)
    looked_at = on_board[::CLIPPED_STRIDE]
    clipped = 1 - np.count_nonzero(looked_at & (below > 0)) / max(1, int(np.count_nonzero(looked_at)))
    return exposure_findings(linear_RGB - np.float32(margin), clipped)


def sheet_findings(sheet: Photo, photo: Photo, place: Place, size_mm: tuple[float, float]) -> list[Finding]:
    """What the checks say of a photo of a plain sheet, for the board of another photo.

    Parameters
    ----------
    sheet, photo : Photo
        The plain sheet, and the board that it is to even out.
    place : Place
        Where the board lies in its photo.
    size_mm : (float, float)
        Length and width of the board, mm.

    Raises
    ------
    PlaceError
        If the board was not found.
    """
    light, why_not = light_from_flat(sheet, photo, _plane(photo, place, size_mm))
    return [finding("flat-unusable", reason=why_not)] if light is None else list(light.findings)


def _plane(photo: Photo, place: Place, size_mm: tuple[float, float]) -> Plane:
    if place.board is None and place.card is None and place.code_no_board == "board-not-found":
        raise PlaceError(
            "this does not look like a photo of a board: neither a board nor a gray card was seen.",
            photo=photo.name,
            remedy=REGISTRY["nothing-seen"].remedy,
            code="nothing-seen",
        )
    if place.board is None:
        raise PlaceError(
            place.why_no_board,
            photo=photo.name,
            remedy=REGISTRY[place.code_no_board].remedy,
            code=place.code_no_board,
        )
    if place.strips is not None:
        laid = place.strips.laid
        return replace(laid.plane, lens=laid.lens)
    try:
        return plane_from_corners(place.board, *size_mm)
    except ValueError as problem:
        raise PlaceError(
            "the corners given are not those of a board's face, in order around it.",
            photo=photo.name,
            remedy="Give them as top-left, top-right, bottom-right, bottom-left of the board.",
            code="board-not-found",
        ) from problem


def _usual_size(place: Place) -> tuple[float, float]:
    if place.board is None:
        return USUAL_LENGTH_MM, USUAL_LENGTH_MM
    sides = side_lengths(place.board)
    across, down = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    scale = USUAL_LENGTH_MM / max(across, down)
    return across * scale, down * scale


def _light(photo: Photo, place: Place, plane: Plane, flat: Photo | None) -> tuple[Light, list[Finding]]:
    """The light by the plain sheet, else by strips' white paper, else what the background says of it."""
    found = []
    if flat is not None:
        light, why_not = light_from_flat(flat, photo, plane)
        if light is not None:
            return light, list(light.findings)
        found.append(finding("flat-unusable", reason=why_not))
    by_paper = light_by_paper(photo, place, plane)
    if by_paper is not None:
        return by_paper, [*found, *by_paper.findings]
    light = light_from_background(place.preview, place.background, plane)
    uneven = light.range_over(plane)
    if uneven is not None and uneven > MAX_LIGHT_RANGE:
        found.append(finding("light-uneven", percent=100 * uneven, limit=100 * MAX_LIGHT_RANGE))
    return light, found


def _under_card(picture: FlatPicture, card_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
    side_mm = float(np.hypot(*(card_mm[1] - card_mm[0])))
    return _inside(picture, shrunk(card_mm, -2 * CARD_RIM_MM / max(side_mm, 1.0)))


def _under_strips(picture: FlatPicture, place: Place, plane: Plane) -> NDArray[np.bool_]:
    """Where the strips' paper lies over the board, as hands leave it."""
    covered = np.zeros(picture.seen.shape, bool)
    for paper_px in place.papers_px:
        covered |= _inside(picture, plane.to_mm(paper_px))
    return covered


def _inside(picture: FlatPicture, outline_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
    mask = np.zeros(picture.seen.shape, np.uint8)
    points = outline_mm / picture.mm_per_px - 0.5
    if np.abs(points).max() < 1e5:  # what lies far outside the plane's horizon covers nothing
        cv2.fillConvexPoly(mask, np.round(points).astype(np.int32), 1)
    return mask.astype(bool)


def _unmapped(uneven: float | None, XYZ: NDArray[np.float32], measurable: NDArray[np.bool_]) -> Finding:
    percent = 5.0 if uneven is None else max(100 * uneven, 1.0)
    Y = max(float(np.median(XYZ[..., 1][measurable])) if measurable.any() else 0.18, 0.01)
    L_star = 116 / 3 * np.cbrt(Y) * percent / 100  # dL*/dlnY, CIE 1976
    return finding("light-not-mapped", percent=percent, L_star=L_star)
