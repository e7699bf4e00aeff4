"""How do millimetres on a flat face become pixels of the photo, and the photo a flat picture in millimetres?

The face is a plane, so the map is a homography (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 2),
and then the lens's bending, where that is known.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.lens import Lens
from calibration.photo import Photo

# Output pixels a tile is wide and high. Chosen by measurement: smaller ones spend their time on being called.
TILE_PX = 128


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """A flat face in a photo. Millimetres: x along its top edge from its top-left corner, y down."""

    mm_to_px: NDArray[np.float64]  # (3, 3) homography, to pixels of the picture that an ideal lens would have made
    length_mm: float
    width_mm: float
    lens: Lens | None = None  # None: taken as ideal

    def to_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Pixel coordinates (..., 2) of points (..., 2) in mm."""
        straight = _apply(self.mm_to_px, points_mm)
        return straight if self.lens is None else self.lens.distort(straight)

    def to_mm(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Millimetres (..., 2) of points (..., 2) in pixels."""
        straight = np.asarray(points_px, dtype=np.float64) if self.lens is None else self.lens.undistort(points_px)
        return _apply(np.linalg.inv(self.mm_to_px).astype(np.float64), straight)

    def px_per_mm(self) -> tuple[float, float]:
        """Coarsest and finest scale, in photo pixels per mm, over corners and centre, in any direction."""
        scales = [np.linalg.svd(self._jacobian(x, y), compute_uv=False) for x, y in self._probes()]
        return float(min(scale[1] for scale in scales)), float(max(scale[0] for scale in scales))

    def corners_px(self) -> NDArray[np.float64]:
        """The face's corners (4, 2) in pixels: top-left, top-right, bottom-right, bottom-left."""
        return self.to_px(face_corners_mm(self.length_mm, self.width_mm))

    def _probes(self) -> Iterator[tuple[float, float]]:
        yield from face_corners_mm(self.length_mm, self.width_mm)
        yield self.length_mm / 2, self.width_mm / 2

    def _jacobian(self, x: float, y: float) -> NDArray[np.float64]:
        """Derivative (2, 2) of pixels by mm, from points half a millimetre to either side."""
        steps = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])
        right, left, below, above = self.to_px(np.array([x, y]) + steps)
        return np.stack([right - left, below - above], axis=1)


def face_corners_mm(length_mm: float, width_mm: float) -> NDArray[np.float64]:
    """Corners (4, 2) of a face in mm: top-left, top-right, bottom-right, bottom-left."""
    return np.array([[0.0, 0.0], [length_mm, 0.0], [length_mm, width_mm], [0.0, width_mm]])


def plane_from_corners(corners_px: ArrayLike, length_mm: float, width_mm: float) -> Plane:
    """The plane of a face from its four corners.

    Parameters
    ----------
    corners_px : array_like, (4, 2)
        Top-left, top-right, bottom-right, bottom-left of the face itself, in pixels.
    length_mm, width_mm : float
        Size of the face, mm.

    Raises
    ------
    ValueError
        If the corners are not the corners of a convex quadrilateral.
    """
    corners = np.asarray(corners_px, dtype=np.float64)
    if corners.shape != (4, 2) or not cv2.isContourConvex(corners.astype(np.float32)):
        raise ValueError("plane_from_corners: the corners must form a convex quadrilateral, given in order.")
    mm_to_px, _ = cv2.findHomography(face_corners_mm(length_mm, width_mm), corners, 0)
    return Plane(np.asarray(mm_to_px, dtype=np.float64), length_mm, width_mm)


@dataclass(frozen=True, slots=True, eq=False)
class FlatPicture:
    """A face seen from straight above. Pixel (r, c) is the mean over its square of `mm_per_px`."""

    linear_RGB: NDArray[np.float32]  # (rows, columns, 3)
    seen: NDArray[np.bool_]  # (rows, columns); False: outside the photo, or a colour channel was at full scale
    full_scale: NDArray[np.bool_]  # (rows, columns), inside the photo, a colour channel at full scale
    clipped: float  # fraction of the pixels inside the photo that touch a clipped photo pixel
    mm_per_px: float


def flatten(photo: Photo, plane: Plane, mm_per_px: float) -> FlatPicture:
    """Resample a face once, in linear light, to a flat picture of a given scale.

    The photo is read on a grid at least as fine as its own pixels and averaged over each output pixel's
    square, so that texture finer than `mm_per_px` is averaged as the eye would, not aliased.

    Parameters
    ----------
    photo : Photo
    plane : Plane
        Where the face lies in the photo.
    mm_per_px : float
        Side of an output pixel, mm.

    Returns
    -------
    FlatPicture
        ``round(width_mm / mm_per_px)`` rows and ``round(length_mm / mm_per_px)`` columns.
    """
    rows, columns = round(plane.width_mm / mm_per_px), round(plane.length_mm / mm_per_px)
    finest = plane.px_per_mm()[1]
    fine = max(1, int(np.ceil(finest * mm_per_px)))
    # from fine output pixels to mm: centres of fine pixels lie half a fine pixel inside the square
    step = mm_per_px / fine
    fine_to_mm = np.array([[step, 0.0, step / 2], [0.0, step, step / 2], [0.0, 0.0, 1.0]])

    linear_RGB = np.empty((rows, columns, 3), np.float32)
    seen = np.ones((rows, columns), bool)
    clipped = np.zeros((rows, columns), bool)
    grid = _Grid(plane, fine_to_mm, fine)
    for part in _tiles(rows, columns):
        _fill_tile(photo, grid, part, (linear_RGB[part], seen[part], clipped[part]))
    inside = np.count_nonzero(seen)
    fraction = np.count_nonzero(clipped & seen) / inside if inside else 0.0
    return FlatPicture(linear_RGB, seen & ~clipped, clipped & seen, fraction, mm_per_px)


def _tiles(rows: int, columns: int) -> Iterator[tuple[slice, slice]]:
    for top in range(0, rows, TILE_PX):
        for left in range(0, columns, TILE_PX):
            yield np.s_[top : min(top + TILE_PX, rows), left : min(left + TILE_PX, columns)]


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """The fine grid on the face: `fine` x `fine` of its points make an output pixel."""

    plane: Plane
    to_mm: NDArray[np.float64]  # (3, 3)
    fine: int

    def tile_to_px(self, left: int, top: int, size: tuple[int, int]) -> NDArray[np.float64]:
        """Homography (3, 3) from a tile's fine points, counted from its corner, to the photo.

        A bent lens is followed by a homography of its own for each tile, through its four corners: over a tile of
        50 mm the two differ by less than 0.01 pixel.
        """
        tile_to_mm = self.to_mm @ np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
        if self.plane.lens is None:
            return np.asarray(self.plane.mm_to_px @ tile_to_mm)
        ends = face_corners_mm(size[0], size[1])
        homography, _ = cv2.findHomography(ends, self.plane.to_px(_apply(tile_to_mm, ends)), 0)
        return np.asarray(homography, dtype=np.float64)


def _fill_tile(
    photo: Photo,
    grid: _Grid,
    part: tuple[slice, slice],
    out: tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.bool_]],
) -> None:
    linear_RGB, seen, clipped = out
    height, width = seen.shape
    fine = grid.fine
    tile_to_px = grid.tile_to_px(part[1].start * fine, part[0].start * fine, (width * fine, height * fine))
    ends = [[-1.0, -1.0], [width * fine, -1.0], [width * fine, height * fine], [-1.0, height * fine]]
    corners = _apply(tile_to_px, ends)
    photo_rows, photo_columns = photo.codes.shape[:2]
    low = np.floor(corners.min(axis=0)).astype(int) - 1
    high = np.ceil(corners.max(axis=0)).astype(int) + 2
    whole = low.min() >= 0 and high[0] <= photo_columns and high[1] <= photo_rows
    low, high = np.maximum(low, 0), np.minimum(high, (photo_columns, photo_rows))
    if (high - low < 1).any():
        linear_RGB[...] = 0
        seen[...] = False
        return
    window = slice(low[1], high[1]), slice(low[0], high[0])
    to_window = np.array([[1.0, 0.0, -low[0]], [0.0, 1.0, -low[1]], [0.0, 0.0, 1.0]]) @ tile_to_px

    size = (width * fine, height * fine)
    linear_RGB[...] = _averaged(photo.linear_RGB(*window), to_window, size, fine)
    if not whole:
        seen[...] = _averaged(np.ones((high[1] - low[1], high[0] - low[0]), np.float32), to_window, size, fine) > 0.999
    full_scale = photo.is_clipped(*window)
    if full_scale.any():
        clipped[...] = _averaged(full_scale.astype(np.float32), to_window, size, fine) > 0


def _averaged(
    source: NDArray[np.float32], to_source: NDArray[np.float64], size: tuple[int, int], fine: int
) -> NDArray[np.float32]:
    """Bilinear on the fine grid, then the mean over each output pixel's `fine` x `fine` square."""
    flat = cv2.warpPerspective(
        source, to_source, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_CONSTANT
    )
    if fine > 1:
        flat = cv2.resize(flat, (size[0] // fine, size[1] // fine), interpolation=cv2.INTER_AREA)
    return np.asarray(flat, dtype=np.float32)


def _apply(homography: NDArray[np.float64], points: ArrayLike) -> NDArray[np.float64]:
    points_array = np.asarray(points, dtype=np.float64)
    mapped = points_array @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[..., :2] / mapped[..., 2:])
