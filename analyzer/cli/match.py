"""`evenboard match DIR`."""

from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli.talk import terminal_width


def match(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A measured job folder.")],
    *,
    treatment: Annotated[
        list[str] | None, typer.Option("--treatment", help="Only this pre-treatment; may be given several times.")
    ] = None,
    stain: Annotated[
        list[str] | None, typer.Option("--stain", help="Only this stain goes into a mix; may be given several times.")
    ] = None,
    index: Annotated[
        Path | None,
        typer.Option("--index", metavar="FILE", help="The index of all jobs, if not the usual one."),
    ] = None,
    no_record: Annotated[bool, typer.Option("--no-record", help="Leave earlier jobs out.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what match.json holds, not a summary.")] = False,
) -> None:
    """Say what to change to reach the target: direction, dose, mix.

    Works from results.json, and writes match.json beside it. Nothing is measured again.
    """
    wanted = analyzer.Wanted(tuple(treatment or ()), tuple(stain or ()), index, not no_record)
    found = analyzer.match_job(folder, wanted)
    analyzer.write_match(found, folder)
    if as_json:
        typer.echo(analyzer.match_json(found), nl=False)
    else:
        typer.echo(analyzer.match_summary(found, terminal_width()), nl=False)
