"""What does the gray card say of the light's colour and level?

The card's middle is read: specks, print and glare are left out, a gradient over the card is fitted and reported,
and the mean's uncertainty comes from how blocks of the card differ, so that noise, texture and JPEG blocks all count.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import ReferenceCardError
from calibration.photo import Photo
from calibration.quads import quad_mask, shrunk

RIM_SHARE = 0.2  # of the card's sides, left out: edge blur, worn corners, chart borders
OUTLIER = 4.0  # robust standard deviations from the fitted plane
LEAST_SPREAD = 0.01  # of the level: most pixels of a calm 8-bit photo share one code, its neighbours are no outliers
BLOCK_PX = 16  # read pixels; two JPEG blocks with 4:2:0 chroma: means of such blocks are nearly independent
READ_PIXELS = 40_000  # about so many are read of a large card, evenly spread: noise is then 0.005 of one pixel's
MIN_PIXELS = 64
MAX_CLIPPED = 0.02  # share of the card at full scale that ends the reading (chosen: a speck of glare is smaller)
MIN_LEVEL = 0.002  # of full scale, chosen: below about code 6 of 255 rounding alone shifts the balance by a tenth
TILE_PX, WANTED_TILES = 4, 3000  # tiles are as large as leaves so many of them, at most four pixels wide
FULL = 0.999  # share of a tile that must be usable
MIN_BLOCKS = 4


@dataclass(frozen=True, slots=True, eq=False)
class GrayReading:
    """The card as the photo shows it."""

    linear_RGB: NDArray[np.float64]  # (3,), mean over the card's middle, 0..1 of full scale
    u_relative: NDArray[np.float64]  # (3,), standard uncertainty of the mean, relative
    unevenness: float  # (max - min) / max of the fitted luminance over the card's middle
    pixels: int
    left_out: float  # share of the middle that was outlying or clipped
    clipped: float  # share of the middle with a channel at full scale


def read_gray_card(photo: Photo, card_px: NDArray[np.float64]) -> GrayReading:
    """Read the gray card.

    Parameters
    ----------
    photo : Photo
    card_px : ndarray, (4, 2)
        The card's corners in pixels.

    Raises
    ------
    ReferenceCardError
        If the corners are no card's, or the card lies outside the photo, is too small, black or clipped.
    """
    if not cv2.isContourConvex(card_px.astype(np.float32)):
        raise ReferenceCardError(
            "the corners given are not those of a card, in order around it.",
            photo=photo.name,
            remedy="Give them one after the other around the card.",
            code="card-missing",
        )
    middle = shrunk(card_px, RIM_SHARE)
    rows, columns = photo.codes.shape[:2]
    low = np.floor(middle.min(axis=0)).astype(int)
    high = np.ceil(middle.max(axis=0)).astype(int) + 1
    if low.min() < 0 or high[0] > columns or high[1] > rows:
        raise ReferenceCardError(
            f"the gray card reaches beyond the photo ({columns} x {rows} pixels).",
            photo=photo.name,
            remedy="Give card corners that lie in the photo, or retake with the whole card in frame.",
            code="card-missing",
        )
    inside = quad_mask((high[1] - low[1], high[0] - low[0]), middle - low)
    if inside.sum() < MIN_PIXELS:
        raise ReferenceCardError(
            f"the gray card's middle is only {inside.sum()} pixels (at least {MIN_PIXELS} needed).",
            photo=photo.name,
            remedy="Check its corners, or retake closer.",
            code="card-missing",
        )
    pixels = int(inside.sum())
    step = max(1, int(np.sqrt(pixels / READ_PIXELS)))
    window = slice(low[1], high[1], step), slice(low[0], high[0], step)
    inside = inside[::step, ::step]
    full_scale = photo.is_clipped(*window) & inside
    clipped = float(full_scale.sum() / inside.sum())
    if clipped > MAX_CLIPPED:
        raise ReferenceCardError(
            f"{clipped:.1%} of the gray card is at full scale in a colour channel (limit {MAX_CLIPPED:.1%}).",
            photo=photo.name,
            remedy="Retake with about one stop less exposure.",
            code="card-clipped",
        )
    linear = photo.linear_RGB(*window)
    darkest = min(cv2.mean(linear, inside.astype(np.uint8))[:3])
    if darkest < MIN_LEVEL:
        raise ReferenceCardError(
            f"the gray card is black: a colour channel is at {darkest:.2%} of full scale (at least {MIN_LEVEL:.1%}).",
            photo=photo.name,
            remedy="Check its corners, or retake with more exposure and in whiter light.",
            code="card-missing",
        )
    return replace(_read(linear, inside, full_scale, photo.to_XYZ[1], clipped), pixels=pixels)


def _read(
    linear: NDArray[np.float32],
    inside: NDArray[np.bool_],
    full_scale: NDArray[np.bool_],
    to_Y: NDArray[np.float64],
    clipped: float,
) -> GrayReading:
    tiles = _tiles(linear, inside, full_scale)
    Y = tiles.RGB @ to_Y
    kept, fitted = _without_outliers(tiles, Y)
    RGB = tiles.RGB[kept]
    mean = RGB.mean(axis=0)
    level = fitted[kept] / fitted[kept].mean()
    u = _u_of_mean(RGB / level[:, None], tiles.x[kept], tiles.y[kept], tiles.side_px)
    return GrayReading(
        mean,
        u / np.maximum(mean, 1e-9),
        float(np.ptp(fitted) / max(fitted.max(), 1e-9)),
        int(inside.sum()),
        1 - int(kept.sum()) / tiles.inside,
        clipped,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Tiles:
    """Means of small squares that lie wholly inside the card's middle."""

    RGB: NDArray[np.float64]  # (n, 3)
    x: NDArray[np.intp]  # (n,), tile columns
    y: NDArray[np.intp]  # (n,), tile rows
    side_px: int
    inside: int  # number of tiles in the middle, clipped ones too


def _tiles(linear: NDArray[np.float32], inside: NDArray[np.bool_], full_scale: NDArray[np.bool_]) -> _Tiles:
    """Average small squares: fewer numbers, and a speck stands out of a tile's mean more than out of pixel noise."""
    side = int(np.clip(np.sqrt(inside.sum() / WANTED_TILES), 1, TILE_PX))
    columns, rows = inside.shape[1] // side, inside.shape[0] // side

    def averaged(values: NDArray[np.float32]) -> NDArray[np.float32]:
        whole = values[: rows * side, : columns * side]
        return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), dtype=np.float32)

    in_middle = averaged(inside.astype(np.float32)) > FULL
    y, x = np.nonzero(in_middle & (averaged(full_scale.astype(np.float32)) == 0))
    return _Tiles(averaged(linear)[y, x].astype(np.float64), x, y, side, int(np.count_nonzero(in_middle)))


def _without_outliers(tiles: _Tiles, Y: NDArray[np.float64]) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Which tiles agree with a plane of luminance, and the plane's value at every tile."""
    basis = np.stack([np.ones(len(Y)), tiles.x, tiles.y], axis=1)
    floor = LEAST_SPREAD * float(np.median(Y))
    kept = np.abs(Y - np.median(Y)) <= OUTLIER * max(2 * _robust_spread(Y), floor)
    fitted = np.full(len(Y), np.median(Y))
    for _ in range(3):
        coefficients, *_ = np.linalg.lstsq(basis[kept], Y[kept], rcond=None)
        fitted = basis @ coefficients
        kept = np.abs(Y - fitted) <= OUTLIER * max(_robust_spread((Y - fitted)[kept]), floor)
    return kept, fitted


def _robust_spread(values: NDArray[np.float64]) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _u_of_mean(RGB: NDArray[np.float64], x: NDArray[np.intp], y: NDArray[np.intp], side_px: int) -> NDArray[np.float64]:
    """Standard uncertainty of the mean from the spread of block means; of tiles when there are too few blocks."""
    across = max(1, BLOCK_PX // side_px)  # tiles in a block's side
    columns = int(x.max()) // across + 1
    block = (y // across) * columns + x // across
    counts = np.bincount(block)
    full = counts >= max(1, across**2 // 2)
    if full.sum() < MIN_BLOCKS:
        # neighbours share noise through demosaicing and JPEG: about one independent value in 16 pixels (chosen)
        independent = max(len(RGB) * side_px**2 / 16, 1.0)
        return np.asarray(RGB.std(axis=0) / np.sqrt(independent))
    means = np.stack([np.bincount(block, RGB[:, c], minlength=len(counts))[full] / counts[full] for c in range(3)])
    return np.asarray(means.std(axis=1, ddof=1) / np.sqrt(full.sum()))
