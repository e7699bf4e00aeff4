"""What do schedule and amounts need to know of the job, and what does job.toml say of it?"""

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from analyzer.jobfile_table import as_number
from analyzer.plan.amounts_nouns import AmountsRequest, PartArea, Use
from analyzer.plan.layout import PlannedBoard, PlannedZone, Units
from analyzer.plan.schedule_nouns import Air, GritScale, ScheduleRequest, SheetTime, WorkingHours
from analyzer.plan_request import Candidate, Part, PlanRequest
from analyzer.recorded_value import seconds_of

ROOM_C: Final = 21.0  # of a lived-in room, where job.toml tells only its humidity (chosen)


def schedule_request(request: PlanRequest, parts: Sequence[Part]) -> ScheduleRequest:
    """Ask for the schedule of a trial: all treatments side by side, the same day.

    Parameters
    ----------
    request : PlanRequest
    parts : sequence of Part
        Of the piece: their woods, and what of them is glued.

    Returns
    -------
    ScheduleRequest
        A candidate's own wait comes before the table's.
    """
    recipe, air = request.recipe, request.conditions
    shop = _air(air.temperature_C, air.humidity_percent)
    site = None if air.use_humidity_percent is None else Air(ROOM_C, air.use_humidity_percent)
    opens, closes = request.hours
    dwell_h = _hours(recipe.get("dwell"))
    glue = [f"{part.id}: {part.glue_faces}" for part in parts if part.glue_faces]
    scale: GritScale = "CAMI" if recipe.get("grit_scale") == "CAMI" else "P"
    return ScheduleRequest(
        species=tuple(dict.fromkeys(part.species for part in parts)),
        treatments=tuple(dict.fromkeys(candidate.treatment for candidate in request.candidates)),
        stain=request.stain,
        topcoat=request.topcoat,
        start=datetime.combine(request.start, opens),
        sealer=recipe.get("sealer"),
        air=shop,
        site=site,
        wood_moisture_percent=air.wood_moisture_percent,
        hours=WorkingHours(opens, closes),
        grits=_grits(recipe.get("sanding")),
        grit_scale=scale,
        stain_coats=_coats(recipe, "stain_coats"),
        topcoat_coats=recipe.get("topcoat_coats"),
        method=request.applied or "",
        dwell_min=None if dwell_h is None else 60 * dwell_h,
        glue_faces="; ".join(glue) or None,
        sheet=tuple(_own_waits(request.candidates)),
    )


def trial_amounts_requests(
    request: PlanRequest, boards: Sequence[PlannedBoard], units: Units, topcoat_coats: int
) -> tuple[AmountsRequest, ...]:
    """Ask how much the test boards take: of each treatment for its zones, of stain and finish for all.

    Nothing is kept back of it: what the piece takes is mixed once the treatment is chosen.
    """
    every = [(board, zone) for board in boards for zone in board.zones]
    of_each = [
        AmountsRequest(
            _areas((b, z) for b, z in every if z.id == candidate.id), (_treatment(candidate),), units, retain_l=0.0
        )
        for candidate in request.candidates
    ]
    of_all = _finish(request, topcoat_coats)
    return (*of_each, *([AmountsRequest(_areas(every), of_all, units, retain_l=0.0)] if of_all else []))


def piece_amounts_request(
    request: PlanRequest, parts: Sequence[Part], units: Units, topcoat_coats: int
) -> AmountsRequest:
    """Ask how much the whole piece takes: of each treatment as if it were the chosen one, of stain and finish."""
    areas = tuple(PartArea(part.id, part.species, part.area_m2) for part in parts)
    return AmountsRequest(areas, (*map(_treatment, request.candidates), *_finish(request, topcoat_coats)), units)


def _hours(written: object) -> float | None:
    seconds = seconds_of(written)
    return None if seconds is None else seconds / 3600


def _air(temperature_C: float | None, humidity_percent: float | None) -> Air | None:
    return None if temperature_C is None or humidity_percent is None else Air(temperature_C, humidity_percent)


def _own_waits(candidates: Iterable[Candidate]) -> Iterable[SheetTime]:
    """Waits that job.toml gives; of several strengths of one treatment the longest: their boards go on together."""
    longest: dict[str, float] = {}
    for candidate in candidates:
        hours = _hours(candidate.recipe.get("wait"))
        if hours is not None:
            longest[candidate.treatment] = max(hours, longest.get(candidate.treatment, 0.0))
    return [SheetTime(treatment, hours) for treatment, hours in longest.items()]


def _grits(sanding: object) -> tuple[str, ...]:
    """Grits in their order, from [120, "P150"] or "120, 150, 180"."""
    items = sanding if isinstance(sanding, list) else re.split(r"[\s,;/]+", sanding) if isinstance(sanding, str) else []
    return tuple(text for text in (str(item).strip() for item in items) if re.fullmatch(r"(?:P|CAMI ?)?\d+", text))


def _coats(recipe: dict[str, Any], key: str) -> int:
    return max(1, int(recipe.get(key) or 1))


def _areas(zones: Iterable[tuple[PlannedBoard, PlannedZone]]) -> tuple[PartArea, ...]:
    """Areas of zones, by wood."""
    areas: dict[str, float] = {}
    for board, zone in zones:
        area_m2 = (zone.end_mm - zone.start_mm) * board.width_mm / 1e6
        areas[board.species] = areas.get(board.species, 0.0) + area_m2
    return tuple(PartArea(f"test boards of {wood}", wood, area_m2) for wood, area_m2 in areas.items())


def _treatment(candidate: Candidate) -> Use:
    recipe = candidate.recipe
    return Use(
        candidate.treatment,
        "treatment",
        coats=_coats(recipe, "treatment_coats"),
        can_solids_percent=as_number(recipe.get("parent_solids")),
        wanted_solids_percent=as_number(recipe.get("solids")),
    )


def _finish(request: PlanRequest, topcoat_coats: int) -> tuple[Use, ...]:
    """Stain, sealer and topcoat, those that are named."""
    recipe = request.recipe
    method = request.applied or "brushed"
    stained = recipe.get("method")
    uses = []
    if request.stain:
        way = stained if stained in ("wiped", "brushed", "sprayed") else "wiped"
        uses.append(Use(request.stain, "stain", coats=_coats(recipe, "stain_coats"), method=way))
    if recipe.get("sealer"):
        uses.append(Use(recipe["sealer"], "sealer", coats=_coats(recipe, "sealer_coats"), method=method))
    if request.topcoat:
        uses.append(Use(request.topcoat, "topcoat", coats=topcoat_coats, method=method))
    return tuple(uses)
