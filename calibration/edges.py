"""Where exactly does a straight edge run?  Lines fitted to edge profiles at the photo's own resolution.

A coarse quadrilateral is refined side by side: profiles across the side, in linear light (there the middle of
a blurred step is the edge itself), the strongest step of each, a robust line through them, corners where
neighbouring lines meet.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.photo import Photo

PROFILES = 72  # a side; the line is then known to a few hundredths of the scatter of one profile
CLEAR_SUPPORT = 0.9  # share of profiles, on each side, that spares a second, closer look
END_SHARE = 0.06  # of a side, left out at either end: corners are rounded or worn
STEP_PX = 0.5  # between samples of a profile: fine enough for the 10-90 % width of a sharp edge
SMOOTH_SAMPLES = 2.0  # sigma of the derivative filter
TRIES = 150  # random line hypotheses: enough for 60 % outliers to miss with probability 1e-12
THINNED = 3  # every so many profiles are enough to find the line; all are used to fit it
TILTS = 9  # of a side against its guess that are tried
MIN_COHERENCE = 3.0  # times the lower quartile of the mean steps at all offsets: below that there is no edge
NEAR_PX = 4.0  # of a profile's own edge from the line: blur, chips, a slightly curved side
CLEAR_SHARE = 0.3  # of the mean step that a profile must show to count
MIN_POINTS = 8
# A strip along the edge, darker than the face: the side of a thick board seen from above. Chosen.
WALL_SAMPLES, WALL_STEP, WALL_LEVEL = 6, 0.2, 0.85
SEGMENTS = 6  # a side is read in so many pieces, so that only its neighbourhood is made linear


@dataclass(frozen=True, slots=True, eq=False)
class EdgeQuad:
    """A quadrilateral refined to its edges."""

    corners_px: NDArray[np.float64]  # (4, 2), in the order given
    scatter_px: float  # robust standard deviation of edge points about their lines; largest of the four sides
    support: float  # smallest share of a side's profiles that agree with its line, 0..1
    edge_width_px: float | None  # 10-90 % width of the sharpest side; None: no clean edge


def refine_quad(photo: Photo, corners_px: ArrayLike, reach_px: float) -> EdgeQuad:
    """Refine a quadrilateral to the edges in the photo.

    Parameters
    ----------
    photo : Photo
    corners_px : array_like, (4, 2)
        Coarse corners in pixels, in order around the shape.
    reach_px : float
        How far from a coarse side its edge may lie, pixels.

    Returns
    -------
    EdgeQuad
        Sides without any visible edge stay where they were, with support 0.
    """
    corners = np.asarray(corners_px, dtype=np.float64)
    sides: list[_Side] = []
    for reach, likely in ((reach_px, reach_px), (max(14.0, reach_px / 2), max(4.0, reach_px / 4))):
        centre = corners.mean(axis=0)
        sides = [_fit_side(photo, corners[k], corners[(k + 1) % 4], centre, reach, likely) for k in range(4)]
        corners = np.array([_meet(sides[k - 1], sides[k]) for k in range(4)])
        if min(side.support for side in sides) > CLEAR_SUPPORT:
            break
    widths = [side.width_px for side in sides if side.width_px is not None]
    return EdgeQuad(
        corners,
        max(side.scatter_px for side in sides),
        min(side.support for side in sides),
        min(widths) if widths else None,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    point: NDArray[np.float64]
    direction: NDArray[np.float64]  # unit vector
    scatter_px: float
    support: float
    width_px: float | None


def _fit_side(
    photo: Photo,
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    inside: NDArray[np.float64],
    reach_px: float,
    likely_px: float,
) -> _Side:
    """The line of one side. Profiles span `reach_px`; edges within `likely_px` of the guess are likeliest."""
    length = float(np.hypot(*(end - start)))
    along = (end - start) / max(length, 1e-9)
    normal = np.array([-along[1], along[0]])
    if normal @ (inside - start) < 0:
        normal = -normal  # profiles run from outside to inside
    places = np.linspace(END_SHARE, 1 - END_SHARE, PROFILES) * length
    offsets = np.arange(-reach_px, reach_px + STEP_PX / 2, STEP_PX)
    profiles = profiles_at(photo, start + places[:, None, None] * along + offsets[None, :, None] * normal)
    line = line_in_profiles(profiles, places, offsets, likely_px)
    if line is None:
        return _Side(start, along, reach_px, 0.0, None)
    slope, intercept, scatter, agreeing = line
    width = _edge_width(profiles, offsets, slope * places + intercept)
    direction = along + slope * normal
    return _Side(start + intercept * normal, direction / np.hypot(*direction), scatter, agreeing / PROFILES, width)


def line_in_profiles(
    profiles: NDArray[np.float32], places: NDArray[np.float64], offsets: NDArray[np.float64], likely_px: float
) -> tuple[float, float, float, int] | None:
    """The straight edge that crosses a set of profiles.

    Parameters
    ----------
    profiles : ndarray, (PROFILES, samples, 3)
        Linear RGB across the edge.
    places : ndarray, (PROFILES,)
        Where the profiles stand along the edge, pixels.
    offsets : ndarray, (samples,)
        Where their samples lie across it, `STEP_PX` apart.
    likely_px : float
        An edge within this of offset 0 is likeliest.

    Returns
    -------
    (slope, intercept, scatter, agreeing) or None
        Of the line ``offset = slope * place + intercept``; the scatter of the profiles' own edges about it, in pixels;
        how many profiles agree. None: there is no edge.
    """
    steps = _steps(profiles)
    coherent = _coherent_line(steps, profiles, offsets, likely_px)
    if coherent is None:
        return None
    return _robust_line(places, *_edge_points(steps, offsets, *coherent), max(1.0, 0.0015 * float(np.ptp(places))))


def _coherent_line(
    steps: NDArray[np.float32], profiles: NDArray[np.float32], offsets: NDArray[np.float64], likely_px: float
) -> tuple[NDArray[np.float64], NDArray[np.float32]] | None:
    """Where the profiles step together: offset of each profile (n,), px, and the mean step there (3,).

    Grain steps as sharply as an edge, but in one profile here and in the next one there; summed along a straight
    line only the edge is left.
    """
    far = likely_px / STEP_PX
    ramp = np.linspace(-0.5, 0.5, PROFILES)
    rows = np.arange(0, PROFILES, THINNED)[:, None]
    columns = np.arange(len(offsets))
    tilts = np.linspace(-far, far, TILTS)
    moved = columns + np.round(tilts[:, None, None] * ramp[rows]).astype(np.intp)
    shifts = np.minimum(np.maximum(moved, 0), len(offsets) - 1)  # (tilts, rows, samples)
    means = steps[rows, shifts].mean(axis=1)  # (tilts, samples, 3)
    strength = np.sqrt(np.einsum("tsc,tsc->ts", means, means))
    # an edge near the guess is likelier than a far one: shadows and tape lie there too
    prior = np.exp(-0.5 * (offsets / (0.7 * likely_px)) ** 2)
    tilt, column = np.unravel_index((strength * prior).argmax(), strength.shape)
    if strength[tilt, column] < MIN_COHERENCE * np.quantile(strength[tilt], 0.25) + 1e-3:
        return None
    column = _beyond_side_wall(strength[tilt], profiles[rows, shifts[tilt], 1].mean(axis=0), int(column))
    return offsets[column] + tilts[tilt] * ramp * STEP_PX, means[tilt, column]


def _beyond_side_wall(strength: NDArray[np.float32], level: NDArray[np.float32], column: int) -> int:
    """The face's edge, when the outer edge of a dark strip along it was found: the side of a thick board."""
    relative = strength / np.maximum(level, 1e-4)  # a dark strip on a white bench: steps count by their ratio
    inner = np.arange(column + WALL_SAMPLES, len(relative) - WALL_SAMPLES)
    peaks = inner[(relative[inner] >= relative[inner - 1]) & (relative[inner] > relative[inner + 1])]
    for peak in peaks[relative[peaks] > WALL_STEP * relative[column]]:
        strip = level[column + WALL_SAMPLES // 2 : peak - WALL_SAMPLES // 2 + 1]
        if strip.mean() < WALL_LEVEL * level[peak + WALL_SAMPLES // 2 :].mean():
            return int(peak)
    return column


def _edge_points(
    steps: NDArray[np.float32], offsets: NDArray[np.float64], line_px: NDArray[np.float64], step: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Offset (n,) of each profile's own edge near a line, and whether it steps clearly, in the same direction."""
    size = float(np.sqrt((step**2).sum()))
    along_step = steps @ (step / size)
    near = np.abs(offsets - line_px[:, None]) <= NEAR_PX
    peaks = np.where(near, along_step, -np.inf).argmax(axis=1)
    found = offsets[peaks] + STEP_PX * _vertex(along_step, peaks)
    return found, along_step[np.arange(len(peaks)), peaks] > CLEAR_SHARE * size


def profiles_at(photo: Photo, xy: NDArray[np.float64]) -> NDArray[np.float32]:
    """Linear RGB (profiles, samples, 3) at photo pixels (profiles, samples, 2) along a side.

    Edge pixels of the photo repeat beyond its border.
    """
    profiles = np.empty((*xy.shape[:2], 3), np.float32)
    rows, columns = photo.codes.shape[:2]
    lowest, highest = xy.min(axis=1), xy.max(axis=1)  # of each profile
    ends = np.linspace(0, len(xy), SEGMENTS + 1).round().astype(int)
    for piece in (slice(start, end) for start, end in pairwise(ends)):
        low = np.clip(np.floor(lowest[piece].min(axis=0)).astype(int) - 1, 0, (columns - 2, rows - 2))
        high = np.clip(np.ceil(highest[piece].max(axis=0)).astype(int) + 2, low + 2, (columns, rows))
        window = photo.linear_RGB(slice(low[1], high[1]), slice(low[0], high[0]))
        x, y = np.moveaxis((xy[piece] - low).astype(np.float32), -1, 0)
        profiles[piece] = cv2.remap(window, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return profiles


def _steps(profiles: NDArray[np.float32]) -> NDArray[np.float32]:
    """Smoothed derivative along each profile, relative to the profile's own level, channel by channel."""
    reach = int(np.ceil(3 * SMOOTH_SAMPLES))
    t = np.arange(-reach, reach + 1)
    bell = t * np.exp(-0.5 * (t / SMOOTH_SAMPLES) ** 2)
    kernel = (bell / (bell * t).sum()).astype(np.float32)
    relative = profiles / (profiles.mean(axis=1, keepdims=True) + 1e-4)
    shared = cv2.blur(relative, (1, 3), borderType=cv2.BORDER_REPLICATE)  # neighbours share the edge, not the grain
    steps = cv2.filter2D(shared, -1, kernel[None, :], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(steps, dtype=np.float32)


def _vertex(strength: NDArray[np.float32], peaks: NDArray[np.intp]) -> NDArray[np.float64]:
    """Offset, in samples, of the parabola's vertex through each peak and its two neighbours."""
    rows = np.arange(len(peaks))
    inner = np.clip(peaks, 1, strength.shape[1] - 2)
    before, peak, after = strength[rows, inner - 1], strength[rows, inner], strength[rows, inner + 1]
    curvature = before - 2 * peak + after
    safe = np.where(np.abs(curvature) > 1e-12, curvature, -1.0)
    return np.asarray(np.clip(0.5 * (before - after) / safe, -0.5, 0.5) * (inner == peaks), dtype=np.float64)


def _robust_line(
    x: NDArray[np.float64], y: NDArray[np.float64], clear: NDArray[np.bool_], tolerance: float
) -> tuple[float, float, float, int] | None:
    """Slope, intercept, scatter and number of agreeing points of y against x, where clear.

    Random sampling (RANSAC), then least squares on the points that agree.
    """
    x, y = x[clear], y[clear]
    if len(x) < MIN_POINTS:
        return None
    rng = np.random.default_rng(20260101)  # a fixed seed: the same photo gives the same answer
    first, second = rng.integers(0, len(x), (2, TRIES))
    usable = np.abs(x[first] - x[second]) > 0.1 * np.ptp(x)
    first, second = first[usable], second[usable]
    if len(first) == 0:
        return None
    slopes = (y[second] - y[first]) / (x[second] - x[first])
    intercepts = y[first] - slopes * x[first]
    residuals = np.abs(y - slopes[:, None] * x - intercepts[:, None])
    best = int((np.minimum(residuals, tolerance) ** 2).sum(axis=1).argmin())
    agreeing = residuals[best] < tolerance
    if agreeing.sum() < MIN_POINTS:
        return None
    slope, intercept = np.polyfit(x[agreeing], y[agreeing], 1)
    scatter = 1.4826 * float(np.median(np.abs(y[agreeing] - slope * x[agreeing] - intercept)))
    return float(slope), float(intercept), scatter, int(agreeing.sum())


def _edge_width(
    profiles: NDArray[np.float32], offsets: NDArray[np.float64], centres: NDArray[np.float64]
) -> float | None:
    """10-90 % width in pixels of the mean edge, its profiles laid over one another at the fitted line.

    The idea is the slanted edge of ISO 12233; here the mean profile itself is read, which needs no fine slant.
    """
    reach = min(12.0, float(offsets[-1]) / 2)
    grid = np.arange(-reach, reach + 0.125, 0.25)
    inside = np.abs(centres) < offsets[-1] - reach
    if inside.sum() < PROFILES // 4:
        return None
    green = profiles[inside, :, 1]
    mean = np.median(_lined_up(green, (grid + centres[inside, None] - offsets[0]) / STEP_PX), axis=0)
    low, high = mean[:6].mean(), mean[-6:].mean()
    if abs(high - low) <= 0.05 * max(high, low):
        return None
    rising = (mean - low) / (high - low)
    middle = int(np.argmin(np.abs(rising - 0.5)))
    before = np.flatnonzero(rising[:middle] < 0.1)
    after = np.flatnonzero(rising[middle:] > 0.9)
    if not len(before) or not len(after):
        return None
    return float((middle + after[0] - before[-1]) * 0.25)


def _lined_up(profiles: NDArray[np.float32], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Profiles (n, samples) read at places (n, m) between their samples; none may lie outside."""
    before = np.minimum(at.astype(np.intp), profiles.shape[1] - 2)
    share = at - before
    rows = np.arange(len(profiles))[:, None]
    return np.asarray((1 - share) * profiles[rows, before] + share * profiles[rows, before + 1])


def _meet(first: _Side, second: _Side) -> NDArray[np.float64]:
    system = np.column_stack([first.direction, -second.direction])
    if abs(np.linalg.det(system)) < 1e-6:
        return second.point
    t, _ = np.linalg.solve(system, second.point - first.point)
    return np.asarray(first.point + t * first.direction)
