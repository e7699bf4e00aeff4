"""Which rows stand in the tables of the report: differences, zones and photos?"""

from dataclasses import dataclass

from analyzer.job import Job
from analyzer.report import words
from analyzer.report.marks import Mark, severity_mark
from analyzer.report.photos import Found, SeenPhoto
from analyzer.report.swatches import hex_colours, zone_result
from analyzer.results import DifferenceResult, PhotoResult, Results, ZoneResult

LOCATED = {"strips": "edge strips", "corners": "corners given", "outline": "the board's outline", None: "–"}
CORRECTED = {  # by what the colours of a photo were corrected; older results do not say
    "gray card": "the gray card",
    "step card": "the step card",
    "colour chart": "the colour chart",
    "stored": "an earlier photo of a chart or step card, and the gray card",
    None: "",
}


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """Zone `b` against zone `a`."""

    a: str
    b: str
    a_colour: tuple[str, ...]
    b_colour: tuple[str, ...]
    taken: str
    de00: str
    says: str
    parts: tuple[str, ...]  # ΔL*, Δa*, Δb*, ΔC*, ΔH*, ΔE*ab
    grade: str  # of the gray scale


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One zone at one stage in one light."""

    id: str
    colour: tuple[str, ...]
    treatment: str
    wood: str
    taken: str
    lab: tuple[str, ...]
    blotch: str
    added: str  # since the board was photographed bare; "" where it was not
    figure: str
    patch: str
    area: str
    left_out: str


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding, said to the finisher."""

    mark: Mark
    about: str  # the boards, empty when it is about the whole photo
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """One photo."""

    file: str
    boards: str
    taken: str
    usable: bool
    scale: str
    located: str
    colour: str  # by what it was corrected
    light: str
    sha256: str
    findings: tuple[FindingRow, ...]


def is_against_control(item: DifferenceResult, results: Results) -> bool:
    """Pick the most certain differences: a treated zone against its own board's control, seen in the same photo."""
    a, b = (zone_result(results, path, item.stage, item.light) for path in (item.a, item.b))
    if a is None or b is None:
        return False
    return a.board == b.board and "none" in (a.treatment, b.treatment) and bool(set(a.photos) & set(b.photos))


def difference_row(item: DifferenceResult, results: Results) -> DifferenceRow:
    """Fill the row of one difference."""
    a, b = (zone_result(results, path, item.stage, item.light) for path in (item.a, item.b))
    return DifferenceRow(
        a=item.a,
        b=item.b,
        a_colour=hex_colours([a.lab] if a else []),
        b_colour=hex_colours([b.lab] if b else []),
        taken=words.taken(item.stage, item.light),
        de00=words.colour(item.de00, item.de00_u95),
        says=words.direction(item.dl, item.da, item.db),
        parts=tuple(words.number(part, 1) for part in (item.dl, item.da, item.db, item.dc, item.dh, item.de76)),
        grade=words.gray_scale(item.grade),
    )


def zone_row(zone: ZoneResult, job: Job) -> ZoneRow:
    """Fill the row of one zone, lengths in the job's units."""
    u95 = zone.lab_u95 or (None, None, None)
    return ZoneRow(
        id=zone.id,
        colour=hex_colours([zone.lab]),
        treatment=", ".join(part for part in (words.treatment_name(zone.treatment), zone.stain) if part),
        wood=zone.species,
        taken=words.taken(zone.stage, zone.light),
        lab=tuple(words.measured(value, u, 1) for value, u in zip(zone.lab, u95, strict=True)),
        blotch=words.blotch(zone.blotch, zone.blotch_u95),
        added="" if zone.added_blotch is None else words.blotch(zone.added_blotch, zone.added_blotch_u95),
        figure="–" if zone.figure is None else words.number(zone.figure, words.BLOTCH_DECIMALS),
        patch=words.length(zone.patch_mm, job.units),
        area=words.area(zone.area_mm2, job.units),
        left_out=words.percent(zone.masked),
    )


def photo_row(photo: SeenPhoto, job: Job) -> PhotoRow:
    """Fill the row of one photo and its findings."""
    first = next((entry for entry in photo.entries if entry.usable), photo.entries[0])
    return PhotoRow(
        file=photo.file,
        boards=_boards(photo.boards),
        taken=words.taken(first.stage, first.light),
        usable=photo.usable,
        scale=words.scale(first.mm_per_px, job.units),
        located=LOCATED[first.located_by],
        colour=_corrected(first),
        light=_light_of(first),
        sha256=first.sha256 or "not read",
        findings=tuple(_finding_row(found) for found in photo.findings),
    )


def _corrected(photo: PhotoResult) -> str:
    """By what the colours were corrected, and how well a chart does on patches that it was not fitted to."""
    by = CORRECTED[photo.correction]
    if photo.chart is None:
        return by
    left_out, wood = (words.number(pair[0], words.COLOUR_DECIMALS) for pair in (photo.chart.left_out, photo.chart.wood))
    return f"{by}, to {left_out} ΔE00 on left-out patches, about {wood} expected on wood"


def _light_of(photo: PhotoResult) -> str:
    """How the light varies over the board, and how well the map of it holds."""
    if photo.light_range is None:
        return "not mapped"
    varies = f"varies by {words.percent(photo.light_range)}"
    if photo.light_residual is None:
        return varies
    return f"{varies}, mapped to {words.percent(photo.light_residual)}"


def _finding_row(found: Found) -> FindingRow:
    about = f"{_boards(found.boards)}: " if found.boards else ""
    return FindingRow(severity_mark(found.finding.severity), about, found.finding.message, found.finding.remedy)


def _boards(boards: tuple[str, ...]) -> str:
    return f"{'board' if len(boards) == 1 else 'boards'} {' and '.join(boards)}"
