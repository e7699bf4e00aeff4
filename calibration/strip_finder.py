"""Which markers of the edge strips are in a photo, and where exactly are their corners?

Markers are looked for on a smaller copy, which takes a tenth of the time and finds just as many, and their corners
are then measured on the photo itself: profiles across each side, in linear light (there the middle of a blurred step
is the edge), a line through the middles, corners where the lines meet. OpenCV's own refinement pulls the corners of
blurred squares inwards by a quarter of a pixel; this one does not.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.photo import Photo
from calibration.strips import CELLS, DICTIONARY, MODULES

DETECTION_PX = 2000  # chosen: the longer side of the copy; a marker of 12.8 mm is read down to 15 px, 1.2 px/mm
SMALLEST_SIDE_PX = 9.0  # of a marker on the copy; smaller squares are not looked at
EASY_SIDE_PX = 20.0  # of a marker on the copy; where they are smaller, the photo is looked at in full size (chosen)
UNREAD_SQUARES = 6  # so many small squares on the copy may be markers, though none is read (chosen)
# Of 36 bits. Markers of the strips differ by 12 bits, but by only 6 from some that are seen in a mirror.
MOST_WRONG_BITS = 2

PROFILES = 24  # a side
END_SHARE = 0.12  # of a side, left out at either end: there the blurred corner bends the edge
SAMPLES = 33  # a profile
REACHES_MODULES = (0.85, 0.6)  # half length of the profiles, first and second pass: inside lies one black module
LEVEL_SAMPLES = 5  # at either end of a profile, from which black and white are taken
GAUSS_10_90 = 1.9  # 10-90 % width of a Gaussian step over its 25-75 % width
HUBER = 1.5  # robust standard deviations (Huber, Robust Statistics, 1981)
MIN_CONTRAST = 1.4  # white over black: a side with less cannot be measured
MIN_AGREEING = 0.6  # of a side's profiles that must show the edge
MAX_SCATTER_MODULES = 0.12  # of the middles about their line


@dataclass(frozen=True, slots=True, eq=False)
class StripSightings:
    """Markers of edge strips in a photo."""

    numbers: NDArray[np.int64]  # (n,) as in calibration/strips.py; one may be seen more than once
    corners_px: NDArray[np.float64]  # (n, 4, 2): top-left, top-right, bottom-right, bottom-left as printed
    scatter_px: NDArray[np.float64]  # (n,): of edge points about their lines, worst side of each marker
    edge_width_px: float | None  # median 10-90 % width of the markers' edges; None: nothing was measured
    is_mirrored: bool  # the markers are seen in a mirror; their corners are then of no use
    size_px: tuple[int, int]  # width and height of the photo


def find_strips(photo: Photo) -> StripSightings | None:
    """Find the markers of edge strips.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    StripSightings or None
        None: no marker of any strip was seen. Markers of other kinds, and other numbers, are not looked at.
    """
    numbers, coarse_px = _detect(photo)
    if not len(numbers):
        return None
    size = photo.codes.shape[1], photo.codes.shape[0]
    mirrored = numbers >= 2 * CELLS
    if np.count_nonzero(mirrored) > len(numbers) / 2:
        return StripSightings(
            numbers=numbers[mirrored] - 2 * CELLS,
            corners_px=coarse_px[mirrored],
            scatter_px=np.full(np.count_nonzero(mirrored), np.inf),
            edge_width_px=None,
            is_mirrored=True,
            size_px=size,
        )
    return _measured(photo, numbers[~mirrored], coarse_px[~mirrored], size)


def _detect(photo: Photo) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Numbers (n,) and rough corners (n, 4, 2) in photo pixels; numbers from 2 * CELLS on are mirror images."""
    shrink = max(1, round(max(photo.codes.shape[:2]) / DETECTION_PX))
    numbers, corners, unread = _read(_gray(photo, shrink))
    if len(numbers):
        small = bool(np.median(_side_px(corners)) < EASY_SIDE_PX)
    else:
        small = bool(np.count_nonzero(unread < EASY_SIDE_PX) >= UNREAD_SQUARES)
    if shrink > 1 and small:
        shrink = 1
        numbers, corners, _ = _read(_gray(photo, shrink))
    return numbers, (corners + 0.5) * shrink - 0.5


def _gray(photo: Photo, shrink: int) -> NDArray[np.uint8]:
    """A gray copy of codes, a whole number of times smaller."""
    rows, columns = (n // shrink for n in photo.codes.shape[:2])
    small = cv2.resize(photo.codes[: rows * shrink, : columns * shrink], (columns, rows), interpolation=cv2.INTER_AREA)
    gray = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    return np.asarray(gray if gray.dtype == np.uint8 else gray / 257, dtype=np.uint8)


def _read(gray: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Numbers (n,), corners (n, 4, 2), and the shortest sides of four-sided shapes that hold no marker."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * SMALLEST_SIDE_PX / max(gray.shape)
    parameters.errorCorrectionRate = 1.0
    corners, numbers, others = cv2.aruco.ArucoDetector(_both_ways_round(), parameters).detectMarkers(gray)
    sides = [np.hypot(*(np.roll(quad[0], 1, axis=0) - quad[0]).T).min() for quad in others]
    found = np.array([quad[0] for quad in corners], dtype=np.float64).reshape(-1, 4, 2)
    return np.array(numbers if len(corners) else [], dtype=np.int64).ravel(), found, np.array(sides)


@cache
def _both_ways_round() -> cv2.aruco.Dictionary:
    """The markers of the strips, and after them the same ones seen in a mirror."""
    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    ours = np.asarray(whole.bytesList)[: 2 * CELLS]
    bits = MODULES - 2
    mirrored = [
        cv2.aruco.Dictionary.getByteListFromBits(
            np.ascontiguousarray(cv2.aruco.Dictionary.getBitsFromByteList(ours[k : k + 1], bits)[:, ::-1])
        )
        for k in range(len(ours))
    ]
    return cv2.aruco.Dictionary(np.concatenate([ours, *mirrored]), bits, MOST_WRONG_BITS)


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Lines through the four sides of each marker: point + t * direction."""

    point: NDArray[np.float64]  # (n, 4, 2)
    direction: NDArray[np.float64]  # (n, 4, 2)
    scatter_px: NDArray[np.float64]  # (n, 4)
    agreeing: NDArray[np.float64]  # (n, 4), share of profiles
    contrast: NDArray[np.float64]  # (n, 4), white over black
    width_px: NDArray[np.float64]  # (n, 4), 10-90 % of the step


def _measured(
    photo: Photo, numbers: NDArray[np.int64], coarse_px: NDArray[np.float64], size: tuple[int, int]
) -> StripSightings:
    """The markers whose four sides can be measured."""
    corners = coarse_px
    for reach in REACHES_MODULES:
        sides = _measured_sides(photo, corners, reach)
        corners = _corners(sides, corners)
    module_px = _side_px(coarse_px) / MODULES
    moved = np.hypot(*np.moveaxis(corners - coarse_px, -1, 0)).max(axis=1)
    good = (
        (sides.agreeing.min(axis=1) >= MIN_AGREEING)
        & (sides.contrast.min(axis=1) >= MIN_CONTRAST)
        & (sides.scatter_px.max(axis=1) <= np.maximum(MAX_SCATTER_MODULES * module_px, 0.3))
        & (moved <= module_px + 1)
    )
    widths = sides.width_px[good]
    widths = widths[np.isfinite(widths)]
    return StripSightings(
        numbers=numbers[good],
        corners_px=corners[good],
        scatter_px=sides.scatter_px[good].max(axis=1),
        edge_width_px=float(np.median(widths)) if widths.size else None,
        is_mirrored=False,
        size_px=size,
    )


def _corners(sides: _Sides, otherwise: NDArray[np.float64]) -> NDArray[np.float64]:
    """Corners (n, 4, 2) where each side meets the one before it; `otherwise` where they run alike."""
    point, direction = np.roll(sides.point, 1, axis=1), np.roll(sides.direction, 1, axis=1)
    across = direction[..., 0] * sides.direction[..., 1] - direction[..., 1] * sides.direction[..., 0]
    gap = sides.point - point
    t = (gap[..., 0] * sides.direction[..., 1] - gap[..., 1] * sides.direction[..., 0]) / np.where(across, across, 1.0)
    met = point + t[..., None] * direction
    return np.where(np.abs(across)[..., None] > 0.1, met, otherwise)


def _side_px(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shortest side (n,) of each marker."""
    return np.asarray(np.hypot(*np.moveaxis(np.roll(corners, -1, axis=1) - corners, -1, 0)).min(axis=1))


def _measured_sides(photo: Photo, corners: NDArray[np.float64], reach_modules: float) -> _Sides:
    start, end = corners, np.roll(corners, -1, axis=1)
    length = np.hypot(*np.moveaxis(end - start, -1, 0))[..., None]  # (n, 4, 1)
    along = (end - start) / np.maximum(length, 1e-9)
    outwards = np.stack([along[..., 1], -along[..., 0]], axis=-1)  # corners run clockwise
    reach = reach_modules * _side_px(corners) / MODULES
    places = np.linspace(END_SHARE, 1 - END_SHARE, PROFILES) * length  # (n, 4, PROFILES)
    offsets = np.linspace(-1, 1, SAMPLES) * reach[:, None]  # (n, SAMPLES)
    feet = start[:, :, None] + places[..., None] * along[:, :, None]
    xy = feet[:, :, :, None] + offsets[:, None, None, :, None] * outwards[:, :, None, None]
    profiles = np.stack([_sampled(photo, points) for points in xy])  # (n, 4, PROFILES, SAMPLES)
    black = np.median(profiles[..., :LEVEL_SAMPLES].mean(axis=-1), axis=2)[..., None]
    white = profiles[..., -LEVEL_SAMPLES:].mean(axis=-1)
    low, middles, high = (
        _crossings(profiles - (black + share * (white - black))[..., None], offsets[:, None, None])
        for share in (0.25, 0.5, 0.75)
    )
    shift, slope, scatter, agreeing = _huber_lines(places - length / 2, middles)
    return _Sides(
        point=start + along * length / 2 + shift[..., None] * outwards,
        direction=along + slope[..., None] * outwards,
        scatter_px=scatter,
        agreeing=agreeing,
        contrast=np.median(white, axis=2) / np.maximum(black[..., 0], 1e-4),
        width_px=GAUSS_10_90 * np.median(high - low, axis=2),  # NaN where one profile shows no edge
    )


def _sampled(photo: Photo, xy: NDArray[np.float64]) -> NDArray[np.float32]:
    """Linear green light (4, PROFILES, SAMPLES) around one marker. Green alone: lenses shift red and blue a little."""
    rows, columns = photo.codes.shape[:2]
    low = np.clip(np.floor(xy.min(axis=(0, 1, 2))).astype(int) - 1, 0, (columns - 2, rows - 2))
    high = np.clip(np.ceil(xy.max(axis=(0, 1, 2))).astype(int) + 2, low + 2, (columns, rows))
    window = photo.curve[photo.codes[low[1] : high[1], low[0] : high[0], 1], 1]
    x, y = np.moveaxis((xy - low).astype(np.float32).reshape(-1, xy.shape[2], 2), -1, 0).copy()
    sampled = cv2.remap(window, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(sampled, dtype=np.float32).reshape(xy.shape[:3])


def _crossings(above_half: NDArray[np.float64], offsets: NDArray[np.float64]) -> NDArray[np.float64]:
    """Offset (..., profiles) where each profile crosses from black to white, nearest the guess; NaN: nowhere."""
    before, after = above_half[..., :-1], above_half[..., 1:]
    crosses = (before <= 0) & (after > 0)
    share = np.divide(-before, after - before, out=np.zeros_like(before), where=crosses)
    step = offsets[..., 1:2] - offsets[..., :1]
    at = np.where(crosses, offsets[..., :-1] + share * step, np.inf)
    nearest = np.take_along_axis(at, np.abs(at).argmin(axis=-1)[..., None], axis=-1)[..., 0]
    return np.where(np.isfinite(nearest), nearest, np.nan)


def _huber_lines(
    x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Lines y = shift + slope * x through points (..., n), NaN left out: shift, slope, scatter, agreeing share."""
    seen = np.isfinite(y)
    y = np.where(seen, y, 0.0)
    weight = seen.astype(np.float64)
    shift = slope = scatter = np.zeros(y.shape[:-1])
    residual = y
    for _ in range(6):
        total = np.maximum(weight.sum(axis=-1), 1e-9)
        mean_x, mean_y = (weight * x).sum(axis=-1) / total, (weight * y).sum(axis=-1) / total
        centred = x - mean_x[..., None]
        slope = (weight * centred * y).sum(axis=-1) / np.maximum((weight * centred**2).sum(axis=-1), 1e-9)
        shift = mean_y - slope * mean_x
        residual = np.abs(y - shift[..., None] - slope[..., None] * x)
        scatter = 1.4826 * np.median(np.where(seen, residual, np.inf), axis=-1)  # infinite if half of them are missing
        limit = HUBER * np.maximum(scatter, 0.02)[..., None]
        weight = seen * np.minimum(1.0, limit / np.maximum(residual, 1e-9))
    agreeing = seen & (residual < np.maximum(4 * scatter, 0.3)[..., None])
    return shift, slope, scatter, agreeing.mean(axis=-1)
