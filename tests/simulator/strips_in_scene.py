"""Printed edge strips beside a board, laid as a hand lays them: from the files of `evenboard strips --png`."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from simulator.scene import Board, Paper, Point, placement


@dataclass(frozen=True)
class Laid:
    """How far a strip, or one of its sections, lies from where it should: shifted, and turned about its pivot.

    The pivot is a point of the cut edge that touches the board: the zero arrow, or the left end of a later section.
    """

    shift_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0


@dataclass(frozen=True)
class PrintedStrips:
    """The pictures of both strips, as they were written."""

    top: NDArray[np.uint8]
    bottom: NDArray[np.uint8]
    px_per_mm: float
    zero_mm: float


def read_strips(folder: Path) -> PrintedStrips:
    described = json.loads((folder / "strips.json").read_text())
    top, bottom = (
        np.asarray(cv2.imread(str(folder / name), cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
        for name in ("top.png", "bottom.png")
    )
    return PrintedStrips(top, bottom, described["px_per_mm"], described["zero_mm"])


def strips_beside(
    board: Board,
    strips: PrintedStrips,
    *,
    top: Sequence[Laid] | None = (Laid(),),
    bottom: Sequence[Laid] | None = (Laid(),),
    section_mm: float = 240.0,
    reflectance: float = 0.85,
) -> tuple[Paper, ...]:
    """Papers for a scene.

    `top` and `bottom` hold one `Laid` for each section, cut every `section_mm` from the zero arrow; a single one lays
    the whole strip as one piece. None: that strip is missing.
    """
    papers: list[Paper] = []
    for picture, laid, edge_mm, rises in ((strips.top, top, 0.0, True), (strips.bottom, bottom, board.width_mm, False)):
        if laid is None:
            continue
        joints = [round((strips.zero_mm + k * section_mm) * strips.px_per_mm) for k in range(1, len(laid))]
        starts, ends = [0, *joints], [*joints, picture.shape[1]]
        for k, (start, end, piece) in enumerate(zip(starts, ends, laid, strict=True)):
            left_mm = start / strips.px_per_mm - strips.zero_mm
            corner = left_mm, -picture.shape[0] / strips.px_per_mm if rises else 0.0
            papers.append(
                Paper(
                    np.ascontiguousarray(picture[:, start:end]),
                    strips.px_per_mm,
                    top_left_mm=_on_table(board, corner, piece, pivot_mm=k * section_mm, edge_mm=edge_mm),
                    turn_deg=board.turn_deg + piece.turn_deg,
                    reflectance=reflectance,
                    thickness_mm=board.thickness_mm,
                )
            )
    return tuple(papers)


def _on_table(board: Board, point: Point, laid: Laid, *, pivot_mm: float, edge_mm: float) -> Point:
    """A point of a strip's own mm, on the table."""
    c, s = np.cos(np.radians(laid.turn_deg)), np.sin(np.radians(laid.turn_deg))
    x, y = point[0] - pivot_mm, point[1]
    on_board = c * x - s * y + pivot_mm + laid.shift_mm[0], s * x + c * y + edge_mm + laid.shift_mm[1]
    on_table = placement(board) @ (*on_board, 1.0)
    return float(on_table[0]), float(on_table[1])
