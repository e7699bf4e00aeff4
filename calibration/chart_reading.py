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
from calibration.chart_colours import FLOOR, fit_colours
from calibration.chart_finder import ChartFound, chart_cells
from calibration.errors import ReferenceCardError
from calibration.findings import REGISTRY, Finding, finding
from calibration.patches import PatchReadings
from calibration.photo import Photo
from calibration.quads import shrunk
from calibration.reference import RIM_SHARE, read_gray_card

# Why a patch is left out, in words that follow "patches that are …"
OUTSIDE, SMALL, CLIPPED, DARK = "outside the photo", "too small", "clipped", "too dark in a colour channel"
UNEVEN, SHADED, GLOSSY, COVERED = "uneven", "in shadow", "glossy", "covered, or not of their colour"

MOST_NAMED = 8  # more are counted

READ_SHARE = 0.8  # of a patch's side, before the reading leaves out its own rim: blur and a place slightly off (chosen)
MIN_MIDDLE_PX, WANTED_MIDDLE_PX = 8.5, 20.0  # side of what is read of a patch
# patches: a white-preserving matrix has six unknowns, a tone curve with flare two (chosen)
MIN_USED, MIN_NEUTRALS = 10, 3
PARTS, PART_SAMPLES = 3, 8  # by three parts of a patch's middle; samples across each
NOISE_SPREADS = 4.0  # standard deviations of a part's median
DARK_SHARE, DARK_LEVEL = 0.1, 0.002  # of the brightest channel, of full scale: below, 8-bit steps decide (chosen)
MAX_UNEVEN = 0.16  # ln units between the lightest and the darkest part (chosen: steep fall-off makes 0.05)
MAX_LEFT_OUT = 0.3  # of a patch's middle that was outlying
# ln units from what the other patches let expect. A camera's own misfit to a matrix reaches 0.1 to 0.2 (chosen).
MAX_LEVEL, MAX_TINT = 0.18, 0.25
SPREADS = 4.0  # or so many robust spreads of the good patches
AGREES = 0.08  # ln units from a surface of light
# Steepest surface of light and strongest tone that are believed, ln units from one side of the chart to the other, and
# over the chart's range of luminance.
DARK_FROM = 0.1  # of the chart's range of ln luminance, below the median patch
STEEPEST = np.array([np.inf, 0.6, 0.6, 1.0, 2.5])
STEEP_COSTS = np.array([0.0, 8.0, 8.0, 0.3, 0.2])  # patches, for each ln unit
LIGHTER_GAINS = 3.0  # patches, for each ln unit
TONE_RIDGE = 0.05  # keeps the tone curve tame where few patches tell it
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
    if len(patches) > MOST_NAMED:
        return f"{len(patches)} patches"
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
    uneven = reading.left_out > MAX_LEFT_OUT or _unevenness(photo, square_px, side) > MAX_UNEVEN
    return _Middle(reading.linear_RGB, reading.u_relative, UNEVEN if uneven else "")


def _unevenness(photo: Photo, square_px: NDArray[np.float64], side_px: float) -> float:
    """Largest ln ratio, in any channel, of three by three parts of a patch's middle, less what noise may make of it."""
    size = PART_SAMPLES * PARTS
    target = np.array([[0, 0], [size, 0], [size, size], [0, size]], dtype=np.float32) - np.float32(0.5)
    middle = shrunk(square_px, RIM_SHARE)
    low = np.maximum(np.floor(middle.min(axis=0)).astype(int) - 1, 0)
    high = np.ceil(middle.max(axis=0)).astype(int) + 2
    linear = photo.linear_RGB(slice(low[1], high[1]), slice(low[0], high[0]))
    to_square = cv2.getPerspectiveTransform((middle - low).astype(np.float32), target)
    flat = np.asarray(cv2.warpPerspective(linear, to_square, (size, size), flags=cv2.INTER_LINEAR))
    samples = flat.reshape(PARTS, PART_SAMPLES, PARTS, PART_SAMPLES, 3).swapaxes(1, 2).reshape(PARTS**2, -1, 3)
    parts = np.median(samples, axis=1)
    noise = 1.4826 * np.median(np.abs(samples - parts[:, None]), axis=(0, 1))
    # neighbours share noise through demosaicing and JPEG: about one independent value in four pixels (chosen)
    u = 1.25 * noise / np.sqrt(min(PART_SAMPLES**2, max((side_px / PARTS) ** 2 / 4, 1)))
    floor = DARK_SHARE * parts.max() + DARK_LEVEL
    apart = np.log((parts.max(axis=0) + floor) / (np.maximum(parts.min(axis=0), 0) + floor))
    return float((apart - NOISE_SPREADS * u / (parts.mean(axis=0) + floor)).max())


def _misfits(RGB: NDArray[np.float64], known_XYZ: NDArray[np.float64]) -> dict[int, str]:
    """Patches that differ from what the others say, and how."""
    read = np.isfinite(RGB).all(axis=1)
    first = fit_colours(RGB, known_XYZ)
    if first.score == 0:
        return {}
    light, kept = _light(first.level, read & (first.tint < MAX_TINT), known_XYZ[:, 1])
    # what lies in the shade or is covered has no say any more: the rest tells the camera and its tone curve
    for _ in range(2):
        toned = _without_tone(RGB, kept, first.predicted_RGB * np.exp(light)[:, None])
        fit = fit_colours(np.where(kept[:, None], toned, np.nan), known_XYZ)
        if fit.score == 0:
            fit, toned = first, RGB
        level, tint = _off(toned, fit.predicted_RGB)
        light, kept = _light(level, read & (tint < MAX_TINT), known_XYZ[:, 1])
        first = fit
    return _judged(toned, fit.predicted_RGB * np.exp(light)[:, None], kept)


def _judged(RGB: NDArray[np.float64], expected: NDArray[np.float64], kept: NDArray[np.bool_]) -> dict[int, str]:
    level, tint = _off(RGB, expected)
    limit_level = max(MAX_LEVEL, SPREADS * _spread(level[kept]))
    limit_tint = max(MAX_TINT, SPREADS * _spread(tint[kept]))
    white = np.nanmax(expected, axis=0)
    misfits = {}
    for patch in np.flatnonzero((np.abs(level) > limit_level) | (tint > limit_tint)):  # NaN is neither
        added = (RGB[patch] - expected[patch]) / white
        if added.min() > 0 and added.max() < SAME_GLARE * added.min():
            misfits[int(patch)] = GLOSSY
        elif level[patch] < -limit_level and tint[patch] <= limit_tint:
            misfits[int(patch)] = SHADED
        else:
            misfits[int(patch)] = COVERED
    return misfits


def _off(RGB: NDArray[np.float64], expected: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How much brighter (24,) patches are than expected, and how far single channels are off that; ln units."""
    floor = FLOOR * np.nanmax(RGB, axis=0)
    off = np.log((np.maximum(RGB, 0) + floor) / (np.maximum(expected, 0) + floor))
    trust = RGB / (RGB + 2 * floor) + 0.05
    level = (trust * off).sum(axis=1) / trust.sum(axis=1)
    return level, np.sqrt((trust * (off - level[:, None]) ** 2).sum(axis=1) / trust.sum(axis=1))


def _without_tone(
    RGB: NDArray[np.float64], kept: NDArray[np.bool_], expected: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The readings with the camera's tone curve taken out, one for all channels: a cubic of ln units."""
    floor = FLOOR * np.nanmax(RGB, axis=0)
    seen = np.log((np.maximum(RGB, 0) + floor) / np.nanmax(RGB, axis=0))
    off = seen - np.log((np.maximum(expected, 0) + floor) / np.nanmax(RGB, axis=0))
    x, y = seen[kept].ravel(), off[kept].ravel()
    weight = np.ones(len(x))
    cubic = np.zeros(4)
    for _ in range(5):
        basis = np.stack([x**power for power in range(4)], axis=1)
        left = basis * weight[:, None]
        cubic = np.linalg.solve(left.T @ basis + TONE_RIDGE * np.diag([0.0, 1, 1, 1]), left.T @ y)
        weight = (1 + ((y - basis @ cubic) / AGREES) ** 2) ** -1.0
    tone = sum(cubic[power] * seen**power for power in range(1, 4))
    return np.asarray(RGB * np.exp(-tone))


def _light(
    level: NDArray[np.float64], fair: NDArray[np.bool_], Y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """The smooth light over the chart and what is left of the camera's tone, as most patches show them.

    Returns both together, ln units (24,), and which patches (24,) agree with it.
    """
    place = chart_cells() / (COLUMNS - 1, ROWS - 1) - 0.5
    tone = np.log(Y / np.median(Y)) / np.log(Y.max() / Y.min())
    # a tone curve is straight for light patches, and bends where it is dark
    basis = np.column_stack([np.ones(PATCHES), place, tone, np.minimum(tone + DARK_FROM, 0)])
    there = np.flatnonzero(fair)
    if len(there) < MIN_USED // 2:
        return np.full(PATCHES, np.median(level[fair]) if len(there) else 0.0), fair
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
    misfit = np.abs(level[there] - surfaces @ basis[there].T)
    agreement = (1 / (1 + (misfit / AGREES) ** 2)).sum(axis=1)
    # of two halves, one in shadow, the lighter one is the chart in its light; a calm light is likelier than a steep one
    best = agreement + LIGHTER_GAINS * surfaces[:, 0] - np.abs(surfaces) @ STEEP_COSTS
    kept = there[misfit[int(best.argmax())] < 2 * AGREES]
    surface = surfaces[int(best.argmax())]
    for _ in range(3):
        if len(kept) < MIN_USED // 2:
            break
        left = basis[kept]
        ridge = 0.02 * np.diag([0.0, 1.0, 1.0, 1.0, 1.0])
        surface = np.linalg.solve(left.T @ left + ridge, left.T @ level[kept])
        kept = there[np.abs(level[there] - basis[there] @ surface) < 2 * AGREES]
    return np.asarray(basis @ surface), np.isin(np.arange(PATCHES), kept)


def _spread(values: NDArray[np.float64]) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0
