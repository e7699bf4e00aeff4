"""`evenboard approve DIR BOARD/ZONE`."""

import json
from pathlib import Path
from typing import Annotated, Literal

import typer

import analyzer  # its names are loaded when they are used: NumPy waits until there is a photo
from analyzer.cli.talk import terminal_width

Stage = Literal["bare", "treated", "wet", "stained", "sealed", "topcoated"]


def approve(  # noqa: PLR0913 - each is an option
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A measured job folder.")],
    zone: Annotated[str | None, typer.Argument(metavar="[BOARD/ZONE]", help="The agreed zone.")] = None,
    *,
    by: Annotated[str | None, typer.Option("--by", help="Who approves.")] = None,
    scope: Annotated[str | None, typer.Option("--scope", help="What the approval covers, in words.")] = None,
    covers: Annotated[
        list[str] | None,
        typer.Option(
            "--covers",
            metavar="colour|evenness|sheen|figure",
            help="What it is evidence of; may be given several times. [colour and evenness]",
        ),
    ] = None,
    not_covered: Annotated[str | None, typer.Option("--not-covered", help="What it does not cover, in words.")] = None,
    notes: Annotated[str | None, typer.Option("--notes", help="Anything else worth keeping.")] = None,
    date: Annotated[str | None, typer.Option("--date", help="When it was approved: 2026-03-31. [now]")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Last day on which it holds.")] = None,
    stage: Annotated[Stage | None, typer.Option("--stage", help="Of the photos that count. [the target's]")] = None,
    light: Annotated[str | None, typer.Option("--light", help="Of the photos that count. [the only one]")] = None,
    listed: Annotated[bool, typer.Option("--list", help="List what was approved and what has changed since.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what the file holds, or the list, as JSON.")] = False,
) -> None:
    """Freeze an agreed BOARD/ZONE; --list shows what was approved.

    Writes one new file into DIR/approvals. An earlier approval of the same zone stays, and counts no longer.
    """
    if listed:
        _list(folder, as_json=as_json)
        return
    if zone is None or by is None or scope is None:
        missing = [name for name, given in (("BOARD/ZONE", zone), ("--by", by), ("--scope", scope)) if given is None]
        raise typer.BadParameter(f"say {', '.join(missing)}; or --list.")
    chosen = tuple(covers) if covers else ("colour", "evenness")
    terms = analyzer.ApprovalTerms(by, scope, chosen, not_covered, notes, date, until)
    approval = analyzer.approve_zone(folder, zone, terms, stage=stage, light=light)
    path = folder / "approvals" / f"{approval.name}.json"
    if as_json:
        typer.echo(path.read_text(encoding="utf-8"), nl=False)
        return
    typer.echo(f"Approved: {zone}, {approval.zone.stage}, {' and '.join(approval.covers)}, by {approval.by}.")
    if approval.supersedes:
        typer.echo(f"It takes the place of {approval.supersedes}, which is kept.")
    typer.echo(f"Approval: {path}")


def _list(folder: Path, *, as_json: bool) -> None:
    """Show all approvals of a job."""
    analyzer.read_job(folder, while_shooting=True)  # a folder that is no job is told so
    states = analyzer.check_approvals(folder)
    if not as_json:
        typer.echo(analyzer.approvals_summary(states, terminal_width()))
        return
    shown = [
        {
            "name": state.name,
            "in_force": state.in_force,
            "zone": state.approval.zone.id if state.approval else None,
            "stage": state.approval.zone.stage if state.approval else None,
            "light": state.approval.zone.light if state.approval else None,
            "by": state.approval.by if state.approval else None,
            "date": state.approval.date if state.approval else None,
            "until": state.approval.until if state.approval else None,
            "scope": state.approval.scope if state.approval else None,
            "changes": [{"kind": one.kind, "says": one.says, "matters": one.matters} for one in state.changes],
            "fault": state.fault,
        }
        for state in states
    ]
    typer.echo(json.dumps({"format": 1, "approvals": shown}, indent=2, ensure_ascii=False))
