"""Where does each of the boards lie that a photo is said to show?

What the finisher gives is taken. Then places between edge strips are weighed, then, for boards that have no strips, the
outlines of what else stands out from the background. Which place is which board's, size decides: the strips' distance
and length, the outline's sides in the plane of the strips or of the other boards. Where sizes leave it open, the boards
are taken to lie in the order in which they are named.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.background import Background
from calibration.board_assignment import Assignment
from calibration.board_candidates import Candidate, known_planes, order_corners, weighed
from calibration.edges import EdgeQuad
from calibration.errors import PlaceError
from calibration.findings import Finding, finding, finding_of
from calibration.outline import Outline, find_outline, find_outlines
from calibration.photo import Photo
from calibration.preview import Preview
from calibration.strip_board import SettledBoard, settle_board
from calibration.strip_findings import strip_findings
from calibration.strip_groups import StripPlace
from calibration.strip_plane import StripPlane, board_between, board_from_strips
from calibration.strip_search import StripSearch, Wanted

Array = NDArray[np.float64]
Size = tuple[float, float]

STRIPS_HIDDEN = "strips-hidden"  # too few markers: the board is then looked for without them
MIN_BACKGROUND = 0.08  # share of the frame; with less there is nothing for the board to stand out from (chosen)


@dataclass(frozen=True, slots=True, eq=False)
class BoardFound:
    """Where a board lies, or why that is not known."""

    quad: Array | None  # (4, 2), photo pixels, in the board's own order
    located_by: Literal["strips", "corners", "outline"] | None = None
    edges: EdgeQuad | None = None
    strips: SettledBoard | None = None
    beside: StripPlane | None = None  # the strips along it, whether they tell its place or only its light
    place: StripPlace | None = None  # of those between strips, the one that it took
    turned: bool = False
    why_not: str = ""
    code: str = "board-not-found"
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """A photo and what is seen of it at a glance."""

    photo: Photo
    preview: Preview
    background: Background
    card: Array | None  # (4, 2), photo pixels


def find_boards(look: Look, wanted: Sequence[Wanted], strips: StripSearch) -> tuple[BoardFound, ...]:
    """Find every board of a photo.

    Parameters
    ----------
    look : Look
    wanted : sequence of Wanted
        In the order in which the job file names them.
    strips : StripSearch

    Raises
    ------
    ValueError
        If several boards are to be looked for and the size of one of them is not known.
    """
    found = {
        k: BoardFound(np.asarray(board.corners, dtype=np.float64), "corners", beside=strips.beside[k])
        for k, board in enumerate(wanted)
        if board.corners is not None
    }
    unknown = [k for k in range(len(wanted)) if k not in found]
    if len(unknown) == 1:
        found[unknown[0]] = _one_board(look, wanted, unknown[0], strips)
    elif unknown:
        if any(wanted[k].size_mm is None for k in unknown):
            raise ValueError("find_boards: where several boards are looked for, the size of each must be known.")
        found |= _several_boards(look, wanted, unknown, strips)
    return tuple(found[k] for k in range(len(wanted)))


def _one_board(look: Look, wanted: Sequence[Wanted], k: int, strips: StripSearch) -> BoardFound:
    """The one board whose corners are not given: by its strips, else by its outline."""
    size_mm = wanted[k].size_mm
    findings: tuple[Finding, ...] = ()
    if strips.sightings is not None and size_mm is not None:
        decided, candidates = weighed(_between_strips(strips), [size_mm], ())
        if decided.place[0] is not None:
            place = candidates[decided.place[0]]
            return _found(look, strips, place, size_mm, _doubts(decided, 0, candidates, ("",)))
        if len(wanted) == 1 or strips.sightings.is_mirrored:
            try:
                return _settled(look.photo, board_from_strips(strips.sightings, *size_mm), ())
            except PlaceError as refused:
                if refused.code != STRIPS_HIDDEN:
                    return BoardFound(None, why_not=refused.what, code=refused.code)
                findings = (finding_of(refused),)
    if len(wanted) == 1:
        card = None if look.card is None else look.preview.to_preview(look.card)
        outline = find_outline(look.photo, look.preview, look.background, size_mm, card)
        return replace(_by_outline(look, outline, size_mm), findings=findings)
    return _several_boards(look, wanted, [k], strips)[k]


@dataclass(frozen=True, slots=True)
class _Doubts:
    """What the sizes leave open about one board."""

    unsure: str  # why it cannot be told at all
    by_order: str  # the boards that only their order tells apart
    unnamed: int  # places between strips that nobody named a board for


def _doubts(decided: Assignment, board: int, candidates: Sequence[Candidate], names: Sequence[str]) -> _Doubts:
    found = sum(place is not None for place in decided.place)
    few = f"only {found} of {len(names)} boards were found"
    many = f"{len(candidates)} places could be those of boards, and {len(names)} boards were named"
    alike = [name for name, by_order in zip(names, decided.by_order, strict=True) if by_order]
    left = [candidate.by for at, candidate in enumerate(candidates) if at not in decided.place]
    return _Doubts(
        unsure=(few if found < len(names) else many) if decided.unsure[board] else "",
        by_order=", ".join(alike) if decided.by_order[board] else "",
        unnamed=sum(isinstance(by, StripPlace) and by.width_mm is not None for by in left),
    )


def _by_strips(photo: Photo, strips: StripSearch, place: StripPlace, size_mm: Size, doubts: _Doubts) -> BoardFound:
    """The board between its strips, moved to its visible ends."""
    if strips.sightings is None:
        raise ValueError("_by_strips: a place by strips without sightings")
    if doubts.unsure:
        return _unsure(doubts.unsure)
    try:
        laid = board_between(strips.sightings, place.strips, *size_mm)
    except PlaceError as refused:
        return BoardFound(None, why_not=refused.what, code=refused.code)
    others = (finding("strips-of-others", count=doubts.unnamed),) if doubts.unnamed else ()
    return _settled(photo, laid, (*others, *_order_finding(doubts)))


def _settled(photo: Photo, laid: StripPlane, findings: tuple[Finding, ...]) -> BoardFound:
    settled = settle_board(photo, laid)
    found = (*findings, *strip_findings(settled))
    return BoardFound(settled.laid.corners_px(), "strips", strips=settled, beside=settled.laid, findings=found)


def _unsure(why: str) -> BoardFound:
    what = f"more than one place in the photo could be this board's: {why}."
    return BoardFound(None, why_not=what, code="board-ambiguous")


def _order_finding(doubts: _Doubts) -> tuple[Finding, ...]:
    return (finding("boards-by-order", boards=doubts.by_order),) if doubts.by_order else ()


def _by_outline(look: Look, outline: Outline | None, size_mm: Size | None) -> BoardFound:
    if outline is not None:
        quad, turned = order_corners(outline.edges.corners_px, size_mm)
        return BoardFound(quad, "outline", outline.edges, turned=turned)
    surrounded = look.background.is_background.mean() >= MIN_BACKGROUND
    reason = (
        "nothing four-sided of its proportions stands out from the background"
        if surrounded
        else "no calm background surrounds it"
    )
    return BoardFound(None, why_not=f"the board was not found: {reason}.")


def _several_boards(
    look: Look, wanted: Sequence[Wanted], unknown: Sequence[int], strips: StripSearch
) -> dict[int, BoardFound]:
    """All boards whose corners are not given."""
    if strips.sightings is not None and strips.sightings.is_mirrored:
        mirrored = _one_board(look, [wanted[unknown[0]]], 0, strips)
        return dict.fromkeys(unknown, mirrored)
    sizes = [size for k in unknown if (size := wanted[k].size_mm) is not None]
    names = [wanted[k].name or str(k + 1) for k in unknown]
    by_strips = _between_strips(strips)
    decided, candidates = weighed(by_strips, sizes, ())
    if None in decided.place:
        used = [candidates[place] for place in decided.place if place is not None]
        outlines = _outlines(look, wanted, sizes, strips, used)
        known = known_planes(wanted, strips)
        decided, candidates = weighed([*by_strips, *outlines], sizes, known)
    found = {}
    for at, (k, size_mm) in enumerate(zip(unknown, sizes, strict=True)):
        place = decided.place[at]
        doubts = _doubts(decided, at, candidates, names)
        found[k] = _found(look, strips, None if place is None else candidates[place], size_mm, doubts)
    return found


def _between_strips(strips: StripSearch) -> list[Candidate]:
    return [Candidate(place.quad_px, place) for place in strips.places]


def _found(look: Look, strips: StripSearch, candidate: Candidate | None, size_mm: Size, doubts: _Doubts) -> BoardFound:
    """What one candidate makes of a board."""
    if candidate is None:
        if doubts.unnamed:
            return _strips_apart(strips.places, size_mm)
        return _by_outline(look, None, size_mm)
    if isinstance(candidate.by, StripPlace):
        return replace(_by_strips(look.photo, strips, candidate.by, size_mm, doubts), place=candidate.by)
    if doubts.unsure:
        return _unsure(doubts.unsure)
    return replace(_by_outline(look, candidate.by, size_mm), findings=_order_finding(doubts))


def _strips_apart(places: Sequence[StripPlace], size_mm: Size) -> BoardFound:
    apart = ", ".join(f"{place.width_mm:.0f}" for place in places if place.width_mm is not None)
    what = f"no edge strips lie along such a board: they lie {apart} mm apart; the board is {size_mm[1]:.0f} mm wide."
    return BoardFound(None, why_not=what, code="strips-apart")


def _outlines(
    look: Look, wanted: Sequence[Wanted], sizes: Sequence[Size], strips: StripSearch, used: Sequence[Candidate]
) -> list[Candidate]:
    """What else stands out from the background, once strips, boards between strips and boards given are left out."""
    laid = [*(place.laid for place in strips.places), *(plane for plane in strips.beside if plane)]
    known = [plane.to_px(paper) for plane in laid for paper in plane.papers_mm()]
    known += [candidate.quad for candidate in used]
    known += [np.asarray(board.corners, dtype=np.float64) for board in wanted if board.corners is not None]
    preview = look.preview
    card = None if look.card is None else preview.to_preview(look.card)
    in_preview = [preview.to_preview(quad) for quad in known]
    outlines = find_outlines(look.photo, preview, look.background, sizes, card, in_preview)
    return [Candidate(outline.edges.corners_px, outline) for outline in outlines]
