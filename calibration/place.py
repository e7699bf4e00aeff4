"""Where do the boards and the gray card lie in the photo?

What the finisher gives is taken; what is not given is looked for. Nothing is raised here: what was not found is
None, with the reason, so that a caller can show what was seen.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final, Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.background import Background, background_of
from calibration.board_search import BoardFound, Look, find_boards
from calibration.card import find_card
from calibration.chart_finder import ChartFound, find_chart
from calibration.edges import EdgeQuad, refine_quad
from calibration.errors import CalibrationError
from calibration.findings import Finding
from calibration.known import NAMES, Kind, KnownReference, gray_card
from calibration.photo import Photo
from calibration.preview import Preview, preview_of
from calibration.quads import side_lengths
from calibration.step_card import StepsFound, find_step_card
from calibration.strip_board import SettledBoard
from calibration.strip_plane import StripPlane
from calibration.strip_search import StripSearch, Wanted, search_strips

CARD_REACH_SHARE = 0.08  # of the card's shorter side: how far its edge may lie from the first guess
MIN_CHART_PATCHES = 2  # of a chart's six gray ones that are taken for gray cards
CARD_SUPPORT = 0.3  # share of profiles that must agree before a refined card replaces the first guess
# By kind of reference: code of the finding that it was not seen, and what was not seen
NOT_SEEN: Final[dict[Kind, tuple[str, str]]] = {
    "gray-card": ("card-missing", "no calm, neutral, four-sided patch was seen"),
    "step-card": ("step-card-missing", "no row of calm gray steps, each darker than the last, was seen"),
    "chart-24": ("chart-missing", "no field of 4 by 6 patches of its colours was seen"),
}


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where things lie in a photo, in photo pixels."""

    board: NDArray[np.float64] | None  # (4, 2): top-left, top-right, bottom-right, bottom-left of the board itself
    card: NDArray[np.float64] | None  # (4, 2), of the reference, clockwise from anywhere
    patches: ChartFound | StepsFound | None  # the reference's patches, where it has several
    known: KnownReference  # what was looked for
    located_by: Literal["strips", "corners", "outline"] | None
    strips: SettledBoard | None  # None: no strips, or its place does not come from them
    beside: StripPlane | None  # the strips along it, for the light, wherever its place comes from
    elsewhere: tuple[StripPlane, ...]  # strips along other boards of the photo, the nearest first
    papers_px: tuple[NDArray[np.float64], ...]  # outlines (4, 2) of all strips' paper
    board_edges: EdgeQuad | None  # how well the outline is supported; None when it was not used
    card_edges: EdgeQuad | None
    turned: bool  # the board stands upright in the photo, and its left end was taken to be at the top
    why_no_board: str
    code_no_board: str  # of the finding that says so
    findings: tuple[Finding, ...]  # of the search itself
    why_no_card: str
    code_no_card: str
    card_rivals: tuple[NDArray[np.float64], ...]  # other patches that might have been the card
    preview: Preview
    background: Background


def locate(
    photo: Photo,
    size_mm: tuple[float, float] | None,
    *,
    corners: ArrayLike | None = None,
    card: ArrayLike | None = None,
    known: KnownReference | None = None,
) -> Place:
    """Find one board and the card: `locate_all` for a photo in which no other board is named.

    Parameters
    ----------
    photo : Photo
    size_mm : (float, float) or None
        Length (along the grain) and width of the board, mm. None: any four-sided shape will do.
    corners, card : array_like, (4, 2), optional
        Corners that the finisher gave, in pixels; they are used as they are.
    known : KnownReference, optional
        The reference that lies in the photo. Left out: a gray card.

    Returns
    -------
    Place
    """
    return locate_all(photo, [Wanted(size_mm, corners)], card, known)[0]


def locate_all(
    photo: Photo,
    wanted: Sequence[Wanted],
    card: ArrayLike | None = None,
    known: KnownReference | None = None,
) -> tuple[Place, ...]:
    """Find all boards that a photo is said to show, and the card.

    Parameters
    ----------
    photo : Photo
    wanted : sequence of Wanted
        The boards, in the order in which they are named: where their sizes do not tell them apart, they lie in this
        order in the photo, row by row from the top, each row from the left.
    card : array_like, (4, 2), optional
        The card's corners that the finisher gave, in pixels.
    known : KnownReference, optional
        The reference that lies in the photo. Left out: a gray card.

    Returns
    -------
    tuple of Place
        One for each board, in the same order.

    Raises
    ------
    ValueError
        If several boards are to be looked for and the size of one of them is not known.
    """
    # OpenCV leaves Python's lock while it looks for markers: the rest goes on meanwhile
    with ThreadPoolExecutor(1) as pool:
        search = pool.submit(search_strips, photo, wanted)
        preview = preview_of(photo)
        background = background_of(preview)
    strips = search.result()
    papers_px = _papers_px(strips, wanted)
    known = known or gray_card()
    card_found = _reference(photo, _Seen(preview, background, papers_px), known, card)
    found = find_boards(Look(photo, preview, background, card_found.quad), wanted, strips)
    return tuple(
        Place(
            board=board.quad,
            card=card_found.quad,
            patches=card_found.patches,
            known=known,
            located_by=board.located_by,
            strips=board.strips,
            beside=board.beside,
            elsewhere=_elsewhere(k, found, strips),
            papers_px=papers_px,
            board_edges=board.edges,
            card_edges=card_found.edges,
            turned=board.turned,
            why_no_board=board.why_not,
            code_no_board=board.code,
            findings=board.findings,
            why_no_card=card_found.why_not,
            code_no_card=card_found.code,
            card_rivals=card_found.rivals,
            preview=preview,
            background=background,
        )
        for k, board in enumerate(found)
    )


def _papers_px(strips: StripSearch, wanted: Sequence[Wanted]) -> tuple[NDArray[np.float64], ...]:
    """Outlines (4, 2) of the strips' paper in the photo: calm and neutral, but no card."""
    sizes = [board.size_mm for board in wanted if board.size_mm is not None and board.corners is None]
    laid = [place.laid_for(sizes) for place in strips.places]
    laid += [plane for plane in strips.beside if plane]
    return tuple(plane.to_px(outline) for plane in laid for outline in plane.papers_mm())


def _elsewhere(own: int, found: Sequence[BoardFound], strips: StripSearch) -> tuple[StripPlane, ...]:
    """Strips beside other boards than one's own, the nearest first."""
    quad = found[own].quad
    if quad is None:
        return ()
    planes = [other.beside for k, other in enumerate(found) if k != own and other.beside]
    planes += [place.laid for place in strips.places if all(board.place is not place for board in found)]
    return tuple(sorted(planes, key=lambda plane: float(np.hypot(*(plane.corners_px() - quad).mean(axis=0)))))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    preview: Preview
    background: Background
    papers_px: tuple[NDArray[np.float64], ...]


@dataclass(frozen=True, slots=True, eq=False)
class _CardFound:
    quad: NDArray[np.float64] | None
    edges: EdgeQuad | None = None
    rivals: tuple[NDArray[np.float64], ...] = ()
    patches: ChartFound | StepsFound | None = None
    why_not: str = ""
    code: str = ""  # of the finding that says why not


def _reference(photo: Photo, seen: _Seen, known: KnownReference, given: ArrayLike | None) -> _CardFound:
    if known.kind == "gray-card":
        return _card(photo, seen, given)
    patches: ChartFound | StepsFound | None
    try:
        if known.kind == "chart-24":
            patches = find_chart(photo, seen.preview, given)
        else:
            papers = [seen.preview.to_preview(paper) for paper in seen.papers_px]
            patches = find_step_card(seen.preview, [float(Y) for Y in known.XYZ[:, 1]], given, papers)
    except CalibrationError as refused:
        return _CardFound(None, why_not=refused.what, code=refused.code)
    return _not_seen(known.kind) if patches is None else _CardFound(patches.corners_px, patches=patches)


def _not_seen(kind: Kind) -> _CardFound:
    code, what = NOT_SEEN[kind]
    return _CardFound(None, why_not=f"the {NAMES[kind]} was not found: {what}.", code=code)


def _card(photo: Photo, seen: _Seen, given: ArrayLike | None) -> _CardFound:
    if given is not None:
        return _CardFound(np.asarray(given, dtype=np.float64))
    preview = seen.preview
    candidates = find_card(preview, seen.background, [preview.to_preview(paper) for paper in seen.papers_px])
    if not candidates:
        return _not_seen("gray-card")
    quads = _outside_charts(photo, preview, [preview.to_photo(candidate.quad) for candidate in candidates])
    if not quads:
        what = "a 24-patch colour chart was seen, but no gray card beside it."
        return _CardFound(None, why_not=what, code="card-is-chart")
    coarse = quads[0]
    reach_px = max(5.0, CARD_REACH_SHARE * float(side_lengths(coarse).min()))
    edges = refine_quad(photo, coarse, reach_px)
    good = edges.support >= CARD_SUPPORT and cv2.isContourConvex(edges.corners_px.astype(np.float32))
    rivals = tuple(quads[1:])
    return _CardFound(edges.corners_px, edges, rivals) if good else _CardFound(coarse, None, rivals)


def _outside_charts(photo: Photo, preview: Preview, quads: Sequence[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """What is no gray patch of a colour chart: taken for the card, it would set the level wrong by up to five times.

    A chart shows several such patches: where there is but one, no chart is looked for.
    """
    if len(quads) < MIN_CHART_PATCHES:
        return list(quads)
    try:
        chart = find_chart(photo, preview)
    except CalibrationError:  # a chart in a mirror, whose place is then not told
        return list(quads)
    if chart is None:
        return list(quads)
    around = chart.corners_px.astype(np.float32)
    return [quad for quad in quads if cv2.pointPolygonTest(around, quad.mean(axis=0).tolist(), measureDist=False) < 0]
