"""Job folders that look measured, invented, without photos: for what keeps and finds them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np

from analyzer.report.jsonfile import results_json
from analyzer.results import AnswerResult, Results, Stage, ToolResult, VerdictResult, ZoneResult


@dataclass(frozen=True)
class Recorded:
    """One zone of an invented job."""

    lab: tuple[float, float, float]
    id: str = "A/z"
    species: str = "hard maple"
    treatment: str = "shellac washcoat"
    stain: str | None = "brown oil stain"
    stage: Stage = "topcoated"
    light: str | None = "shop"
    lab_u95: tuple[float, float, float] | None = (1.0, 0.6, 0.8)
    blotch: float | None = 0.8
    overall: Literal["use", "do not use", "cannot tell"] | None = "cannot tell"
    recipe: dict[str, Any] = field(default_factory=dict)


def write_recorded(
    folder: Path,
    zones: Sequence[Recorded],
    *,
    name: str = "Hall bench",
    customer: str | None = "Ottilie Brandvold",
    board_facts: str = "",
    photos: Sequence[str] = ("photos/a.jpg",),  # named, not made
) -> Path:
    """Write the two files; one board for each board id."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(_job_file(zones, name, customer, board_facts, photos), encoding="utf-8")
    (folder / "results.json").write_bytes(results_json(_results(zones, name, customer, photos)))
    return folder


def shop_zones(count: int, seed: int = 1) -> list[Recorded]:
    """Zones of the colours that stained woods have, from pale maple to dark walnut."""
    random = np.random.default_rng(seed)
    L = random.uniform(18, 82, count)
    C = random.uniform(8, 40, count)
    h = np.radians(random.normal(65, 12, count))
    species = ("hard maple", "white oak", "red oak", "black walnut", "cherry")
    treatments = ("none", "shellac washcoat", "glue size", "stain conditioner")
    return [
        Recorded(
            (float(L[k]), float(C[k] * np.cos(h[k])), float(C[k] * np.sin(h[k]))),
            id=f"A/z{k}",
            species=species[k % len(species)],
            treatment=treatments[k % len(treatments)],
            blotch=float(random.uniform(0.3, 2.5)),
        )
        for k in range(count)
    ]


def _job_file(
    zones: Sequence[Recorded], name: str, customer: str | None, board_facts: str, photos: Sequence[str]
) -> str:
    lines = ["format = 1", "[job]", f'name = "{name}"', f'customer = "{customer}"' if customer else ""]
    lines += ["[target]", "lab = [40, 15, 25]"]
    boards: dict[str, list[Recorded]] = {}
    for zone in zones:
        boards.setdefault(zone.id.split("/")[0], []).append(zone)
    for board, of_board in boards.items():
        lines += ["[[board]]", f'id = "{board}"', f'species = "{of_board[0].species}"', "length = 9000", "width = 150"]
        lines.append(board_facts)
        seen: set[str] = set()
        for zone in of_board:
            zone_id = zone.id.split("/")[1]
            if zone_id in seen:
                continue
            at = 50 * len(seen)
            seen.add(zone_id)
            lines += ["[[board.zone]]", f'id = "{zone_id}"', f'treatment = "{zone.treatment}"']
            lines += [f"span = [{at}, {at + 50}]"] if at < 8950 else ["span = [0, 50]"]
            lines += [f'stain = "{zone.stain}"'] if zone.stain else []
            lines += [f"{key} = {_toml(value)}" for key, value in zone.recipe.items()]
    for photo in photos if zones else ():
        lines += ["[[photo]]", f'file = "{photo}"', f'board = "{zones[0].id.split("/")[0]}"', 'stage = "topcoated"']
    return "\n".join(line for line in lines if line) + "\n"


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def _results(zones: Sequence[Recorded], name: str, customer: str | None, photos: Sequence[str]) -> Results:
    return Results(
        format=1,
        tool=ToolResult("evenboard", "0.1.0", "invented"),
        job={"job": {"name": name, "customer": customer}},
        photos=(),
        zones=tuple(
            ZoneResult(
                id=zone.id,
                board=zone.id.split("/")[0],
                zone=zone.id.split("/")[1],
                stage=zone.stage,
                light=zone.light,
                species=zone.species,
                treatment=zone.treatment,
                stain=zone.stain,
                lab=zone.lab,
                lab_u95=zone.lab_u95,
                blotch=zone.blotch,
                blotch_u95=None if zone.blotch is None else 0.2,
                patch_mm=None,
                figure=None,
                area_mm2=7500.0,
                masked=0.0,
                photos=tuple(photos),
            )
            for zone in zones
        ),
        differences=(),
        verdicts=tuple(_verdict(zone) for zone in zones if zone.overall is not None),
        answer=AnswerResult(None, None, None, "Invented."),
    )


def _verdict(zone: Recorded) -> VerdictResult:
    assert zone.overall is not None
    return VerdictResult(
        treatment=zone.treatment,
        stain=zone.stain,
        species=zone.species,
        stage=zone.stage,
        light=zone.light,
        zones=(zone.id,),
        boards=1,
        rank=1,
        de00=1.5,
        de00_u95=0.5,
        colour="cannot tell",
        blotch=zone.blotch,
        blotch_u95=None,
        evenness="cannot tell",
        overall=zone.overall,
        advice="Invented.",
    )
