"""What does the report say of each treatment's effect, of doses, and of all zones against all?"""

from dataclasses import dataclass

from analyzer.report import words
from analyzer.results import DosePointResult, DoseResult, EffectResult, MatrixResult, Results

CLOSE_TO_0 = 0.001  # smaller p-values are only said to be so
READABLE = 12  # zones of a table of all against all; more stand in results.json only


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One treatment against the controls of its own boards."""

    name: str
    detail: str
    says: str
    blotch: str  # its change
    ratio: str
    de00: str
    parts: tuple[str, ...]  # ΔL*, Δa*, Δb*
    blotch_chance: str  # adjusted p-values
    colour_chance: str


@dataclass(frozen=True, slots=True)
class EffectGroup:
    """Treatments whose p-values were adjusted for each other: one species, stage and light."""

    heading: str
    rows: tuple[EffectRow, ...]


@dataclass(frozen=True, slots=True)
class DosePointRow:
    """One dose that was tried."""

    dose: str
    boards: str
    de00: str
    colour: str
    blotch: str
    evenness: str


@dataclass(frozen=True, slots=True)
class DoseBlock:
    """One treatment in several doses."""

    heading: str
    says: str
    rows: tuple[DosePointRow, ...]


@dataclass(frozen=True, slots=True)
class MatrixTable:
    """All zones of one stage and light against all."""

    heading: str
    zones: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]  # CIEDE2000, below the diagonal; in parentheses where it may be none


def effect_groups(results: Results) -> tuple[EffectGroup, ...]:
    """Fill one table for each species, stage and light with treatments beside controls."""
    grouped: dict[str, list[EffectResult]] = {}
    for effect in results.effects:
        heading = f"{effect.species}: {words.taken(effect.stage, effect.light)}"
        grouped.setdefault(heading, []).append(effect)
    return tuple(EffectGroup(heading, tuple(_effect(one) for one in group)) for heading, group in grouped.items())


def dose_blocks(results: Results) -> tuple[DoseBlock, ...]:
    """Fill one block for each treatment that was tried in several doses."""
    return tuple(_dose(item) for item in results.doses)


def matrix_tables(results: Results) -> tuple[MatrixTable, ...]:
    """Fill the tables that are small enough to read, of stages that were judged or of all where none was."""
    judged = {verdict.stage for verdict in results.verdicts}
    return tuple(
        _matrix(item)
        for item in results.matrices
        if 2 < len(item.zones) <= READABLE and (item.stage in judged or not judged)
    )


def repeats_in_words(results: Results) -> str:
    """Say how closely repeated photos agree; empty without any."""
    return words.sentence(f"{results.repeatability.says}.") if results.repeatability else ""


def _effect(effect: EffectResult) -> EffectRow:
    u95 = effect.dlab_u95 or (None, None, None)
    parts = zip((effect.dl, effect.da, effect.db), u95, strict=True)
    return EffectRow(
        name=words.treatment_name(effect.treatment, effect.dose),
        detail=words.sentence(", ".join(part for part in (effect.stain, words.count(effect.boards, "board")) if part)),
        says=words.sentence(f"{effect.says}."),
        blotch=words.blotch(effect.blotch_change, effect.blotch_change_u95),
        ratio=_ratio(effect),
        de00=words.colour(effect.de00, effect.de00_u95),
        parts=tuple(words.measured(part, u, 1) for part, u in parts),
        blotch_chance=_chance(effect.blotch_p_holm),
        colour_chance=_chance(effect.colour_p_holm),
    )


def _ratio(effect: EffectResult) -> str:
    if effect.blotch_ratio is None:
        return "–"
    if effect.blotch_ratio_range is None:
        return f"× {words.number(effect.blotch_ratio, 2)}"
    low, high = (words.number(end, 2) for end in effect.blotch_ratio_range)
    return f"× {words.number(effect.blotch_ratio, 2)} ({low} to {high})"


def _chance(p: float | None) -> str:
    if p is None:
        return "–"
    return f"< {CLOSE_TO_0:g}" if p < CLOSE_TO_0 else words.number(p, 3)


def _dose(item: DoseResult) -> DoseBlock:
    name = ", ".join(part for part in (words.treatment_name(item.treatment), item.stain) if part)
    return DoseBlock(
        heading=f"{name} on {item.species}: {words.taken(item.stage, item.light)}",
        says=words.sentence(f"{item.says}."),
        rows=tuple(_point(point) for point in item.points),
    )


def _point(point: DosePointResult) -> DosePointRow:
    return DosePointRow(
        dose=point.words,
        boards=words.count(point.boards, "board"),
        de00=words.colour(point.de00, point.de00_u95),
        colour=point.colour,
        blotch=words.blotch(point.blotch, point.blotch_u95),
        evenness=point.evenness,
    )


def _matrix(item: MatrixResult) -> MatrixTable:
    rows = tuple(tuple(_cell(item, row, column) for column in range(len(item.zones))) for row in range(len(item.zones)))
    return MatrixTable(words.taken(item.stage, item.light), item.zones, rows)


def _cell(item: MatrixResult, row: int, column: int) -> str:
    """One distance, once: above the diagonal the same would stand again."""
    if column >= row:
        return ""
    de00 = item.de00[row][column]
    if de00 is None:
        return "–"
    text = words.number(de00, words.COLOUR_DECIMALS)
    u95 = item.de00_u95[row][column] if item.de00_u95 else None
    return text if u95 is None or de00 > u95 else f"({text})"
