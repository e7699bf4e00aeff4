"""Which strips are in a photo of several boards, and which two of them lie beside one board?

All strips carry the same numbers, so a photo of several boards shows each number more than once. Markers of one strip
lie as printed: the largest set that does is taken out as one strip, and the rest is looked at again. A top strip and
a bottom strip belong together where the bottom one lies below the top one, in the top one's own direction, in step
with it, and as far away as one of the boards is wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import PlaceError
from calibration.strip_beside import APART_TURN, RoughlyLaid, laid_against, play_mm
from calibration.strip_consensus import RoughStrip, rough_strip
from calibration.strip_finder import StripSightings
from calibration.strip_plane import MIN_MARKERS, StripPlane, board_between
from calibration.strips import MAX_LENGTH_MM, MIN_LENGTH_MM, PITCH_MM, Side, sections_beside

Array = NDArray[np.float64]

# What tells strips of one board from those of another. Chosen: hands leave 1 mm at either edge; papers are printed
# alike, or up to 6 % small.
U_WIDTH_MM, U_WIDTH_SHARE = 1.5, 0.01
LONE = 16.0  # squared standard deviations by which one strip alone fits worse than two
HIDDEN_CELL = 2.2  # the same, of a marker that should be there and is not: a third of them may be hidden
LONGER_STRIP, LONGER_CELL = 3.0, 1.0  # the same, of strips that were printed for a longer board, and of each such cell


@dataclass(frozen=True, slots=True, eq=False)
class StripPlace:
    """Where strips show that a board lies."""

    strips: tuple[RoughStrip, ...]  # a top one and a bottom one, or one alone
    laid: StripPlane  # of a board that is as long as the strips and as wide as they are apart
    width_mm: float | None  # distance of the strips' edges; None: one strip alone

    @property
    def quad_px(self) -> Array:
        """Corners (4, 2) in the photo of what lies between the strips."""
        return self.laid.corners_px()

    @property
    def cells(self) -> int:
        """How many cells of the longer strip are printed, so far as its markers were seen."""
        return 1 + max(int(strip.cells.max()) for strip in self.strips)

    def laid_for(self, sizes_mm: Sequence[tuple[float, float]]) -> StripPlane:
        """The same, as long as the one of these boards that fits best: the last markers may be hidden."""
        fitting = [size for size in sizes_mm if np.isfinite(self.misfit(size))]
        if not fitting:
            return self.laid
        length_mm = min(fitting, key=self.misfit)[0]
        return replace(self.laid, plane=replace(self.laid.plane, length_mm=length_mm))

    def misfit(self, size_mm: tuple[float, float]) -> float:
        """How badly a board of this length and width would fit, squared standard deviations; infinite: it cannot."""
        length_mm, width_mm = size_mm
        misfit = LONE
        if self.width_mm is not None:
            off_mm = abs(self.width_mm - width_mm)
            if off_mm > play_mm(width_mm):
                return float("inf")
            misfit = (off_mm / np.hypot(U_WIDTH_MM, U_WIDTH_SHARE * width_mm)) ** 2
        printed = sections_beside(Side.TOP, length_mm)
        more = self.cells - 1 - printed[-1].cells[-1]
        return float(misfit + (LONGER_STRIP + LONGER_CELL * more if more > 0 else -HIDDEN_CELL * more))


def strips_in(sightings: StripSightings) -> tuple[RoughStrip, ...]:
    """All strips of a photo, those with the most markers first; a marker that fits no other is one alone."""
    found = []
    for side in Side:
        left = np.arange(len(sightings.numbers))
        while (strip := rough_strip(side, sightings.numbers[left], sightings.corners_px[left])) is not None:
            own = left[strip.chosen]
            found.append(
                RoughStrip(side, own, strip.cells, strip.strip_mm, strip.photo_px, strip.mm_to_px),
            )
            left = np.setdiff1d(left, own)
    return tuple(sorted(found, key=lambda strip: -len(strip.chosen)))


def strip_places(
    sightings: StripSightings, strips: Sequence[RoughStrip], widths_mm: Sequence[float]
) -> tuple[StripPlace, ...]:
    """Where boards lie by their strips: between two that belong together, or beside one that has no other.

    Parameters
    ----------
    sightings : StripSightings
    strips : sequence of RoughStrip
        Those that come into question.
    widths_mm : sequence of float
        Widths of the boards that are looked for, at least one.
    """
    left = list(strips)
    places = []
    for pair in _pairs(left, widths_mm):
        if all(any(strip is other for other in left) for strip in pair.strips):
            place = _place_of(sightings, pair.strips, pair.apart_mm)
            if place is not None:
                places.append(place)
                left = [strip for strip in left if all(strip is not used for used in pair.strips)]
    left = [strip for strip in left if not any(_continues(strip, place) for place in places)]
    for strip in left:
        place = _place_of(sightings, (strip,), None, min(widths_mm))
        if place is not None and not any(_continues(strip, other) for other in places):
            places.append(place)
    return tuple(places)


def strips_beside_board(
    strips: Sequence[RoughStrip], px_to_board: Array, size_mm: tuple[float, float]
) -> tuple[RoughStrip, ...]:
    """The strips that lie along the edges of a board whose place is known, the best of each side."""
    beside: dict[Side, RoughStrip] = {}
    for strip in strips:
        if strip.side not in beside and laid_against(strip, px_to_board).is_beside(size_mm[1]):
            beside[strip.side] = strip
    return tuple(beside[side] for side in Side if side in beside)


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    strips: tuple[RoughStrip, RoughStrip]  # top, bottom
    apart_mm: float
    fits: bool  # one of the boards is about so wide


def _pairs(strips: Sequence[RoughStrip], widths_mm: Sequence[float]) -> list[_Pair]:
    """Top and bottom strips that may lie beside one board, the likeliest first.

    Those as far apart as a board is wide come first, and of them the nearest. Two strips in step that lie otherwise are
    a pair all the same: they belong to a board of another width, and neither of them is one alone.
    """
    tops = [strip for strip in strips if strip.side is Side.TOP]
    bottoms = [strip for strip in strips if strip.side is Side.BOTTOM]
    pairs = []
    for top, bottom in product(tops, bottoms):
        first, second = sorted((top, bottom), key=lambda strip: -len(strip.chosen))
        if first.mm_to_px is None:
            continue
        placed = laid_against(second, np.asarray(np.linalg.inv(first.mm_to_px), dtype=np.float64))
        along, across = _step(placed)
        apart = across if second is bottom else -across
        width = min(widths_mm, key=lambda width: abs(width - apart))
        fits = abs(apart - width) <= 2 * play_mm(width)  # as seen from one strip: rough
        in_step = abs(along) <= play_mm(width) and abs(placed.turn) <= APART_TURN
        if apart > 0 and in_step and (fits or second.mm_to_px is not None):
            pairs.append(_Pair((top, bottom), apart, fits))
    pairs.sort(key=lambda pair: (min(len(strip.chosen) for strip in pair.strips) < 2, not pair.fits, pair.apart_mm))
    return pairs


def _step(placed: RoughlyLaid) -> tuple[float, float]:
    """How far a strip's edge lies from another's whose frame it was brought to: along, across, mm."""
    middle = placed.strip.strip_mm[..., 0].mean()
    along, across = placed.to_board[:2] @ (middle, 0.0, 1.0) - (middle, 0.0)
    return float(along), float(across)


def _place_of(
    sightings: StripSightings, strips: tuple[RoughStrip, ...], apart_mm: float | None, else_mm: float = 0.0
) -> StripPlace | None:
    cells = 1 + max(int(strip.cells.max()) for strip in strips)
    length_mm = min(max(PITCH_MM * cells, MIN_LENGTH_MM), MAX_LENGTH_MM)
    if sum(len(strip.chosen) for strip in strips) < MIN_MARKERS:
        return None
    try:
        laid = board_between(sightings, strips, length_mm, else_mm if apart_mm is None else apart_mm)
        if laid.width_error_mm is not None and apart_mm is not None:  # the plane by both strips tells better
            apart_mm += laid.width_error_mm
            laid = board_between(sightings, strips, length_mm, apart_mm)
    except (PlaceError, np.linalg.LinAlgError, cv2.error):
        return None
    return StripPlace(strips, laid, apart_mm)


def _continues(strip: RoughStrip, place: StripPlace) -> bool:
    """Whether a strip is a piece of those beside a place: a section that lies askew."""
    to_board = np.asarray(np.linalg.inv(place.laid.plane.mm_to_px), dtype=np.float64)
    return laid_against(strip, to_board).is_beside(place.laid.plane.width_mm)
