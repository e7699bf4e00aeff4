"""How far apart do two photos of one board lay it, by its own grain?

Strips are placed by hand and corners are clicked: the same spot of a board comes out a millimetre or two apart in two
photos. Pores and growth lines are the same in both, whatever was done to the surface in between, so one picture is
moved over the other until they agree: first by whole pixels (cross-correlation), then with a small turn (maximised
correlation coefficient, Evangelidis & Psarakis, IEEE Trans. PAMI 30, 2008). A move that hardly makes them agree better
is not believed.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Matrix = NDArray[np.float64]

FINE_MM = (
    0.5,
    3.0,
)  # Gaussian sigmas: what lies between them is grain; noise is finer, blotch and light coarser. Chosen
CLIPPED = 3.0  # standard deviations: a scratch or a knot does not decide alone
REACH_MM = 4.0  # farther is no hand's error: strips are placed to 1 mm, corners clicked to 2 (chosen)
MOST_TURN_DEG = 1.5  # chosen likewise
LEAST_GAIN = 0.02  # of the correlation coefficient; less is what any search finds in noise (chosen)
STEPS, STEP_ENDS = 60, 1e-5  # of the search with a turn


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Where the earlier picture shows what a later one shows."""

    matrix: Matrix  # (2, 3): pixel x, y of the later picture -> x, y of the earlier one
    correlation: float  # of the grain, with that; below 0 where stain turned light and dark round
    unmoved: float  # the same with both pictures as they lie


def align(
    later: Floats, earlier: Floats, seen_later: NDArray[np.bool_], seen_earlier: NDArray[np.bool_], mm_per_px: float
) -> Alignment:
    """Find the small move and turn that lay an earlier picture of a board over a later one.

    Parameters
    ----------
    later, earlier : ndarray of float32, (rows, columns)
        Lightness of the whole face, flat, at one scale. Values where not seen do not matter.
    seen_later, seen_earlier : ndarray of bool, (rows, columns)
        False for cards, glare, and what lies outside every zone.
    mm_per_px : float

    Returns
    -------
    Alignment
        Its matrix is the identity where no move of at most `REACH_MM` and `MOST_TURN_DEG` makes the pictures agree
        better, as on two surfaces without any grain.
    """
    later, earlier = _grain(later, seen_later, mm_per_px), _grain(earlier, seen_earlier, mm_per_px)
    pair = _Pair(later, earlier, seen_later, seen_earlier)
    still = np.eye(2, 3)
    unmoved = pair.correlation(still)
    moved, sign = pair.shifted(round(REACH_MM / mm_per_px))
    tried = [moved]
    turned = pair.turned(moved, sign)
    if turned is not None and _is_small(turned, later.shape, mm_per_px):
        tried.append(turned)
    found = [(sign * pair.correlation(matrix), matrix) for matrix in tried]
    best, matrix = max(found, key=lambda one: one[0])
    if best < abs(unmoved) + LEAST_GAIN:
        return Alignment(still, unmoved, unmoved)
    return Alignment(matrix, sign * best, unmoved)


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    """Grain of both pictures, 0 where not seen."""

    later: Floats
    earlier: Floats
    seen_later: NDArray[np.bool_]
    seen_earlier: NDArray[np.bool_]

    def correlation(self, matrix: Matrix) -> float:
        """Correlation coefficient over what both show."""
        size = self.later.shape[1], self.later.shape[0]
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        moved = cv2.warpAffine(self.earlier, matrix, size, flags=flags)
        seen = cv2.warpAffine(self.seen_earlier.astype(np.float32), matrix, size, flags=flags) > 0.99
        both = seen & self.seen_later
        if both.sum() < 2:
            return 0.0
        first, second = self.later[both].astype(np.float64), moved[both].astype(np.float64)
        spread = float(first.std() * second.std())
        return float(np.mean((first - first.mean()) * (second - second.mean()))) / spread if spread > 0 else 0.0

    def shifted(self, reach_px: int) -> tuple[Matrix, int]:
        """Best move by whole pixels, and whether light stayed light (1) or became dark (-1)."""
        room = np.pad(self.earlier, reach_px)
        agreement = cv2.matchTemplate(room, self.later, cv2.TM_CCORR)
        row, column = np.unravel_index(int(np.abs(agreement).argmax()), agreement.shape)
        sign = -1 if agreement[row, column] < 0 else 1
        return np.array([[1.0, 0.0, float(column) - reach_px], [0.0, 1.0, float(row) - reach_px]]), sign

    def turned(self, start: Matrix, sign: int) -> Matrix | None:
        """Best move with a turn, from a start near it; None where the search finds no way."""
        ends = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, STEPS, STEP_ENDS)
        try:
            _, matrix = cv2.findTransformECC(
                self.later,
                np.asarray(sign * self.earlier),
                start.astype(np.float32),
                cv2.MOTION_EUCLIDEAN,
                ends,
                self.seen_earlier.astype(np.uint8),
                1,
            )
        except cv2.error:  # OpenCV's way to say that the search went astray
            return None
        return np.asarray(matrix, dtype=np.float64)


def _grain(L: Floats, seen: NDArray[np.bool_], mm_per_px: float) -> Floats:
    """Fine structure, 0 where not seen; an edge of what is seen makes none (normalised filtering)."""
    weight = seen.astype(np.float32)
    values = np.where(seen, L, np.float32(0)).astype(np.float32)
    fine, coarse = (_blurred(values, weight, sigma_mm / mm_per_px) for sigma_mm in FINE_MM)
    grain = np.where(seen, fine - coarse, np.float32(0))
    limit = CLIPPED * float(grain[seen].std()) if seen.any() else 0.0
    return np.clip(grain, -limit, limit).astype(np.float32)


def _blurred(values: Floats, weight: Floats, sigma_px: float) -> Floats:
    total, share = (cv2.GaussianBlur(one, (0, 0), sigma_px) for one in (values, weight))
    return np.asarray(total / np.maximum(share, np.float32(1e-3)), dtype=np.float32)


def _is_small(matrix: Matrix, shape: tuple[int, ...], mm_per_px: float) -> bool:
    """Whether a move is one that hands make: at the middle of the board, and in its turn."""
    middle = np.array([(shape[1] - 1) / 2, (shape[0] - 1) / 2])
    away_mm = float(np.hypot(*(matrix[:, :2] @ middle + matrix[:, 2] - middle))) * mm_per_px
    turn_deg = math.degrees(math.atan2(matrix[1, 0], matrix[0, 0]))
    return away_mm <= REACH_MM + mm_per_px and abs(turn_deg) <= MOST_TURN_DEG
