"""What does each patch of the 24-patch chart show, and which of them can be relied on?

Each patch's middle is read as the gray card is: specks, print and glare left out, with the uncertainty of the mean.
A patch is left out for its own sake (clipped, dark, uneven, too small), or because it differs from what the others say
of the camera and the light: darker with the right tint is a shadow, white added is gloss, anything else lies on it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.chart import COLUMNS, NEUTRALS, PATCH_NAMES, PATCHES, ROWS
from calibration.chart_colours import fit_colours
from calibration.chart_finder import ChartFound, chart_cells
from calibration.errors import ReferenceCardError
from calibration.findings import REGISTRY, Finding, finding
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.reference import RIM_SHARE, read_gray_card

# Why a patch is left out, in words that follow "patches that are …"
OUTSIDE, SMALL, CLIPPED, DARK = "outside the photo", "too small", "clipped", "too dark in a colour channel"
UNEVEN, SHADED, GLOSSY, COVERED = "uneven", "in shadow", "glossy", "covered, or not of their colour"

READ_SHARE = 0.8  # of a patch's side, before the reading leaves out its own rim: blur and a place slightly off (chosen)
MIN_MIDDLE_PX, WANTED_MIDDLE_PX = 8.5, 20.0  # side of what is read of a patch
MIN_USED, MIN_NEUTRALS = (
    12,
    3,
)  # patches: a white-preserving matrix has six unknowns, a tone curve with flare two (chosen)
PARTS = 3  # by three parts of a patch's middle
MAX_UNEVEN = 0.16  # ln units between the lightest and the darkest part (chosen: steep fall-off makes 0.05)
MAX_LEFT_OUT = 0.3  # of a patch's middle that was outlying
# ln units from what the other patches let expect. A camera's own misfit to a matrix reaches 0.1 to 0.2 (chosen).
MAX_LEVEL, MAX_TINT = 0.18, 0.25
SPREADS = 4.0  # or so many robust spreads of the good patches
AGREES = 0.08  # ln units from a surface of light
# Steepest surface of light and strongest tone that are believed, ln units from one side of the chart to the other, and
# over the chart's range of luminance.
STEEPEST = np.array([np.inf, 0.7, 0.7, 0.5, 0.5])
TRIES = 600  # with half the patches in shadow, a draw of five lies wholly in the light 18 times in these
SAME_GLARE = 2.5  # ratio of what is added to the channels, in units of white, that still is white light


def read_chart(photo: Photo, found: ChartFound, known_XYZ: NDArray[np.float64]) -> PatchReadings:
    """Read the patches of a chart.

    Parameters
    ----------
    photo : Photo
    found : ChartFound
        Where the chart lies.
    known_XYZ : ndarray, (24, 3)
        Its known colours, row by row from dark skin.

    Returns
    -------
    PatchReadings
        In the same order.

    Raises
    ------
    ReferenceCardError
        If too few patches are left.
    """
    middles = [_read_middle(photo, square) for square in found.squares_px(READ_SHARE * found.patch_share)]
    RGB = np.array([middle.linear_RGB for middle in middles])
    u = np.array([middle.u_relative for middle in middles])
    why = [middle.why_not for middle in middles]
    for patch, misfit in _misfits(np.where(np.array([not w for w in why])[:, None], RGB, np.nan), known_XYZ).items():
        why[patch] = misfit
    readings = PatchReadings(RGB, u, found.centres_px(), found.corners_px, tuple(why))
    if readings.used.sum() < MIN_USED or readings.used[NEUTRALS].sum() < MIN_NEUTRALS:
        which = "; ".join(f"{_named(patches)} {reason}" for reason, patches in _by_reason(readings).items())
        raise ReferenceCardError(
            f"only {readings.used.sum()} of the chart's {PATCHES} patches can be used, {readings.used[NEUTRALS].sum()} "
            f"of them neutral (at least {MIN_USED} and {MIN_NEUTRALS} needed): {which}.",
            photo=photo.name,
            remedy=REGISTRY["chart-patches-few"].remedy,
            code="chart-patches-few",
        )
    return readings


def chart_findings(readings: PatchReadings) -> list[Finding]:
    """Findings about the patches of a chart: which were left out and why, and whether they are seen large enough."""
    found = []
    for reason, patches in _by_reason(readings).items():
        which = _named(patches)
        if reason == CLIPPED:
            found.append(finding("chart-clipped", which=which))
        elif reason == SHADED:
            found.append(finding("chart-shaded", which=which))
        elif reason == GLOSSY:
            found.append(finding("chart-glossy", which=which))
        else:
            found.append(finding("chart-patches-left-out", why=reason, which=which))
    grid = readings.centres_px.reshape(ROWS, COLUMNS, 2)
    pitch = min(np.hypot(*np.diff(grid, axis=axis).reshape(-1, 2).T).min() for axis in (0, 1))
    # of charts seen so far a patch takes 0.82 to 0.91 of the pitch
    pixels = 0.85 * READ_SHARE * (1 - RIM_SHARE) * float(pitch)
    if pixels < WANTED_MIDDLE_PX:
        found.append(finding("chart-small", pixels=pixels, limit=WANTED_MIDDLE_PX))
    return found


def _by_reason(readings: PatchReadings) -> dict[str, list[int]]:
    reasons: dict[str, list[int]] = {}
    for patch, reason in enumerate(readings.why_not):
        if reason:
            reasons.setdefault(reason, []).append(patch)
    return reasons


def _named(patches: list[int]) -> str:
    return ", ".join(f"{patch + 1} ({PATCH_NAMES[patch]})" for patch in patches)


@dataclass(frozen=True, slots=True, eq=False)
class _Middle:
    linear_RGB: NDArray[np.float64]  # (3,), NaN where not read
    u_relative: NDArray[np.float64]
    why_not: str


def _read_middle(photo: Photo, square_px: NDArray[np.float64]) -> _Middle:
    """One patch, by itself."""
    unread = np.full(3, np.nan)
    rows, columns = photo.codes.shape[:2]
    if square_px.min() < 0 or square_px[:, 0].max() > columns - 1 or square_px[:, 1].max() > rows - 1:
        return _Middle(unread, unread, OUTSIDE)
    side = (1 - RIM_SHARE) * float(np.sqrt(abs(cv2.contourArea(square_px.astype(np.float32)))))
    if side < MIN_MIDDLE_PX:
        return _Middle(unread, unread, SMALL)
    try:
        reading = read_gray_card(photo, square_px)
    except ReferenceCardError as refused:
        # place and size hold: what is left is at full scale, or as good as black
        return _Middle(unread, unread, CLIPPED if refused.code == "card-clipped" else DARK)
    uneven = reading.left_out > MAX_LEFT_OUT or _unevenness(photo, square_px) > MAX_UNEVEN
    return _Middle(reading.linear_RGB, reading.u_relative, UNEVEN if uneven else "")


def _unevenness(photo: Photo, square_px: NDArray[np.float64]) -> float:
    """Largest ln ratio, in any channel, of the medians of three by three parts of a patch's middle."""
    size = 8 * PARTS
    target = np.array([[0, 0], [size, 0], [size, size], [0, size]], dtype=np.float32) - np.float32(0.5)
    middle = square_px.mean(axis=0) + (1 - RIM_SHARE) * (square_px - square_px.mean(axis=0))
    low = np.maximum(np.floor(middle.min(axis=0)).astype(int) - 1, 0)
    high = np.ceil(middle.max(axis=0)).astype(int) + 2
    linear = photo.linear_RGB(slice(low[1], high[1]), slice(low[0], high[0]))
    to_square = cv2.getPerspectiveTransform((middle - low).astype(np.float32), target)
    flat = np.asarray(cv2.warpPerspective(linear, to_square, (size, size), flags=cv2.INTER_LINEAR))
    parts = np.median(flat.reshape(PARTS, 8, PARTS, 8, 3), axis=(1, 3)).reshape(-1, 3)
    # 8-bit steps and noise are large in a channel that is nearly dark
    floor = 0.1 * parts.max() + 0.002
    ratios = np.log((parts.max(axis=0) + floor) / (np.maximum(parts.min(axis=0), 0) + floor))
    return float(ratios.max())


def _misfits(RGB: NDArray[np.float64], known_XYZ: NDArray[np.float64]) -> dict[int, str]:
    """Patches that differ from what the others say, and how."""
    fit = fit_colours(RGB, known_XYZ)
    read = np.isfinite(RGB).all(axis=1)
    if fit.score == 0:
        return {}
    fair = read & (fit.tint < MAX_TINT)
    light = _light(fit.level, fair, known_XYZ[:, 1])
    level = fit.level - light
    limit_level = max(MAX_LEVEL, SPREADS * _spread(level[fair & (np.abs(level) < MAX_LEVEL)]))
    limit_tint = max(MAX_TINT, SPREADS * _spread(fit.tint[fair]))
    expected = fit.predicted_RGB * np.exp(light)[:, None]
    white = np.nanmax(expected, axis=0)
    misfits = {}
    for patch in np.flatnonzero(read & ((np.abs(level) > limit_level) | (fit.tint > limit_tint))):
        added = (RGB[patch] - expected[patch]) / white
        if added.min() > 0 and added.max() < SAME_GLARE * added.min():
            misfits[int(patch)] = GLOSSY
        elif level[patch] < -limit_level and fit.tint[patch] <= limit_tint:
            misfits[int(patch)] = SHADED
        else:
            misfits[int(patch)] = COVERED
    return misfits


def _light(level: NDArray[np.float64], fair: NDArray[np.bool_], Y: NDArray[np.float64]) -> NDArray[np.float64]:
    """The smooth light over the chart and the camera's tone, as most patches show them: ln units (24,)."""
    place = chart_cells() / (COLUMNS - 1, ROWS - 1) - 0.5
    tone = np.log(Y / np.median(Y)) / np.log(Y.max() / Y.min())
    basis = np.column_stack([np.ones(PATCHES), place, tone, 4 * tone**2])
    there = np.flatnonzero(fair)
    if len(there) < MIN_USED // 2:
        return np.full(PATCHES, np.median(level[fair]) if len(there) else 0.0)
    rng = np.random.default_rng(20260307)  # a fixed seed: the same photo gives the same answer
    draws = there[rng.permuted(np.tile(np.arange(len(there)), (TRIES, 1)), axis=1)[:, : basis.shape[1]]]
    drawn = basis[draws]
    # ridge: a draw whose patches do not tell a coefficient leaves it small
    normal = np.swapaxes(drawn, -1, -2) @ drawn + 1e-4 * np.eye(basis.shape[1])
    surfaces = np.linalg.solve(normal, np.swapaxes(drawn, -1, -2) @ level[draws][..., None])[..., 0]
    surfaces = surfaces[(np.abs(surfaces) <= STEEPEST).all(axis=1)]
    flat = np.zeros((1, basis.shape[1]))
    flat[0, 0] = np.median(level[fair])
    surfaces = np.concatenate([flat, surfaces])
    agrees = np.abs(level[there] - surfaces @ basis[there].T) < AGREES
    # of two halves, one in shadow, the lighter one is the chart in its light
    best = agrees.sum(axis=1) + 0.5 * surfaces[:, 0]
    kept = there[agrees[int(best.argmax())]]
    for _ in range(3):
        left = basis[kept]
        ridge = 0.02 * np.diag([0.0, 1.0, 1.0, 1.0, 1.0])
        surface = np.linalg.solve(left.T @ left + ridge, left.T @ level[kept])
        kept = there[np.abs(level[there] - basis[there] @ surface) < 1.5 * AGREES]
        if len(kept) < basis.shape[1]:
            break
    return np.asarray(basis @ surface)


def _spread(values: NDArray[np.float64]) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0
