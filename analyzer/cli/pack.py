"""`evenboard pack DIR`."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli.talk import printable, progress_line, say


def pack(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The job folder.")],
    archive: Annotated[
        Path | None, typer.Argument(metavar="[OUT.zip]", help="The archive; left out: DIR.zip in this folder.")
    ] = None,
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was packed as JSON.")] = False,
) -> None:
    """Pack a job into one archive, whole and proved.

    Photos, results, report, plan, approvals, and the kept corrections that it may have relied on. An archive that is
    there already is left as it is. The job folder is not changed.
    """
    out = archive or Path(f"{folder.resolve().name}.zip")
    with progress_line() as progress:
        packed = analyzer.pack_job(folder, out, progress=progress)
    if packed.left_out:
        say(printable(f"Left out, hidden or linked: {', '.join(packed.left_out)}."))
    if packed.missing:
        say(printable(f"Named by the job, but not there: {', '.join(packed.missing)}."))
    if packed.target:
        say(printable(f"Its target was approved in another job; a copy of the approval is with it: {packed.target}."))
    if as_json:
        typer.echo(json.dumps(asdict(packed), indent=2, ensure_ascii=False))
    else:
        held = f"{packed.files} files of {packed.job}, {packed.bytes / 1e6:.1f} MB, all proved"
        typer.echo(printable(f"Packed: {packed.archive}, {held}."))
