"""Which colour has the board, or a region, in a photo that belongs to no job?

It needs a gray card and no scale: colour is the same at any. Everything else is measured as a job's boards are.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analyzer.errors import RecordError
from analyzer.job import DEFAULT_MARGIN_MM, Board, Zone
from analyzer.photos import finding_results
from analyzer.pooling import MeasuredZone
from analyzer.record.query import Lab
from analyzer.results import FindingResult
from analyzer.uncertainty import Sight
from analyzer.zones import read_zone
from calibration.flatboard import USUAL_LENGTH_MM, flat_board
from calibration.photo import open_photo
from calibration.place import Place, locate
from calibration.quads import side_lengths

Region = tuple[float, float, float, float]  # left, top, right, bottom: pixels of the upright photo

LEAST_SIDE_PX: Final = 100.0  # of a region; what is smaller shows the grain's pores rather than a colour (chosen)

# A small region counts as that much less than a usual board (chosen, above the 1 px/mm that measuring asks for).
_PX_PER_MM: Final = 1.25
# Findings that speak of millimetres: nobody said how large the board is.
_NEED_SCALE: Final = frozenset(
    {"too-few-pixels", "blurred", "outline-rough", "corners-misfit", "board-turned", "length-misfit"}
)


@dataclass(frozen=True, slots=True)
class PhotoColour:
    """A colour read from a photo."""

    lab: Lab  # CIELAB, D50, 2 degree observer
    lab_u95: Lab
    findings: tuple[FindingResult, ...]


def photo_colour(path: Path, region: Region | None = None) -> PhotoColour:
    """Measure the one board of a photo, or a region of it, against the gray card beside it.

    Parameters
    ----------
    path : Path
        A photo with a gray card of 18 % in it.
    region : four of float, optional
        Left, top, right and bottom in pixels; left out, the board that is found.

    Raises
    ------
    CalibrationError
        If the photo, the board or the card cannot serve.
    RecordError
        If the region is too small, lies outside the photo, or nothing of it can be measured.
    """
    photo = open_photo(path)
    rows, columns = photo.codes.shape[:2]
    corners = None if region is None else _corners(region, columns, rows)
    place = locate(photo, None, corners=corners)
    size_mm = _any_size(place)
    flat = flat_board(photo, place, size_mm)
    margin_mm = DEFAULT_MARGIN_MM if region is None else 0.0
    zone = Zone("face", "unknown", (0.0, size_mm[0]), (0.0, size_mm[1]), margin_mm)
    board = Board("photo", "unknown", *size_mm, (zone,))
    reading = read_zone(flat, board, zone)
    if reading is None:
        raise RecordError(f"{path}: nothing there can be measured.", remedy="Name another region: --region.")
    sight = Sight(
        reading=reading,
        photo=path.name,
        board=board.id,
        camera=photo.exif.camera,
        light_name=None,
        light=flat.light,
        card_px=flat.card_px.mean(axis=0),
        correction=flat.correction,
    )
    measured = MeasuredZone(board, zone, "topcoated", None, (sight,))
    L, a, b = (float(value) for value in measured.Lab)
    u_L, u_a, u_b = (float(value) for value in measured.Lab_u95)
    found = [one for one in flat.findings if one.code not in _NEED_SCALE]
    return PhotoColour((L, a, b), (u_L, u_a, u_b), finding_results(found))


def _corners(region: Region, columns: int, rows: int) -> list[tuple[float, float]]:
    left, top, right, bottom = region
    if not (0 <= left < right < columns and 0 <= top < bottom < rows):
        raise RecordError(
            f"the region {left:g},{top:g},{right:g},{bottom:g} is not inside the photo, {columns} x {rows} pixels.",
            remedy="Give left, top, right, bottom in pixels of the upright photo.",
        )
    if min(right - left, bottom - top) < LEAST_SIDE_PX:
        raise RecordError(
            f"the region is {right - left:g} x {bottom - top:g} pixels (at least {LEAST_SIDE_PX:g} needed each way).",
            remedy="Take a larger one, or go nearer.",
        )
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def _any_size(place: Place) -> tuple[float, float]:
    """A size of the board's own proportion, at most that of a usual board.

    A board that was not found has any, and is refused by what measures it.
    """
    if place.board is None:
        return USUAL_LENGTH_MM, USUAL_LENGTH_MM
    sides = side_lengths(place.board)
    across, down = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    scale = min(USUAL_LENGTH_MM / max(across, down), 1 / _PX_PER_MM)
    return across * scale, down * scale
