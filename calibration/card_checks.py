"""What can be said against the gray card as it lies in the photo?

It alone sets neutral and level, so what is wrong with it is wrong with every absolute colour. From one photo it can be
told whether its corners lie in the board's plane, whether something lies on it, whether a shadow or a shine lies over a
part of it, and whether its surroundings or white paper contradict it. A shadow or a shine that is the same all over
the card cannot be told from the card; nor can a lean be told from its proportions, since cards come in all sizes: only
the convergence of its opposite sides tells, and that grows with its size in the photo.
"""

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.card_surface import Patch, largest_patch, uneven_light
from calibration.findings import Finding, finding
from calibration.light import MAX_SPREAD, MIN_BACKGROUND, Light
from calibration.photo import Photo
from calibration.photo_checks import DARK_LEVEL
from calibration.place import Place
from calibration.plane import Plane, plane_from_corners
from calibration.quads import quad_mask, shrunk
from calibration.reference import GrayReading

Floats = NDArray[np.float64]

MAX_CARD_UNEVENNESS = 0.06  # over the card: 1.2 L* at L* 45
WANTED_CARD_PIXELS = 2500

# Of the card's face against the board's. Chosen: in 100 simulated photos of flat cards by found corners 1.6 degrees
# were the most; a lamp from the side at 45 degrees makes of 7 degrees 11 % of level (Lambert's cosine law).
MAX_LEAN_DEG = 7.0
SURE = 3.0  # standard uncertainties above zero that a lean must lie
U_FOUND_PX, U_GIVEN_SHARE = (
    0.5,
    0.001,
)  # of a corner: found; given by hand, as a share of the photo's longer side (chosen)
PHONE_FOCAL = 0.72  # focal length over the photo's longer side: 26 mm on a frame of 36 mm, as most phones' main lens

# Shares of the card's middle from which a patch counts that is unlike the rest (chosen). Print is finer, and the black
# marker that some cards have in a corner smaller.
MIN_COVERED, MIN_SHADOW, MIN_SHINE = 0.08, 0.05, 0.03
MIN_SHADOW_LEFT = 0.35  # of the light that a shadow leaves: what is darker is something else (chosen)
MIN_COLOUR_STEP = 0.12  # ln units of a ratio between a patch and the card: it is no light, it is a thing (chosen)
SOFT = 0.4  # share of a patch that lies below 0.6 of its peak: a shine fades out, paper does not (chosen)

MIN_SURROUNDINGS_STEP = 0.10  # relative, by which the background around the card is darker than elsewhere (chosen)
RING = 0.15, 0.6  # of the card's sides, beyond it: where its surroundings are looked at
MIN_SIDES, MIN_RING_PIXELS, MIN_RING_SHARE = 3, 12, 0.4  # sides that show the background; of each, so much (chosen)

# Directions in (ln R/G, ln B/G), linear sRGB or Display P3, along which lamps differ, bluish to reddish, and across it.
# By the simulated cameras, balanced for daylight, under the CIE's lamps (A, FL, LED): 0.55 R/G for -0.84 B/G, across it
# 0.2 at most. Balance that the camera chose for itself leaves 0.3 of warm lamps.
LAMPS, ACROSS = np.array([0.55, -0.84]), np.array([0.84, 0.55])
MAX_WARM, MAX_COLD, MAX_ACROSS = 0.6, 0.4, 0.3
# Of the card against the strips' paper. Brightened paper is bluer than neutral, by up to 0.15 in B/G. Chosen.
MAX_RED_OFF, MAX_BLUER, MAX_YELLOWER = 0.10, 0.10, 0.22
BARE_SHARE = 0.3  # of a strip's pixels, its lightest, that are bare paper (chosen: print and markers take half)


def card_findings(photo: Photo, place: Place, plane: Plane, reading: GrayReading, light: Light) -> list[Finding]:
    """Findings about the gray card.

    Parameters
    ----------
    photo : Photo
    place : Place
        Where board and card lie (`locate`).
    plane : Plane
        The board's face.
    reading : GrayReading
        The card's level and its surface (`read_gray_card`).
    light : Light
        Uneven light over the card is told only where the light is not mapped.
    """
    found = []
    if reading.unevenness > MAX_CARD_UNEVENNESS and not light.mapped:
        found.append(finding("card-uneven", percent=100 * reading.unevenness, limit=100 * MAX_CARD_UNEVENNESS))
    if reading.pixels < WANTED_CARD_PIXELS:
        found.append(finding("card-small", pixels=reading.pixels, limit=WANTED_CARD_PIXELS))
    level = float(reading.linear_RGB[1])
    if level < DARK_LEVEL:
        found.append(finding("card-dark", percent=100 * level, limit=100 * DARK_LEVEL))
    on_it = _surface_findings(photo, reading, light)
    around = [] if any(one.code == "card-shaded" for one in on_it) else _surroundings_findings(place)
    return [*found, *_lean_findings(photo, place, plane), *on_it, *around, *_colour_findings(place, reading)]


def _lean_findings(photo: Photo, place: Place, plane: Plane) -> list[Finding]:
    """A card that leans, by the convergence of its opposite sides on the board's plane."""
    if place.card is None:
        return []
    camera_mm = camera_over(plane, photo.codes.shape)
    lean_deg = lean_of(plane.to_mm(place.card), camera_mm)
    if lean_deg <= MAX_LEAN_DEG or lean_deg <= SURE * _u_lean_deg(photo, place, plane, camera_mm):
        return []
    return [finding("card-tilted", lean_deg=lean_deg, limit=MAX_LEAN_DEG)]


def lean_of(corners_mm: Floats, camera_mm: Floats) -> float:
    """By how many degrees a rectangle leans out of a plane on which its corners are seen.

    A point at height z over the plane is seen at C + (P - C) H / (H - z), H being the camera's height and C its foot.
    So the map from the rectangle to what is seen, (A u + b) / (g u + 1), has the slope s with s (A - C g) = -H g.
    Neither the rectangle's proportions nor its height enters.

    Parameters
    ----------
    corners_mm : ndarray, (4, 2)
        Where the corners are seen on the plane.
    camera_mm : ndarray, (3,)
        The camera's foot on the plane, x and y, and its height.
    """
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_mm = cv2.getPerspectiveTransform(unit, corners_mm.astype(np.float32)).astype(np.float64)
    A, g = to_mm[:2, :2], to_mm[2, :2]
    slope = -camera_mm[2] * np.linalg.lstsq((A - np.outer(camera_mm[:2], g)).T, g, rcond=None)[0]
    return float(np.degrees(np.arctan(np.hypot(*slope))))


def camera_over(plane: Plane, shape: tuple[int, ...]) -> Floats:
    """Where the camera stands over a plane, mm (3,): x, y and height.

    The lens is taken for a phone's main one, and the photo as not cropped; of a cropped photo the height comes out too
    small, and with it a lean.
    """
    rows, columns = shape[:2]
    focal_px = PHONE_FOCAL * max(rows, columns)
    to_ray = np.array([[1, 0, -(columns - 1) / 2], [0, 1, -(rows - 1) / 2], [0, 0, focal_px]]) / focal_px
    axes = to_ray @ plane.mm_to_px[:, :2]  # (3, 2), of the plane's x and y, seen by the camera
    origin = to_ray @ plane.mm_to_px[:, 2]
    foot = np.linalg.solve(axes.T @ axes, -axes.T @ origin)
    per_mm = np.sqrt(np.linalg.norm(axes[:, 0]) * np.linalg.norm(axes[:, 1]))
    return np.array([*foot, np.linalg.norm(origin + axes @ foot) / per_mm])


def _u_lean_deg(photo: Photo, place: Place, plane: Plane, camera_mm: Floats) -> float:
    """Standard uncertainty of the lean from that of the card's and the board's corners, each moved in turn."""
    card, board = np.asarray(place.card), plane.corners_px()
    by_hand_px = U_GIVEN_SHARE * max(photo.codes.shape[:2])
    u_card = by_hand_px if place.card_edges is None else max(U_FOUND_PX, place.card_edges.scatter_px)
    if place.strips is not None:
        u_board = U_FOUND_PX
    else:
        u_board = by_hand_px if place.board_edges is None else max(U_FOUND_PX, place.board_edges.scatter_px)

    def of_card(corners: Floats) -> float:
        return lean_of(plane.to_mm(corners), camera_mm)

    def of_board(corners: Floats) -> float:
        return lean_of(plane_from_corners(corners, plane.length_mm, plane.width_mm).to_mm(card), camera_mm)

    return float(np.hypot(u_card * _steepness(of_card, card), u_board * _steepness(of_board, board)))


def _steepness(lean: Callable[[Floats], float], corners: Floats) -> float:
    """Change of a lean by pixels of its corners, each moved by one and the changes added in quadrature."""
    here = lean(corners)
    changes = [lean(corners + move) - here for move in np.eye(8).reshape(8, 4, 2)]
    return float(np.hypot.reduce(np.array(changes)))


def _surface_findings(photo: Photo, reading: GrayReading, light: Light) -> list[Finding]:
    """A patch of the card that is unlike the rest; else light over it that is not smooth."""
    if reading.surface is None:
        return []
    patch = largest_patch(reading.surface)
    told = [] if patch is None else _patch_findings(patch)
    if told:
        return told
    uneven = uneven_light(reading.surface, photo.to_XYZ[1], light)
    if uneven is None:
        return []
    percent = 100 * uneven.height
    if uneven.is_shine:
        return [finding("card-glossy", what=f"one place is {percent:.0f} % brighter than it should be")]
    return [finding("card-shaded", where="over a part of", percent=percent)]


def _patch_findings(patch: Patch) -> list[Finding]:
    """What a patch of the card is, if it is large enough to count."""
    if patch.colour_step <= MIN_COLOUR_STEP and patch.level > 1 and patch.faded > SOFT:
        what = f"{patch.share:.0%} of it is brighter than the rest"
        return [finding("card-glossy", what=what)] if patch.share > MIN_SHINE else []
    left = min(patch.level, 1 / patch.level)  # where most of the card lies in the shadow, the patch is what is lit
    if patch.colour_step <= MIN_COLOUR_STEP and left > MIN_SHADOW_LEFT:
        darker = finding("card-shaded", where="over a part of", percent=100 * (1 - left))
        return [darker] if patch.share > MIN_SHADOW else []
    return [finding("card-covered", percent=100 * patch.share)] if patch.share > MIN_COVERED else []


def _surroundings_findings(place: Place) -> list[Finding]:
    """A shadow around the card, on a calm background, where it can be seen on at least three of the card's sides."""
    background, preview = place.background, place.preview
    if place.card is None or background.spread_log_Y > MAX_SPREAD or background.is_background.mean() < MIN_BACKGROUND:
        return []
    sides = _beside(preview.to_preview(place.card))
    window, low = _window(np.concatenate(sides), preview.log_Y.shape)
    shown = background.colour_distance[window] < 4
    for other in _others(place):
        shown &= ~quad_mask(shown.shape, shrunk(preview.to_preview(other), -0.05) - low)
    off = preview.log_Y[window] - background.log_light[window]
    offs = []
    for side in sides:
        area = quad_mask(shown.shape, side - low)
        here = area & shown
        if here.sum() > max(MIN_RING_PIXELS, MIN_RING_SHARE * area.sum()):
            offs.append(float(np.median(off[here])))
    if len(offs) < MIN_SIDES or max(offs) > np.log(1 - MIN_SURROUNDINGS_STEP):
        return []
    return [finding("card-shaded", where="around", percent=-100 * np.expm1(np.median(offs)))]


def _window(points: Floats, shape: tuple[int, ...]) -> tuple[tuple[slice, slice], NDArray[np.intp]]:
    """The part of a picture around some points, and its top-left pixel (x, y)."""
    size = np.array(shape[1::-1])
    low = np.clip(np.floor(points.min(axis=0)).astype(int), 0, size - 1)
    high = np.clip(np.ceil(points.max(axis=0)).astype(int) + 1, low + 1, size)
    return (slice(low[1], high[1]), slice(low[0], high[0])), low


def _others(place: Place) -> list[Floats]:
    """Outlines in the photo of what lies there beside the card."""
    papers = [] if place.strips is None else [place.strips.laid.to_px(paper) for paper in place.strips.laid.papers_mm()]
    return papers if place.board is None else [*papers, place.board]


def _beside(card: Floats) -> list[Floats]:
    """Four-sided areas (4, 2) beside the card's four sides."""
    near, far = (shrunk(card, -2 * share) for share in RING)
    return [np.array([near[k], near[k - 3], far[k - 3], far[k]]) for k in range(4)]


def _colour_findings(place: Place, reading: GrayReading) -> list[Finding]:
    """A card that is more coloured than white balance leaves it, or than the strips' white paper."""
    log_R, log_G, log_B = np.log(np.maximum(reading.linear_RGB, 1e-6))
    cast = np.array([log_R - log_G, log_B - log_G])
    paper = _paper_cast(place)
    if paper is not None:
        red, blue = (cast - paper).tolist()
        if abs(red) > MAX_RED_OFF or not -MAX_YELLOWER < blue < MAX_BLUER:
            percent = -100 * np.expm1(-max(abs(red), abs(blue)))
            return [finding("card-not-neutral", percent=percent, than="the strips' white paper")]
        return []
    along, across = float(LAMPS @ cast), float(ACROSS @ cast)
    if along > MAX_WARM or along < -MAX_COLD or abs(across) > MAX_ACROSS:
        percent = -100 * np.expm1(-np.abs(cast).max())
        return [finding("card-not-neutral", percent=percent, than="the others")]
    return []


def _paper_cast(place: Place) -> Floats | None:
    """Ratios ln R/G and ln B/G (2,) of the strips' bare paper, from the preview; None without strips."""
    if place.strips is None:
        return None
    preview, laid = place.preview, place.strips.laid
    casts = []
    for outline in laid.papers_mm():
        on_paper = shrunk(preview.to_preview(laid.to_px(outline)), 0.05)
        window, low = _window(on_paper, preview.log_Y.shape)
        layers = preview.layers[window]
        pixels = layers[quad_mask(layers.shape, on_paper - low)]
        if len(pixels) > MIN_RING_PIXELS:
            bare = pixels[pixels[:, 0] >= np.quantile(pixels[:, 0], 1 - BARE_SHARE)]
            casts.append(np.median(bare[:, 1:], axis=0))
    return np.mean(casts, axis=0).astype(np.float64) if casts else None
