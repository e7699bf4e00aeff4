"""Where do things lie in a photo, roughly?  A small copy to find them in.

Nothing is measured on the copy: places found here are refined on the photo itself (edges.py), and colour is
read there too. That is why it may be averaged from the photo's codes, which takes a tenth of the time.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import sRGB_encode
from calibration.photo import Photo

LONGEST_PX = 512  # about; chosen: a 30 mm card in a photo 900 mm wide is still 17 pixels wide
NOISE_PX = 3  # over which the layers are averaged
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
    rows, columns = photo.codes.shape[:2]
    # whole pixels are averaged, which OpenCV does five times as fast as a fraction; a rest at the far edges is left out
    shrink = max(1, round(max(rows, columns) / LONGEST_PX))
    size = max(1, columns // shrink), max(1, rows // shrink)
    whole = photo.codes[: size[1] * shrink, : size[0] * shrink]
    codes = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), dtype=photo.codes.dtype)
    linear = np.stack([photo.curve[:, channel][codes[..., channel]] for channel in range(3)], axis=-1)
    Y = np.maximum(linear @ photo.to_XYZ[1].astype(np.float32), 0) + np.float32(DARK_FLOOR)
    log_R, log_G, log_B = (np.log(np.maximum(linear[..., channel], 0) + np.float32(DARK_FLOOR)) for channel in range(3))
    # pixel noise is no texture: in a small or noisy photo it would make a calm card look rough, and tear outlines
    layers = cv2.blur(np.stack([np.log(Y), log_R - log_G, log_B - log_G], axis=-1), (NOISE_PX, NOISE_PX))
    for_the_eye = np.asarray(codes, dtype=np.uint8) if codes.dtype == np.uint8 else _for_the_eye(linear)
    return Preview(np.asarray(layers, dtype=np.float32), for_the_eye, shrink)


def _for_the_eye(linear: NDArray[np.float32]) -> NDArray[np.uint8]:
    """8-bit codes of linear values, as bright as they may be: 16-bit codes may be linear, and would look black."""
    bright = max(float(np.percentile(linear, 99)), DARK_FLOOR)
    return np.rint(255 * sRGB_encode(np.clip(linear / bright, 0, 1))).astype(np.uint8)
