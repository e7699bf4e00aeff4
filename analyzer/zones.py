"""What does one zone of one photo measure?  Its pixels, what is left out of them, their mean, their blocks.

Blocks are squares of the zone longer than its colour is correlated; how they differ says how far the mean of so
much wood can be trusted (uncertainty.py).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.appearance import Appearance, appearance
from analyzer.evenness import Evenness, evenness
from analyzer.job import Board, Zone
from analyzer.zone_shape import zone_shape
from calibration.colorspace import XYZ_to_Lab
from calibration.flatboard import FlatBoard

BLOCK_MM = 15.0  # chosen: patches of blotch are 3 to 18 mm wide, half their wavelengths of 6 to 35 mm
MIN_BLOCKS = 4  # a side, where the zone is small
BLOCK_FILLED = 0.5  # share of a block that must be measured
MIN_VISIBLE = 0.1  # share of a zone; less says too little of it (chosen)
# Glare and specks, as ln luminance against the zone's own slow trend: both a multiple of the zone's spread and a
# least step, so that neither blotch nor bold grain is taken for glare. Chosen.
GLARE_SPREADS, GLARE_STEP = 5.0, 0.35
KNOT_SPREADS, KNOT_STEP, KNOT_MM = 5.0, 0.9, 3.0  # dark and at least so wide: knots, holes; pores are narrower
TREND_STRIDE, TREND_PIXELS = 3, 50  # every so many pixels are enough for a plane and a spread, when so many are left
RIM_MM = 1.2  # around what is left out: its blurred edge


@dataclass(frozen=True, slots=True, eq=False)
class ZoneReading:
    """One zone in one photo."""

    XYZ: NDArray[np.float64]  # (3,), mean over the measured pixels, under D50, Y = 1 for a perfect white
    block_XYZ: NDArray[np.float64]  # (rows, columns, 3), block means; NaN where too little of a block is measured
    across_mm: tuple[float, float]  # what the rows of blocks span, for pairing with a neighbouring zone
    centre_px: NDArray[np.float64]  # (2,), in the photo
    area_mm2: float  # inside the margin
    masked: float  # share of that area left out
    covered: float  # share of that area under the card or outside the photo
    glare: float  # share of that area left out as glare (clipped or far brighter than the zone) or specks
    evenness: Evenness
    window: tuple[slice, slice]  # of the flat board
    measured: NDArray[np.bool_]  # (rows, columns) of the window
    appearance: Appearance | None = None  # None where the evenness cannot be told

    @property
    def Lab(self) -> NDArray[np.float64]:
        """CIELAB (3,) of the mean."""
        return XYZ_to_Lab(self.XYZ)


def read_zone(flat: FlatBoard, board: Board, zone: Zone) -> ZoneReading | None:
    """Measure one zone, or None when nothing of it can be measured.

    Parameters
    ----------
    flat : FlatBoard
        The board it lies on.
    board, zone : Board, Zone
        Their geometry, mm.
    """
    window, shape = zone_shape(zone, board, flat.mm_per_px)
    XYZ = flat.XYZ[window]
    visible = flat.measurable[window] & shape
    area_px = int(shape.sum())
    if min(visible.shape) < MIN_BLOCKS or visible.sum() < MIN_VISIBLE * area_px:
        return None
    full_scale = flat.full_scale[window] & shape
    speckless = visible & ~_outliers(XYZ[..., 1], visible, full_scale, flat.mm_per_px)
    middle_mm = (sum(zone.span_mm) / 2, sum(zone.across_mm) / 2)
    blocks = _blocks(XYZ, speckless, flat.mm_per_px)
    if not blocks.tell_of_spread():
        return None
    Y = XYZ[..., 1]
    even = evenness(Y, speckless, flat.mm_per_px)
    return ZoneReading(
        XYZ=blocks.sums.sum(axis=(0, 1)) / blocks.counts.sum(),
        block_XYZ=blocks.means(),
        across_mm=(window[0].start * flat.mm_per_px, window[0].stop * flat.mm_per_px),
        centre_px=flat.plane.to_px(middle_mm),
        area_mm2=area_px * flat.mm_per_px**2,
        masked=1 - float(speckless.sum()) / area_px,
        covered=1 - float((visible | full_scale).sum()) / area_px,
        glare=float(((visible | full_scale) & ~speckless).sum()) / area_px,
        evenness=even,
        window=window,
        measured=speckless,
        appearance=appearance(Y, speckless, flat.mm_per_px, even),
    )


def _outliers(
    Y: NDArray[np.float32], visible: NDArray[np.bool_], full_scale: NDArray[np.bool_], mm_per_px: float
) -> NDArray[np.bool_]:
    """Glare, specks and knots with a rim; never more than the steps above allow. What is clipped is glare."""
    log_Y = np.log(np.maximum(Y, np.float32(1e-4)))
    residual = log_Y - _trend(log_Y, visible)
    some = residual[::TREND_STRIDE, ::TREND_STRIDE][visible[::TREND_STRIDE, ::TREND_STRIDE]]
    some = some if some.size >= TREND_PIXELS else residual[visible]
    spread = 1.4826 * float(np.median(np.abs(some - np.median(some)))) + 1e-6
    bright = residual > max(GLARE_SPREADS * spread, GLARE_STEP)
    dark = (residual < -max(KNOT_SPREADS * spread, KNOT_STEP)).astype(np.uint8)
    knot = max(3, round(KNOT_MM / mm_per_px) | 1)
    knots = cv2.morphologyEx(dark, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (knot, knot)))
    found = np.asarray(((bright | knots.astype(bool)) & visible) | full_scale)
    if not found.any():
        return found
    rim = max(3, 2 * round(RIM_MM / mm_per_px) + 1)
    grown = cv2.dilate(found.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (rim, rim)))
    return grown.astype(bool)


def _trend(values: NDArray[np.float32], visible: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Slow trend: a plane, fitted twice, the second time without what lay far off."""
    rows, columns = values.shape
    y, x = np.linspace(-1, 1, rows, dtype=np.float32)[:, None], np.linspace(-1, 1, columns, dtype=np.float32)
    stride = TREND_STRIDE if visible[::TREND_STRIDE, ::TREND_STRIDE].sum() >= TREND_PIXELS else 1
    row, column = np.nonzero(visible[::stride, ::stride])
    seen = values[::stride, ::stride][row, column].astype(np.float64)
    basis = np.stack([np.ones(len(seen)), x[::stride][column], y[::stride, 0][row]], axis=1)
    coefficients = np.array([float(np.median(seen)), 0.0, 0.0])
    for _ in range(2):
        residual = seen - basis @ coefficients
        near = np.abs(residual) < 4 * (1.4826 * float(np.median(np.abs(residual))) + 1e-6)
        coefficients, *_ = np.linalg.lstsq(basis[near], seen[near], rcond=None)
    level, along, across = coefficients.astype(np.float32)
    return np.asarray(level + along * x + across * y)


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    """Sums over the blocks of a zone."""

    sums: NDArray[np.float64]  # (rows, columns, 3), of XYZ over measured pixels
    counts: NDArray[np.float64]  # (rows, columns, 1), measured pixels
    sizes: NDArray[np.int_]  # (rows, columns, 1), all pixels

    def means(self) -> NDArray[np.float64]:
        """Block means (rows, columns, 3); NaN where too little of a block is measured."""
        means = self.sums / np.maximum(self.counts, 1)
        return np.where(self.is_filled, means, np.nan)

    @property
    def is_filled(self) -> NDArray[np.bool_]:
        """Whether enough of a block is measured, (rows, columns, 1)."""
        return np.asarray(self.counts >= BLOCK_FILLED * self.sizes)

    def tell_of_spread(self) -> bool:
        """Whether blocks of two rows and two columns show: from one alone nobody knows how far the wood varies."""
        return bool(min(self.is_filled.any(axis=1).sum(), self.is_filled.any(axis=0).sum()) >= 2)


def _blocks(XYZ: NDArray[np.float32], measured: NDArray[np.bool_], mm_per_px: float) -> _Blocks:
    edges = [
        np.linspace(0, size, max(MIN_BLOCKS, round(size * mm_per_px / BLOCK_MM)) + 1).round().astype(int)
        for size in measured.shape
    ]
    whole = XYZ if measured.all() else np.where(measured[..., None], XYZ, np.float32(0))
    starts = edges[0][:-1], edges[1][:-1]
    return _Blocks(
        _block_sums(whole, *starts),
        _block_sums(measured[..., None], *starts),
        np.diff(edges[0])[:, None, None] * np.diff(edges[1])[None, :, None],
    )


def _block_sums(
    values: NDArray[np.float32] | NDArray[np.bool_], rows: NDArray[np.int_], columns: NDArray[np.int_]
) -> NDArray[np.float64]:
    strips = np.add.reduceat(values, rows, axis=0, dtype=np.float64)
    return np.asarray(np.add.reduceat(strips, columns, axis=1))
