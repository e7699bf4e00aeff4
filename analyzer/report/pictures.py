"""What does a corrected board look like, and where is it lighter or darker than its surroundings?

Rasters only, for the page and for the plates; outlines, names and scales are drawn over them.
"""

import io
import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analyzer.measurement import BoardPicture, Overlay
from calibration.colorspace import Lab_to_sRGB_codes

BOARD_PX_PER_MM = 2.5  # shows pores and streaks; four times fewer pixels than the measurement uses
WIDEST_PX = 1600  # of any picture in the report
OVERLAY_WIDEST_PX = 900
JPEG_QUALITY = 85
BACKDROP_Lab = (85.0, 0.0, 0.0)  # where a board was not seen

# The map's colours from darker to lighter than the surroundings. Lightness rises all the way, so the map also reads
# in a gray print, and blue to yellow keeps apart for every common colour vision deficiency. Chosen.
MAP_ANCHORS = np.array([(16, 38, 92), (79, 101, 145), (154, 154, 152), (210, 185, 106), (255, 240, 168)], np.float64)
MAP_STEPS = 63  # a palette this small keeps the file small; steps of 1/31 of the limit are not seen
BLANK_RGB = (255, 255, 255)  # under the transparent pixels
# The scale never ends below this, so that a calm board looks calm. Chosen: twice the default blotch limit.
MAP_LEAST_LIMIT = 2.0
MAP_ENDS = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)
MAP_PERCENTILE = 99.5  # one knot shall not wash out all the rest


@dataclass(frozen=True, slots=True, eq=False)
class BoardRasters:
    """One board as shown: sRGB codes, and the deviation in L* at the same scale, NaN where not measured."""

    RGB: NDArray[np.uint8]  # (rows, columns, 3)
    deviation: NDArray[np.float32]  # (rows, columns)
    mm_per_px: float


def board_rasters(picture: BoardPicture) -> BoardRasters:
    """Show a corrected board at viewing resolution.

    Averages over the pixels of each new one; Lab is averaged as it is, which is right for the eye, not for measuring.
    """
    rows, columns = picture.deviation.shape
    shrink = min(1.0, picture.mm_per_px * BOARD_PX_PER_MM, WIDEST_PX / columns)
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    seen = np.isfinite(picture.Lab).all(axis=-1, keepdims=True)
    Lab = _shrunk(np.where(seen, picture.Lab, np.array(BACKDROP_Lab, np.float32)), size)
    return BoardRasters(
        Lab_to_sRGB_codes(Lab), _shrunk_where_measured(picture.deviation, size), picture.mm_per_px * columns / size[0]
    )


def map_limit(deviations: Iterable[NDArray[np.float32]]) -> float:
    """Choose the end of the deviation scale in L*, one for all boards of a job, so that the eye can compare them."""
    largest = MAP_LEAST_LIMIT
    for deviation in deviations:
        finite = np.abs(deviation[np.isfinite(deviation)])
        if finite.size:
            largest = max(largest, float(np.percentile(finite, MAP_PERCENTILE)))
    return next((end for end in MAP_ENDS if largest <= end), math.ceil(largest))


def map_palette() -> NDArray[np.uint8]:
    """Mix the map's colours, (MAP_STEPS, 3), sRGB codes, from darker to lighter."""
    places = np.linspace(0, len(MAP_ANCHORS) - 1, MAP_STEPS)
    channels = [np.interp(places, np.arange(len(MAP_ANCHORS)), channel) for channel in MAP_ANCHORS.T]
    return np.asarray(np.rint(np.stack(channels, axis=-1)), np.uint8)


def map_png(deviation: NDArray[np.float32], limit: float) -> bytes:
    """Draw the deviation map as a PNG file with a palette; transparent where nothing was measured.

    Parameters
    ----------
    deviation : ndarray of float32, (rows, columns)
        L*, NaN where not measured.
    limit : float
        L* at both ends of the palette; beyond it the last colour stays.
    """
    measured = np.isfinite(deviation)
    level = np.clip(np.where(measured, deviation, 0) / limit, -1, 1)
    step = np.where(measured, np.rint((level + 1) / 2 * (MAP_STEPS - 1)), MAP_STEPS).astype(np.uint8)
    picture = Image.frombytes("P", step.shape[::-1], step.tobytes())
    picture.putpalette(map_palette().tobytes() + bytes(BLANK_RGB))
    file = io.BytesIO()
    picture.save(file, "PNG", transparency=MAP_STEPS)
    return file.getvalue()


def jpeg(RGB: NDArray[np.uint8], quality: int = JPEG_QUALITY) -> bytes:
    """Write sRGB codes as a JPEG file."""
    bgr = np.ascontiguousarray(RGB[..., ::-1])
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError(f"a picture of shape {RGB.shape} could not be written as JPEG")
    return data.tobytes()


def overlay_jpeg(overlay: Overlay) -> bytes:
    """Write what was seen in a photo that could not be measured, as a JPEG file small enough for a page."""
    rows, columns = overlay.RGB.shape[:2]
    shrink = min(1.0, OVERLAY_WIDEST_PX / columns)
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    return jpeg(cv2.resize(overlay.RGB, size, interpolation=cv2.INTER_AREA).astype(np.uint8))


def _shrunk(image: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    if size == image.shape[1::-1]:
        return image
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32)


def _shrunk_where_measured(deviation: NDArray[np.float32], size: tuple[int, int]) -> NDArray[np.float32]:
    """Means over measured pixels only; NaN where fewer than half were measured."""
    measured = np.isfinite(deviation)
    share = _shrunk(measured.astype(np.float32), size)
    total = _shrunk(np.where(measured, deviation, np.float32(0)), size)
    return np.where(share >= 0.5, total / np.maximum(share, np.float32(0.5)), np.float32(np.nan))
