"""How much of a zone's blotch was in the wood before it was stained?

A photo of the bare board shows which patches were lighter or darker to begin with. What a stain adds is absorbance on
top of the wood's own, so a bare patch that returns a share less light still returns that share less afterwards; in L*,
which goes with the cube root of the light, the same share is less on a darker ground: a contrast of
(L*stained + 16) / (L*bare + 16) (from the definition of L*, ISO/CIE 11664-4). The stained map is regressed on the bare
one. Its slope, up to that contrast, times the bare blotch is what came through from before; it is taken out as
variance, and never more than was there. Where the slope is steeper, dark patches also drank more, and that the stain
did. A slope below 0 (light and dark turned round) is the stain's too.

The slope that chance alone would give is taken off first. It is read from the same two maps, laid over each other with
one of them shifted far: patches that have nothing to do with each other agree by so much.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.board_alignment import Alignment, Matrix, align
from analyzer.evenness import READING_U95, Evenness
from analyzer.guard_band import Z_975
from analyzer.pooling import MeasuredZone

if TYPE_CHECKING:
    from analyzer.photos import MeasuredBoard

Setting = tuple[str, str, str | None]  # zone "board/zone", stage, light

LEAST_SHARED = 0.5  # share of the zone that both photos must show (chosen)
FAR = 0.25  # of a side: maps shifted by more share no patch (chosen: 20 mm and more on zones of 80 mm)
CONTRAST_U95 = 0.1  # relative doubt of how strongly bare wood shows through: tone curve, a stain that hides (chosen)
MOST_CHANCE = 0.9  # of the squared correlation


@dataclass(frozen=True, slots=True)
class Added:
    """Blotch of a zone in one photo, without what was in the wood before."""

    blotch: float  # L*
    u95: float  # of the part that was taken out


@dataclass(frozen=True, slots=True)
class Before:
    """One zone before it was stained, and what has been added since."""

    blotch: float  # L*, of the bare wood
    blotch_u95: float | None
    added: float | None  # L*; None: too little of the zone is seen in both photos
    added_u95: float | None


def before_staining(boards: Sequence["MeasuredBoard"], zones: Sequence[MeasuredZone]) -> Mapping[Setting, Before]:
    """Compare every zone with itself in the bare photos of its board.

    Parameters
    ----------
    boards : sequence of MeasuredBoard
        All boards in all photos.
    zones : sequence of MeasuredZone
        The same, pooled.

    Returns
    -------
    mapping
        By zone, stage and light. A zone whose board was not photographed bare, or whose blotch is not known in either
        photo, is missing. Bare photos in the same light count, or those in another where there is none.
    """
    compared: dict[Setting, Before] = {}
    matrices: dict[tuple[str, str, str], Matrix] = {}
    for zone in zones:
        bare = _bare_of(zone, zones)
        if zone.stage == "bare" or bare is None or bare.blotch is None or zone.blotch is None:
            continue
        parts = []
        for number, file in enumerate(zone.photos):  # each photo with one bare one: repeats, not all pairs
            pair = (zone.board.id, file, bare.photos[number % len(bare.photos)])
            later, earlier = (_board(boards, board_file, zone.board.id) for board_file in pair[1:])
            if pair not in matrices:
                matrices[pair] = alignment_of(later, earlier).matrix
            parts.append(_added_in(zone.zone.id, later, earlier, matrices[pair]))
        compared[zone.id, zone.stage, zone.light] = _pooled(zone, bare, [part for part in parts if part is not None])
    return compared


def alignment_of(later: "MeasuredBoard", earlier: "MeasuredBoard") -> Alignment:
    """Lay an earlier photo of a board over a later one, both flat, by the grain of its zones."""
    return align(later.Lab[..., 0], earlier.Lab[..., 0], _seen(later), _seen(earlier), later.mm_per_px)


def added_since(later: Evenness, earlier: Evenness, earlier_map: NDArray[np.float32], contrast: float) -> Added | None:
    """Take out of a zone's blotch what was there before.

    Parameters
    ----------
    later, earlier : Evenness
        Of the same zone.
    earlier_map : ndarray of float32, (rows, columns)
        The deviation of the earlier one, laid over the later one's; NaN where not measured.
    contrast : float
        What an earlier deviation of 1 L* is now, if nothing but an even film was added.

    Returns
    -------
    Added or None
        None where the blotch of one is not known, or too little of the zone is seen in both.
    """
    both = np.isfinite(later.deviation) & np.isfinite(earlier_map)
    needed = LEAST_SHARED * np.isfinite(later.deviation).sum()
    if later.blotch is None or earlier.blotch is None or not both.sum() >= max(needed, 1):
        return None
    B2, b2 = later.blotch**2, earlier.blotch**2  # without the noise of the photos, which the maps still hold
    now, before = (np.where(both, one, 0.0) for one in (later.deviation, earlier_map))
    now[both] -= now[both].mean()
    before[both] -= before[both].mean()
    covariance = float((now * before).sum() / both.sum())
    if not (covariance > 0 and B2 > 0 and b2 > 0):
        return Added(later.blotch, 0.0)
    chance = _chance(now, before)
    found = min(covariance**2 / (B2 * b2), 1.0)  # squared correlation
    sure = max(0.0, (found - chance) / (1 - chance))
    through = min(math.sqrt(sure * B2 / b2), contrast)
    added2 = max(0.0, B2 - through**2 * b2)
    u_slope = math.sqrt(chance * (1 - found) * B2 / b2)
    doubt = 2 * Z_975 * through * b2 * u_slope + (CONTRAST_U95 * through) ** 2 * b2
    u95 = math.sqrt(added2 + doubt) - math.sqrt(added2)
    return Added(math.sqrt(added2), u95)


def _bare_of(zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> MeasuredZone | None:
    """The same zone before, in the same light if there is such a photo."""
    bare = [one for one in zones if one.id == zone.id and one.stage == "bare"]
    return min(bare, key=lambda one: one.light != zone.light, default=None)


def _board(boards: Sequence["MeasuredBoard"], file: str, board_id: str) -> "MeasuredBoard":
    return next(board for board in boards if board.entry.file == file and board.board.id == board_id)


def _seen(board: "MeasuredBoard") -> NDArray[np.bool_]:
    seen = np.zeros(board.shape, bool)
    for sight in board.sights.values():
        seen[sight.reading.window] |= sight.reading.measured
    return seen


def _added_in(zone_id: str, later: "MeasuredBoard", earlier: "MeasuredBoard", matrix: Matrix) -> Added | None:
    """One zone in one later photo. Its window is the same in both: it follows from the job file and the scale."""
    now, before = later.sights[zone_id].reading, earlier.sights[zone_id].reading
    corner = np.array([now.window[1].start, now.window[0].start], dtype=np.float64)
    in_window = np.column_stack([matrix[:, :2], matrix @ [*corner, 1.0] - corner])
    rows, columns = now.evenness.deviation.shape
    moved = cv2.warpAffine(
        before.evenness.deviation,
        in_window,
        (columns, rows),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=math.nan,
    )
    contrast = float((now.Lab[0] + 16) / (before.Lab[0] + 16))
    return added_since(now.evenness, before.evenness, np.asarray(moved, dtype=np.float32), contrast)


def _pooled(zone: MeasuredZone, bare: MeasuredZone, parts: Sequence[Added]) -> Before:
    """Mean over photos. The doubt of the blotch passes to what is left of it, in proportion."""
    blotch, blotch_u95 = zone.blotch or 0.0, zone.blotch_u95
    bare_blotch = bare.blotch or 0.0
    if not parts or blotch_u95 is None:
        return Before(bare_blotch, bare.blotch_u95, None, None)
    added = min(float(np.mean([part.blotch for part in parts])), blotch)
    taken_out = float(np.mean([part.u95 for part in parts]))
    share = added / blotch if blotch > 0 else 1.0
    return Before(bare_blotch, bare.blotch_u95, added, math.hypot(share * blotch_u95, taken_out, READING_U95))


def _chance(now: NDArray[np.float64], before: NDArray[np.float64]) -> float:
    """Mean squared correlation of two maps that are shifted far against each other, round and round."""
    product = np.fft.rfft2(now) * np.conj(np.fft.rfft2(before))
    shifted = np.fft.irfft2(product, s=now.shape)
    far = [np.minimum(np.arange(n), n - np.arange(n)) > FAR * n for n in now.shape]
    spread = float((now**2).sum() * (before**2).sum())
    squared = shifted[far[0][:, np.newaxis] | far[1]] ** 2
    return min(float(squared.mean()) / spread, MOST_CHANCE)
