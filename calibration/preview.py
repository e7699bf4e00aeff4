"""Where do things lie in a photo, roughly?  A small copy to find them in.

Nothing is measured on the copy: places found here are refined on the photo itself (edges.py), and colour is
read there too. That is why it may be averaged from the photo's codes, which takes a tenth of the time.
"""

from dataclasses import dataclass
from typing import Any, cast

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import sRGB_encode
from calibration.photo import Codes, Photo

LONGEST_PX = 512  # about; chosen: a 30 mm card in a photo 900 mm wide is still 17 pixels wide
NOISE_PX = 3  # over which the layers are averaged
LOG_RATIOS = np.array([[0, 0, 0], [1, -1, 0], [0, -1, 1]], np.float32)  # from ln R, ln G, ln B; the first is for ln Y
DARK_FLOOR = 0.004  # of full scale; below it a phone's noise and flare decide, not the subject


@dataclass(frozen=True, slots=True, eq=False)
class Preview:
    """A small copy of a photo in coordinates that light and camera gain only shift."""

    layers: NDArray[
        np.float32
    ]  # (rows, columns, 3): ln Y, ln(R/G), ln(B/G), linear; ratios of 0 are neutral to the camera
    codes: NDArray[np.uint8]  # (rows, columns, 3), for overlays
    shrink: int  # photo pixels, in each direction, that one preview pixel averages

    @property
    def log_Y(self) -> NDArray[np.float32]:
        """Natural logarithm of luminance (rows, columns)."""
        return self.layers[..., 0]

    @property
    def scale(self) -> tuple[float, float]:
        """Preview pixels per photo pixel, in x and y."""
        return 1 / self.shrink, 1 / self.shrink

    def to_photo(self, points: ArrayLike) -> NDArray[np.float64]:
        """Photo pixel coordinates (..., 2) of preview pixel coordinates (..., 2)."""
        return (np.asarray(points, dtype=np.float64) + 0.5) * self.shrink - 0.5

    def to_preview(self, points: ArrayLike) -> NDArray[np.float64]:
        """Preview pixel coordinates (..., 2) of photo pixel coordinates (..., 2)."""
        return (np.asarray(points, dtype=np.float64) + 0.5) / self.shrink - 0.5


def preview_of(photo: Photo) -> Preview:
    """Make the small copy of a photo."""
    shrink = max(1, round(max(photo.codes.shape[:2]) / LONGEST_PX))
    codes = _averaged(photo.codes, shrink)
    linear = np.asarray(cv2.LUT(codes, photo.curve[np.newaxis]), dtype=np.float32)
    Y = np.maximum(cv2.transform(linear, photo.to_XYZ[1:2].astype(np.float32)), 0) + np.float32(DARK_FLOOR)
    # logarithms of 256 codes are fewer than those of the pixels
    logs = cv2.LUT(codes, np.log(np.maximum(photo.curve, 0) + np.float32(DARK_FLOOR))[np.newaxis])
    layers = cv2.transform(logs, LOG_RATIOS)
    layers[..., 0] = cv2.log(Y)
    # pixel noise is no texture: in a small or noisy photo it would make a calm card look rough, and tear outlines
    layers = cv2.blur(layers, (NOISE_PX, NOISE_PX))
    for_the_eye = np.asarray(codes, dtype=np.uint8) if codes.dtype == np.uint8 else _for_the_eye(linear)
    return Preview(np.asarray(layers, dtype=np.float32), for_the_eye, shrink)


def _averaged(codes: Codes, shrink: int) -> Codes:
    """Average blocks of whole pixels; a rest at the far edges is left out.

    Halving is done in hand-written code in OpenCV and takes a fifth of the time; each rounds up by an eighth of a code.
    """
    rows, columns = (max(1, length // shrink) for length in codes.shape[:2])
    small: NDArray[Any] = codes[: rows * shrink, : columns * shrink]
    while shrink % 2 == 0 and min(small.shape[:2]) > 1:
        shrink //= 2
        small = cv2.resize(small, (small.shape[1] // 2, small.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return cast("Codes", cv2.resize(small, (columns, rows), interpolation=cv2.INTER_AREA))


def _for_the_eye(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    """8-bit codes of linear values, as bright as they may be: 16-bit codes may be linear, and would look black."""
    bright = max(float(np.percentile(linear, 99)), DARK_FLOOR)
    return np.rint(255 * sRGB_encode(np.clip(linear / bright, 0, 1))).astype(np.uint8)
