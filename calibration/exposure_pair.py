"""What do two photos of one still scene at different exposures say of the camera's tone curve?

Every place of the scene sent the camera the same light, but for the exposure: the codes of one photo against those of
the other (the comparagram; Mann 2000, IEEE TIP 9:1389) are bent only by the curve (Debevec & Malik 1997; Mitsunaga &
Nayar 1999). Means over small calm blocks are compared, so that a pixel of shake does no harm.

What they cannot tell (Grossberg & Nayar 2003, IEEE TPAMI 25:1455): a power of the curve and a power of the exposure
ratio are the same thing, so the ratio that the camera wrote is relied on, with an uncertainty; and stray light, which
grows with the exposure as the scene does, is not seen at all: the curve then has no flare, and the uncertainty says so.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.colorspace import sRGB_decode, sRGB_encode
from calibration.exif import Exif
from calibration.photo import Photo
from calibration.posterior import Posterior, fit_with_prior
from calibration.tone import COUNT, MAX_FROM_PRIOR, U_CODE, ToneFit, told_by_data, unusable
from calibration.tone_curve import PARAMETERS, PRIOR, U_PRIOR, ToneCurve, curve_of, is_possible

Floats = NDArray[np.float64]

BLOCK_PX = 12
BAND_ROWS = 20 * BLOCK_PX  # of the photo, made linear at a time
MOST_SPREAD = 0.15  # of a block's pixels, relative: calm ones are read
LEVELS = 0.003, 0.9  # linear RGB between which both codes mean something
BINS, MIN_BLOCKS = 36, 8  # of levels of the darker photo, logarithmic; blocks that make a bin count
MIN_BINS, MIN_LEVELS = 8, 6.0  # bins, and lightest over darkest level they must span
LEAST_RATIO, LARGEST_RATIO = 1.5, 20.0
# Standard uncertainties of the logarithm of the exposure ratio. Dials are marked in rounded numbers (1/60 s may be
# 1/64 s), so these are known less well than the odd ones that phones write. Chosen; common practice, no source.
U_RATIO_MARKED, U_RATIO_ODD = 0.03, 0.01
MARKED_S = (15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000)
U_BALANCE = 0.01  # relative, of a channel's gain between the photos
U_BIN = 0.004  # relative, of a bin: blocks overlap things by a fraction of a pixel
MAX_SCATTER = 0.05  # relative, of blocks in a bin; 0.01 is usual, beyond this the curve changes over the photo (chosen)
MAX_MISFIT = 0.03  # relative, rms of the bins off the fitted curve (chosen)
MOST_SHIFT_SHARE = 0.03  # of the frame
MAX_TURN_PX = 1.5  # preview pixels by which shifts of the photo's quarters may differ: no turn, no zoom
ALIGN_PX = 512
LEAST_ALIKE = 0.06  # response of the phase correlation, of 1
NEXT_PX = 2  # preview pixels


def exposure_ratio(first: Exif, second: Exif) -> tuple[float, float] | None:
    """How much more light a photo got than another, by time, sensitivity and aperture.

    Returns
    -------
    (ratio, u_log_ratio) or None
        None: the cameras did not write it.
    """
    logs, u = [], U_RATIO_ODD
    for exif in (first, second):
        if exif.exposure_s is None or exif.iso is None:
            return None
        aperture = exif.f_number if first.f_number and second.f_number and exif.f_number else 1.0
        logs.append(np.log(exif.exposure_s * exif.iso / aperture**2))
        if any(abs(exif.exposure_s * mark - 1) < 1e-3 for mark in MARKED_S) or exif.exposure_s >= 0.1:
            u = U_RATIO_MARKED
    if first.iso == second.iso and first.exposure_s == second.exposure_s:
        u = U_RATIO_MARKED  # apertures alone: marked ones
    return float(np.exp(logs[0] - logs[1])), u


def tone_from_exposures(first: Photo, second: Photo) -> ToneFit:
    """Fit the tone curve to two photos of one still scene.

    Parameters
    ----------
    first, second : Photo
        From one camera that stood still, exposures at least 1.5 times apart, in any order.

    Returns
    -------
    ToneFit
        Its residuals are those of bins of levels, dark to light. Not usable, with the reason, where the photos are no
        such pair or do not share one curve.
    """
    why_not, ratio, u_log_ratio = _paired(first, second)
    if why_not:
        return unusable(why_not)
    light, dark = (first, second) if ratio > 1 else (second, first)
    shift, why_not = _shift(light, dark)
    if why_not:
        return unusable(why_not)
    bins, scatter = _comparagram(light, dark, shift)
    if len(bins) < MIN_BINS or bins[:, 1].max() < MIN_LEVELS * bins[:, 1].min():
        return unusable("too few calm surfaces, light and dark, are well exposed in both photos")
    if scatter > MAX_SCATTER:
        return unusable(
            f"equal levels of one photo scatter by {scatter:.0%} in the other (limit {MAX_SCATTER:.0%}): something "
            "moved, or the camera changed the photo from place to place"
        )
    return _fitted(bins, abs(float(np.log(ratio))), u_log_ratio)


def _paired(first: Photo, second: Photo) -> tuple[str, float, float]:
    if first.codes.shape != second.codes.shape or first.profile != second.profile:
        return "the photos differ in size or colour profile", 1.0, 0.0
    if first.exif.camera != second.exif.camera or first.exif.lens != second.exif.lens:
        return "the photos are from different cameras or lenses", 1.0, 0.0
    if first.exif.flash_fired or second.exif.flash_fired:
        return "the flash fired", 1.0, 0.0
    told = exposure_ratio(first.exif, second.exif)
    if told is None:
        return "the photos do not say exposure time and ISO", 1.0, 0.0
    ratio, u_log_ratio = told
    larger = max(ratio, 1 / ratio)
    if not LEAST_RATIO <= larger <= LARGEST_RATIO:
        return (
            f"the exposures are {larger:.1f} times apart (wanted {LEAST_RATIO:.1f} to {LARGEST_RATIO:.0f})",
            ratio,
            u_log_ratio,
        )
    return "", ratio, u_log_ratio


def _shift(light: Photo, dark: Photo) -> tuple[tuple[int, int], str]:
    """By how many photo pixels (x, y) the darker photo lies aside; why it cannot be laid over the other."""
    shrink = max(1, round(max(light.codes.shape[:2]) / ALIGN_PX))
    one, other = (_structure(photo, shrink) for photo in (light, dark))
    (x, y), alike = _correlated(one, other)
    if alike < LEAST_ALIKE or np.hypot(x, y) > MOST_SHIFT_SHARE * max(one.shape):
        return (0, 0), "the photos do not show the same scene from the same place"
    rows, columns = one.shape[0] // 2, one.shape[1] // 2
    for part in (np.s_[:rows, :columns], np.s_[:rows, columns:], np.s_[rows:, :columns], np.s_[rows:, columns:]):
        (part_x, part_y), part_alike = _correlated(one[part], other[part])
        if part_alike > 2 * LEAST_ALIKE and np.hypot(part_x - x, part_y - y) > MAX_TURN_PX:
            return (0, 0), "the camera turned between the photos"
    return (round(x * shrink), round(y * shrink)), ""


def _structure(photo: Photo, shrink: int) -> NDArray[np.float32]:
    """Edges of the photo, whatever its exposure: log levels less their surroundings, each as strong as any."""
    rows, columns = (length // shrink for length in photo.codes.shape[:2])
    small = cv2.resize(photo.codes, (columns, rows), interpolation=cv2.INTER_AREA)
    levels = np.log(photo.curve[:, 1][small[..., 1]] + 0.01).astype(np.float32)
    edges = levels - cv2.GaussianBlur(levels, (0, 0), 3 * NEXT_PX)
    return np.asarray(np.clip(edges, -0.3, 0.3), dtype=np.float32)


def _correlated(one: NDArray[np.float32], other: NDArray[np.float32]) -> tuple[tuple[float, float], float]:
    window = cv2.createHanningWindow(one.shape[::-1], cv2.CV_32F)
    (x, y), alike = cv2.phaseCorrelate(np.ascontiguousarray(one), np.ascontiguousarray(other), window)
    return (float(x), float(y)), float(alike)


def _comparagram(light: Photo, dark: Photo, shift: tuple[int, int]) -> tuple[Floats, float]:
    """Bins (n, 5) of lighter and darker level, their relative uncertainty, channel and blocks; the usual scatter."""
    x, y = shift
    rows, columns = light.codes.shape[:2]
    height, width = rows - abs(y), columns - abs(x)
    means_light = _blocks(light, max(-y, 0), max(-x, 0), height, width)
    means_dark = _blocks(dark, max(y, 0), max(x, 0), height, width)
    found: list[tuple[float, ...]] = []
    scatters: list[float] = []
    for channel in range(3):
        one, other = means_light[:, channel], means_dark[:, channel]
        both = np.isfinite(one) & np.isfinite(other)
        one, other = one[both], other[both]
        if not len(one):
            continue
        edges = np.geomspace(LEVELS[0], LEVELS[1], BINS + 1)
        places = np.digitize(other, edges)
        for place in range(1, BINS + 1):
            inside = places == place
            if np.count_nonzero(inside) < MIN_BLOCKS:
                continue
            ratios = np.log(one[inside] / other[inside])
            middle = float(np.median(ratios))
            spread = 1.4826 * float(np.median(np.abs(ratios - middle)))
            level = float(np.median(other[inside]))
            u = np.hypot(U_BIN, 1.25 * spread / np.sqrt(len(ratios)))
            found.append((level * np.exp(middle), level, float(u), channel, len(ratios)))
            scatters.append(spread)
    return np.array(found).reshape(-1, 5), float(np.median(scatters)) if scatters else 0.0


def _blocks(photo: Photo, top: int, left: int, height: int, width: int) -> Floats:
    """Mean linear RGB (blocks, 3) of small squares; NaN where one is not calm, black, or at full scale."""
    columns = width // BLOCK_PX
    found = []
    for start in range(0, height - BLOCK_PX + 1, BAND_ROWS):
        rows = min(BAND_ROWS, height - start) // BLOCK_PX
        part = (
            slice(top + start, top + start + rows * BLOCK_PX),
            slice(left, left + columns * BLOCK_PX),
        )
        linear = photo.linear_RGB(*part)
        mean = np.asarray(cv2.resize(linear, (columns, rows), interpolation=cv2.INTER_AREA), dtype=np.float64)
        square = cv2.resize(linear * linear, (columns, rows), interpolation=cv2.INTER_AREA)
        spread = np.sqrt(np.maximum(square - mean**2, 0))
        full = cv2.resize(photo.is_clipped(*part).astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
        bad = (spread > MOST_SPREAD * mean) | (mean < LEVELS[0]) | (mean > LEVELS[1]) | (full > 0)[..., None]
        found.append(np.where(bad, np.nan, mean).reshape(-1, 3))
    return np.concatenate(found) if found else np.empty((0, 3))


def _fitted(bins: Floats, log_ratio: float, u_log_ratio: float) -> ToneFit:
    like = ToneCurve(mid_level=0.18, darkest=float(bins[:, 1].min()), lightest=float(bins[:, 0].max()))
    code = [sRGB_decode(sRGB_encode(bins[:, k]) + U_CODE / 255) / bins[:, k] - 1 for k in (0, 1)]
    u = np.sqrt(bins[:, 2] ** 2 + code[0] ** 2 + code[1] ** 2)
    channel = bins[:, 3].astype(int)

    def off(parameters: Floats) -> Floats:
        """Logarithm of the light's ratio (bins,), less that of the exposures."""
        curve = curve_of(_without_flare(parameters[:COUNT]), like)
        light = curve.exactly(np.repeat(np.concatenate([bins[:, 0], bins[:, 1]])[:, None], 3, axis=1))[:, 0]
        one, other = light[: len(bins)], light[len(bins) :]
        return np.asarray(np.log(one / other) - log_ratio - parameters[COUNT] - parameters[COUNT + 1 :][channel])

    def residuals(parameters: Floats) -> Floats:
        return off(parameters) / u if is_possible(parameters[:COUNT]) else np.full(len(bins), np.inf)

    prior = np.concatenate([PRIOR, np.zeros(4)])
    u_prior = np.concatenate([U_PRIOR, [u_log_ratio], np.full(3, U_BALANCE)])
    posterior = fit_with_prior(residuals, np.zeros(COUNT + 4), prior, u_prior)
    return _judged(posterior, off(posterior.mean), bins, like)


def _without_flare(parameters: Floats) -> Floats:
    return np.concatenate([np.zeros(4), parameters[4:]])


def _judged(posterior: Posterior, off: Floats, bins: Floats, like: ToneCurve) -> ToneFit:
    curve = curve_of(_without_flare(posterior.mean[:COUNT]), like)
    misfit = float(np.sqrt((off**2).mean()))
    far = np.abs(posterior.mean[4:COUNT] - PRIOR[4:]) / U_PRIOR[4:]
    if not (posterior.settled and curve.is_monotone):
        return unusable("no curve was found that makes one exposure of the other")
    if misfit > MAX_MISFIT:
        return unusable(f"the exposures lie {misfit:.1%} off any one curve (limit {MAX_MISFIT:.0%})")
    if far.max() > MAX_FROM_PRIOR:
        return unusable(f"the exposures ask for more {PARAMETERS[4 + int(far.argmax())]} than cameras have")
    covariance = posterior.covariance[:COUNT, :COUNT].copy()
    covariance[:4], covariance[:, :4] = 0.0, 0.0
    covariance[:4, :4] = np.diag((U_PRIOR**2 + PRIOR**2)[:4])  # not seen at all
    L = 116 * np.cbrt(bins[:, 1]) - 16
    fit = unusable("", len(bins))
    return replace(
        fit,
        curve=curve,
        covariance=covariance,
        told=told_by_data(covariance),
        residual_relative=off,
        residual_L=off * (L + 16) / 3,
        used=np.ones(len(bins), bool),
    )
