"""`evenboard new DIR`."""

from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli.talk import say


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of the job; made if it is not there.")],
) -> None:
    """Start a job folder with a commented job.toml.

    The file shows one whole example; change it to your own boards. What the folder holds already is left as it is.
    """
    job_file = analyzer.new_job(folder)
    typer.echo(job_file)
    say(f"Next: change this file to your boards, put the photos into {job_file.parent / 'photos'},")
    say(f"then run: evenboard measure {folder}")
