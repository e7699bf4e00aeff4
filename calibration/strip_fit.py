"""Which plane, which places of the strips and which lens explain all marker corners at once?

A bundle adjustment in the plane: the unknowns are the homography from the board's millimetres to the straight picture
(8), the place of every section of a strip against the board (3 each: shift along, shift across, turn) and the lens
(1). That the sections lie about where they should is told to it as weak observations; between strips that disagree they
put the board in the middle. Least squares by Gauss, Newton, Levenberg and Marquardt, with Geman and McClure's weights
against corners that do not fit (Hartley & Zisserman, Multiple View Geometry, 2nd ed. 2004, appendix 6).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lens import Lens, lens_of
from calibration.strips import Side

Array = NDArray[np.float64]

# How far hands lay strips from where they should be, one standard deviation. Chosen; "1 mm and 1 degree off".
U_SHIFT_MM, U_TURN = 0.7, np.radians(0.7)
U_K1, U_K1_HELD = (
    0.02,
    1e-9,
)  # of what phones leave uncorrected at the photo's corners; of a lens that is not solved for
# Of a corner: what the line fits leave, and what printing and paper add. Chosen; scaled up where corners fit worse.
U_CORNER_PX, U_CORNER_MM = 0.05, 0.02

PLAIN_ROUNDS, ROBUST_ROUNDS = 6, 20
SETTLED = 1e-6  # of the unknowns, which are about 1 or in mm
ROBUST_SCALE = 4.0  # robust standard deviations at which a corner counts a quarter
H_PARAMETERS, K1, POSES = 8, 8, 9  # where they stand among the unknowns


@dataclass(frozen=True, slots=True)
class Piece:
    """One section of a strip that was seen."""

    side: Side
    index: int
    pivot_mm: float  # x of the middle of its markers: shifts and turns are counted there, at the board-side edge
    edge_mm: float  # y of the board's edge that it lies against

    def to_board(self, pose: Array) -> Array:
        """Matrix (3, 3) from strip mm to board mm; `pose` (3,): shift x, y in mm, turn in radians."""
        c, s = np.cos(pose[2]), np.sin(pose[2])
        x, y = self.pivot_mm * (1 - c) + pose[0], -self.pivot_mm * s + self.edge_mm + pose[1]
        return np.array([[c, -s, x], [s, c, y], [0.0, 0.0, 1.0]])


@dataclass(frozen=True, slots=True, eq=False)
class StripFit:
    """The solution."""

    mm_to_px: Array  # (3, 3): board mm to pixels of the straight picture
    lens: Lens
    poses: Array  # (pieces, 3): shift x, y in mm, turn in radians
    residual_mm: Array  # (n,): distance of each corner from where the solution puts it
    weight: Array  # (n,), 0 to 1
    u_board_mm: float  # of the board's corners, as placed between the strips
    u_plane_mm: float  # of the same corners against the strip that is seen best: what the plane alone adds


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Marker corners on their sections and in the photo."""

    piece: NDArray[np.intp]  # (n,): index into the pieces
    strip_mm: Array  # (n, 2)
    photo_px: Array  # (n, 2)


def fit_strips(
    pieces: Sequence[Piece],
    corners: Corners,
    start: tuple[Array, Array],
    board_mm: tuple[float, float],
    size_px: tuple[int, int],
    *,
    lens_free: bool,
) -> StripFit:
    """Solve for everything at once.

    Parameters
    ----------
    pieces : sequence of Piece
        Sections that were seen, those of one strip together and in order.
    corners : Corners
    start : (ndarray (3, 3), ndarray (pieces, 3))
        Board mm to photo pixels, and the poses of the pieces, both roughly.
    board_mm : (float, float)
        Length and width of the board.
    size_px : (int, int)
        Width and height of the photo.
    lens_free : bool
        Whether the lens is solved for; otherwise it bends nothing.
    """
    u_k1 = U_K1 if lens_free else U_K1_HELD
    problem = _Problem(tuple(pieces), corners, board_mm, lens_of(size_px, 0.0), u_k1)
    unknowns = problem.unknowns_of(*start)
    weight = np.ones(len(corners.piece))
    damping = 1e-6
    for rounds, robust in ((PLAIN_ROUNDS, False), (ROBUST_ROUNDS, True)):
        for _ in range(rounds):
            if robust:
                weight = problem.weights(unknowns)
            unknowns, damping, moved = problem.step(unknowns, weight, damping)
            if moved < SETTLED:
                break
    return problem.solution(unknowns, weight)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """The equations, in numbers of about 1: board coordinates over half its length, pixels over half the diagonal."""

    pieces: tuple[Piece, ...]
    corners: Corners
    board_mm: tuple[float, float]
    straight: Lens
    u_k1: float

    @property
    def mm_scale(self) -> float:
        return max(self.board_mm) / 2

    @property
    def middle_mm(self) -> Array:
        return np.array(self.board_mm) / 2

    def unknowns_of(self, mm_to_px: Array, poses: Array) -> Array:
        """The vector of unknowns: homography (8), k1, poses."""
        H = np.linalg.inv(self._from_px()) @ mm_to_px @ np.linalg.inv(self._from_mm())
        return np.concatenate([H.ravel()[:8] / H[2, 2], [0.0], poses.ravel()])

    def step(self, unknowns: Array, weight: Array, damping: float) -> tuple[Array, float, float]:
        """One improvement: new unknowns, new damping, size of the step."""
        residual, J = self._equations(unknowns, weight)
        normal, gradient = J.T @ J, J.T @ residual
        cost = float(residual @ residual)
        for _ in range(8):
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), gradient)
            tried, moved = unknowns - step, float(np.abs(step).max())
            if moved < SETTLED:  # what is left of the cost is rounding
                return tried, damping, moved
            new = self._equations(tried, weight)[0]
            if new @ new <= cost * (1 + 1e-12):
                return tried, max(damping / 10, 1e-12), moved
            damping *= 10
        return unknowns, damping, 0.0

    def weights(self, unknowns: Array) -> Array:
        """Geman and McClure's weights of the corners."""
        distance = np.sqrt(np.square(self._misfit(unknowns)).sum(axis=1))
        scale = max(1.0, 1.4826 * float(np.median(distance)))
        return np.asarray(1 / (1 + (distance / (ROBUST_SCALE * scale)) ** 2) ** 2)

    def solution(self, unknowns: Array, weight: Array) -> StripFit:
        """The answer in mm and pixels, with its uncertainty."""
        H, k1 = _matrix(unknowns), float(unknowns[K1])
        residual, J = self._equations(unknowns, weight)
        seen = 2 * len(weight)  # rows of corners; below them those of what is known beforehand
        misfit = max(1.0, float(residual[:seen] @ residual[:seen]) / max(1.0, 2 * weight.sum() - len(unknowns)))
        normal = J[:seen].T @ J[:seen] / misfit + J[seen:].T @ J[seen:]
        best = POSES + 3 * int(np.bincount(self.corners.piece, weights=weight).argmax())
        held = normal.copy()
        held[range(best, best + 3), range(best, best + 3)] += 1e12
        return StripFit(
            mm_to_px=self._from_px() @ H @ self._from_mm(),
            lens=Lens(k1, self.straight.centre_px, self.straight.radius_px),
            poses=unknowns[POSES:].reshape(-1, 3).copy(),
            residual_mm=np.sqrt(np.square(self._misfit(unknowns)).sum(axis=1)) * self._u_corner_mm(unknowns),
            weight=weight,
            u_board_mm=self._u_of_board(unknowns, normal),
            u_plane_mm=self._u_of_board(unknowns, held),
        )

    def _from_mm(self) -> Array:
        scale, (x, y) = self.mm_scale, self.middle_mm
        return np.array([[1 / scale, 0, -x / scale], [0, 1 / scale, -y / scale], [0, 0, 1]])

    def _from_px(self) -> Array:
        """From numbers of about 1 to pixels."""
        radius, (x, y) = self.straight.radius_px, self.straight.centre_px
        return np.array([[radius, 0, x], [0, radius, y], [0, 0, 1]])

    def _on_board(self, unknowns: Array) -> tuple[Array, Array]:
        """Corners (n, 2) on the board, over half its length, and their change (n, 2) with the turn."""
        poses = unknowns[POSES:].reshape(-1, 3)[self.corners.piece]
        pivots = np.array([(piece.pivot_mm, 0.0) for piece in self.pieces])[self.corners.piece]
        edges = np.array([piece.edge_mm for piece in self.pieces])[self.corners.piece]
        arm = self.corners.strip_mm - pivots
        c, s = np.cos(poses[:, 2]), np.sin(poses[:, 2])
        turned = np.column_stack([c * arm[:, 0] - s * arm[:, 1], s * arm[:, 0] + c * arm[:, 1]])
        placed = turned + pivots + poses[:, :2] + np.column_stack([np.zeros_like(edges), edges]) - self.middle_mm
        return placed / self.mm_scale, np.column_stack([-turned[:, 1], turned[:, 0]]) / self.mm_scale

    def _u_corner(self, by_board: Array) -> Array:
        """Standard uncertainty (n,) of a corner, over half the photo's diagonal."""
        px_per_unit = np.sqrt(np.abs(np.linalg.det(by_board)))
        return np.asarray(np.hypot(U_CORNER_PX / self.straight.radius_px, U_CORNER_MM / self.mm_scale * px_per_unit))

    def _u_corner_mm(self, unknowns: Array) -> Array:
        _, by_board, _ = _project(unknowns, self._on_board(unknowns)[0])
        px_per_unit = np.sqrt(np.abs(np.linalg.det(by_board)))
        return np.asarray(self._u_corner(by_board) / px_per_unit * self.mm_scale)

    def _misfit(self, unknowns: Array) -> Array:
        """Residuals (n, 2) in standard uncertainties."""
        seen = (self.corners.photo_px - self.straight.centre_px) / self.straight.radius_px
        projected, by_board, _ = _project(unknowns, self._on_board(unknowns)[0])
        return np.asarray((projected - seen) / self._u_corner(by_board)[:, None])

    def _equations(self, unknowns: Array, weight: Array) -> tuple[Array, Array]:
        """Residuals of corners, then of what is known beforehand, and their derivatives."""
        board, by_turn = self._on_board(unknowns)
        _, by_board, by_camera = _project(unknowns, board)
        J = np.zeros((len(board), 2, len(unknowns)))
        J[:, :, :POSES] = by_camera
        column = POSES + 3 * self.corners.piece
        each = np.arange(len(board))
        J[each, :, column] = by_board[:, :, 0] / self.mm_scale
        J[each, :, column + 1] = by_board[:, :, 1] / self.mm_scale
        J[each, :, column + 2] = np.einsum("nij,nj->ni", by_board, by_turn)
        root = np.sqrt(weight)
        J *= (root / self._u_corner(by_board))[:, None, None]
        residual = self._misfit(unknowns) * root[:, None]
        known = self._known_beforehand()
        return (
            np.concatenate([residual.ravel(), known @ unknowns]),
            np.concatenate([J.reshape(-1, len(unknowns)), known]),
        )

    def _known_beforehand(self) -> Array:
        """Rows (m, unknowns) that should be 0: every piece lies at the board's edge, each next to the one before."""
        size = POSES + 3 * len(self.pieces)
        rows = [np.eye(size)[K1] / self.u_k1]
        for k, piece in enumerate(self.pieces):
            along, across, turn = np.eye(size)[POSES + 3 * k : POSES + 3 * k + 3]
            rows += [across / U_SHIFT_MM, turn / U_TURN]
            before = self.pieces[k - 1] if k and self.pieces[k - 1].side == piece.side else None
            if before is None:
                rows.append(along / (U_SHIFT_MM * np.sqrt(1 + piece.index)))
            else:
                joints = piece.index - before.index
                rows.append((along - np.eye(size)[POSES + 3 * (k - 1)]) / (U_SHIFT_MM * np.sqrt(joints)))
        return np.array(rows)

    def _u_of_board(self, unknowns: Array, normal: Array) -> float:
        """Standard uncertainty of the board's corners, mm: root mean square over both directions."""
        length, width = self.board_mm
        ends = (np.array([(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]) - self.middle_mm) / self.mm_scale
        _, by_board, by_camera = _project(unknowns, ends)
        J = np.zeros((4, 2, len(unknowns)))
        J[:, :, :POSES] = np.linalg.solve(by_board, by_camera)  # as if moved on the board
        covariance = np.linalg.inv(normal)
        variance = np.einsum("nip,pq,niq->ni", J, covariance, J)
        return float(np.sqrt(variance.mean()) * self.mm_scale)


def _matrix(unknowns: Array) -> Array:
    return np.append(unknowns[:H_PARAMETERS], 1.0).reshape(3, 3)


def _project(unknowns: Array, board: Array) -> tuple[Array, Array, Array]:
    """Points (n, 2) in the photo, their derivatives by the board point (n, 2, 2) and by homography and k1 (n, 2, 9)."""
    H, k1 = _matrix(unknowns), unknowns[K1]
    ones = np.ones(len(board))
    homogeneous = np.column_stack([board, ones]) @ H.T
    w = homogeneous[:, 2]
    u = homogeneous[:, :2] / w[:, None]
    r2 = np.square(u).sum(axis=1)
    bend = (1 + k1 * r2)[:, None, None] * np.eye(2) + 2 * k1 * u[:, :, None] * u[:, None, :]
    u_by_board = (H[:2, :2] - u[:, :, None] * H[2, :2]) / w[:, None, None]
    u_by_H = np.zeros((len(board), 2, H_PARAMETERS))
    rows = np.column_stack([board, ones]) / w[:, None]
    u_by_H[:, 0, :3] = u_by_H[:, 1, 3:6] = rows
    u_by_H[:, :, 6:] = -u[:, :, None] * rows[:, None, :2]
    by_camera = np.concatenate([bend @ u_by_H, (u * r2[:, None])[:, :, None]], axis=2)
    return u * (1 + k1 * r2[:, None]), bend @ u_by_board, by_camera
