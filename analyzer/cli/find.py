"""`evenboard find`."""

import json
import textwrap
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

import analyzer
from analyzer.cli import WRONG_USAGE
from analyzer.cli.talk import printable, progress_line, say, terminal_width

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analyzer.record.find import FindAnswer
    from analyzer.record.query import FoundZone

_HEADS = ("colour diff.", "blotch", "verdict")
_WIDTHS = (12, 11, 11)


class Verdict(StrEnum):
    """What a zone's treatment was judged."""

    USE = "use"
    DO_NOT_USE = "do not use"
    CANNOT_TELL = "cannot tell"


class Order(StrEnum):
    """What comes first."""

    NEAREST = "nearest"
    NEWEST = "newest"
    MOST_EVEN = "most even"
    JOB = "job"


def find(  # noqa: PLR0913 - each is one option of the command
    words: Annotated[
        list[str] | None, typer.Argument(metavar="…", help="Words that all stand in its job or its recipe.")
    ] = None,
    *,
    folders: Annotated[
        list[Path] | None,
        typer.Option(
            "--in", metavar="FOLDER", help="Look in and below it, and remember it; may be given several times."
        ),
    ] = None,
    species: Annotated[str | None, typer.Option(help="Kind of wood, or a part of its name.")] = None,
    treatment: Annotated[
        str | None, typer.Option(help='Pre-treatment, or a part of its name; "none": controls.')
    ] = None,
    stain: Annotated[str | None, typer.Option(help="Stain, or a part of its name.")] = None,
    exact: Annotated[bool, typer.Option("--exact", help="These three just so, not a part of them.")] = False,
    stage: Annotated[str | None, typer.Option(help="bare, treated, wet, stained, sealed, topcoated, or any.")] = None,
    light: Annotated[str | None, typer.Option(help="Name of the light.")] = None,
    since: Annotated[str | None, typer.Option(metavar="DAY", help="Not before: 2026-03-04, or 2026-03.")] = None,
    until: Annotated[str | None, typer.Option(metavar="DAY", help="Not after.")] = None,
    customer: Annotated[str | None, typer.Option(help="Customer, or a part of the name.")] = None,
    verdict: Annotated[Verdict | None, typer.Option(help="What was said of it; rejected trials are kept too.")] = None,
    approved: Annotated[bool, typer.Option("--approved", help="Approved zones only.")] = False,
    blotch: Annotated[float | None, typer.Option(min=0, metavar="B", help="As even as this, or more.")] = None,
    near: Annotated[
        str | None,
        typer.Option(metavar="COLOUR", help='"38,14.5,22", a zone DIR:BOARD/ZONE, or a photo with a gray card.'),
    ] = None,
    region: Annotated[
        str | None, typer.Option(metavar="L,T,R,B", help="Of that photo, in pixels; left out: the board in it.")
    ] = None,
    within: Annotated[float | None, typer.Option(min=0, metavar="DE", help="Colour difference at most.")] = None,
    order: Annotated[
        Order | None, typer.Option(help="What comes first; left out: the nearest, else the newest.")
    ] = None,
    limit: Annotated[int, typer.Option(min=1, help="How many zones are told.")] = 20,
    index: Annotated[Path | None, typer.Option(metavar="FILE", help="Another index than the user's own.")] = None,
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Make the index anew from the folders.")] = False,
    forget: Annotated[list[Path] | None, typer.Option(metavar="FOLDER", help="Remember this folder no more.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was found as JSON.")] = False,
) -> None:
    """Find recorded zones: by wood, recipe, colour, verdict.

    It looks in the folders named with --in, else in those named earlier, else in this one. The index is brought up to
    date first; it can be thrown away at any time, for everything in it stands in the job folders.
    """
    query = analyzer.Query(
        species=species,
        treatment=treatment,
        stain=stain,
        is_exact=exact,
        stage=stage,
        light=light,
        since=since,
        until=until,
        customer=customer,
        words=" ".join(words) if words else None,
        within=within,
        blotch=blotch,
        verdict=verdict.value if verdict else None,
        is_approved=True if approved else None,
        limit=limit,
        order=order.value if order else None,
    )
    if order is Order.NEAREST and near is None:
        say("The nearest needs a colour: --near.")
        raise typer.Exit(WRONG_USAGE)
    request = analyzer.FindRequest(
        query,
        near,
        _region(region),
        tuple(folders or ()),
        index,
        rebuild=rebuild,
        forget=tuple(forget or ()),
    )
    with progress_line() as progress:
        answer = analyzer.find_records(request, progress=progress)
    for note in answer.notes:
        say(printable(note))
    if as_json:
        typer.echo(json.dumps(_facts(answer), indent=2, ensure_ascii=False, default=str))
        return
    width = terminal_width()
    if answer.zones:
        typer.echo("\n".join(_table(answer, width)))
    else:
        say(f"Nothing found among {_count(answer.recorded, 'zone')} of {_count(answer.jobs, 'job')}.")
        for way in answer.loosen:
            say(printable(f"  {way}"))


def _facts(answer: "FindAnswer") -> dict[str, Any]:
    facts = asdict(answer)
    if facts["near"]:
        del facts["near"]["beside"]  # it stands with the zones
    return facts


def _region(written: str | None) -> tuple[float, float, float, float] | None:
    if written is None:
        return None
    try:
        left, top, right, bottom = (float(part) for part in written.split(","))
    except ValueError as wrong:
        say(f"--region {written}: write left,top,right,bottom in pixels.")
        raise typer.Exit(WRONG_USAGE) from wrong
    return left, top, right, bottom


def _table(answer: "FindAnswer", width: int) -> "Iterator[str]":
    near = answer.near
    if near is not None:
        L, a, b = near.lab
        doubt = "" if near.lab_u95 is None else " ± " + ", ".join(f"{u:.1f}" for u in near.lab_u95)
        where = {"value": "", "zone": f" of {near.named}", "photo": f" in {near.named}"}[near.kind]
        yield from textwrap.wrap(printable(f"Near L* {L:.1f}, a* {a:.1f}, b* {b:.1f}{doubt}{where}:"), width)
    columns = range(len(_HEADS)) if near is not None else range(1, len(_HEADS))
    indent = " " * sum(_WIDTHS[k] + 1 for k in columns)
    yield "".join(f"{_HEADS[k]:{_WIDTHS[k]}} " for k in columns) + "zone"
    for zone in answer.zones:
        cells = (
            _plus_minus(zone.de00, zone.de00_u95, 1),
            _plus_minus(zone.blotch, zone.blotch_u95, 1),
            zone.verdict or "-",
        )
        first, *rest = _described(zone, max(width - len(indent), 30))
        yield "".join(f"{cells[k]:{_WIDTHS[k]}} " for k in columns) + first
        yield from (indent + line for line in rest)
    told = f"{len(answer.zones)} of {_count(answer.total, 'zone')}"
    notes = ["± is the 95 % uncertainty; ? where it is not known."]
    if near is not None:
        notes.insert(0, "Colour difference is ΔE00; colours measured apart carry the ± of both.")
    yield from textwrap.wrap(" ".join([f"{told}.", *notes]), width)


def _described(zone: "FoundZone", width: int) -> "Iterator[str]":
    taken = f"{zone.date}{'' if zone.date_from == 'photo' else f' ({zone.date_from})'}"
    light = f", {zone.light}" if zone.light else ""
    approved = ", approved" if zone.is_approved else ""
    made = ", ".join(part for part in (zone.species, _treated(zone.treatment), zone.stain) if part)
    customer = f" for {zone.customer}" if zone.customer else ""
    yield from textwrap.wrap(
        printable(f"{zone.job}{customer}: {zone.id}, {zone.stage}{light}, {taken}{approved}"), width
    )
    yield from textwrap.wrap(printable(made), width)
    yield printable(str(_short(zone.folder)))


def _treated(treatment: str) -> str:
    return "no pre-treatment" if treatment == "none" else treatment


def _plus_minus(value: float | None, u95: float | None, digits: int) -> str:
    if value is None:
        return "-"
    return f"{value:.{digits}f} ± {'?' if u95 is None else f'{u95:.{digits}f}'}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _short(folder: Path) -> Path:
    """As it is named from here, where that is shorter."""
    here = Path.cwd()
    return folder.relative_to(here) if here in folder.parents else folder
