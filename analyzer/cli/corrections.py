"""`evenboard corrections`."""

import json
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

import analyzer
from analyzer.cli import WRONG_USAGE
from analyzer.cli.talk import printable, say

if TYPE_CHECKING:
    from analyzer.corrections import KeptCorrection


class Action(StrEnum):
    """What is to be done with them."""

    LIST = "list"
    SHOW = "show"
    REMOVE = "remove"


def corrections(
    action: Annotated[Action, typer.Argument(metavar="…", help="list, show or remove.")] = Action.LIST,
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="Which one, as the list names it.")] = None,
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print the same as JSON.")] = False,
) -> None:
    """List, show or remove the corrections kept for later jobs.

    A correction is what a photo of a chart or step card told of a camera in a light. They are kept by
    `evenboard measure DIR --keep-correction`, and used where a job says `stored = true` under [correction].
    """
    if (name is None) != (action is Action.LIST):
        say("Name one to show or remove: evenboard corrections show NAME." if name is None else "list takes no name.")
        raise typer.Exit(WRONG_USAGE)
    if name is None:
        _list(analyzer.kept_corrections(), as_json=as_json)
        return
    if action is Action.SHOW:
        found = analyzer.find_correction(name)
        lines = _told(found)
    else:
        found = analyzer.remove_correction(name)
        lines = [f"Removed: {printable(_line(found))}"]
    typer.echo(_json(_facts(found)) if as_json else "\n".join(lines))


def _list(found: tuple["KeptCorrection", ...], *, as_json: bool) -> None:
    if as_json:
        typer.echo(_json({"folder": str(analyzer.corrections_folder()), "corrections": [_facts(one) for one in found]}))
        return
    for one in found:
        typer.echo(printable(_line(one)))
    if not found:
        say("None is kept yet. evenboard measure DIR --keep-correction keeps that of a job with a chart or step card.")
    say(f"Folder: {analyzer.corrections_folder()}")


def _line(one: "KeptCorrection") -> str:
    if one.stored is None:
        return f"{one.name}: cannot be used, {one.fault}"
    setup, source = one.stored.setup, one.stored.source
    lens = f" ({setup.lens})" if setup.lens else ""
    taken = f"taken {source.taken[:10]}" if source.taken else f"kept {one.kept}"
    return f"{one.name}: {setup.camera}{lens}, light {setup.light}, {taken}; {one.stored.residual.words}"


def _told(one: "KeptCorrection") -> list[str]:
    if one.stored is None:
        return [printable(_line(one)), f"File: {one.path}"]
    stored = one.stored
    curve = stored.tone.curve
    flare = sum(curve.flare) / 3
    tone = f"veil {100 * flare:.1f} % of white, contrast {curve.gamma:.2f}, S {curve.s_curve:.2f}"
    lines = [
        f"Name:      {one.name}",
        f"Camera:    {stored.setup.camera}",
        f"Lens:      {stored.setup.lens or 'not named'}",
        f"Light:     {stored.setup.light or 'not named'}",
        f"Profile:   {stored.setup.profile}",
        f"Photo:     {stored.source.file}, taken {stored.source.taken or 'at an unknown time'}",
        f"           sha256 {stored.source.sha256}",
        f"Reference: {stored.source.reference}",
        f"Residual:  {stored.residual.words}; 95 % of them within {stored.residual.p95:.1f} {stored.residual.unit}",
        f"Tone:      {tone if stored.tone.is_usable else 'as the profile says; ' + stored.tone.why_not}",
        f"Colours:   {'as the profile says' if stored.primaries is None else 'a matrix of its own'}",
        f"Kept:      {one.kept}",
        f"File:      {one.path}",
    ]
    return [printable(line) for line in lines]


def _facts(one: "KeptCorrection") -> dict[str, Any]:
    """What is told of one, as JSON; all numbers are in its file."""
    facts: dict[str, Any] = {"name": one.name, "file": str(one.path), "kept": one.kept, "fault": one.fault}
    if one.stored is None:
        return facts
    setup, source, residual = one.stored.setup, one.stored.source, one.stored.residual
    return facts | {
        "camera": setup.camera,
        "lens": setup.lens,
        "light": setup.light,
        "profile": setup.profile,
        "made_by": one.stored.made_by,
        "reference": source.reference,
        "photo": {"file": source.file, "sha256": source.sha256, "taken": source.taken},
        "residual": {"mean": residual.mean, "p95": residual.p95, "unit": residual.unit, "wood": residual.wood},
    }


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False)
