"""Where does the board lie, by the edge strips beside it?  Plane, scale and lens from all markers together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.errors import PlaceError
from calibration.findings import REGISTRY
from calibration.lens import Lens
from calibration.photo import Photo
from calibration.plane import Plane
from calibration.strip_beside import RoughlyLaid, edge_mm, laid_against, shift
from calibration.strip_consensus import RoughStrip, rough_strip
from calibration.strip_finder import StripSightings, find_strips
from calibration.strip_fit import Corners, Piece, StripFit, fit_strips
from calibration.strips import HEIGHT_MM, SECTION_MM, Side, marker_place, section_of, sections_beside

Array = NDArray[np.float64]

MIN_MARKERS = 3
MARKERS_FOR_LENS = 6  # with fewer the lens is taken to bend nothing (chosen)
STRAY_MM = 1.0  # of a marker's corners from the solution: it counts as left out


@dataclass(frozen=True, slots=True, eq=False)
class LaidSection:
    """A section of a strip as it lies."""

    side: Side
    index: int
    cells: tuple[int, ...]  # whose markers were used
    to_board: Array  # (3, 3): strip mm to board mm

    def on_board(self, points_mm: ArrayLike) -> Array:
        """Board mm (..., 2) of points (..., 2) of the strip."""
        return np.asarray(np.asarray(points_mm, dtype=np.float64) @ self.to_board[:2, :2].T + self.to_board[:2, 2])

    def edge_at_mm(self, x_mm: float) -> float:
        """Where the cut edge beside the board crosses x, y."""
        x, y = self.to_board[:2, 2]
        along = self.to_board[:2, 0]
        return float(y + (x_mm - x) * along[1] / along[0])

    def outline_mm(self, length_mm: float) -> Array:
        """The section as cut for a board of this length: corners (4, 2) in board mm, in order around it."""
        printed = sections_beside(self.side, length_mm)
        own = printed[min(self.index, len(printed) - 1)]
        near, far = 0.0, self.side.away * HEIGHT_MM
        return self.on_board([(own.left_mm, far), (own.right_mm, far), (own.right_mm, near), (own.left_mm, near)])


@dataclass(frozen=True, slots=True, eq=False)
class StripPlane:
    """The board's face in the photo, by its strips. Millimetres: x along its top edge from the left end, y down."""

    plane: Plane  # board mm to pixels of the straight picture, the one an ideal lens would have made
    lens: Lens  # from the straight picture to the photo
    sections: tuple[LaidSection, ...]
    residual_mm: float  # root mean square over the corners of the markers used
    residual_max_mm: float
    u_mm: float  # standard uncertainty of the board's corners: hands lay strips to about 1 mm
    u_plane_mm: float  # the part of it that plane and lens have
    used: tuple[int, ...]  # numbers of the markers
    ignored: tuple[int, ...]
    edge_width_px: float | None  # 10-90 % width of the markers' edges

    @property
    def missing(self) -> Side | None:
        """A strip of which no marker was used."""
        return next((side for side in Side if not self._of(side)), None)

    @property
    def zero_apart_mm(self) -> float | None:
        """The zero arrow of the bottom strip from that of the top strip, along the board; None: a strip is missing."""
        top, bottom = (self.zero_mm(side) for side in Side)
        return None if top is None or bottom is None else bottom - top

    @property
    def width_error_mm(self) -> float | None:
        """Distance between the strips less the board's width, at half its length; None: a strip is missing."""
        if self.missing:
            return None
        middle = self.plane.length_mm / 2
        top, bottom = (self._nearest(side, middle).edge_at_mm(middle) for side in Side)
        return bottom - top - self.plane.width_mm

    def zero_mm(self, side: Side) -> float | None:
        """Where on the board a strip's zero arrow points, x; 0 is its left end. None: the strip is missing."""
        return float(self._nearest(side, 0.0).on_board((0.0, 0.0))[0]) if self._of(side) else None

    def _of(self, side: Side) -> list[LaidSection]:
        return [section for section in self.sections if section.side is side and section.cells]

    def _nearest(self, side: Side, x_mm: float) -> LaidSection:
        """The section that lies at x, or next to it."""
        return min(self._of(side), key=lambda section: abs((section.index + 0.5) * SECTION_MM - x_mm))

    def to_px(self, points_mm: ArrayLike) -> Array:
        """Photo pixels (..., 2) of points (..., 2) of the board."""
        return self.lens.distort(self.plane.to_px(points_mm))

    def to_mm(self, points_px: ArrayLike) -> Array:
        """Board mm (..., 2) of points (..., 2) of the photo."""
        return self.plane.to_mm(self.lens.undistort(points_px))

    def corners_px(self) -> Array:
        """The face's corners (4, 2) in the photo: top-left, top-right, bottom-right, bottom-left."""
        return self.lens.distort(self.plane.corners_px())

    def papers_mm(self) -> tuple[Array, ...]:
        """Outlines (4, 2) of the strips' sections in board mm, so far as they were seen: they may cover the board."""
        return tuple(section.outline_mm(self.plane.length_mm) for section in self.sections)


def place_by_strips(photo: Photo, length_mm: float, width_mm: float) -> StripPlane | None:
    """Find a board by the strips beside it.

    Parameters
    ----------
    photo : Photo
    length_mm, width_mm : float
        Size of the board.

    Returns
    -------
    StripPlane or None
        None: there are no strips in the photo.

    Raises
    ------
    PlaceError
        As `board_from_strips`.
    """
    sightings = find_strips(photo)
    if sightings is None:
        return None
    try:
        return board_from_strips(sightings, length_mm, width_mm)
    except PlaceError as refused:
        refused.photo = photo.name
        raise


def board_from_strips(sightings: StripSightings, length_mm: float, width_mm: float) -> StripPlane:
    """Solve for the plane, the places of the strips and the lens, and put the board between the strips.

    The board is taken to lie as close as may be to all sections at once: its edges between those of the strips, its
    left end between their zero arrows. Where the strips disagree by what hands leave (1 mm, 1 degree) it is off by
    half of that; its own edges, where they can be seen, tell better.

    Parameters
    ----------
    sightings : StripSightings
    length_mm, width_mm : float
        Size of the board.

    Raises
    ------
    PlaceError
        With the code `photo-mirrored` if the photo was mirrored; `strips-hidden` if too few markers were seen;
        `strips-apart` if the strips cannot lie along the edges of such a board.
    """
    if sightings.is_mirrored:
        raise _refusal("photo-mirrored", "the photo is mirrored: the strips' markers read only in a mirror.")
    strips = [rough_strip(side, sightings.numbers, sightings.corners_px) for side in Side]
    return board_between(sightings, [strip for strip in strips if strip], length_mm, width_mm)


def board_between(
    sightings: StripSightings, strips: Sequence[RoughStrip], length_mm: float, width_mm: float
) -> StripPlane:
    """The same by strips that are known to lie beside the board: of each side one at most.

    Raises
    ------
    PlaceError
        With the code `strips-hidden` or `strips-apart`, as `board_from_strips`.
    """
    seen = sorted(strips, key=lambda strip: -len(strip.chosen))
    count = sum(len(strip.chosen) for strip in seen)
    if count < MIN_MARKERS or seen[0].mm_to_px is None:
        raise _refusal("strips-hidden", f"only {count} of the edge strips' markers can be read ({MIN_MARKERS} needed).")
    to_px = seen[0].mm_to_px @ shift(0.0, -edge_mm(seen[0].side, width_mm))
    px_to_board: Array = np.asarray(np.linalg.inv(to_px), dtype=np.float64)
    laid = {seen[0].side: RoughlyLaid(seen[0], shift(0.0, edge_mm(seen[0].side, width_mm)))}
    for other in seen[1:]:
        placed = laid_against(other, px_to_board)
        if placed.is_beside(width_mm):
            laid[other.side] = placed
        elif other.mm_to_px is not None:  # a single marker may be a stray one, several are not
            raise _apart(placed, width_mm)
    pieces, corners, poses = _pieces([laid[side] for side in Side if side in laid], width_mm)
    board_mm = (length_mm, width_mm)
    lens_free = len(corners.piece) >= 4 * MARKERS_FOR_LENS
    fit = fit_strips(pieces, corners, (to_px, poses), board_mm, sightings.size_px, lens_free=lens_free)
    return _solved(sightings, laid, pieces, fit, board_mm)


def _refusal(code: str, what: str) -> PlaceError:
    return PlaceError(what, remedy=REGISTRY[code].remedy, code=code)


def _apart(placed: RoughlyLaid, width_mm: float) -> PlaceError:
    along, across = placed.off_mm(width_mm)
    apart = width_mm + (across if placed.strip.side is Side.BOTTOM else -across)
    return _refusal(
        "strips-apart",
        f"the edge strips lie {apart:.0f} mm apart, {abs(along):.0f} mm out of step and "
        f"{abs(np.degrees(placed.turn)):.0f}° askew; the board is {width_mm:.0f} mm wide.",
    )


def _pieces(laid: Sequence[RoughlyLaid], width_mm: float) -> tuple[list[Piece], Corners, Array]:
    """Sections, corners and rough poses for the solver."""
    pieces: list[Piece] = []
    poses, piece_of, strip_mm, photo_px = [], [], [], []
    for placed in laid:
        strip, at_mm = placed.strip, edge_mm(placed.strip.side, width_mm)
        section_of_marker = np.array([section_of(int(cell)) for cell in strip.cells])
        for index in np.unique(section_of_marker).tolist():
            on_it = section_of_marker == index
            pivot = float(strip.strip_mm[on_it][..., 0].mean())
            piece_of += [len(pieces)] * (4 * np.count_nonzero(on_it))
            strip_mm.append(strip.strip_mm[on_it].reshape(-1, 2))
            photo_px.append(strip.photo_px[on_it].reshape(-1, 2))
            pieces.append(Piece(strip.side, index, pivot, at_mm))
            poses.append((*(placed.to_board[:2] @ (pivot, 0.0, 1.0) - (pivot, at_mm)), placed.turn))
    corners = Corners(np.array(piece_of, dtype=np.intp), np.concatenate(strip_mm), np.concatenate(photo_px))
    return pieces, corners, np.array(poses)


def _solved(
    sightings: StripSightings,
    laid: Mapping[Side, RoughlyLaid],
    pieces: Sequence[Piece],
    fit: StripFit,
    board_mm: tuple[float, float],
) -> StripPlane:
    chosen = np.concatenate([laid[side].strip.chosen for side in Side if side in laid])
    fits = np.median(fit.residual_mm.reshape(-1, 4), axis=1) <= STRAY_MM
    used = sightings.numbers[chosen[fits]].tolist()
    places = [place for place in (marker_place(number) for number in used) if place]
    residual = fit.residual_mm.reshape(-1, 4)[fits]
    return StripPlane(
        plane=Plane(fit.mm_to_px, *board_mm),
        lens=fit.lens,
        sections=tuple(
            LaidSection(
                piece.side,
                piece.index,
                tuple(cell for side, cell in places if side is piece.side and section_of(cell) == piece.index),
                piece.to_board(pose),
            )
            for piece, pose in zip(pieces, fit.poses, strict=True)
        ),
        residual_mm=float(np.sqrt(np.square(residual).mean())),
        residual_max_mm=float(residual.max()),
        u_mm=fit.u_board_mm,
        u_plane_mm=fit.u_plane_mm,
        used=tuple(used),
        ignored=tuple(np.delete(sightings.numbers, chosen[fits]).tolist()),
        edge_width_px=sightings.edge_width_px,
    )
