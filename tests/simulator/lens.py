"""A lens that bends straight lines: radial distortion put on a rendered photo, and on its truth.

A point at r from the middle of the photo moves to r (1 + k1 (r / R)^2), R half the photo's diagonal.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.render import RenderedPhoto


def distorted_points(points_px: NDArray[np.float64], size_px: tuple[int, int], k1: float) -> NDArray[np.float64]:
    """Where the lens puts points (n, 2) of an undistorted photo of this width and height."""
    middle = (np.array(size_px) - 1) / 2
    offset = points_px - middle
    moved = offset * (1 + k1 * np.square(offset).sum(axis=-1, keepdims=True) / np.square(middle).sum())
    return np.asarray(middle + moved)


def distort_photo(photo: RenderedPhoto, k1: float) -> RenderedPhoto:
    """The photo as the lens would have made it; its truth is that of the undistorted one."""
    height, width = photo.codes.shape[:2]
    middle = (np.array([width, height]) - 1) / 2
    x, y = np.meshgrid(np.arange(width) - middle[0], np.arange(height) - middle[1])
    seen = np.hypot(x, y) / np.hypot(*middle)
    straight = seen.copy()
    for _ in range(20):  # fixed point: the factor is within a few per cent of 1
        straight = seen / (1 + k1 * straight**2)
    factor = np.divide(straight, seen, out=np.ones_like(seen), where=seen > 0)
    columns, rows = (np.float32(middle[k]) + (part * factor).astype(np.float32) for k, part in enumerate((x, y)))
    codes = cv2.remap(photo.codes, columns, rows, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    return replace(photo, codes=np.asarray(codes, dtype=np.uint8))
