"""How does the unevenness of each zone look?  Figures beside the verdicts, each with what it means in one line."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from analyzer.appearance import ARM_M, LAP_LIMIT, ROOM_M, VISIBLE_STEP
from analyzer.evenness import OCTAVES_MM
from analyzer.report import words
from analyzer.results import Results, ZoneResult
from analyzer.zone_ratios import LEAST_FIGURE


@dataclass(frozen=True, slots=True)
class LookColumn:
    """One figure: what it is called, and what it means."""

    heading: str
    means: str


@dataclass(frozen=True, slots=True)
class LookRow:
    """One zone."""

    zone: str
    values: tuple[str, ...]  # one a column
    says: str  # what the lightness of the ground has to do with it; "" where nothing is to be told


@dataclass(frozen=True, slots=True)
class LookGroup:
    """Zones at one stage in one light."""

    taken: str
    rows: tuple[LookRow, ...]


@dataclass(frozen=True, slots=True)
class LookTable:
    """All zones of which more is known than the blotch index."""

    columns: tuple[LookColumn, ...]
    groups: tuple[LookGroup, ...]


def look_table(results: Results, units: words.Units) -> LookTable:
    """Fill the table: zones at the stages that were judged, or all where none was. Columns without any value go."""
    judged = {verdict.stage for verdict in results.verdicts}
    zones = [zone for zone in results.zones if (zone.stage in judged or not judged) and zone.blotch is not None]
    kept = [(column, values) for column, values in _columns(zones, units) if any(value != "–" for value in values)]
    if len(kept) <= 1:  # the index alone, which stands with the zones
        return LookTable((), ())
    groups: dict[str, list[LookRow]] = {}
    for i, zone in enumerate(zones):
        row = LookRow(zone.id, tuple(values[i] for _, values in kept), lightness_says(zone, results.zones))
        groups.setdefault(words.taken(zone.stage, zone.light), []).append(row)
    return LookTable(
        columns=tuple(column for column, _ in kept),
        groups=tuple(LookGroup(taken, tuple(rows)) for taken, rows in groups.items()),
    )


def lightness_says(zone: ZoneResult, zones: Iterable[ZoneResult]) -> str:
    """Tell whether a zone looks blotchier, or calmer, than its control only for being lighter or darker.

    The same uneven take-up of stain shows more on a lighter ground. `blotch_levelled` is the zone's blotch as it would
    be on ground as light as the control's. A difference counts where it is larger than its 95 %.

    Parameters
    ----------
    zone : ZoneResult
    zones : iterable of ZoneResult
        All of the job, among which the controls of the same board are.

    Returns
    -------
    str
        Words, or "" where the lightness changes nothing, or where it cannot be told.
    """
    controls = [
        one
        for one in zones
        if (one.board, one.stage, one.light, one.treatment) == (zone.board, zone.stage, zone.light, "none")
        and one.blotch is not None
    ]
    if not controls or zone.treatment == "none" or not zone.blotch or zone.blotch_levelled is None:
        return ""
    control = sum(one.blotch or 0.0 for one in controls) / len(controls)
    u95 = max((one.blotch_u95 or 0.0 for one in controls), default=0.0)
    seen = _compared(zone.blotch, zone.blotch_u95 or 0.0, control, u95)
    scale = zone.blotch_levelled / zone.blotch
    levelled = _compared(zone.blotch_levelled, (zone.blotch_u95 or 0.0) * scale, control, u95)
    ground = "darker" if scale > 1 else "lighter"  # on darker ground the same share of light is less in L*
    if seen == levelled:
        return ""
    if seen == "more":
        return f"looks blotchier than its control because it is {ground}, not for being less even"
    if levelled == "more":
        return f"takes stain less evenly than its control, which its {ground} ground hides"
    if seen == "less":
        return f"looks calmer than its control because it is {ground}, not for being more even"
    return f"takes stain more evenly than its control, which its {ground} ground hides"


def _compared(blotch: float, u95: float, control: float, control_u95: float) -> str:
    if abs(blotch - control) <= math.hypot(u95, control_u95):
        return "alike"
    return "more" if blotch > control else "less"


def _columns(zones: list[ZoneResult], units: words.Units) -> list[tuple[LookColumn, list[str]]]:
    L = words.BLOTCH_DECIMALS
    step = words.number(VISIBLE_STEP, 0)

    def column(heading: str, means: str, values: Iterable[str]) -> tuple[LookColumn, list[str]]:
        return LookColumn(heading, means), list(values)

    def number(value: float | None) -> str:
        return "–" if value is None else words.number(value, L)

    bands = [
        column(
            f"waves {words.lengths(*waves, units)}",
            "" if i else "blotch by the size of its waves, L*: from fine specks to wide clouds",
            (number(zone.bands[i] if zone.bands else None) for zone in zones),
        )
        for i, waves in enumerate(OCTAVES_MM)
    ]
    return [
        column("blotch", "the index that is judged, L*", (number(zone.blotch) for zone in zones)),
        *bands,
        column(
            "share darker",
            f"of the area, darker than its surroundings by more than {step} L*, a step that can be seen",
            (words.percent(zone.visible_share[0]) if zone.visible_share else "–" for zone in zones),
        ),
        column(
            "share lighter",
            "the same, lighter",
            (words.percent(zone.visible_share[1]) if zone.visible_share else "–" for zone in zones),
        ),
        column(
            "at arm's length",
            f"blotch weighed as the eye does from {words.distance(ARM_M, units)}; on another scale than the index",
            (number(zone.blotch_arm) for zone in zones),
        ),
        column(
            "across the room",
            f"the same from {words.distance(ROOM_M, units)}: fine patches are lost, wide ones stay",
            (number(zone.blotch_room) for zone in zones),
        ),
        column(
            "drift",
            "lightness from end to end: along the grain to the right / across it downwards, L*; not counted as blotch",
            (_drift(zone.drift) for zone in zones),
        ),
        column(
            "lap marks",
            f"bands across the grain, L*; above {words.number(LAP_LIMIT, 1)} they may be brush or pad overlaps",
            (number(zone.lap) for zone in zones),
        ),
        column(
            "at the control's lightness",
            "blotch as it would be on ground as light as that of the board's untreated control, L*",
            (number(zone.blotch_levelled) for zone in zones),
        ),
        column(
            "figure kept",
            "figure now over figure on the bare wood: × 1.00 is all of it"
            f" (told where the bare figure was {words.number(LEAST_FIGURE, 1)} L* or more)",
            ("–" if zone.figure_kept is None else f"× {words.number(zone.figure_kept, 2)}" for zone in zones),
        ),
        column(
            "bare blotch",
            "of the same zone before it was stained, L*",
            (_pair(zone.bare_blotch, zone.bare_blotch_u95) for zone in zones),
        ),
        column(
            "added blotch",
            "what is left of the blotch when that of the bare wood is taken out, L*",
            (_pair(zone.added_blotch, zone.added_blotch_u95) for zone in zones),
        ),
    ]


def _pair(value: float | None, u95: float | None) -> str:
    return "–" if value is None else words.blotch(value, u95)


def _drift(drift: tuple[float, float] | None) -> str:
    if drift is None:
        return "–"
    along, across = (f"+{words.number(part, 1)}" if part >= 0.05 else words.number(part, 1) for part in drift)
    return f"{along} / {across}"
