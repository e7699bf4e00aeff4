"""How blotchy is a zone, how bold is its figure, and how sure is that?

The blotch index B is the standard deviation, in L*, of lightness variation with wavelengths of 4 to 50 mm, the wood's
figure left out. It is this tool's own measure. Its kin are mottle (ISO/IEC 13660:2001: slow density fluctuation of
prints) and the chain of print-mottle models, power spectrum, band, directional structure taken out, root of the sum
(Fahlcrantz, KTH thesis 2005).

How figure is told from blotch, figure.py says. A remnant of bold figure stays in what it leaves; its expected size is
taken off B, and what it may be is in the interval.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.bands import FINEST_MM, Array, Modes, between, full_width_mm, modes_of
from analyzer.figure import without_figure
from analyzer.guard_band import Z_975
from analyzer.levelling import fill_holes, levelled_lightness

BLOTCH_MM = (4.0, 50.0)  # wavelengths; the definition of B
OCTAVES_MM = ((4.0, 8.0), (8.0, 16.0), (16.0, 32.0), (32.0, 64.0))

MIN_SIDE_MM = 25.0  # half the longest wave: on less, the long end of the band cannot show
MIN_AREA_MM2 = 1000.0  # of measured pixels, chosen: about ten patches of 10 mm
MIN_MEASURED = 0.4  # share of the rectangle, chosen: below it the fill is most of what is analysed

GRAIN_LIMIT_DEG = 30.0  # steeper is no grain of a board cut along it, but a lap mark or a scratch
REFILL_DEG = 2.0  # below it a streak leaves its row by less than 0.6 mm over the length of the fill
GRAIN_BLUR_MM = 0.8  # grain lines show below the blotch band, single pixels do not
GRAIN_COHERENCE = 0.15  # of the structure tensor, 0 to 1; patchy surfaces of 80 x 120 mm reach 0.1

METHOD_U95 = 0.015  # relative to B: what leaks out at the ends of the band, 1 to 4 % of it on simulated surfaces
WHITE_DOUBT = 0.2  # relative 95 % doubt of the white part: resampling and JPEG colour it; chosen
# Figure left in what should be patchy, as a share of the bent and thin figure: expected, least and most of 95 %. On
# 160 zones of simulated boards of five woods without blotch it was 0.3 to 1.6, and in half of them 0.7 to 1.1. Expected
# is set lower, for wood whose fibres are straighter than those drawn: blotch must not be thrown out with them.
REMNANT, LEAST_REMNANT, MOST_REMNANT = 0.6, 0.3, 1.6
READING_U95 = 0.01  # L*: no photo tells less, even where a drawing without noise would
# Bins of wavelength for the sampling error, in modes. Half a mode: finer than the modes' own leak, so that the leak
# does not make a few large patches pass for many. Coverage of the 95 % interval is then 95 to 98 %, and 91 to
# 100 % under streaks (simulated, 100 to 300 zones of each kind).
SAMPLING_BIN = 0.5
MIN_FREEDOM = 2.0  # effective number of independent waves


@dataclass(frozen=True, slots=True)
class Band:
    """Blotch of one octave of wavelengths."""

    shortest_mm: float
    longest_mm: float
    blotch: float  # L*


@dataclass(frozen=True, slots=True, eq=False)
class Evenness:
    """Evenness of one zone; None (and no bands) when the zone is too small or too much of it is masked."""

    blotch: float | None  # B, L*
    # 95 % half-width of B as a sample of what this treatment does: patches by chance, noise,
    # and what of the figure may be left in it. Not the light's.
    blotch_u95: float | None
    figure: float | None  # L*: what was taken out of the band as figure
    patch_mm: float | None  # width of a patch; None also when there is no blotch to speak of
    bands: tuple[Band, ...]
    # (rows, columns), L*: local deviation in the blotch band, figure left out; NaN where not measured. Its RMS is B,
    # but for the noise that B no longer holds.
    deviation: NDArray[np.float32]


def evenness(Y: NDArray[np.floating], measured: NDArray[np.bool_], mm_per_px: float) -> Evenness:
    """Blotch index and figure of one zone.

    Parameters
    ----------
    Y : ndarray of float, (rows, columns)
        Linear relative luminance, 1 for white; rows lie across the grain, columns along it. Not changed. Values where
        not measured do not matter.
    measured : ndarray of bool, (rows, columns)
        False for what is not this zone's finish: outside an irregular zone, a knot, glare, a card.
    mm_per_px : float
        At most 0.8.

    Returns
    -------
    Evenness

    Raises
    ------
    ValueError
        If shapes do not agree, the pixels are too large, or a measured value is not finite.
    """
    _check(Y, measured, mm_per_px)
    if not _is_enough(measured, mm_per_px):
        return Evenness(None, None, None, None, (), np.full(Y.shape, np.nan, np.float32))
    modes = modes_of(*Y.shape, float(mm_per_px))
    L = levelled_lightness(Y.astype(np.float64), measured, mm_per_px)
    L, grain_deg = _whole(L, measured, modes, mm_per_px)
    surface = modes.analyse(L)
    found = without_figure(modes, surface, grain_deg, mm_per_px, BLOTCH_MM)
    band = between(modes, *BLOTCH_MM)
    power = found.amplitude**2 / L.size  # L*² of each mode
    deviation = modes.synthesise(np.sqrt(band) * found.amplitude)
    total = float(np.mean(deviation[measured] ** 2))
    share = float(measured.mean())
    thin = found.thin / share  # the fill is smooth: noise only where measured
    noise = float((band * thin).sum())
    white = min(float(band.sum()) * found.white / share, total)
    patchy = max(0.0, total - noise)
    bent_and_thin = math.hypot(found.bent_figure, found.thin_figure)
    B, low, high = (
        math.sqrt(max(0.0, patchy - (times * bent_and_thin) ** 2)) for times in (REMNANT, MOST_REMNANT, LEAST_REMNANT)
    )
    freedom = share * _freedom(modes, band, power, found.kept, L.size * mm_per_px**2)
    B_u95 = math.hypot(_sampling_u95(B, total, noise, freedom), METHOD_U95 * B, max(high - B, B - low), READING_U95)
    taken = float((band * (surface**2 / L.size - power)).sum())
    return Evenness(
        blotch=B,
        blotch_u95=B_u95,
        figure=math.sqrt(max(0.0, taken + patchy - B**2)),
        patch_mm=full_width_mm(modes, band * (power - thin)) if B_u95 < B else None,
        bands=_bands(modes, power * _ratio(total, float((band * power).sum())) - thin, _ratio(B**2, patchy)),
        deviation=np.where(measured, math.sqrt(_ratio(B**2 + white, total)) * deviation, np.nan).astype(np.float32),
    )


def _check(Y: NDArray[np.floating], measured: NDArray[np.bool_], mm_per_px: float) -> None:
    if Y.ndim != 2 or Y.shape != measured.shape or measured.dtype != np.bool_:
        raise ValueError(
            f"evenness: Y {Y.shape} and measured {measured.shape} {measured.dtype} must be (rows, columns), bool."
        )
    if not 0 < mm_per_px <= FINEST_MM / 2:
        raise ValueError(f"evenness: mm_per_px must be in (0, {FINEST_MM / 2:g}], got {mm_per_px:g}.")
    missing = np.count_nonzero(measured & ~np.isfinite(Y))
    if missing:
        raise ValueError(f"evenness: {missing} measured values are not finite. Mask missing pixels first.")


def _is_enough(measured: NDArray[np.bool_], mm_per_px: float) -> bool:
    count = int(np.count_nonzero(measured))
    return (
        min(measured.shape) * mm_per_px >= MIN_SIDE_MM
        and count * mm_per_px**2 >= MIN_AREA_MM2
        and count >= MIN_MEASURED * measured.size
    )


def _whole(L: Array, measured: NDArray[np.bool_], modes: Modes, mm_per_px: float) -> tuple[Array, float]:
    """Fill the holes along the grain. Its slope is only seen well once they are filled: twice, where it slopes."""
    if measured.all():
        return L, _grain_deg(L, measured, mm_per_px)
    filled = fill_holes(L, measured, modes, mm_per_px, grain_deg=0.0)
    grain_deg = _grain_deg(filled, measured, mm_per_px)
    if abs(grain_deg) > REFILL_DEG:
        filled = fill_holes(L, measured, modes, mm_per_px, grain_deg)
    return filled, grain_deg


def _grain_deg(L: Array, measured: NDArray[np.bool_], mm_per_px: float) -> float:
    """Slope of the grain against the rows, positive when it runs down to the right; 0 when no grain is seen.

    From the structure tensor, the mean outer product of the gradients (Bigun & Granlund, ICCV 1987).
    """
    smooth = cv2.GaussianBlur(L, (0, 0), GRAIN_BLUR_MM / mm_per_px)
    down, along = np.gradient(smooth)
    down, along = down[measured], along[measured]
    down_down, along_along, down_along = ((a * b).sum() for a, b in ((down, down), (along, along), (down, along)))
    stretch = math.hypot(down_down - along_along, 2 * down_along)
    if stretch <= GRAIN_COHERENCE * (down_down + along_along):
        return 0.0
    slope = -math.degrees(math.atan2(2 * down_along, down_down - along_along)) / 2
    return slope if abs(slope) <= GRAIN_LIMIT_DEG else 0.0


def _freedom(modes: Modes, band: Array, power: Array, kept: Array, area_mm2: float) -> float:
    """Effective number of independent waves in B².

    B² is a sum of independent chi-squares, one a mode, weighted by their expected powers w: it varies like a
    chi-square of (sum w)² / sum w² degrees of freedom (Satterthwaite, Biometrics Bulletin 2, 1946). Expected power is
    the mean over a narrow bin of wavelengths. Of those only the share counts that the figure has not covered.
    """
    bin_per_mm = SAMPLING_BIN / (2 * math.sqrt(area_mm2))
    bins = np.rint(modes.frequency.ravel() / bin_per_mm).astype(np.intp)
    weight = band.ravel()
    found = np.bincount(bins, weight * power.ravel())
    weights, squares = np.bincount(bins, weight), np.bincount(bins, weight**2)
    filled = weights > 0
    expected = found[filled] / weights[filled]
    spread = float(squares[filled] @ expected**2)
    whole = float(found.sum())
    return whole * float((band * power * kept).sum()) / spread if spread > 0 else MIN_FREEDOM


def _sampling_u95(B: float, total: float, noise: float, freedom: float) -> float:
    """95 % half-width of B as a sample, L*: the wider, upper side of the interval."""
    nu = max(freedom, MIN_FREEDOM)
    # 2.5 % point of chi-square over nu (Wilson & Hilferty, PNAS 17, 1931)
    low = (1 - 2 / (9 * nu) - Z_975 * math.sqrt(2 / (9 * nu))) ** 3
    B2_u95 = math.hypot(total * (1 / low - 1), WHITE_DOUBT * noise)
    return math.sqrt(B**2 + B2_u95) - B


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 1.0


def _bands(modes: Modes, power: Array, share: float) -> tuple[Band, ...]:
    squares = [share * float((between(modes, *octave) * power).sum()) for octave in OCTAVES_MM]
    return tuple(Band(*octave, math.sqrt(max(0.0, square))) for octave, square in zip(OCTAVES_MM, squares, strict=True))
