"""What does a photo show of the parts in it?  Parts of any form: by corners, by a polygon, by strips, by their outline.

The scale comes from edge strips or from a size that is given; else it is not known. Colour does not need it. Evenness
does, and is then left out: the same clouds look coarse on a small part and fine on a large one.
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.approval.wanted import PartWanted, PhotoWanted
from analyzer.correction_choice import Available, choose
from analyzer.evenness import Evenness
from analyzer.job import DEFAULT_MARGIN_MM, Board, Job, Zone
from analyzer.photos import finding_results, known_reference
from analyzer.pooling import MeasuredZone
from analyzer.results import FindingResult, Stage
from analyzer.uncertainty import Sight
from analyzer.zones import read_zone
from calibration.board_candidates import order_corners
from calibration.errors import CalibrationError, PhotoError, PlaceError
from calibration.findings import Finding, finding, finding_of
from calibration.flatboard import USUAL_LENGTH_MM, FlatBoard, flat_board
from calibration.photo import Photo, open_photo
from calibration.place import Place, locate_all
from calibration.quads import side_lengths
from calibration.strip_finder import find_strips
from calibration.strip_groups import StripPlace, strip_places, strips_in
from calibration.strip_search import Wanted

Floats = NDArray[np.float64]
Scale = Literal["edge strips", "size given"]
Located = Literal["strips", "corners", "outline", "polygon"]

MIN_SIDE_PX: Final = 300  # of a part whose scale is not known; its margin and blocks would be a few pixels (chosen)
STRIPS_APART_MM: Final = 150.0  # a first guess; how far they lie apart is measured
# Findings that speak of millimetres: without a scale they would be guesses.
NEED_SCALE: Final = frozenset(
    {"too-few-pixels", "blurred", "outline-rough", "corners-misfit", "board-turned", "length-misfit"}
)


@dataclass(frozen=True, slots=True, eq=False)
class PartSeen:
    """One part as one photo shows it; `zone` is None when it could not be measured, and a finding says why."""

    wanted: PartWanted
    zone: MeasuredZone | None
    scale: Scale | None
    located_by: Located | None
    outline_px: Floats | None  # (n, 2), where it was taken to lie
    findings: tuple[FindingResult, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PhotoSeen:
    """One photo with all its parts."""

    wanted: PhotoWanted
    sha256: str | None  # None: it could not be opened
    taken: str | None  # ISO 8601
    camera: str | None
    parts: tuple[PartSeen, ...]
    approved: MeasuredZone | None  # the approved zone itself, where its board lies in the photo
    small: NDArray[np.uint8] | None  # (rows, columns, 3), the photo for the eye
    shrink: int  # photo pixels per pixel of `small`
    card_px: Floats | None
    findings: tuple[FindingResult, ...]  # of the photo as a whole

    @property
    def is_usable(self) -> bool:
        """Whether every part in it could be measured."""
        return all(part.zone is not None for part in self.parts)


def see_parts(job: Job, wanted: PhotoWanted, available: Available, approved: str | None) -> PhotoSeen:
    """Measure the parts of one photo.

    Parameters
    ----------
    job : Job
        Says what the reference is, and how large the approved board.
    wanted : PhotoWanted
    available : Available
        Corrections for photos with a gray card.
    approved : str or None
        "board/zone" of the approved zone, looked for where `wanted.board` says that its board lies in the photo.

    Returns
    -------
    PhotoSeen
        What cannot be measured carries its finding; nothing is raised for it.
    """
    try:
        photo = open_photo(wanted.path)
        flat = open_photo(wanted.flat) if wanted.flat else None
    except PhotoError as refused:
        found = _told([finding_of(refused)])
        parts = tuple(PartSeen(part, None, None, None, None, found) for part in wanted.parts)
        return PhotoSeen(wanted, None, None, None, parts, None, None, 1, None, found)
    faces = [_face(photo, part) for part in wanted.parts]
    board = _board_in(job, wanted, approved)
    looked_for = [Wanted(face.size_mm, face.corners, face.part.id) for face in faces]
    if board is not None:
        looked_for.append(Wanted((board[0].length_mm, board[0].width_mm), wanted.board_corners, board[0].id))
    unclear = _unclear(photo, faces)
    if unclear is not None:
        places: tuple[Place, ...] = ()
        parts = tuple(PartSeen(part, None, None, None, None, _told([unclear])) for part in wanted.parts)
        return PhotoSeen(
            wanted, photo.sha256, photo.exif.taken, photo.exif.camera, parts, None, None, 1, None, _told([unclear])
        )
    places = locate_all(photo, looked_for, wanted.card, known_reference(job))
    look = _Look(job, photo, flat, wanted, available)
    parts = tuple(_part(look, face, place) for face, place in zip(faces, places, strict=False))
    beside = None if board is None else _approved_zone(look, places[-1], *board)
    preview = places[0].preview
    return PhotoSeen(
        wanted=wanted,
        sha256=photo.sha256,
        taken=photo.exif.taken,
        camera=photo.exif.camera,
        parts=parts,
        approved=beside if isinstance(beside, MeasuredZone) else None,
        small=preview.codes,
        shrink=preview.shrink,
        card_px=places[0].card,
        findings=(beside,) if isinstance(beside, FindingResult) else (),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Face:
    """A rectangle in the photo that holds the part."""

    part: PartWanted
    size_mm: tuple[float, float] | None  # None: the scale is not known
    corners: Floats | None  # (4, 2); None: to be looked for
    scale: Scale | None


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    job: Job
    photo: Photo
    flat: Photo | None
    wanted: PhotoWanted
    available: Available


def _face(photo: Photo, part: PartWanted) -> _Face:
    """Where a part lies as far as it is given, and how large it is as far as that is known."""
    given: Scale = "size given"
    size_mm = part.size_mm
    if part.corners is None and not part.polygon:
        return _Face(part, size_mm, None, given if size_mm else None)
    strips = None if size_mm else _strips(photo)
    points = np.array(part.polygon or part.corners, dtype=np.float64)
    corners = _around(points, strips, size_mm) if part.polygon else points
    if strips is None:
        return _Face(part, size_mm, corners, given if size_mm else None)
    sides = side_lengths(strips.laid.to_mm(corners))
    return _Face(part, (float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())), corners, "edge strips")


def _strips(photo: Photo) -> StripPlace | None:
    """The edge strips of a photo as a plane in mm, however far apart they lie."""
    sightings = find_strips(photo)
    if sightings is None or sightings.is_mirrored:
        return None
    places = strip_places(sightings, strips_in(sightings), [STRIPS_APART_MM])
    return max(places, key=lambda place: len(place.laid.used), default=None)


def _around(points_px: Floats, strips: StripPlace | None, size_mm: tuple[float, float] | None) -> Floats:
    """The rectangle (4, 2) around a polygon, in pixels: square to strips where there are some, else the smallest."""
    if strips is not None:
        mm = strips.laid.to_mm(points_px)
        (left, top), (right, bottom) = mm.min(axis=0), mm.max(axis=0)
        return strips.laid.to_px(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    quad = cv2.boxPoints(cv2.minAreaRect(points_px.astype(np.float32))).astype(np.float64)
    if cv2.contourArea(quad.astype(np.float32), oriented=True) < 0:
        quad = quad[::-1].copy()
    # grain runs along the longer side unless the size says otherwise
    sides = side_lengths(quad)
    return order_corners(quad, size_mm or (float(sides.max()), float(sides.min())))[0]


def _board_in(job: Job, wanted: PhotoWanted, approved: str | None) -> tuple[Board, Zone] | None:
    if wanted.board is None or approved is None or approved.partition("/")[0] != wanted.board:
        return None
    return job.zone(approved)


def _unclear(photo: Photo, faces: list[_Face]) -> Finding | None:
    """Several parts can be told apart only by their sizes."""
    looked_for = [face for face in faces if face.corners is None]
    if len(looked_for) < 2 or all(face.size_mm for face in looked_for):
        return None
    error = PlaceError(
        f"{len(looked_for)} parts are to be looked for, and not all of their sizes are known.",
        photo=photo.name,
        remedy="Give the size, the corners or the polygon of each.",
        code="board-ambiguous",
    )
    return finding_of(error)


def _part(look: _Look, face: _Face, place: Place) -> PartSeen:
    part, scale = face.part, face.scale
    try:
        size_mm = face.size_mm or _without_scale(place, look.photo)
        flat, none_fits = _flattened(look, place, size_mm)
    except CalibrationError as refused:
        found = _told([*look.photo.findings, finding_of(refused)])
        return PartSeen(part, None, scale, place.located_by, place.board, found)
    if flat.located_by == "strips":
        scale = "edge strips"
    findings = [one for one in (*flat.findings, *none_fits) if scale or one.code not in NEED_SCALE]
    if scale is None:
        findings.append(finding("scale-unknown"))
    board, zone, outline_px = _as_board(part, flat)
    reading = read_zone(flat, board, zone)
    located: Located = "polygon" if part.polygon else flat.located_by
    if reading is None:
        return PartSeen(part, None, scale, located, outline_px, _told([*findings, finding("nothing-measured")]))
    if scale is None:
        nothing = Evenness(None, None, None, None, (), np.zeros((0, 0), np.float32))
        reading = replace(reading, evenness=nothing, appearance=None)
    sight = Sight(
        reading=reading,
        photo=look.photo.sha256,
        board=board.id,
        camera=look.photo.exif.camera,
        light_name=look.wanted.light,
        light=flat.light,
        card_px=flat.card_px.mean(axis=0),
        correction=flat.correction,
    )
    measured = MeasuredZone(board, zone, _stage(look.wanted), look.wanted.light, (sight,))
    return PartSeen(part, measured, scale, located, outline_px, _told(findings))


def _without_scale(place: Place, photo: Photo) -> tuple[float, float]:
    """A size of the right proportion: what needs no scale is the same at any, and nothing else is measured.

    How far the light may differ between part and card is reckoned as for a part so long, where no strips tell it.
    """
    if place.board is None:
        return USUAL_LENGTH_MM, USUAL_LENGTH_MM
    sides = side_lengths(place.board)
    across, down = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    if max(across, down) < MIN_SIDE_PX:
        raise PlaceError(
            f"the part is only {max(across, down):.0f} pixels long in the photo (at least {MIN_SIDE_PX} needed).",
            photo=photo.name,
            remedy="Go nearer, or use the original photo.",
            code="far-too-few-pixels",
        )
    scale = USUAL_LENGTH_MM / max(across, down)
    return across * scale, down * scale


def _flattened(look: _Look, place: Place, size_mm: tuple[float, float]) -> tuple[FlatBoard, tuple[Finding, ...]]:
    stored, none_fits = choose(look.available, look.photo, look.wanted.light)
    return flat_board(look.photo, place, size_mm, flat=look.flat, stored=stored), none_fits


def _as_board(part: PartWanted, flat: FlatBoard) -> tuple[Board, Zone, Floats]:
    """The part as a board with one zone, and its outline in the photo."""
    size = flat.plane.length_mm, flat.plane.width_mm
    polygon: tuple[tuple[float, float], ...] = ()
    outline = flat.plane.corners_px()
    if part.polygon:
        outline = np.array(part.polygon, dtype=np.float64)
        polygon = tuple((float(x), float(y)) for x, y in flat.plane.to_mm(outline))
    zone = Zone("face", "production", (0.0, size[0]), (0.0, size[1]), DEFAULT_MARGIN_MM, None, {}, polygon)
    species = part.species or "not said"
    return Board(f"part {part.id}", species, *size, (zone,)), zone, outline


def _approved_zone(look: _Look, place: Place, board: Board, zone: Zone) -> MeasuredZone | FindingResult:
    """The approved zone in this very photo; or why not."""
    try:
        flat, _ = _flattened(look, place, (board.length_mm, board.width_mm))
    except CalibrationError as refused:
        return _told([finding_of(refused)])[0]
    reading = read_zone(flat, board, zone)
    if reading is None:
        return _told([finding("zone-covered", percent=100.0, zone=zone.id)])[0]
    sight = Sight(
        reading,
        look.photo.sha256,
        board.id,
        look.photo.exif.camera,
        look.wanted.light,
        flat.light,
        flat.card_px.mean(axis=0),
        flat.correction,
    )
    return MeasuredZone(board, zone, _stage(look.wanted), look.wanted.light, (sight,))


def _stage(wanted: PhotoWanted) -> Stage:
    return wanted.stage or "topcoated"


def _told(findings: list[Finding]) -> tuple[FindingResult, ...]:
    """Findings in words; what is to be given of a part is given in verify.toml."""
    here = [replace(one, remedy=one.remedy.replace("in job.toml", "in verify.toml")) for one in dict.fromkeys(findings)]
    return finding_results(here)
