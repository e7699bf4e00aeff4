"""`evenboard check PHOTO…`."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

import analyzer  # its names are loaded when they are used: NumPy waits until there is a photo
from analyzer.cli import NOT_MEASURED
from analyzer.cli.talk import finding_lines, progress_line
from analyzer.results import FORMAT


def check(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO…", help="Photos of boards with their gray card; or a job folder.")
    ],
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as results.json holds them.")] = False,
) -> None:
    """Check whether photos can be used; what to change if not.

    Run it at the bench, before the board is put away. Nothing is written. A job folder stands for its job's photos.
    """
    with progress_line() as progress:
        checks = analyzer.check_photos(photos, progress=progress)
    if as_json:
        found = {"format": FORMAT, "photos": [asdict(checked) for checked in checks]}
        typer.echo(json.dumps(found, indent=2, ensure_ascii=False))
    else:
        for checked in checks:
            typer.echo(f"{checked.file}: {'can' if checked.usable else 'cannot'} be used.")
            for line in finding_lines(checked.findings):
                typer.echo(line)
    if not all(checked.usable for checked in checks):
        raise typer.Exit(NOT_MEASURED)
