"""How far may uneven light fake a difference between two places of the board?

Two sources. A photo of a plain sheet in the same place and light (`flat`) gives the light's shape, which is then
divided out. Without one, the calm background around the board shows how the light falls off; that is never used to
correct anything (the sheet may be stained, curled or further away than the board), only to say how much of a
difference could be the light's.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.background import Background
from calibration.photo import Photo
from calibration.plane import Plane
from calibration.preview import Preview
from calibration.quads import quad_mask

MIN_BACKGROUND = 0.08  # share of the frame; less says too little about the light (chosen)
MAX_SPREAD = 0.12  # ln units, of the background; a cluttered bench (0.3 and more) says nothing about the light (chosen)
# Standard uncertainty of the light's ratio between two places, relative.
U_FLOOR = 0.005  # at the same place: shading by the card's thickness, reflections from clothes and walls (chosen)
U_SHARE = 0.25  # of what the background shows: it is another surface, not at the board's height (chosen)
# One lamp of two moved, or a window: 5 % over 300 mm for two lamps at 1 m, 47 % for one (cosine and distance laws).
U_UNKNOWN_PER_MM = 0.10 / 300
U_MAPPED = 0.004  # left over after division by a smooth map (chosen; to be replaced by its cross-validated residual)
MAP_PX = 160  # longest side of a light map: light is smooth
FLAT_MIN_LEVEL, FLAT_MAX_CLIPPED, FLAT_MAX_DETAIL = 0.08, 0.005, 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The light over one board, as far as it is known."""

    log_light: NDArray[np.float32] | None  # (rows, columns) of a small map over the whole photo, ln; None: not seen
    scale: tuple[float, float]  # map pixels per photo pixel
    mapped: bool  # True: `log_light` comes from a flat photo and is divided out
    px_per_mm: float  # of the photo, at the board

    def log_at(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Natural logarithm of light (...,) at photo pixels (..., 2); zeros when nothing is known."""
        points = np.asarray(points_px, dtype=np.float64)
        if self.log_light is None:
            return np.zeros(points.shape[:-1])
        grid = ((points + 0.5) * self.scale - 0.5).astype(np.float32)
        flat = grid.reshape(1, -1, 2)
        values = cv2.remap(self.log_light, flat, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(values, dtype=np.float64).reshape(points.shape[:-1])

    def range_over(self, plane: Plane) -> float | None:
        """(max - min) / max of the light over a face; None when nothing is known."""
        if self.log_light is None:
            return None
        x, y = np.meshgrid(np.linspace(0, plane.length_mm, 13), np.linspace(0, plane.width_mm, 7), indexing="ij")
        return float(1 - np.exp(-np.ptp(self.log_at(plane.to_px(np.stack([x, y], axis=-1))))))

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        """Relative standard uncertainty of the ratio of light at two places of the photo, (x, y) in pixels.

        An unevenness that is seen but not corrected is a bias of known size: the expanded uncertainty must hold
        it whole (GUM, JCGM 100:2008, F.2.4.5), so it enters divided by the coverage factor 1.96.
        """
        ends = np.stack([np.asarray(first_px, dtype=np.float64), np.asarray(second_px, dtype=np.float64)])
        distance_mm = float(np.hypot(*(ends[1] - ends[0]))) / self.px_per_mm
        if self.mapped:
            return float(np.hypot(U_MAPPED, U_FLOOR * min(1.0, distance_mm / 100)))
        if self.log_light is None:
            return U_FLOOR + U_UNKNOWN_PER_MM * distance_mm
        seen = abs(float(np.diff(self.log_at(ends))[0]))
        return seen / 1.96 + U_FLOOR + U_SHARE * seen


def light_from_background(preview: Preview, background: Background, plane: Plane) -> Light:
    """What the background around the board says about the light."""
    px_per_mm = plane.px_per_mm()[0]
    # with nothing calm around it, the fit may have settled on the board itself
    face = quad_mask(background.is_background.shape, preview.to_preview(plane.corners_px()))
    around = background.is_background & ~face
    if around.mean() < MIN_BACKGROUND or background.spread_log_Y > MAX_SPREAD:
        return Light(None, preview.scale, mapped=False, px_per_mm=px_per_mm)
    seen = background.log_light[around]
    # the fitted surface may run away where no background is near; light does not
    log_light = np.clip(background.log_light, seen.min() - 0.1, seen.max() + 0.1)
    return Light(log_light.astype(np.float32), preview.scale, mapped=False, px_per_mm=px_per_mm)


def light_from_flat(flat: Photo, photo: Photo, plane: Plane) -> tuple[Light | None, str]:
    """The light's shape from a photo of a plain sheet in the same place and light.

    Returns
    -------
    light : Light or None
    why_not : str
        When None: why the photo of the sheet cannot serve.
    """
    if flat.codes.shape != photo.codes.shape:
        return None, "it has another size or orientation than the photo of the board"
    rows, columns = flat.codes.shape[:2]
    shrink = MAP_PX / max(rows, columns)
    size = max(2, round(columns * shrink)), max(2, round(rows * shrink))
    Y, clipped = _small_luminance(flat, size)
    # dust and print are small: a median over an eighth of the frame ignores them
    smooth = cv2.GaussianBlur(cv2.medianBlur(Y, 5), (0, 0), size[0] / 24)
    inside = np.zeros(Y.shape, np.uint8)
    scale = size[0] / columns, size[1] / rows
    face = (plane.corners_px() + 0.5) * scale - 0.5
    cv2.fillConvexPoly(inside, np.round(face).astype(np.int32), 1)
    over_board = inside.astype(bool)
    if not over_board.any() or float(np.median(Y[over_board])) < FLAT_MIN_LEVEL:
        return None, "it is too dark"
    if float(clipped[over_board].mean()) > FLAT_MAX_CLIPPED:
        return None, "it is clipped"
    detail = float(np.std(Y[over_board] / smooth[over_board]))
    if detail > FLAT_MAX_DETAIL:
        return None, f"the sheet is not plain (it varies by {detail:.1%} over short distances)"
    return Light(np.log(np.maximum(smooth, 1e-4)), scale, mapped=True, px_per_mm=plane.px_per_mm()[0]), ""


def _small_luminance(photo: Photo, size: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Luminance averaged in linear light, and share of clipped pixels, both (rows, columns) of a small map."""
    rows = photo.codes.shape[0]
    to_Y = photo.to_XYZ[1:2].astype(np.float32)
    edges = np.linspace(0, rows, size[1] + 1).round().astype(int)
    Y = np.empty((size[1], size[0]), np.float32)
    clipped = np.empty_like(Y)
    for row, (top, bottom) in enumerate(pairwise(edges)):
        strip = slice(top, max(bottom, top + 1))
        luminance = cv2.transform(photo.linear_RGB(strip), to_Y)
        Y[row] = cv2.resize(
            luminance.mean(axis=0, dtype=np.float32).reshape(1, -1), (size[0], 1), interpolation=cv2.INTER_AREA
        )
        full = photo.is_clipped(strip).mean(axis=0, dtype=np.float32)
        clipped[row] = cv2.resize(full.reshape(1, -1), (size[0], 1), interpolation=cv2.INTER_AREA)
    return Y, clipped
