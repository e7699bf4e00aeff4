"""Makers of camera raw files (DNG) with tifffile: which counts stand where, and what the tags say of them, is all ours.

Tags and their meaning: DNG 1.7.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

import numpy as np
import tifffile
from numpy.typing import ArrayLike, NDArray

CFA, LINEAR_RAW = 32803, 34892  # photometric interpretation
BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10  # TIFF types
RGGB, GRBG, GBRG, BGGR = (0, 1, 1, 2), (1, 0, 2, 1), (1, 2, 0, 1), (2, 1, 1, 0)
LIGHT_A, LIGHT_D65, LIGHT_D50 = 17, 21, 23  # Exif LightSource

# XYZ to an invented sensor's numbers: broad, overlapping, green the strongest.
TO_CAMERA = np.array([[0.71, -0.09, -0.08], [-0.43, 1.24, 0.21], [-0.06, 0.19, 0.55]])
BLACK, WHITE = 256, 4095


def rationals(values: ArrayLike, denominator: int = 100_000) -> tuple[int, ...]:
    """Numerators and denominators, by turns."""
    return tuple(
        int(part) for value in np.asarray(values).ravel() for part in (round(float(value) * denominator), denominator)
    )


def dng_file(
    counts: NDArray[Any],
    *,
    pattern: Sequence[int] | None = RGGB,
    black: Sequence[int] | None = (BLACK,) * 4,
    white: int = WHITE,
    to_camera: ArrayLike | None = TO_CAMERA,
    light: int = LIGHT_D65,
    neutral: ArrayLike | None = None,
    orientation: int = 1,
    tags: Sequence[tuple[int, int, int, object]] = (),
    **options: Any,  # noqa: ANN401 - those of tifffile
) -> bytes:
    """A DNG of one page: a mosaic (rows, columns), or three colours a pixel (rows, columns, 3).

    Parameters
    ----------
    black : four numbers, optional
        In the order of the pattern: row by row.
    tags : sequence of (number, type, count, value)
        More, or others in the place of those written here.
    """
    written = {
        50706: (BYTE, 4, bytes([1, 4, 0, 0])),
        50708: (ASCII, 0, "invented"),
        274: (SHORT, 1, orientation),
        50717: (LONG, 1, white),
        50778: (SHORT, 1, light),
    }
    if pattern is not None:
        written |= {33421: (SHORT, 2, (2, 2)), 33422: (BYTE, 4, bytes(pattern)), 50713: (SHORT, 2, (2, 2))}
    if black is not None:
        written[50714] = (SHORT, len(black), tuple(black))
    if to_camera is not None:
        written[50721] = (SRATIONAL, np.size(to_camera), rationals(to_camera))
    if neutral is not None:
        written[50728] = (RATIONAL, 3, rationals(neutral))
    written |= {number: (kind, count, value) for number, kind, count, value in tags}
    buffer = BytesIO()
    tifffile.imwrite(
        buffer,
        counts,
        photometric=LINEAR_RAW if counts.ndim == 3 else CFA,
        extratags=[(number, kind, count, value, True) for number, (kind, count, value) in written.items()],
        metadata=None,
        software=False,
        **options,
    )
    return buffer.getvalue()


def mosaic(RGB: ArrayLike, pattern: Sequence[int] = RGGB) -> NDArray[np.uint16]:
    """Counts of a sensor that sees each pixel (rows, columns, 3) with a block; LibRaw wants 22 rows and columns."""
    RGB = np.asarray(RGB)
    counts = np.zeros((2 * RGB.shape[0], 2 * RGB.shape[1]), np.uint16)
    for at, channel in enumerate(pattern):
        counts[at // 2 :: 2, at % 2 :: 2] = np.rint(RGB[..., channel])
    return counts


def counts_of(
    XYZ: ArrayLike, to_camera: ArrayLike = TO_CAMERA, *, white: int = WHITE, exposure: float = 0.45
) -> NDArray[np.float64]:
    """What the sensor counts of light (..., 3); light that makes a channel 1 fills `exposure` of the range."""
    return BLACK + (white - BLACK) * exposure * (np.asarray(XYZ) @ np.asarray(to_camera).T)
