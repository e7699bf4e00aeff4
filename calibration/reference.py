"""What does the gray card say of the light's colour and level?

The card's middle is read: specks, print, glare and what lies on the card are left out, a gradient over the card is
fitted and reported, and the mean's uncertainty comes from how blocks of the card differ, so that noise, texture and
JPEG blocks all count.
"""

from dataclasses import dataclass

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
LEAST_COLOUR_STEP = 0.1  # ln units of a ratio of channels: noise and the rounding of JPEG stay below (chosen)
# A card of which so many tiles agree, and spread so little beside what neighbours differ, is whole (chosen).
CALM_SHARE, CALM_SPREADS = 0.98, 1.5
# Else, what is one calm surface is found by trying planes of luminance through three of 25 cells of the card: nearly
# half of it may be something else, and a median would then lie between the two. Chosen: with 60 % of the card left,
# all of 100 random triples touch something else with a probability of 3e-11.
CELLS, TRIES, TRIED_TILES = 5, 100, 600
MAX_GRADIENT = 3.0  # brightest over darkest place of such a plane: light does not change more over a card (chosen)
MIN_AGREEING = 0.55  # share of the middle that must be one surface; of two halves nobody can tell which is the card


@dataclass(frozen=True, slots=True, eq=False)
class CardSurface:
    """The card's middle as a small picture, for those who look at what lies on it. One pixel is a tile of the photo."""

    linear_RGB: NDArray[np.float32]  # (rows, columns, 3); NaN outside the middle, and where a channel was at full scale
    relative: NDArray[np.float32]  # (rows, columns), luminance over that of the fitted plane; NaN likewise
    read: NDArray[np.bool_]  # (rows, columns), what the reading is the mean of
    origin_px: NDArray[np.float64]  # (2,), centre of its first pixel in the photo
    side_px: int  # photo pixels that one of its pixels is wide

    def to_photo(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Photo pixels (..., 2) of its own columns and rows."""
        return np.asarray(self.origin_px + self.side_px * np.stack([x, y], axis=-1))


@dataclass(frozen=True, slots=True, eq=False)
class GrayReading:
    """The card as the photo shows it."""

    linear_RGB: NDArray[np.float64]  # (3,), mean over the card's middle, 0..1 of full scale
    u_relative: NDArray[np.float64]  # (3,), standard uncertainty of the mean, relative
    unevenness: float  # (max - min) / max of the fitted luminance over the card's middle
    pixels: int
    left_out: float  # share of the middle that was outlying or clipped
    clipped: float  # share of the middle with a channel at full scale
    surface: CardSurface | None = None  # None: a reading not made from a photo


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
        If the corners are no card's, or the card lies outside the photo, is too small, black, clipped or half hidden.
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
    tiles = _tiles(linear, inside, full_scale)
    Y = tiles.RGB @ photo.to_XYZ[1]
    kept, fitted = _without_outliers(tiles, Y)
    left_out = 1 - int(kept.sum()) / tiles.inside
    if 1 - left_out < MIN_AGREEING:
        raise ReferenceCardError(
            f"only {1 - left_out:.1%} of what was taken for the gray card is one even surface "
            f"(at least {MIN_AGREEING:.0%} needed).",
            photo=photo.name,
            remedy="Take away what lies on the card or throws a shadow on it, or check its corners.",
            code="card-missing",
        )
    mean, u = _mean(tiles, kept, fitted)
    return GrayReading(
        mean,
        u / np.maximum(mean, 1e-9),
        float(np.ptp(fitted) / max(fitted.max(), 1e-9)),
        pixels,
        left_out,
        clipped,
        _surface(tiles, Y / fitted, kept, low, step),
    )


def _mean(
    tiles: "_Tiles", kept: NDArray[np.bool_], fitted: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean colour (3,) of the middle, and its standard uncertainty (3,); a gradient over the card is no noise.

    Where part of it is left out, the fitted plane tells what the light is over the whole.
    """
    RGB = tiles.RGB[kept] * (fitted.mean() / fitted[kept])[:, None]
    mean = tiles.RGB[kept].mean(axis=0) * (fitted.mean() / fitted[kept].mean())
    return mean, _u_of_mean(RGB, tiles.x[kept], tiles.y[kept], tiles.side_px)


def _surface(
    tiles: "_Tiles", relative: NDArray[np.float64], kept: NDArray[np.bool_], low: NDArray[np.integer], step: int
) -> CardSurface:
    shape = int(tiles.y.max()) + 1, int(tiles.x.max()) + 1
    linear_RGB = np.full((*shape, 3), np.nan, np.float32)
    over_plane = np.full(shape, np.nan, np.float32)
    read = np.zeros(shape, bool)
    at = tiles.y, tiles.x
    linear_RGB[at], over_plane[at], read[at] = tiles.RGB, relative, kept
    first = np.asarray(
        low + step * (tiles.side_px - 1) / 2, dtype=np.float64
    )  # of the photo's pixels, every `step`-th was read
    return CardSurface(linear_RGB, over_plane, read, first, step * tiles.side_px)


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
    """Which tiles agree with a plane of luminance and in colour, and the plane's value at every tile."""
    basis = np.stack([np.ones(len(Y)), tiles.x, tiles.y], axis=1)
    alike = _of_one_colour(tiles.RGB)
    floor = LEAST_SPREAD * float(np.median(Y))
    near_median = alike & (np.abs(Y - np.median(Y)) <= OUTLIER * max(2 * _robust_spread(Y), floor))
    if near_median.any():
        kept, fitted, spread = _refitted(basis, Y, near_median, alike)
        of_neighbours = _robust_spread(np.diff(Y)) / np.sqrt(2)
        if kept.mean() > CALM_SHARE and spread <= CALM_SPREADS * max(of_neighbours, floor):
            return kept, fitted
    on_plane = alike & _largest_plane(basis, Y, alike)
    return _refitted(basis, Y, on_plane, alike)[:2] if on_plane.any() else (on_plane, np.full(len(Y), np.median(Y)))


def _of_one_colour(RGB: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which tiles (n,) have the colour of most: a stained board over the card may be as light as the card."""
    log_RGB = np.log(np.maximum(RGB, 1e-6))
    alike = np.ones(len(RGB), bool)
    for ratio in (log_RGB[:, 0] - log_RGB[:, 1], log_RGB[:, 2] - log_RGB[:, 1]):
        of_neighbours = _robust_spread(np.diff(ratio)) / np.sqrt(2)
        spread = min(_robust_spread(ratio), 3 * of_neighbours)  # of two halves the spread is the step between them
        alike &= np.abs(ratio - np.median(ratio)) <= max(OUTLIER * spread, LEAST_COLOUR_STEP)
    return alike


def _refitted(
    basis: NDArray[np.float64], Y: NDArray[np.float64], kept: NDArray[np.bool_], alike: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.float64], float]:
    """Which tiles agree with the plane through those that are kept at first, its value at every tile, their spread."""
    floor = LEAST_SPREAD * float(np.median(Y[kept]))
    fitted, spread = Y, 0.0
    for _ in range(3):
        coefficients, *_ = np.linalg.lstsq(basis[kept], Y[kept], rcond=None)
        fitted = basis @ coefficients
        spread = _robust_spread((Y - fitted)[kept])
        kept = alike & (np.abs(Y - fitted) <= OUTLIER * max(spread, floor))
    return kept, fitted, spread


def _largest_plane(basis: NDArray[np.float64], Y: NDArray[np.float64], alike: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which tiles agree with the plane of luminance that most of those that are alike in colour agree with.

    By random sampling (RANSAC, Fischler & Bolles 1981), the points being medians over cells of the card.
    """
    points, noise = _cells(basis, Y)
    some = slice(None, None, 1 + len(Y) // TRIED_TILES)
    planes = np.concatenate([_planes_through(points), [[np.median(Y[alike]), 0.0, 0.0]]])  # (planes, 3)
    values = basis[some] @ planes.T
    tolerance = OUTLIER * np.maximum(noise, LEAST_SPREAD * values.mean(axis=0))
    agreeing = (alike[some, None] & (np.abs(Y[some, None] - values) <= tolerance)).sum(axis=0)
    agreeing[(values.min(axis=0) <= 0) | (values.max(axis=0) > MAX_GRADIENT * values.min(axis=0))] = 0
    best = int(agreeing.argmax())
    return np.asarray(np.abs(Y - basis @ planes[best]) <= tolerance[best])


def _cells(basis: NDArray[np.float64], Y: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Middle and median luminance (cells, 3) of each cell of the card, and the usual spread within a cell."""
    place = basis[:, 1:] - basis[:, 1:].min(axis=0)
    column, row = np.minimum(CELLS * place / (place.max(axis=0) + 1), CELLS - 1).astype(int).T
    order = np.argsort(row * CELLS + column, kind="stable")
    ends = np.flatnonzero(np.diff((row * CELLS + column)[order])) + 1
    cells = [cell for cell in np.split(order, ends) if len(cell) >= MIN_PIXELS // CELLS**2]
    points = np.array([[*basis[cell, 1:].mean(axis=0), np.median(Y[cell])] for cell in cells])
    return points, float(np.median([_robust_spread(Y[cell]) for cell in cells]))


def _planes_through(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Planes (planes, 3) of luminance through random triples of points (cells, 3)."""
    rng = np.random.default_rng(20260103)  # a fixed seed: the same photo gives the same answer
    chosen = points[rng.integers(0, len(points), (TRIES, 3))]  # (TRIES, 3 points, 3)
    system = np.concatenate([np.ones((TRIES, 3, 1)), chosen[..., :2]], axis=2)
    apart = np.abs(np.linalg.det(system)) > 1e-3 * np.ptp(points[:, 0]) * np.ptp(points[:, 1])
    return np.asarray(np.linalg.solve(system[apart], chosen[apart][..., 2:])[..., 0])


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
