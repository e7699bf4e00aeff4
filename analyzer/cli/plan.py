"""`evenboard plan DIR`."""

from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli.talk import printable, say


def plan(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The job folder: a job.toml with [plan] and [[part]].")],
    *,
    write_boards: Annotated[
        bool, typer.Option("--write-boards", help="Also add the planned boards to job.toml; all else of it stays.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what plan.json holds, not a summary.")] = False,
) -> None:
    """Plan a trial: boards and zones, how many, drawings, labels.

    Writes plan.json, plan.html, plan.pdf and labels.pdf into the folder, all or none. The job needs neither
    boards nor photos yet.
    """
    made = analyzer.plan_job(folder)
    if write_boards:
        analyzer.write_boards(folder, made.boards)
    written = analyzer.write_plan(made, folder)
    if as_json:
        typer.echo(analyzer.plan_json(made), nl=False)
    else:
        for board in made.boards:
            zones = ", ".join(zone.id for zone in board.zones)
            typer.echo(printable(f"Board {board.id}, {board.species}, {board.role}: {zones}"))
        typer.echo(f"Plan: {next(path for path in written if path.suffix == '.html')}")
    for warning in made.warnings:
        say(warning)
    if write_boards:
        say(f"The boards stand in {folder / 'job.toml'}; add a [[photo]] for each photo that you take of them.")
