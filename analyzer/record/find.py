"""What does `evenboard find` answer?  The folders are looked through, the index is asked, and a miss is explained."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from analyzer.errors import RecordError
from analyzer.record.index import RecordIndex, UpdateReport, open_index
from analyzer.record.near import NearColour, near_colour
from analyzer.record.photo_colour import Region
from analyzer.record.query import FoundZone, Query
from analyzer.results import STAGES

FORMAT: Final = 1
ANY: Final = "any"  # as a stage: no condition

_DAY: Final = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_NAMED_JOBS: Final = 3  # chosen: as many names as a line takes

# condition of a query: how it is said, to be loosened
_CONDITIONS: Final = {
    "species": "--species",
    "treatment": "--treatment",
    "stain": "--stain",
    "is_exact": "--exact",
    "stage": "--stage",
    "light": "--light",
    "since": "--since",
    "until": "--until",
    "customer": "--customer",
    "words": "those words",
    "blotch": "--blotch",
    "verdict": "--verdict",
    "is_approved": "--approved",
}


@dataclass(frozen=True, slots=True)
class FindRequest:
    """What is looked for, and where."""

    query: Query  # its `near` and `folders` are filled in
    near: str | None = None  # a value, a zone or a photo, see `near_colour`
    region: Region | None = None  # of the photo
    folders: tuple[Path, ...] = ()  # (): those that are remembered, else the current one
    index: Path | None = None  # its file; None: in the user's data folder
    rebuild: bool = False  # make the index anew first
    forget: tuple[Path, ...] = ()  # folders that are to be remembered no more


@dataclass(frozen=True, slots=True)
class FindAnswer:
    """What was found."""

    format: int
    zones: tuple[FoundZone, ...]
    total: int  # that answer the query, told or not
    near: NearColour | None
    looked_in: tuple[Path, ...]
    jobs: int
    recorded: int  # zones in these jobs
    notes: tuple[str, ...]  # what is to be known of the answer
    loosen: tuple[str, ...]  # where nothing was found: what would find something


def find_records(request: FindRequest, *, progress: Callable[[str], None] | None = None) -> FindAnswer:
    """Bring the index up to date and search it.

    Parameters
    ----------
    request : FindRequest
    progress : callable, optional
        Told in a few words what is being done.

    Raises
    ------
    RecordError
        If the index cannot be used, a folder is not there, or what is asked for makes no sense.
    CalibrationError
        If a photo that was named cannot serve.
    """
    query = _checked(request.query)
    for folder in request.folders:
        if not folder.is_dir():
            raise RecordError(f"there is no folder {folder}.", remedy="Check its name: --in FOLDER.")
    if query.within is not None and request.near is None:
        raise RecordError("a distance needs a colour to measure from.", remedy="Name it: --near.")
    with open_index(request.index) as index:
        if request.rebuild:
            index.rebuild()
        if request.forget:
            index.forget(request.forget)
        folders = _folders(index, request)
        report = index.update(folders, progress=progress)
        near = None
        if request.near is not None:
            if progress:
                progress("reading the colour to look for")
            near = near_colour(request.near, stage=_stage(query), light=query.light, region=request.region)
        query, notes = _completed(query, near, folders)
        zones = index.search(query)
        zones, itself = _without(zones, near)
        zones = tuple(_paired(zone, near) for zone in zones)
        counted = query if query.within is not None else replace(query, near=None)
        return FindAnswer(
            format=FORMAT,
            zones=zones[: request.query.limit],
            total=index.count(counted) - itself,
            near=near,
            looked_in=folders,
            jobs=report.jobs,
            recorded=report.zones,
            notes=(*notes, *_told(report)),
            loosen=() if zones else tuple(_loosened(index, query, report)),
        )


def _checked(query: Query) -> Query:
    """A query whose days and stage make sense."""
    for key in ("since", "until"):
        day = getattr(query, key)
        if day is not None and not _DAY.fullmatch(day):
            raise RecordError(f"--{key} {day} is no day.", remedy="Write year-month-day, 2026-03-04, or less: 2026-03.")
    if query.stage is not None and query.stage not in (*STAGES, ANY):
        raise RecordError(f"there is no stage {query.stage}.", remedy=f"One of {', '.join(STAGES)}, or {ANY}.")
    if query.until is not None and len(query.until) < len("2026-03-04"):
        return replace(query, until=f"{query.until}-99")  # the whole month or year
    return query


def _folders(index: RecordIndex, request: FindRequest) -> tuple[Path, ...]:
    """Those named, which are remembered from now on; else those remembered; else the current one."""
    if request.folders:
        index.remember(request.folders)
        return tuple(folder.resolve() for folder in request.folders)
    return index.folders or (Path.cwd(),)


def _stage(query: Query) -> str | None:
    return None if query.stage == ANY else query.stage


def _completed(query: Query, near: NearColour | None, folders: tuple[Path, ...]) -> tuple[Query, list[str]]:
    """The query with its colour and folders: colours are compared at one stage, unless somebody wants it otherwise."""
    notes: list[str] = []
    whole = replace(query, folders=folders, stage=_stage(query))
    if near is None:
        return whole, notes
    if near.kind == "zone" and query.stage is None:
        whole = replace(whole, stage=near.stage)
        notes.append(f"Only zones that are {near.stage}, as the one asked for; --stage {ANY} looks at every stage.")
    elif whole.stage is None:
        notes.append("Zones of every stage: a colour counts for its own stage only. --stage topcoated, for instance.")
    if near.kind == "zone" and whole.limit is not None:
        whole = replace(whole, limit=whole.limit + 1)  # the zone itself is nearest to itself
    return replace(whole, near=near.lab, near_u95=near.lab_u95, near_is_measured=near.kind != "value"), notes


def _without(zones: tuple[FoundZone, ...], near: NearColour | None) -> tuple[tuple[FoundZone, ...], bool]:
    """All but the very measurement that was asked for; and whether that was among them."""
    if near is None or near.folder is None:
        return zones, False
    itself = (near.folder.resolve(), near.zone, near.stage, near.light)
    others = tuple(one for one in zones if (one.folder, one.id, one.stage, one.light) != itself)
    return others, len(others) < len(zones)


def _paired(zone: FoundZone, near: NearColour | None) -> FoundZone:
    """A zone of the very job that was asked for: its photos show both, and that difference is the better known one.

    The order stays that of the colours themselves.
    """
    if near is None or near.folder is None or zone.folder != near.folder.resolve():
        return zone
    de00, u95 = near.beside.get((zone.id, zone.stage, zone.light), (zone.de00, zone.de00_u95))
    return replace(zone, de00=de00, de00_u95=u95)


def _told(report: UpdateReport) -> list[str]:
    """What the look through the folders is worth knowing of."""
    notes = [f"{folder} is not there: its jobs are left out." for folder in report.missing]
    notes += [f"{folder}: results.json cannot be read and is left out: {reason}" for folder, reason in report.broken]
    if report.being_written:
        notes.append(f"Being written, left for the next time: {_names(report.being_written)}.")
    if report.unmeasured:
        notes.append(f"Not measured yet: {_names(report.unmeasured)}.")
    if report.why_new:
        notes.append(f"The index was made anew: {report.why_new}.")
    return notes


def _names(folders: tuple[Path, ...]) -> str:
    told = ", ".join(folder.name for folder in folders[:_NAMED_JOBS])
    more = len(folders) - _NAMED_JOBS
    return f"{told} and {more} more" if more > 0 else told


def _loosened(index: RecordIndex, query: Query, report: UpdateReport) -> list[str]:
    """What each single condition keeps out; the folders, where there is nothing at all."""
    if not report.zones:
        return ["No measured job lies in these folders: name others, --in FOLDER."]
    ways = []
    if query.near is not None and query.within is not None:
        nearest = index.search(replace(query, within=None, limit=1, order="nearest"))
        ways += [f"The nearest is {zone.de00:.1f} away: --within {_up(zone.de00 or 0.0):g}." for zone in nearest]
    for key, said in _CONDITIONS.items():
        if getattr(query, key) not in (None, False):
            without: dict[str, Any] = {key: False if key == "is_exact" else None}
            count = index.count(replace(query, **without))
            if count:
                ways.append(f"Without {said}: {count} {'zone' if count == 1 else 'zones'}.")
    return ways or ["Several conditions together keep every zone out: leave out more than one."]


def _up(distance: float) -> float:
    """The next half above a distance."""
    return int(2 * distance + 1) / 2
