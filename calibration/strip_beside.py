"""How does a strip lie against a board, roughly?  A turn and a shift, and what hands leave of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.strip_consensus import RoughStrip
from calibration.strips import Side

Array = NDArray[np.float64]

# Strips this much farther from where the board's size puts them are not beside this board. Chosen: prints made to fit
# a page are up to 6 % small, and hands are off by 1 mm and 1 degree.
APART_MM, APART_SHARE, APART_TURN = 15.0, 0.06, np.radians(6.0)


@dataclass(frozen=True, slots=True, eq=False)
class RoughlyLaid:
    """A strip, taken as one piece, against a board."""

    strip: RoughStrip
    to_board: Array  # (3, 3), rigid: strip mm to board mm

    @property
    def turn(self) -> float:
        """Radians, against the board's top edge."""
        return float(np.arctan2(self.to_board[1, 0], self.to_board[0, 0]))

    def off_mm(self, width_mm: float) -> Array:
        """How far (2,) the middle of its edge lies from where it should."""
        middle = self.strip.strip_mm[..., 0].mean()
        return np.asarray(self.to_board[:2] @ (middle, 0.0, 1.0) - (middle, edge_mm(self.strip.side, width_mm)))

    def is_beside(self, width_mm: float) -> bool:
        """Whether hands may have laid it along the edge of such a board."""
        near = np.abs(self.off_mm(width_mm)).max() <= play_mm(width_mm)
        return bool(near and abs(self.turn) <= APART_TURN)


def laid_against(strip: RoughStrip, px_to_board: Array) -> RoughlyLaid:
    """The turn and shift that bring a strip's markers nearest to where they are seen (Procrustes).

    Parameters
    ----------
    strip : RoughStrip
    px_to_board : ndarray, (3, 3)
        Photo pixels to board mm.
    """
    seen = np.column_stack([strip.photo_px.reshape(-1, 2), np.ones(4 * len(strip.chosen))]) @ px_to_board.T
    on_board, own = seen[:, :2] / seen[:, 2:], strip.strip_mm.reshape(-1, 2)
    a, b = own - own.mean(axis=0), on_board - on_board.mean(axis=0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    rigid = np.eye(3)
    rigid[:2, :2] = rotation
    rigid[:2, 2] = on_board.mean(axis=0) - rotation @ own.mean(axis=0)
    return RoughlyLaid(strip, rigid)


def edge_mm(side: Side, width_mm: float) -> float:
    """Where on the board the edge of a strip lies, y."""
    return 0.0 if side is Side.TOP else width_mm


def play_mm(width_mm: float) -> float:
    """How far from where it should be a strip beside a board of this width may be seen."""
    return APART_MM + APART_SHARE * width_mm


def shift(x: float, y: float) -> Array:
    """Matrix (3, 3) that moves by x, y."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])
