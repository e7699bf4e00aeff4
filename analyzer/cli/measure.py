"""`evenboard measure DIR`."""

from pathlib import Path
from typing import Annotated

import typer

import analyzer  # its names are loaded when they are used: NumPy waits until there is a job
from analyzer.cli import NOT_MEASURED
from analyzer.cli.paper import Paper
from analyzer.cli.talk import progress_line, say, shared_finding_lines, terminal_width


def measure(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The job folder: job.toml and its photos.")],
    *,
    paper: Annotated[
        Paper | None,
        typer.Option("--paper", help="Paper of report.pdf; left out: Letter for a job in inches, else A4."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what results.json holds, not a summary.")] = False,
    keep_correction: Annotated[
        bool,
        typer.Option(
            "--keep-correction", help="Keep what its chart or step card tells of camera and light for later jobs."
        ),
    ] = False,
) -> None:
    """Measure a job: its photos to results.json, zones.csv, report.

    The photos are never changed. All files are written, or, if anything goes wrong, none.
    """
    analyzer.recover_results(folder)  # a run that was killed while it wrote
    with progress_line() as progress:
        measurement = analyzer.measure_job(folder, progress=progress)
        if progress:
            progress("Writing the report …")
        written = analyzer.write_results(measurement, folder, paper.value if paper else None)
    results = measurement.results
    for line in shared_finding_lines(photo for photo in results.photos if photo.usable):
        say(line)
    missing = analyzer.unmeasured(measurement.job, results)
    for sentence in missing:
        say(sentence)
    if keep_correction:
        for sentence in analyzer.keep_corrections(measurement):
            say(sentence)
    if as_json:
        typer.echo(analyzer.results_json(results), nl=False)
    else:
        typer.echo(analyzer.summary(results, terminal_width()))
        typer.echo(f"Report: {next(path for path in written if path.suffix == '.html')}")
    if missing:
        raise typer.Exit(NOT_MEASURED)
