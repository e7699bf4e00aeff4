"""`evenboard compare`."""

import json
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

import analyzer
from analyzer.cli.talk import printable, terminal_width

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analyzer.record.recipe_comparison import ComparedField, RecipeComparison


def compare(
    zones: Annotated[
        tuple[str, str],
        typer.Argument(metavar="A B", help="Two job folders, or a zone of each: DIR:BOARD/ZONE."),
    ],
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Print the same as JSON.")] = False,
) -> None:
    """Compare two recipes: what differs, what was not recorded.

    Two zones are compared as they are; of two jobs, the zones of each pre-treatment that both have.
    """
    found = analyzer.compare_records(*zones)
    if as_json:
        typer.echo(json.dumps(asdict(found), indent=2, ensure_ascii=False))
        return
    width = terminal_width()
    for recipe in found.recipes:
        typer.echo("\n".join(_lines(recipe, width)) + "\n")
    for side, names in (("first", found.only_first), ("second", found.only_second)):
        if names:
            typer.echo(textwrap.fill(printable(f"Only in the {side}: {', '.join(names)}."), width))


def _lines(recipe: "RecipeComparison", width: int) -> "Iterator[str]":
    yield from textwrap.wrap(printable(f"First: {recipe.first}. Second: {recipe.second}."), width)
    differs, *others = recipe.says
    if recipe.differs:
        yield "What differs:"
        yield from _table(recipe.differs, width)
    else:
        yield differs
    for sentence in others:
        yield from textwrap.wrap(printable(sentence), width)
    if recipe.agrees:
        told = "; ".join(f"{field.words} {field.first}" for field in recipe.agrees)
        yield from textwrap.wrap(printable(f"The same: {told}."), width)


def _table(fields: "tuple[ComparedField, ...]", width: int) -> "Iterator[str]":
    """What differs, side by side: steps first, for they can be repeated, then what just was so that day."""
    name = max(len(field.words) for field in fields)
    room = max((width - name - 6) // 2, 8)
    for field in sorted(fields, key=lambda field: not field.is_step):
        first, second = (textwrap.wrap(printable(text or ""), room) or [""] for text in (field.first, field.second))
        for line in range(max(len(first), len(second))):
            cells = (
                field.words if line == 0 else "",
                *(side[line] if line < len(side) else "" for side in (first, second)),
            )
            yield f"  {cells[0]:{name}}  {cells[1]:{room}}  {cells[2]}".rstrip()
