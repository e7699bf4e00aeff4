"""`evenboard unpack ZIP`."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

import analyzer
from analyzer.cli.talk import printable, progress_line, say


def unpack(
    archive: Annotated[Path, typer.Argument(metavar="ZIP", help="An archive of evenboard pack.")],
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="A new folder; left out: named as the archive, in this one.")
    ] = None,
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was unpacked as JSON.")] = False,
) -> None:
    """Unpack an archive into a new job folder, once proved.

    An archive that is damaged, was changed, or could do harm is refused whole. Nothing that is there is overwritten.
    """
    out = folder or Path(archive.stem)
    with progress_line() as progress:
        unpacked = analyzer.unpack_job(archive, out, progress=progress)
    if unpacked.missing:
        say(printable(f"Named by the job, but not in the archive: {', '.join(unpacked.missing)}."))
    if unpacked.corrections:
        say(f"Its kept corrections are with it. To measure by them: EVENBOARD_DATA={out} evenboard measure {out}")
    if unpacked.target:
        say(printable(f'Its target lies in another job. Name the copy in job.toml: approved = "{unpacked.target}"'))
    if as_json:
        typer.echo(json.dumps(asdict(unpacked), indent=2, ensure_ascii=False))
    else:
        typer.echo(printable(f"Unpacked: {unpacked.folder}, {unpacked.files} files of {unpacked.job}, all proved."))
