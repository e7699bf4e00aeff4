"""`evenboard strips OUT.pdf`."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli import WRONG_USAGE
from analyzer.cli.paper import Paper
from analyzer.cli.talk import say


def strips(
    pdf: Annotated[Path, typer.Argument(metavar="OUT.pdf", help="The PDF to write.")],
    *,
    paper: Annotated[Paper, typer.Option(help="The paper in the printer.")] = Paper.A4,
    length: Annotated[float, typer.Option(metavar="MM", help="Length of the board, 60 to 3000 mm.")] = 300.0,
    png: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Also write the strips as pictures, cut and laid end to end, with their scale."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was written as JSON.")] = False,
) -> None:
    """Print edge strips for a board: a PDF at exact size.

    Two strips are laid along the board's top and bottom edge. From their markers come the place and the scale, from
    their white paper the evenness of the light. The sheet says how to cut and lay them.
    """
    try:
        written = analyzer.write_strips(pdf, length, paper=paper.value, pictures=png)
    except analyzer.StripLengthError as error:
        say(str(error))
        raise typer.Exit(WRONG_USAGE) from error
    files = [str(file) for file in written.files]
    if as_json:
        typer.echo(json.dumps({**asdict(written), "files": files}, indent=2, ensure_ascii=False))
    else:
        for file in files:
            typer.echo(file)
    count = "1 part" if written.sections == 1 else f"{written.sections} parts"
    say(f"Each strip is in {count}. Print at 100 %; the bar on the sheet must then be 100 mm long.")
