"""Simulated photos of a board between its edge strips, with the truth about every point of it."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from simulator import Background, Board, Camera, Light, PaintedZone, Scene, render, save_photo
from simulator.lens import distort_photo, distorted_points
from simulator.scene import placement
from simulator.strips_in_scene import Laid, PrintedStrips, strips_beside
from simulator.view import View, apply, view_of

from analyzer.strip_sheets.images import PX_PER_MM, strip_image
from calibration.photo import Photo, open_photo
from calibration.strip_finder import StripSightings, find_strips
from calibration.strip_plane import StripPlane, place_by_strips
from calibration.strips import (
    CELLS,
    HEIGHT_MM,
    MARKER_MM,
    ZERO_MM,
    Side,
    marker_box_mm,
    marker_corners_mm,
    marker_id,
    sections,
)

BROWN = (38.0, 14.0, 22.0)
TABLE = Background(Lab=(62.0, 0.0, 1.0))  # lighter than the board: JPEG blurs edges that differ in hue only
COVER = 110  # of 255 between ink and paper: a finger, a clip
STRAIGHT = (Laid(),)
# 1 mm and 1 degree, each strip its own way: the top one covers the board at its right end, the bottom one gapes there
ASKEW_TOP, ASKEW_BOTTOM = (Laid((1.0, -0.6), 1.0),), (Laid((-1.0, 1.0), 0.7),)


@dataclass(frozen=True)
class StripPhoto:
    photo: Photo
    scene: Scene
    board: Board
    view: View
    size_px: tuple[int, int]
    k1: float

    def true_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Where points (n, 2) of the board lie in the photo."""
        table = apply(placement(self.board), np.asarray(points_mm, dtype=np.float64))
        straight = self.view.project(table, self.board.thickness_mm)
        return distorted_points(straight, self.size_px, self.k1)

    def true_markers_px(self) -> dict[int, NDArray[np.float64]]:
        """Corners (4, 2) of all markers, if the strips are laid without error."""
        corners = {}
        for side in Side:
            down = np.array([0.0, 0.0 if side is Side.TOP else self.board.width_mm])
            for number in numbers_on(side, self.board.length_mm):
                corners[number] = self.true_px(np.array(marker_corners_mm(number)) + down)
        return corners


def numbers_on(side: Side, length_mm: float) -> list[int]:
    return [marker_id(side, cell) for section in sections(side, length_mm) for cell in section.cells]


@lru_cache
def printed(length_mm: float) -> PrintedStrips:
    return PrintedStrips(strip_image(Side.TOP, length_mm), strip_image(Side.BOTTOM, length_mm), PX_PER_MM, ZERO_MM)


def covered(strips: PrintedStrips, numbers: Sequence[int], seed: int = 0) -> PrintedStrips:
    """The strips with something lying on some markers, each a little off."""
    rng = np.random.default_rng(seed)
    pictures = {Side.TOP: strips.top.copy(), Side.BOTTOM: strips.bottom.copy()}
    for number in numbers:
        side, cell = (Side.TOP, number) if number < CELLS else (Side.BOTTOM, number - CELLS)
        left, top, _, _ = marker_box_mm(side, cell)
        x, y = left + ZERO_MM, top + (HEIGHT_MM if side is Side.TOP else 0)
        x, y = np.round((np.array([x, y]) + rng.uniform(-4, 4, 2)) * PX_PER_MM).astype(int)
        side_px = round(MARKER_MM * PX_PER_MM)
        pictures[side][max(y, 0) : y + side_px, max(x, 0) : x + side_px] = COVER
    return replace(strips, top=pictures[Side.TOP], bottom=pictures[Side.BOTTOM])


def photograph(
    length_mm: float = 300,
    width_mm: float = 150,
    *,
    board_Lab: tuple[float, float, float] = BROWN,
    background: Background | None = None,
    strips: PrintedStrips | None = None,
    top: Sequence[Laid] | None = STRAIGHT,
    bottom: Sequence[Laid] | None = STRAIGHT,
    px_per_mm: float = 4.0,
    size_px: tuple[int, int] | None = None,
    roll_deg: float = 0.0,
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    falloff: float = 0.4,
    blur_sigma_px: float = 1.0,
    exposure_EV: float = -0.2,
    k1: float = 0.0,
    below_face_mm: float = 0.0,
    seed: int = 1,
) -> StripPhoto:
    """A photo at about `px_per_mm` in the middle of the board, compressed as a phone would.

    The strips lie `below_face_mm` lower than the board's face.
    """
    zones = (PaintedZone("all", (0, length_mm), board_Lab),)
    board = Board("A", length_mm, width_mm, zones, thickness_mm=below_face_mm)
    papers = strips_beside(board, strips or printed(length_mm), top=top, bottom=bottom)
    scene = Scene(
        boards=(board,),
        papers=tuple(replace(paper, thickness_mm=0.0) for paper in papers),
        background=background or TABLE,
        light=Light(gradient=falloff, direction_deg=35),
    )
    reach = np.hypot(length_mm + 50, width_mm + 70) * px_per_mm
    angle = np.radians(roll_deg)
    across = (length_mm + 60) * abs(np.cos(angle)) + (width_mm + 90) * abs(np.sin(angle))
    down = (length_mm + 60) * abs(np.sin(angle)) + (width_mm + 90) * abs(np.cos(angle))
    size = size_px or (
        min(int(across * px_per_mm * 1.15), int(reach * 1.2)),
        min(int(down * px_per_mm * 1.15), int(reach * 1.2)),
    )
    camera = Camera(
        size_px=size,
        px_per_mm=px_per_mm,
        roll_deg=roll_deg,
        tilt_deg=tilt_deg,
        blur_sigma_px=blur_sigma_px,
        exposure_EV=exposure_EV,
        full_well_e=8000.0,
    )
    rendered = render(scene, camera, seed)
    if k1:
        rendered = distort_photo(rendered, k1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "board.jpg"
        save_photo(path, rendered, quality=90)
        photo = open_photo(path)
    return StripPhoto(photo, scene, board, view_of(scene, camera), size, k1)


@lru_cache
def askew() -> StripPhoto:
    """1 mm and 1 degree off, tilted 14 degrees, turned, 40 % falloff, blur, noise, 4 px/mm."""
    return photograph(top=ASKEW_TOP, bottom=ASKEW_BOTTOM, roll_deg=-157, tilt_deg=(11, -9))


def laid_of(taken: StripPhoto) -> StripPlane:
    laid = place_by_strips(taken.photo, taken.board.length_mm, taken.board.width_mm)
    assert laid is not None
    return laid


def sightings_of(taken: StripPhoto) -> StripSightings:
    sightings = find_strips(taken.photo)
    assert sightings is not None
    return sightings
