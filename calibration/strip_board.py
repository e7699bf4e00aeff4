"""Where between its strips does the board lie exactly?  Its own ends, where they can be seen.

Strips tell plane and scale to hundredths of a millimetre, but hands lay them only to about 1 mm and 1 degree. The ends
of the board lie free between the strips: a line is fitted to each, in the straightened plane, and the board is
shifted and turned (never stretched: the scale is the strips') so that its left end begins where its wood does.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.edges import PROFILES, STEP_PX, line_in_profiles, profiles_at
from calibration.photo import Photo
from calibration.plane import Plane
from calibration.strip_plane import StripPlane
from calibration.strips import PITCH_MM, Side

Array = NDArray[np.float64]

COVERED_MM = 8.0  # beside either strip, where its paper may hide the end of the board
LIKELY_MM, REACH_MM = 4.5, 9.0  # of an end from where the strips put it: likely, and at most looked for (chosen)
MIN_SUPPORT = 0.6  # share of profiles that must agree with an end's line
MAX_TURN = np.radians(1.8)  # of an end against the strips
# Between both ends, more than the board's length: something is wrong. If one of them has less than this share of it,
# the other is no end of the board.
MAX_LENGTH_ERROR_MM, LEAST_SHARE = 4.0, 0.2
# An edge beside a strip: compared are the means over so much on either side of it, and so far from the strip's own cut
# edge it must lie to be told from that; the step must be so large, against their mean, over so many profiles. Chosen:
# the print on the strips makes steps of up to 0.14.
STEP_MM, CLEAR_MM, MIN_STEP, MIN_ROWS = 0.6, 0.9, 0.2, 18
ALONG_STEP_MM = 0.1  # between samples across an edge
MAX_WIDTH_ERROR_MM = 2.0  # between both edges, more than the board's width: they are not believed
U_END_MM, U_LONG_EDGE_MM = 0.15, 0.3  # of an edge that is seen: wood's edges are not straight, nor sharp. Chosen.
MAX_UNSQUARE = np.radians(0.6)  # between both ends; more, and one of them is something else, or sawn askew


@dataclass(frozen=True, slots=True)
class End:
    """A visible end of the board: x = at_mm + slope * (y - half the width), board mm as the strips have it."""

    at_mm: float  # from where it should be: 0, or the board's length
    slope: float
    scatter_mm: float
    support: float  # share of profiles that agree


@dataclass(frozen=True, slots=True, eq=False)
class SettledBoard:
    """The board at its own ends."""

    laid: StripPlane
    left: End | None  # None: that end was not seen clearly
    right: End | None
    # Distance between the ends less the board's length; None: one end was not seen. More than a saw leaves: the strips
    # lie lower than the board's face, or were printed at another scale, or something else was taken for an end.
    length_error_mm: float | None
    edges_seen: tuple[Side, ...]  # long edges that show beside their strips


def settle_board(photo: Photo, laid: StripPlane) -> SettledBoard:
    """Shift and turn a board to its visible ends.

    Zones are measured from the left end, so that is where the board begins; where only the right end is seen, it ends
    there. Across its width it is shifted to a long edge that shows in a gap beside its strip; where the strips lie
    against the board, or on it, it stays midway between them.

    Parameters
    ----------
    photo : Photo
    laid : StripPlane
        The board as the strips have it.

    Returns
    -------
    SettledBoard
        Where no end is seen, the board stays.
    """
    left, right = (_end(photo, laid, from_left=from_left) for from_left in (True, False))
    length_error = right.at_mm - left.at_mm if left and right else None
    if left and right and _one_is_false(left, right):
        nearer_left = abs(left.at_mm) < abs(right.at_mm)
        left, right = (left, None) if nearer_left else (None, right)
    ends = [end for end in (left, right) if end]
    if not ends:  # without its direction the long edges cannot be told from the grain
        return SettledBoard(laid, None, None, None, ())
    fits = length_error is None or abs(length_error) <= MAX_LENGTH_ERROR_MM
    # A board that is not as long as the strips measure it is halved: no zone is then off by more than half of that.
    begins_mm = ends[0].at_mm if fits else sum(end.at_mm for end in ends) / len(ends)
    turned = _moved(laid, begins_mm, 0.0, _turn(ends))
    edges = _long_edges(photo, turned)
    shift = sum(edges.values()) / max(1, len(edges))
    u_across = U_LONG_EDGE_MM if edges else laid.u_mm
    settled = replace(_moved(turned, 0.0, shift, 0.0), u_mm=float(np.hypot(U_END_MM, u_across) / np.sqrt(2)))
    return SettledBoard(settled, left, right, length_error, tuple(edges))


def _one_is_false(left: End, right: End) -> bool:
    """Whether one of two ends is something else: a shadow, a card beside the board.

    Where strips lie lower than the board's face, or were printed at another scale, both ends are off, each its own way.
    """
    error = right.at_mm - left.at_mm
    shares = -left.at_mm / error, right.at_mm / error
    return abs(error) > MAX_LENGTH_ERROR_MM and min(shares) < LEAST_SHARE


def _turn(ends: list[End]) -> float:
    """How far the board is turned: the ends' mean, or the straighter one where they cannot both be square."""
    slopes = [end.slope for end in ends]
    if max(slopes) - min(slopes) > MAX_UNSQUARE:
        return -min(slopes, key=abs)
    return -sum(slopes) / len(slopes)


def _end(photo: Photo, laid: StripPlane, *, from_left: bool) -> End | None:
    """Find an end by profiles along the board, from outside to inside."""
    length, width = laid.plane.length_mm, laid.plane.width_mm
    x_end, inwards = (0.0, 1.0) if from_left else (length, -1.0)
    covered = min(COVERED_MM, width / 5)
    y = np.linspace(covered, width - covered, PROFILES)
    px_per_mm = _px_per_mm(laid, x_end)
    reach_px = REACH_MM * px_per_mm
    offsets_px = np.arange(-reach_px, reach_px + STEP_PX / 2, STEP_PX)
    x = x_end + inwards * offsets_px / px_per_mm
    xy = laid.to_px(np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1))
    if not _inside(photo, xy[:, len(x) // 2]):
        return None
    line = line_in_profiles(profiles_at(photo, xy), (y - width / 2) * px_per_mm, offsets_px, LIKELY_MM * px_per_mm)
    if line is None:
        return None
    slope, intercept, scatter, agreeing = line
    if agreeing < MIN_SUPPORT * PROFILES or abs(slope) > MAX_TURN:
        return None
    return End(inwards * intercept / px_per_mm, inwards * slope, scatter / px_per_mm, agreeing / PROFILES)


def _px_per_mm(laid: StripPlane, x_mm: float) -> float:
    """Photo pixels a millimetre along the board, at one of its ends."""
    middle = laid.plane.width_mm / 2
    before, after = laid.to_px([(x_mm - 1, middle), (x_mm + 1, middle)])
    return float(np.hypot(*(after - before)) / 2)


def _inside(photo: Photo, xy: Array) -> bool:
    """Whether all points (n, 2) of an edge lie in the photo; what is beside it need not."""
    rows, columns = photo.codes.shape[:2]
    return bool((xy >= 0).all() and (xy <= (columns - 1, rows - 1)).all())


def _long_edges(photo: Photo, laid: StripPlane) -> dict[Side, float]:
    """How far, in y, the long edges lie from where they are thought to be, where they show."""
    found = {side: at for side in Side if (at := _long_edge(photo, laid, side)) is not None}
    if len(found) == 2 and abs(found[Side.BOTTOM] - found[Side.TOP]) > MAX_WIDTH_ERROR_MM:
        return {}
    return found


def _long_edge(photo: Photo, laid: StripPlane, side: Side) -> float | None:
    """Find a long edge beside its strip's cut edge, parallel to the board."""
    length, width = laid.plane.length_mm, laid.plane.width_mm
    x = np.linspace(COVERED_MM, length - COVERED_MM, PROFILES)
    offsets = np.arange(-REACH_MM, REACH_MM + ALONG_STEP_MM / 2, ALONG_STEP_MM)  # y from the edge
    y = (0.0 if side is Side.TOP else width) + offsets
    xy = laid.to_px(np.stack(np.broadcast_arrays(x[:, None], y[None, :]), axis=-1))
    if not _inside(photo, xy[:, len(y) // 2]):
        return None
    steps = _relative_steps(profiles_at(photo, xy), round(STEP_MM / ALONG_STEP_MM))
    cut = _cut_edge_mm(laid, side, x)  # y of the paper's edge at each profile
    from_paper = side.away * (cut[:, None] - y[None, :])  # positive: not under the paper, if it lies on the board
    candidates = [_strongest(steps, offsets, shown) for shown in (from_paper > CLEAR_MM, from_paper < -CLEAR_MM)]
    strength, at = max(candidates)
    return at if strength >= MIN_STEP else None


def _relative_steps(profiles: NDArray[np.float32], samples: int) -> NDArray[np.float32]:
    """Difference (profiles, samples, 3) between the means after and before each sample, over their mean."""
    total = np.cumsum(np.pad(profiles, ((0, 0), (samples + 1, samples), (0, 0)), mode="edge"), axis=1, dtype=np.float64)
    before = total[:, samples : -samples - 1] - total[:, : -2 * samples - 1]
    after = total[:, 2 * samples : -1] - total[:, samples : -samples - 1]
    return np.asarray(2 * (after - before) / (after + before + 1e-4), dtype=np.float32)


def _cut_edge_mm(laid: StripPlane, side: Side, x: Array) -> Array:
    """Where a strip's cut edge crosses each x, y in board mm; infinitely far out where the strip is missing."""
    sections = [section for section in laid.sections if section.side is side]
    if not sections:
        return np.full_like(x, side.away * np.inf)
    middles = np.array([np.mean(section.cells) if section.cells else np.inf for section in sections])
    nearest = np.abs((x[:, None] / PITCH_MM - 0.5) - middles).argmin(axis=1)
    start = np.array([section.to_board[:2, 2] for section in sections])[nearest]
    along = np.array([section.to_board[:2, 0] for section in sections])[nearest]
    return np.asarray(start[:, 1] + (x - start[:, 0]) * along[:, 1] / along[:, 0])


def _strongest(steps: NDArray[np.float32], offsets: Array, shown: NDArray[np.bool_]) -> tuple[float, float]:
    """Size of the strongest common step, and its offset, over the profiles in which it shows."""
    rows = shown.sum(axis=0)
    mean = np.where(shown[..., None], steps, 0).sum(axis=0) / np.maximum(rows, 1)[:, None]
    strength = np.where(rows >= MIN_ROWS, np.sqrt(np.square(mean).mean(axis=-1)), np.inf)
    # A peak of its own: the flank of the paper's edge only falls away from it.
    peaks = np.flatnonzero((strength[2:-2] > strength[:-4]) & (strength[2:-2] > strength[4:])) + 2
    peaks = peaks[np.isfinite(strength[peaks])]
    if not len(peaks):
        return 0.0, 0.0
    best = int(peaks[strength[peaks].argmax()])
    return float(strength[best]), float(offsets[best])


def _moved(laid: StripPlane, x_mm: float, y_mm: float, turn: float) -> StripPlane:
    """The board shifted, and turned about its middle."""
    length, width = laid.plane.length_mm, laid.plane.width_mm
    c, s = np.cos(turn), np.sin(turn)
    new_to_old = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    at = np.array([x_mm + c * length / 2, y_mm + width / 2])  # of its middle: its left end comes to x_mm
    new_to_old[:2, 2] = at - new_to_old[:2, :2] @ (length / 2, width / 2)
    old_to_new = np.linalg.inv(new_to_old)
    return replace(
        laid,
        plane=Plane(laid.plane.mm_to_px @ new_to_old, length, width),
        sections=tuple(replace(section, to_board=old_to_new @ section.to_board) for section in laid.sections),
    )
