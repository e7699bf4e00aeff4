"""`evenboard verify DIR PHOTO…`."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

import typer

import analyzer  # its names are loaded when they are used: NumPy waits until there is a photo
from analyzer.cli import NOT_MEASURED
from analyzer.cli.talk import progress_line, say, terminal_width

Stage = Literal["bare", "treated", "wet", "stained", "sealed", "topcoated"]
MM_PER_INCH = 25.4
QUAD_POINTS = 4
Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]


def verify(  # noqa: PLR0913 - each is an option
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A job folder with an approved zone.")],
    photos: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[PHOTO…]", help="Photos of parts, each with the card; none: as DIR/verify.toml says."),
    ] = None,
    *,
    zone: Annotated[str | None, typer.Option("--zone", help="The approved zone, BOARD/ZONE, if several fit.")] = None,
    stage: Annotated[Stage | None, typer.Option("--stage", help="Of the parts. [the approval's]")] = None,
    light: Annotated[str | None, typer.Option("--light", help="Name of the light in the photos.")] = None,
    species: Annotated[str | None, typer.Option("--species", help="Wood of the parts.")] = None,
    sheen: Annotated[str | None, typer.Option("--sheen", help="Sheen of the parts.")] = None,
    size: Annotated[
        str | None, typer.Option("--size", metavar="LxW", help="Length along the grain and width, in the job's units.")
    ] = None,
    corners: Annotated[
        list[str] | None,
        typer.Option("--corners", metavar='"x,y x,y x,y x,y"', help="Corners of a part in pixels; once for each part."),
    ] = None,
    polygon: Annotated[
        list[str] | None,
        typer.Option("--polygon", metavar='"x,y x,y x,y …"', help="Outline of a part in pixels; once for each part."),
    ] = None,
    board: Annotated[
        str | None, typer.Option("--board", help="The approved board, which lies in the photos beside the parts.")
    ] = None,
    flat: Annotated[
        Path | None, typer.Option("--flat", help="Photo of a plain sheet in the same place and light.")
    ] = None,
    first_article: Annotated[
        bool, typer.Option("--first-article", help="Judge the first part alone and strictly: go, stop, cannot tell.")
    ] = False,
    aged: Annotated[
        bool, typer.Option("--aged", help="An old piece: tell how it has moved since approval; nothing is judged.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what verify.json holds, not a summary.")] = False,
) -> None:
    """Hold production parts in photos against the approved zone.

    Writes verify.json, parts.csv and verify.html into a new folder DIR/verify/DATE-TIME.
    """
    if first_article and aged:
        raise typer.BadParameter("either --first-article or --aged, not both.")
    job = analyzer.read_job(folder)
    if photos:
        size_mm = None if size is None else _size_mm(size, MM_PER_INCH if job.units == "in" else 1.0)
        if (corners or polygon) and len(photos) > 1:
            raise typer.BadParameter("--corners and --polygon go with one photo; write verify.toml for several.")
        flags = analyzer.PartFlags(
            stage=stage,
            light=light,
            species=species,
            sheen=sheen,
            size_mm=size_mm,
            corners=tuple(_quad(text) for text in corners or ()),
            polygons=tuple(_polygon(text) for text in polygon or ()),
            board=board,
            flat=flat,
        )
        request = analyzer.VerifyRequest(analyzer.photos_by_flags(photos, flags), zone=zone)
    else:
        request = analyzer.read_verify_file(job)
        request = replace(request, zone=zone or request.zone)
    request = replace(request, mode="first article" if first_article else "aged" if aged else "run")
    with progress_line() as progress:
        seen = analyzer.verify_parts(folder, request, progress=progress)
        written = analyzer.write_verification(seen, folder)
    found = seen.verification
    for part in found.parts:
        for one in part.findings:
            if one.severity == "warning" or (as_json and one.severity == "unusable"):
                say(f"{part.photo}, {part.id}: {one.severity}: {one.message} {one.remedy}".rstrip())
    if as_json:
        typer.echo(analyzer.verification_json(found), nl=False)
    else:
        typer.echo(analyzer.verification_summary(found, terminal_width()))
        typer.echo(f"Page: {written / 'verify.html'}")
    if not all(photo.usable for photo in found.photos):
        raise typer.Exit(NOT_MEASURED)


def _size_mm(text: str, mm_per_unit: float) -> tuple[float, float]:
    found = re.fullmatch(r"\s*([\d.]+)\s*[x×*]\s*([\d.]+)\s*", text, re.IGNORECASE)
    try:
        size = (float(found[1]), float(found[2])) if found else (0.0, 0.0)
    except ValueError:
        size = (0.0, 0.0)
    if min(size) <= 0:
        raise typer.BadParameter(f"--size {text}: write length and width as 600x400.")
    return size[0] * mm_per_unit, size[1] * mm_per_unit


def _points(text: str) -> list[tuple[float, float]]:
    try:
        pairs = [part.split(",") for part in text.split()]
        return [(float(x), float(y)) for x, y in pairs]
    except ValueError as wrong:
        raise typer.BadParameter(f'{text}: write points in pixels as "412,300 3610,318 …".') from wrong


def _quad(text: str) -> Quad:
    points = _points(text)
    if len(points) != QUAD_POINTS:
        told = f"--corners {text}: four points, top-left, top-right, bottom-right, bottom-left of the part."
        raise typer.BadParameter(told)
    first, second, third, fourth = points
    return first, second, third, fourth


def _polygon(text: str) -> tuple[tuple[float, float], ...]:
    from analyzer.polygon import goes_round_once  # noqa: PLC0415 - only who gives an outline needs it

    points = _points(text)
    if len(points) < QUAD_POINTS - 1 or not goes_round_once(points):
        raise typer.BadParameter(f"--polygon {text}: three or more points that go round the part once.")
    return tuple(points)
