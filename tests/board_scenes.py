"""Simulated photos of several boards on one table, with and without strips, and where their zones truly lie."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from board_photos import photo_of
from numpy.typing import ArrayLike, NDArray
from simulator import Background, Board, Camera, GrayCard, Light, PaintedZone, RenderedPhoto, Scene, render
from simulator.scene import placement, rectangle
from simulator.strips_in_scene import Laid, strips_beside
from simulator.view import apply, view_of
from strip_photos import covered, numbers_on, printed

from calibration.photo import Photo
from calibration.place import Place
from calibration.strip_search import Wanted
from calibration.strips import Side

Floats = NDArray[np.float64]
COLOURS = ((38.0, 14.0, 22.0), (45.0, 16.0, 26.0), (33.0, 10.0, 15.0), (55.0, 12.0, 25.0), (48.0, 20.0, 24.0))
TABLE = Background((64.0, 0.0, 1.0))
STRIP_MM = 28.0


@dataclass(frozen=True, eq=False)
class Table:
    """One photo of several boards."""

    scene: Scene
    camera: Camera
    rendered: RenderedPhoto
    photo: Photo

    def board(self, board_id: str) -> Board:
        return next(board for board in self.scene.boards if board.id == board_id)

    def wanted(self, names: str, **corners: ArrayLike) -> list[Wanted]:
        """What a job file names: one letter a board, in this order."""
        return [Wanted(self.board(name).size_mm, corners.get(name), name) for name in names]

    def px(self, board_id: str, points_mm: ArrayLike) -> Floats:
        """Where points (n, 2) of a board truly lie in the photo."""
        board = self.board(board_id)
        on_table = apply(placement(board), np.asarray(points_mm, dtype=np.float64))
        return view_of(self.scene, self.camera).project(on_table, board.thickness_mm)

    def corners(self, board_id: str) -> Floats:
        return self.px(board_id, rectangle(*self.board(board_id).size_mm))

    def edges_mm(self, board_id: str, place: Place) -> Floats:
        """How far (n, 2), along and across, the ends of zones lie from where the place puts them."""
        board = self.board(board_id)
        along = sorted({x for zone in board.zones for x in zone.span_mm})
        true_mm = np.array([(x, y) for x in along for y in (8.0, board.width_mm / 2, board.width_mm - 8.0)])
        assert place.board is not None, place.why_no_board
        if place.strips is not None:
            return np.asarray(np.abs(place.strips.laid.to_mm(self.px(board_id, true_mm)) - true_mm))
        to_mm = np.linalg.inv(_homography(rectangle(*board.size_mm), place.board))
        return np.asarray(np.abs(apply(to_mm, self.px(board_id, true_mm)) - true_mm))


def painted(board_id: str, length_mm: float, width_mm: float, at: tuple[float, float], turn_deg: float = 0.0) -> Board:
    """A board of three zones; `at` is where its top-left corner would lie if it were not turned."""
    first = ord(board_id) % len(COLOURS)
    third = length_mm / 3
    zones = tuple(
        PaintedZone(name, (k * third, (k + 1) * third), COLOURS[(first + k) % len(COLOURS)])
        for k, name in enumerate(("left", "middle", "right"))
    )
    board = Board(board_id, length_mm, width_mm, zones, turn_deg=turn_deg)
    middle = np.array([length_mm, width_mm]) / 2
    corner = np.asarray(at) + middle - apply(placement(board), middle[None])[0]
    return replace(board, top_left_mm=(float(corner[0]), float(corner[1])))


def photographed(
    boards: Sequence[Board],
    *,
    strips: Collection[str] = "",
    hidden: float = 0.0,
    hands: float = 0.5,
    papers: Mapping[str, float] | None = None,
    px: tuple[int, int] = (2000, 1500),
    tilt_deg: tuple[float, float] = (0.0, 0.0),
    roll_deg: float = 0.0,
    falloff: float = 0.3,
    card_mm: tuple[float, float] | None = None,
    seed: int = 1,
) -> Table:
    """A photo in which `strips` lie beside the boards of these names, hands off by `hands` mm and as many degrees.

    `hidden` is the share of markers that something covers, `papers` the reflectance of a board's strips, `card_mm` the
    card's corner; left out: left of all boards.
    """
    rng = np.random.default_rng(seed)
    sheets = []
    for board in boards:
        if board.id in strips:
            print_ = printed(board.length_mm)
            numbers = [number for side in Side for number in numbers_on(side, board.length_mm)]
            print_ = covered(print_, rng.choice(numbers, round(hidden * len(numbers)), replace=False).tolist(), seed)
            laid = [(Laid(tuple(rng.uniform(-hands, hands, 2)), float(rng.uniform(-hands, hands))),) for _ in Side]
            white = (papers or {}).get(board.id, 0.85)
            sheets += strips_beside(board, print_, top=laid[0], bottom=laid[1], reflectance=white)
    corners = np.concatenate([apply(placement(board), rectangle(*board.size_mm)) for board in boards])
    left, middle = float(corners[:, 0].min()), float((corners[:, 1].min() + corners[:, 1].max()) / 2)
    scene = Scene(
        tuple(boards),
        GrayCard((55, 80), card_mm or (left - 95, middle - 40), 3.0),
        background=TABLE,
        light=Light(gradient=falloff, direction_deg=25),
        papers=tuple(sheets),
    )
    camera = Camera(size_px=px, tilt_deg=tilt_deg, roll_deg=roll_deg, exposure_EV=-0.3, blur_sigma_px=0.8)
    rendered = render(scene, camera, seed)
    return Table(scene, camera, rendered, photo_of(rendered))


def _homography(points: Floats, pixels: Floats) -> Floats:
    """From four points (4, 2) to four pixels (4, 2), by solving for the eight unknowns."""
    rows, values = [], []
    for (x, y), (u, v) in zip(points, pixels, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(values)), 1.0).reshape(3, 3)
