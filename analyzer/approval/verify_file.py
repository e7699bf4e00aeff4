"""Which parts lie in which photos?  `verify.toml`, and the flags that say the same in the simple case.

    format = 1
    zone = "A/washcoat"             # optional: which approval counts, where several could
    [[photo]]
    file = "photos/doors-1.jpg"
    stage = "topcoated"             # left out: the approval's
    light = "shop"
    # board = "A"                   # the approved board lies in this photo too: the surest way to compare
    # board_corners, card = [[x, y], …]; flat = "photos/sheet.jpg"
    [[photo.part]]
    id = "door 1"
    # species, sheen, size = [length, width] (the job's units), corners or polygon = [[x, y], …] in pixels

Every key is checked, as in job.toml. Without a [[photo.part]] a photo shows one part, named after the file.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from analyzer.approval.wanted import PartWanted, PhotoWanted, VerifyRequest
from analyzer.errors import JobFileError, Problem
from analyzer.job import Job, Point, Quad
from analyzer.jobfile_photos import read_quad
from analyzer.jobfile_table import Interval, Problems, Table, as_number, show
from analyzer.polygon import goes_round_once
from analyzer.results import STAGES, Stage

VERIFY_FILE: Final = "verify.toml"
FORMAT: Final = 1
TOP_KEYS: Final = ("format", "zone", "photo")
PHOTO_KEYS: Final = ("file", "stage", "light", "board", "board_corners", "card", "flat", "approval", "part")
PART_KEYS: Final = ("id", "species", "sheen", "size", "corners", "polygon")
TABLES: Final = {"[[photo]]": PHOTO_KEYS, "[[photo.part]]": PART_KEYS}
LARGEST_BYTES: Final = 1_000_000  # as of a job file
MM_PER_INCH: Final = 25.4
_SIZE: Final = Interval(above=0, most=20_000)  # mm; chosen: no part is longer than 20 m


@dataclass(frozen=True, slots=True)
class PartFlags:
    """What may be said on the command line for all photos named there."""

    stage: Stage | None = None
    light: str | None = None
    species: str | None = None
    sheen: str | None = None
    size_mm: tuple[float, float] | None = None
    corners: tuple[Quad, ...] = ()
    polygons: tuple[tuple[Point, ...], ...] = ()
    board: str | None = None
    flat: Path | None = None


def photos_by_flags(paths: Sequence[Path], flags: PartFlags) -> tuple[PhotoWanted, ...]:
    """Photos of one part each; with corners or polygons one photo of so many parts."""
    given: list[dict[str, Any]] = [
        *({"corners": quad} for quad in flags.corners),
        *({"polygon": polygon} for polygon in flags.polygons),
    ]
    photos = []
    for path in paths:
        places = given or [{}]
        ids = [path.stem] if len(places) == 1 else [f"{path.stem} {number}" for number in range(1, len(places) + 1)]
        parts = tuple(
            PartWanted(name, flags.species, flags.sheen, flags.size_mm, **place)
            for name, place in zip(ids, places, strict=True)
        )
        photos.append(PhotoWanted(path, str(path), flags.stage, flags.light, parts, flat=flags.flat, board=flags.board))
    return tuple(photos)


def read_verify_file(job: Job) -> VerifyRequest:
    """Read and check `verify.toml` of a job folder.

    Raises
    ------
    JobFileError
        If it is not there, cannot be read, or does not hold. Carries every problem.
    """
    path = job.folder / VERIFY_FILE
    text, content = _parsed(path)
    top = Table(content, (), Problems(text))
    version = content.get("format")
    if type(version) is not int or version != FORMAT:
        newer = isinstance(version, int) and version > FORMAT
        hint = "It was written for a newer Evenboard: install that." if newer else ""
        top.wrong("format", f"format = {FORMAT} at the top of the file", hint)
    top.unknown(TOP_KEYS, TABLES)
    zone = _known_zone(top, job)
    photos = tuple(photo for table in top.tables("photo") if (photo := _photo(table, job)) is not None)
    problems = top.problems.by_line()
    if problems:
        raise JobFileError(path, problems)
    return VerifyRequest(photos, zone=zone)


def _parsed(path: Path) -> tuple[str, dict[str, Any]]:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobFileError(path, (Problem("", None, "a file of more than 1 MB", "a short text file"),))
        text = path.read_bytes().decode("utf-8-sig")
        return text, tomllib.loads(text)
    except OSError as error:
        found = f"a file that cannot be read: {error.strerror or error}"
        hint = "Or name photos: evenboard verify DIR PHOTO…"
        raise JobFileError(path, (Problem("", None, found, "a readable verify.toml", hint=hint),)) from error
    except (ValueError, RecursionError) as error:
        problem = Problem("", None, f"something that is not TOML in UTF-8 ({error})", "lines such as key = 12.5")
        raise JobFileError(path, (problem,)) from error


def _known_zone(top: Table, job: Job) -> str | None:
    zone = top.text("zone")
    known = [f"{board.id}/{one.id}" for board in job.boards for one in board.zones]
    if zone is not None and zone not in known:
        top.wrong("zone", f"a zone of this job: {', '.join(known)}")
    return zone


def _photo(table: Table, job: Job) -> PhotoWanted | None:
    file = table.text("file", "the path of a photo, in quotes", required=True)
    table = table.named(file) if file is not None else table
    table.unknown(PHOTO_KEYS, TABLES)
    board = table.text("board")
    if board is not None and board not in [one.id for one in job.boards]:
        table.wrong("board", f"a board of this job: {', '.join(one.id for one in job.boards)}")
    flat = table.text("flat")
    wanted = PhotoWanted(
        path=job.folder / (file or ""),
        file=file or "",
        stage=table.choice("stage", STAGES),
        light=table.text("light"),
        parts=_parts(table, job, Path(file or "photo").stem),
        card=read_quad(table, "card", table.content["card"]) if "card" in table.content else None,
        flat=job.folder / flat if flat else None,
        board=board,
        board_corners=read_quad(table, "board_corners", table.content["board_corners"])
        if "board_corners" in table.content
        else None,
        approval=table.text("approval"),
    )
    for key, path in (("file", wanted.path), ("flat", wanted.flat)):
        if key in table.content and path is not None and not path.is_file():
            table.wrong(key, "a file that is there, from the job folder", found=f"{path}, which is not there")
    return wanted if file is not None else None


def _parts(table: Table, job: Job, stem: str) -> tuple[PartWanted, ...]:
    if "part" not in table.content:
        return (PartWanted(stem),)
    parts: list[PartWanted] = []
    for one in table.tables("part"):
        name = one.text("id", required=True)
        named = one.named(f'part "{name}"') if name is not None else one
        named.unknown(PART_KEYS, TABLES)
        if name in [part.id for part in parts]:
            named.wrong("id", "an id that no other part of this photo has")
        if "corners" in named.content and "polygon" in named.content:
            named.wrong("polygon", "either corners or a polygon, not both")
        parts.append(
            PartWanted(
                id=name or "",
                species=named.text("species") or _species_of(job, name),
                sheen=_sheen(named),
                size_mm=_size(named, job),
                corners=read_quad(named, "corners", named.content["corners"]) if "corners" in named.content else None,
                polygon=_polygon(named),
            )
        )
    return tuple(parts)


def _species_of(job: Job, part: str | None) -> str | None:
    """As [[part]] of job.toml says."""
    return next((one.species for one in job.parts if one.id == part), None)


def _sheen(table: Table) -> str | None:
    sheen = table.number_or_text("sheen", Interval(least=0, most=100), "a word, or gloss units from 0 to 100")
    return f"{sheen:g}" if isinstance(sheen, float) else sheen


def _size(table: Table, job: Job) -> tuple[float, float] | None:
    per_unit = MM_PER_INCH if job.units == "in" else 1.0
    expected = f"length along the grain and width in {job.units}: size = [600, 400]"
    limit = Interval(above=0, most=_SIZE.most / per_unit)
    size = table.numbers("size", expected, (limit, limit))
    return None if size is None else (size[0] * per_unit, size[1] * per_unit)


def _polygon(table: Table) -> tuple[Point, ...]:
    if "polygon" not in table.content:
        return ()
    value = table.content["polygon"]
    points = polygon_of(value)
    if not points:
        expected = "three or more points in pixels, [[x, y], [x, y], [x, y]], going round once"
        table.wrong("polygon", expected, found=show(value))
    return points


def polygon_of(value: object) -> tuple[Point, ...]:
    """Points of a polygon that goes round once; () if it is none."""
    if not isinstance(value, list | tuple) or len(value) < 3:
        return ()
    points: list[Point] = []
    for item in value:
        if not isinstance(item, list | tuple) or len(item) != 2:
            return ()
        x, y = as_number(item[0]), as_number(item[1])
        if x is None or y is None:
            return ()
        points.append((x, y))
    return tuple(points) if goes_round_once(points) else ()
