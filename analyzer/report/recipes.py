"""How was each zone made, and what was not written down?  Every field of the recipe, in a finisher's words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from analyzer.job import Board, Job, Zone
from analyzer.recipe_fields import FIELDS, Kind, RecipeField, recorded
from analyzer.report import words
from analyzer.results import Results

UNITS: Final[dict[Kind, str]] = {"percent": "%", "celsius": "°C", "film": "µm", "sheen": "gloss units"}  # of a number
UNTOLD: Final = "unknown"  # a treatment of which nothing else can be known: a sample that somebody brought


@dataclass(frozen=True, slots=True)
class RecipeBlock:
    """Zones that were made alike."""

    name: str
    zones: str
    facts: tuple[tuple[str, str], ...]  # in the order of the work
    missing: tuple[str, ...]  # what a re-order would want to know, but for what is missing everywhere


@dataclass(frozen=True, slots=True)
class Recipes:
    """All recipes of a job."""

    blocks: tuple[RecipeBlock, ...]
    missing: tuple[str, ...]  # recorded of none of them


def recipes_of(job: Job, results: Results) -> Recipes:
    """Fill one block for each recipe, those of the best verdicts first.

    Parameters
    ----------
    job : Job
        Its zones, with their recipes and circumstances.
    results : Results
        Ranks of the treatments.
    """
    alike: dict[str, list[tuple[Board, Zone, dict[str, Any]]]] = {}
    for board in job.boards:
        for zone in board.zones:
            facts = recorded(board.circumstances, {**zone.recipe, **zone.circumstances})
            key = repr((zone.treatment, zone.stain, board.species, facts))
            alike.setdefault(key, []).append((board, zone, facts))
    ranks = _ranks(results)
    ordered = sorted(alike.values(), key=lambda group: min(ranks.get(_path(*one[:2]), len(ranks)) for one in group))
    blocks = [_block(group) for group in ordered]
    recorded_names = {name for block in blocks for name, _ in block.facts}
    lacking = dict.fromkeys(name for block in blocks for name in block.missing)
    everywhere = [name for name in lacking if name not in recorded_names]
    return Recipes(
        blocks=tuple(
            replace(block, missing=tuple(name for name in block.missing if name not in everywhere)) for block in blocks
        ),
        missing=tuple(everywhere),
    )


def said(field: RecipeField, value: Any) -> str:  # noqa: ANN401 - whatever the job file holds for it
    """Say the value of a recipe field as a finisher would."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(said(field, one) for one in value)
    if isinstance(value, int | float):
        if field.kind == "dilution":
            return f"{value:g} parts of thinner to one"
        return f"{value:g} {UNITS[field.kind]}" if field.kind in UNITS else f"{value:g}"
    return str(value)


def _ranks(results: Results) -> dict[str, int]:
    """Place of each zone in the order of the verdicts, 0 the best."""
    order = {"use": 0, "cannot tell": 1, "do not use": 2}
    ranked = sorted(results.verdicts, key=lambda verdict: (order[verdict.overall], verdict.rank))
    ranks: dict[str, int] = {}
    for place, verdict in enumerate(ranked):
        for path in verdict.zones:
            ranks.setdefault(path, place)
    return ranks


def _block(group: list[tuple[Board, Zone, dict[str, Any]]]) -> RecipeBlock:
    board, zone, facts = group[0]
    treatment = words.sentence(words.treatment_name(zone.treatment))
    first = [("wood", board.species), ("pre-treatment", zone.treatment), ("stain", zone.stain or "")]
    told = [(FIELDS[key].words, said(FIELDS[key], value)) for key, value in facts.items()]
    missing = () if zone.treatment == UNTOLD else tuple(_missing(zone, facts))
    return RecipeBlock(
        name=f"{treatment} on {board.species}",
        zones=", ".join(_path(board, zone) for board, zone, _ in group),
        facts=(*((name, value) for name, value in first if value), *told),
        missing=missing,
    )


def _missing(zone: Zone, facts: Mapping[str, Any]) -> Iterable[str]:
    """Fields that say nothing, but for those that this zone cannot have."""
    no_treatment = zone.treatment == "none"
    without = NO_TREATMENT if no_treatment else frozenset()
    if zone.stain is None:
        yield "stain"
    for key, field in FIELDS.items():
        if key not in facts and key not in without and key not in OPTIONAL:
            yield field.words


# What a zone without pre-treatment has none of.
NO_TREATMENT: Final = frozenset({"parent_solids", "solids", "treatment_coats", "wait", "wait_ended", "scuff"})
# Recorded only where there is something to say.
OPTIONAL: Final = frozenset({"notes", "touch_up", "glaze", "masked", "glue", "supplier", "sapwood", "order", "kept"})


def _path(board: Board, zone: Zone) -> str:
    return f"{board.id}/{zone.id}"
