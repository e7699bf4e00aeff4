"""Does wood that the job calls dry shine as wet wood does?"""

from collections.abc import Iterator

from analyzer.job import Board
from analyzer.results import Stage
from analyzer.zone_shape import zone_shape
from calibration.findings import Finding, finding
from calibration.flatboard import FlatBoard
from calibration.sheen import Sheen, read_sheen

DULL_STAGES: tuple[Stage, ...] = ("bare", "treated", "stained")  # the others are wet, or have a gloss of their own


def wet_findings(stage: Stage, board: Board, flat: FlatBoard) -> list[Finding]:
    """Find zones that shine although their stage is dry and without a coat.

    Parameters
    ----------
    stage : str
        As the job gives it for this photo.
    board : Board
        Its zones.
    flat : FlatBoard
        The board as the photo shows it.

    Returns
    -------
    list of Finding
        At most one, `wood-wet`, naming all zones that shine.
    """
    if stage not in DULL_STAGES:
        return []
    seen = list(_shining(board, flat))
    return [finding("wood-wet", stage=stage, seen="; ".join(seen))] if seen else []


def _shining(board: Board, flat: FlatBoard) -> Iterator[str]:
    for zone in board.zones:
        window, shape = zone_shape(zone, board, flat.mm_per_px)
        measurable, full_scale = flat.measurable[window] & shape, flat.full_scale[window] & shape
        sheen = read_sheen(flat.XYZ[window], measurable, full_scale, flat.mm_per_px)
        if sheen is not None and (sheen.glints or sheen.is_broad):
            yield f"zone {zone.id} {_words(sheen)}"


def _words(sheen: Sheen) -> str:
    if sheen.glints:
        return f"has {sheen.spots} small highlights ({100 * sheen.spots_per_cm2:.0f} in 100 cm²)"
    return f"has a broad sheen, up to {sheen.broad:.1f} times as bright"
