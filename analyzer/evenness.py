"""How blotchy is a zone, how bold is its figure, and how sure is that?

The blotch index B is the standard deviation, in L*, of lightness variation with wavelengths of 4 to 50 mm, the wood's
figure left out. It is this tool's own measure. Its kin are mottle (ISO/IEC 13660:2001: slow density fluctuation of
prints) and the chain of print-mottle models, power spectrum, band, directional structure taken out, root of the sum
(Fahlcrantz, KTH thesis 2005).

Figure keeps on along the grain; blotch is patchy. A wave belongs to figure's wedge when along the grain it is at least
three times as long as across. What lies in the wedge is compared, ring by ring of wavelength, with what lies outside: a
patchy surface has as much in the one as in the other, and only a clear surplus is figure and taken out. B therefore
stays right for a patchy surface, with and without grain under it. The price: figure too weak to stand out of strong
blotch is not told apart from it. It then stays in B, where it hardly counts (0.5 under 2.8 makes 2.84), and `figure`
reads low.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.bands import FINEST_MM, Array, Modes, between, full_width_mm, modes_of
from analyzer.guard_band import Z_975
from analyzer.levelling import fill_holes, levelled_lightness

BLOTCH_MM = (4.0, 50.0)  # wavelengths; the definition of B
OCTAVES_MM = ((4.0, 8.0), (8.0, 16.0), (16.0, 32.0), (32.0, 64.0))

MIN_SIDE_MM = 25.0  # half the longest wave: on less, the long end of the band cannot show
MIN_AREA_MM2 = 1000.0  # of measured pixels, chosen: about ten patches of 10 mm
MIN_MEASURED = 0.4  # share of the rectangle, chosen: below it the fill is most of what is analysed

ELONGATION = 3.0  # a wave this much longer along the grain than across may be figure; chosen
WEDGE_DEG = math.degrees(math.atan(1 / ELONGATION))  # 18.4
GRAIN_LIMIT_DEG = 30.0  # steeper is no grain of a board cut along it, but a lap mark or a scratch
REFILL_DEG = 2.0  # below it a streak leaves its row by less than 0.6 mm over the length of the fill
GRAIN_BLUR_MM = 0.8  # grain lines show below the blotch band, single pixels do not
GRAIN_COHERENCE = 0.15  # of the structure tensor, 0 to 1; patchy surfaces of 80 x 120 mm reach 0.1

# How much more power the wedge of a ring may hold than the rest of the ring before the surplus is figure, in standard
# deviations of chance: from the first on some of it is taken out, from the second on all. Where figure is seen clearly
# at one wavelength it is expected at the others too, and no more than one standard deviation is left in. Chosen on
# simulated surfaces of 6 to 35 mm, 60 x 300 to 140 x 100 mm: none of 1,800 without streaks lost more than 10 % of B;
# streaks up to three times as strong as the blotch add 1 to 5 %.
SURPLUS_REFUSED = (2.0, 4.0)
FIGURE_SEEN = (3.0, 5.0)  # in one ring: from "perhaps" to "surely"
FIGURE_SHARE = 0.02  # of the power of the band, before a ring may speak for the others: less is leakage
NOTHING = 1e-12  # power outside the wedge that stands for none
MODES_LEAK = 1.1  # neighbouring modes share waves, so chance is wider than their number says; simulated: 1.0 to 1.15
# Wavelengths at which a ring ends: half octaves, to just beyond the band on both sides.
RINGS_MM = (64.0, 45.3, 32.0, 22.6, 16.0, 11.3, 8.0, 5.66, 4.0, 2.83)
MIN_RING = (3, 6)  # modes inside and outside the wedge; smaller rings join the next finer one

# Rings where the white part (photo noise, pores) is looked for: those just finer than the band, and its fine end.
WHITE_RINGS_MM = ((FINEST_MM, 2.5), (2.5, 4.0), (4.0, 5.7), (5.7, 8.0))
WHITE_DOUBT = 0.2  # relative 95 % doubt of the white part: resampling and JPEG colour it; chosen

# What the method itself may be off by, relative: to B, what leaks out at the ends of the band (1 to 4 % of it on
# simulated surfaces); and the share of the figure that stays in B, in quadrature: straight streaks leave next to
# nothing, growth rings and pores up to a fifth (simulated oak and pine without blotch).
METHOD_U95, FIGURE_LEFT = 0.015, 0.2
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
    # 95 % half-width of B as a sample of what this treatment does: patches by chance, and noise. Not the light's.
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
    amplitude = modes.analyse(L)
    power = amplitude**2 / L.size  # L*² of each mode
    wedge = np.abs(modes.direction_deg - abs(grain_deg)) <= WEDGE_DEG
    kept = _kept_of_figure(modes, power, wedge)

    passed = between(modes, *BLOTCH_MM) * kept
    deviation = modes.synthesise(np.sqrt(passed) * amplitude)
    total = float(np.mean(deviation[measured] ** 2))
    share = float(measured.mean())
    white = _white_power(modes, power, wedge) / share  # the fill is smooth: noise only where measured
    noise = white * float(passed.sum())
    B = math.sqrt(max(0.0, total - noise))
    figure = math.sqrt(float((between(modes, *BLOTCH_MM) * (1 - kept) * power).sum()))
    freedom = share * _freedom(modes, passed, power, L.size * mm_per_px**2)
    figure_left = B - math.sqrt(max(0.0, B**2 - (FIGURE_LEFT * figure) ** 2))
    B_u95 = math.hypot(_sampling_u95(B, total, noise, freedom), METHOD_U95 * B, figure_left, READING_U95)
    return Evenness(
        blotch=B,
        blotch_u95=B_u95,
        figure=figure,
        patch_mm=full_width_mm(modes, passed * (power - white)) if B_u95 < B else None,
        bands=_bands(modes, kept, power * _per_measured(total, passed * power) - white),
        deviation=np.where(measured, deviation, np.nan).astype(np.float32),
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


@dataclass(frozen=True, slots=True, eq=False)
class _Surplus:
    """More power in the wedge of a ring than outside it."""

    inside: NDArray[np.bool_]  # modes of the ring in the wedge
    log_ratio: float  # of mean powers, inside to outside
    chance: float  # standard deviation of the same on a patchy surface
    power: float  # L*², of the surplus


def _kept_of_figure(modes: Modes, power: Array, wedge: NDArray[np.bool_]) -> Array:
    """Share of the power of each mode that is not figure: 1 outside the wedge, at most 1 inside it."""
    kept = np.ones_like(power)
    surpluses = list(_surpluses(modes, power, wedge))
    enough = FIGURE_SHARE * float((between(modes, *BLOTCH_MM) * power).sum())
    clearest = max((one.log_ratio / one.chance for one in surpluses if one.power >= enough), default=0.0)
    sure = _step(clearest, *FIGURE_SEEN)
    for one in surpluses:
        doubtful = one.log_ratio * (1 - _step(one.log_ratio / one.chance, *SURPLUS_REFUSED))
        allowed = doubtful + sure * min(one.chance - doubtful, 0.0)
        kept[one.inside] = math.exp(allowed - one.log_ratio)
    return kept


def _surpluses(modes: Modes, power: Array, wedge: NDArray[np.bool_]) -> Iterator[_Surplus]:
    for ring in _rings(modes, wedge):
        inside, outside = ring & wedge, ring & ~wedge
        count, found = int(inside.sum()), float(power[inside].mean())
        patchy = max(float(power[outside].mean()), found * NOTHING)
        if found > patchy > 0:
            chance = MODES_LEAK * math.sqrt(2 / count + 2 / int(outside.sum()))  # chi-squares of one degree each
            yield _Surplus(inside, math.log(found / patchy), chance, count * (found - patchy))


def _step(value: float, start: float, end: float) -> float:
    """0 up to `start`, 1 from `end` on, smooth between."""
    t = min(max((value - start) / (end - start), 0.0), 1.0)
    return t * t * (3 - 2 * t)


def _rings(modes: Modes, wedge: NDArray[np.bool_]) -> Iterator[NDArray[np.bool_]]:
    """Half-octaves of wavelength from the longest to just finer than the band, joined where they hold few modes."""
    ring = np.zeros_like(wedge)
    upper = 0.0
    for wavelength_mm in RINGS_MM:
        lower, upper = upper, 1 / wavelength_mm
        ring = ring | ((modes.frequency > lower) & (modes.frequency <= upper))
        inside = np.count_nonzero(ring & wedge)
        if inside >= MIN_RING[0] and np.count_nonzero(ring) - inside >= MIN_RING[1]:
            yield ring
            ring = np.zeros_like(wedge)


def _white_power(modes: Modes, power: Array, wedge: NDArray[np.bool_]) -> float:
    """L*² per mode of what has the same power at every wavelength: photo noise, and texture as fine as noise.

    No ring may hold less than the white part, so the quietest one bounds it; where fine texture ends before the band,
    the band's own fine end is the quietest, and blotch is not paid for texture.
    """
    means = [
        float(power[ring].mean())
        for finest_mm, coarsest_mm in WHITE_RINGS_MM
        if (ring := (modes.frequency > 1 / coarsest_mm) & (modes.frequency <= 1 / finest_mm) & ~wedge).any()
    ]
    return min(means)


def _freedom(modes: Modes, passed: Array, power: Array, area_mm2: float) -> float:
    """Effective number of independent waves in B².

    B² is a sum of independent chi-squares, one a mode, weighted by their expected powers w: it varies like a
    chi-square of (sum w)² / sum w² degrees of freedom (Satterthwaite, Biometrics Bulletin 2, 1946). Expected power is
    the mean over a narrow bin of wavelengths.
    """
    bin_per_mm = SAMPLING_BIN / (2 * math.sqrt(area_mm2))
    bins = np.rint(modes.frequency.ravel() / bin_per_mm).astype(np.intp)
    share = passed.ravel()
    found = np.bincount(bins, share * power.ravel())
    shares, squares = np.bincount(bins, share), np.bincount(bins, share**2)
    filled = shares > 0
    expected = found[filled] / shares[filled]
    spread = float(squares[filled] @ expected**2)
    return float(found.sum()) ** 2 / spread if spread > 0 else MIN_FREEDOM


def _sampling_u95(B: float, total: float, noise: float, freedom: float) -> float:
    """95 % half-width of B as a sample, L*: the wider, upper side of the interval."""
    nu = max(freedom, MIN_FREEDOM)
    # 2.5 % point of chi-square over nu (Wilson & Hilferty, PNAS 17, 1931)
    low = (1 - 2 / (9 * nu) - Z_975 * math.sqrt(2 / (9 * nu))) ** 3
    B2_u95 = math.hypot(total * (1 / low - 1), WHITE_DOUBT * noise)
    return math.sqrt(B**2 + B2_u95) - B


def _per_measured(total: float, passed: Array) -> float:
    """Mean square over the measured pixels, against that of the whole rectangle with its filled holes."""
    whole = float(passed.sum())
    return total / whole if whole > 0 else 1.0


def _bands(modes: Modes, kept: Array, power: Array) -> tuple[Band, ...]:
    squares = [float((between(modes, *octave) * kept * power).sum()) for octave in OCTAVES_MM]
    return tuple(Band(*octave, math.sqrt(max(0.0, square))) for octave, square in zip(OCTAVES_MM, squares, strict=True))
