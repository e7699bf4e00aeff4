"""What does the gray card say of the light's colour and level?

The card's middle is read: specks, print and glare are left out, a gradient over the card is fitted and reported,
and the mean's uncertainty comes from how blocks of the card differ, so that noise, texture and JPEG blocks all count.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import ReferenceCardError
from calibration.photo import Photo
from calibration.quads import quad_mask, shrunk

RIM_SHARE = 0.2  # of the card's sides, left out: edge blur, worn corners, chart borders
OUTLIER = 4.0  # robust standard deviations from the fitted plane
LEAST_SPREAD = (
    0.01  # of the level: in a calm 8-bit photo most pixels share one code, and its neighbours are no outliers
)
BLOCK_PX = 16  # two JPEG blocks with 4:2:0 chroma: means of such blocks are nearly independent
MIN_PIXELS = 64
MAX_CLIPPED = 0.02  # share of the card at full scale that ends the reading (chosen: a speck of glare is smaller)
FIT_PIXELS = 60_000


@dataclass(frozen=True, slots=True, eq=False)
class GrayReading:
    """The card as the photo shows it."""

    linear_RGB: NDArray[np.float64]  # (3,), mean over the card's middle, 0..1 of full scale
    u_relative: NDArray[np.float64]  # (3,), standard uncertainty of the mean, relative
    unevenness: float  # (max - min) / max of the fitted luminance over the card
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
        If the card lies outside the photo, is too small, or is clipped.
    """
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
    window = slice(low[1], high[1]), slice(low[0], high[0])
    inside = quad_mask((high[1] - low[1], high[0] - low[0]), middle - low)
    if inside.sum() < MIN_PIXELS:
        raise ReferenceCardError(
            f"the gray card's middle is only {inside.sum()} pixels (at least {MIN_PIXELS} needed).",
            photo=photo.name,
            remedy="Check its corners, or retake closer.",
            code="card-missing",
        )
    full_scale = photo.is_clipped(*window) & inside
    clipped = float(full_scale.sum() / inside.sum())
    if clipped > MAX_CLIPPED:
        raise ReferenceCardError(
            f"{clipped:.1%} of the gray card is at full scale in a colour channel (limit {MAX_CLIPPED:.1%}).",
            photo=photo.name,
            remedy="Retake with about one stop less exposure.",
            code="card-clipped",
        )
    return _read(photo.linear_RGB(*window).astype(np.float64), inside, full_scale, photo.to_XYZ[1], clipped)


def _read(
    linear: NDArray[np.float64],
    inside: NDArray[np.bool_],
    full_scale: NDArray[np.bool_],
    to_Y: NDArray[np.float64],
    clipped: float,
) -> GrayReading:
    usable = inside & ~full_scale
    y, x = np.nonzero(usable)
    Y = linear[usable] @ to_Y
    kept, coefficients = _without_outliers(x, y, Y)
    fitted = np.stack([np.ones(len(x)), x, y], axis=1) @ coefficients
    unevenness = float(np.ptp(fitted) / max(fitted.max(), 1e-9))
    RGB = linear[usable][kept]
    mean = RGB.mean(axis=0)
    level = fitted[kept] / fitted[kept].mean()
    return GrayReading(
        mean,
        _u_of_mean(RGB / level[:, None], x[kept], y[kept]) / np.maximum(mean, 1e-9),
        unevenness,
        int(inside.sum()),
        1 - len(RGB) / int(inside.sum()),
        clipped,
    )


def _without_outliers(
    x: NDArray[np.intp], y: NDArray[np.intp], Y: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Pixels that agree with a plane of luminance, and the plane."""
    basis = np.stack([np.ones(len(x)), x, y], axis=1)
    floor = LEAST_SPREAD * float(np.median(Y))
    sample = np.linspace(0, len(x) - 1, min(len(x), FIT_PIXELS)).astype(int)
    kept = np.abs(Y - np.median(Y)) <= OUTLIER * max(2 * _robust_spread(Y), floor)
    coefficients = np.zeros(3)
    for _ in range(3):
        chosen = sample[kept[sample]]
        coefficients, *_ = np.linalg.lstsq(basis[chosen], Y[chosen], rcond=None)
        residuals = Y - basis @ coefficients
        kept = np.abs(residuals) <= OUTLIER * max(_robust_spread(residuals[chosen]), floor)
    return kept, coefficients


def _robust_spread(values: NDArray[np.float64]) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _u_of_mean(RGB: NDArray[np.float64], x: NDArray[np.intp], y: NDArray[np.intp]) -> NDArray[np.float64]:
    """Standard uncertainty of the mean from the spread of block means; of pixels when there are too few blocks."""
    columns = int(x.max()) // BLOCK_PX + 1
    block = (y // BLOCK_PX) * columns + x // BLOCK_PX
    counts = np.bincount(block)
    full = counts >= BLOCK_PX**2 // 2
    if full.sum() < 4:
        # neighbours share noise through demosaicing and JPEG: about one independent value in 16 pixels (chosen)
        return np.asarray(RGB.std(axis=0) / np.sqrt(max(len(RGB) / 16, 1.0)))
    means = np.stack([np.bincount(block, RGB[:, c], minlength=len(counts))[full] / counts[full] for c in range(3)])
    return np.asarray(means.std(axis=1, ddof=1) / np.sqrt(full.sum()))
