"""Where do the board and the gray card lie in the photo?

What the finisher gives is taken; what is not given is looked for. Nothing is raised here: what was not found is
None, with the reason, so that a caller can show what was seen.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.background import Background, background_of
from calibration.card import find_card
from calibration.edges import EdgeQuad, refine_quad
from calibration.errors import PlaceError
from calibration.findings import Finding, finding_of
from calibration.outline import find_outline
from calibration.photo import Photo
from calibration.preview import Preview, preview_of
from calibration.quads import side_lengths
from calibration.strip_board import SettledBoard, settle_board
from calibration.strip_findings import strip_findings
from calibration.strip_plane import place_by_strips

STRIPS_HIDDEN = "strips-hidden"  # too few markers: the board is then looked for without them
SQUARE_BOARD = 1.12  # a board less elongated than this is taken as lying the way it is seen
CARD_REACH_SHARE = 0.08  # of the card's shorter side: how far its edge may lie from the first guess
MIN_BACKGROUND = 0.08  # share of the frame; with less there is nothing for the board to stand out from (chosen)
CARD_SUPPORT = 0.3  # share of profiles that must agree before a refined card replaces the first guess


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where things lie in a photo, in photo pixels."""

    board: NDArray[np.float64] | None  # (4, 2): top-left, top-right, bottom-right, bottom-left of the board itself
    card: NDArray[np.float64] | None  # (4, 2), clockwise from anywhere
    located_by: Literal["strips", "corners", "outline"] | None
    strips: SettledBoard | None  # None: no strips, or they were not used
    board_edges: EdgeQuad | None  # how well the outline is supported; None when it was not used
    card_edges: EdgeQuad | None
    turned: bool  # the board stands upright in the photo, and its left end was taken to be at the top
    why_no_board: str
    code_no_board: str  # of the finding that says so
    findings: tuple[Finding, ...]  # of the search itself
    why_no_card: str
    card_rivals: tuple[NDArray[np.float64], ...]  # other patches that might have been the card
    preview: Preview
    background: Background


def locate(
    photo: Photo,
    size_mm: tuple[float, float] | None,
    *,
    corners: ArrayLike | None = None,
    card: ArrayLike | None = None,
) -> Place:
    """Find the board and the card.

    Parameters
    ----------
    photo : Photo
    size_mm : (float, float) or None
        Length (along the grain) and width of the board, mm. None: any four-sided shape will do.
    corners, card : array_like, (4, 2), optional
        Corners that the finisher gave, in pixels; they are used as they are.

    Returns
    -------
    Place
    """
    board_found = None
    findings: tuple[Finding, ...] = ()
    # OpenCV leaves Python's lock while it looks for markers: the rest goes on meanwhile
    with ThreadPoolExecutor(1) as pool:
        search = pool.submit(_by_strips, photo, size_mm) if corners is None and size_mm is not None else None
        preview = preview_of(photo)
        background = background_of(preview)
    if corners is not None:
        board_found = _BoardFound(np.asarray(corners, dtype=np.float64), "corners")
    elif search is not None:
        board_found = search.result()
        if board_found is not None and board_found.code == STRIPS_HIDDEN:
            findings, board_found = board_found.findings, None
    strips = None if board_found is None else board_found.strips
    card_found = _card(photo, preview, background, card, () if strips is None else _papers_px(strips))
    if board_found is None:
        board_found = replace(_by_outline(photo, preview, background, size_mm, card_found.quad), findings=findings)
    return Place(
        board=board_found.quad,
        card=card_found.quad,
        located_by=board_found.located_by,
        strips=board_found.strips,
        board_edges=board_found.edges,
        card_edges=card_found.edges,
        turned=board_found.turned,
        why_no_board=board_found.why_not,
        code_no_board=board_found.code,
        findings=board_found.findings,
        why_no_card="" if card_found.quad is not None else "no calm, neutral, four-sided patch was seen",
        card_rivals=card_found.rivals,
        preview=preview,
        background=background,
    )


def order_corners(
    quad_px: NDArray[np.float64], size_mm: tuple[float, float] | None
) -> tuple[NDArray[np.float64], bool]:
    """Which corner is the board's top-left?

    A board lying across the photo is read as seen, whichever way it is turned by less than 45 degrees. One that
    stands upright is read from the top down: its left end is taken to be at the top of the photo.

    Parameters
    ----------
    quad_px : ndarray, (4, 2)
        Corners clockwise in the picture, starting anywhere.
    size_mm : (float, float) or None
        Length and width of the board, mm.

    Returns
    -------
    corners : ndarray, (4, 2)
        Top-left, top-right, bottom-right, bottom-left of the board.
    turned : bool
        Whether it stands upright.
    """
    first = _side_most_to_the_right(quad_px)
    as_seen = np.roll(quad_px, -first, axis=0)
    if size_mm is None or max(size_mm) < SQUARE_BOARD * min(size_mm):
        return as_seen, False
    sides = side_lengths(as_seen)
    lies_across = (sides[[0, 2]].sum() >= sides[[1, 3]].sum()) == (size_mm[0] >= size_mm[1])
    if lies_across:
        return as_seen, False
    # turned a quarter clockwise: the board's top-left corner is the picture's top-right one
    return np.roll(as_seen, -1, axis=0), True


def _side_most_to_the_right(quad: NDArray[np.float64]) -> int:
    """Index of the side that, followed clockwise, points most to the right: the upper side as seen."""
    directions = np.roll(quad, -1, axis=0) - quad
    return int((directions[:, 0] / np.hypot(*directions.T)).argmax())


@dataclass(frozen=True, slots=True, eq=False)
class _BoardFound:
    quad: NDArray[np.float64] | None
    located_by: Literal["strips", "corners", "outline"] | None = None
    edges: EdgeQuad | None = None
    strips: SettledBoard | None = None
    turned: bool = False
    why_not: str = ""
    code: str = "board-not-found"
    findings: tuple[Finding, ...] = ()


def _by_strips(photo: Photo, size_mm: tuple[float, float]) -> _BoardFound | None:
    """The board between its strips, moved to its visible ends; None when there are no strips."""
    try:
        laid = place_by_strips(photo, *size_mm)
    except PlaceError as refused:
        hidden = refused.code == STRIPS_HIDDEN
        return _BoardFound(
            None, why_not=refused.what, code=refused.code, findings=(finding_of(refused),) if hidden else ()
        )
    if laid is None:
        return None
    settled = settle_board(photo, laid)
    found = strip_findings(settled)
    return _BoardFound(settled.laid.corners_px(), "strips", strips=settled, findings=found)


def _papers_px(strips: SettledBoard) -> tuple[NDArray[np.float64], ...]:
    """Outlines (4, 2) of the strips' paper in the photo: calm and neutral, but no card."""
    return tuple(strips.laid.to_px(outline) for outline in strips.laid.papers_mm())


def _by_outline(
    photo: Photo,
    preview: Preview,
    background: Background,
    size_mm: tuple[float, float] | None,
    card: NDArray[np.float64] | None,
) -> _BoardFound:
    small_card = None if card is None else preview.to_preview(card)
    outline = find_outline(photo, preview, background, size_mm, small_card)
    if outline is not None:
        quad, turned = order_corners(outline.edges.corners_px, size_mm)
        return _BoardFound(quad, "outline", outline.edges, turned=turned)
    surrounded = background.is_background.mean() >= MIN_BACKGROUND
    reason = (
        "nothing four-sided of its proportions stands out from the background"
        if surrounded
        else "no calm background surrounds it"
    )
    return _BoardFound(None, why_not=f"the board was not found: {reason}.")


@dataclass(frozen=True, slots=True, eq=False)
class _CardFound:
    quad: NDArray[np.float64] | None
    edges: EdgeQuad | None
    rivals: tuple[NDArray[np.float64], ...]


def _card(
    photo: Photo,
    preview: Preview,
    background: Background,
    given: ArrayLike | None,
    papers_px: tuple[NDArray[np.float64], ...],
) -> _CardFound:
    if given is not None:
        return _CardFound(np.asarray(given, dtype=np.float64), None, ())
    candidates = find_card(preview, background, [preview.to_preview(paper) for paper in papers_px])
    if not candidates:
        return _CardFound(None, None, ())
    coarse = preview.to_photo(candidates[0].quad)
    reach_px = max(5.0, CARD_REACH_SHARE * float(side_lengths(coarse).min()))
    edges = refine_quad(photo, coarse, reach_px)
    good = edges.support >= CARD_SUPPORT and cv2.isContourConvex(edges.corners_px.astype(np.float32))
    rivals = tuple(preview.to_photo(candidate.quad) for candidate in candidates[1:])
    return _CardFound(edges.corners_px, edges, rivals) if good else _CardFound(coarse, None, rivals)
