"""What stands on the report page?  One dataclass per block, filled here; the template only lays them out."""

from dataclasses import dataclass

from analyzer.job import Job
from analyzer.report import words
from analyzer.report.cautions import Caution, cautions_of, closing_words
from analyzer.report.charts import Chart, Row, chart
from analyzer.report.marks import Mark, colour_mark, evenness_mark, overall_mark, severity_mark
from analyzer.report.swatches import hex_colours, target_Labs, zone_result
from analyzer.results import AnswerResult, DifferenceResult, PhotoResult, Results, ToolResult, VerdictResult, ZoneResult

LOCATED = {"strips": "edge strips", "corners": "corners given", "outline": "the board's outline", None: "–"}
REFERENCES = {"gray-card": "gray card", "step-card": "gray step card", "chart-24": "colour chart"}
SEVERITIES = ("unusable", "warning", "note")


@dataclass(frozen=True, slots=True)
class AnswerBlock:
    """The top of the page. `known` and `settle` are filled when no treatment can be named."""

    heading: str
    sentence: str
    swatches: tuple[str, ...]
    target: tuple[str, ...]
    known: tuple[str, ...]
    settle: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """One treatment."""

    name: str
    detail: str  # stain and number of boards
    swatches: tuple[str, ...]  # one a zone, in the order of the zones
    target: tuple[str, ...]
    colour: str
    colour_mark: Mark
    blotch: str
    evenness_mark: Mark
    overall_mark: Mark
    advice: str


@dataclass(frozen=True, slots=True)
class VerdictGroup:
    """Treatments that may be compared: one stage in one light on the same wood."""

    heading: str
    rows: tuple[VerdictRow, ...]
    charts: tuple[Chart, ...]


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
    figure: str
    patch: str
    area: str
    left_out: str


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding, said to the finisher."""

    mark: Mark
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """One photo of one board."""

    file: str
    board: str
    taken: str
    usable: bool
    scale: str
    located: str
    light: str
    sha256: str
    findings: tuple[FindingRow, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """Everything on the page but the pictures of the boards."""

    title: str
    customer: str | None
    facts: tuple[str, ...]
    answer: AnswerBlock
    groups: tuple[VerdictGroup, ...]
    tolerance: str
    blotch_limit: str
    lively: bool
    is_range: bool  # the target has limits, not one colour
    has_chart: bool
    reference: str  # what lay in the photos
    against_control: tuple[DifferenceRow, ...]
    other_differences: tuple[DifferenceRow, ...]
    zones: tuple[ZoneRow, ...]
    photos: tuple[PhotoRow, ...]
    cautions: tuple[Caution, ...]
    closing: str
    tool: ToolResult


def page_of(job: Job, results: Results) -> Page:
    """Fill everything on the page but the pictures of the boards.

    Parameters
    ----------
    job : Job
        Names, target, limits and units.
    results : Results
        The answer.
    """
    groups = tuple(_group(members, job, results) for members in _comparable(results.verdicts))
    against_control = [item for item in results.differences if _is_against_control(item, results)]
    others = [item for item in results.differences if item not in against_control]
    blotch_limit = _blotch_limit(job, results)
    return Page(
        title=job.name,
        customer=job.customer,
        facts=_facts(job, results),
        answer=_answer(results.answer, job, results),
        groups=groups,
        tolerance=words.number(job.target.tolerance, words.COLOUR_DECIMALS),
        blotch_limit="none set" if blotch_limit is None else words.number(blotch_limit, words.BLOTCH_DECIMALS),
        lively=job.evenness.wish == "lively",
        is_range=bool(job.target.between),
        has_chart=job.reference.kind == "chart-24",
        reference=REFERENCES[job.reference.kind],
        against_control=tuple(_difference_row(item, results) for item in against_control),
        other_differences=tuple(_difference_row(item, results) for item in others),
        zones=tuple(_zone_row(zone, job) for zone in results.zones),
        photos=tuple(_photo_row(photo, job) for photo in sorted(results.photos, key=lambda photo: photo.usable)),
        cautions=cautions_of(job),
        closing=closing_words(),
        tool=results.tool,
    )


def _facts(job: Job, results: Results) -> tuple[str, ...]:
    usable = sum(photo.usable for photo in results.photos)
    boards = len({zone.board for zone in results.zones})
    limit = words.number(job.target.tolerance, words.COLOUR_DECIMALS)
    return (
        *_unsaid(results.answer),
        f"{words.count(boards, 'board')}, {usable} of {words.count(len(results.photos), 'photo')} used",
        f"Target: {_target_words(job)}",
        f"Largest acceptable colour difference: {limit}",
        _evenness_words(job),
    )


def _unsaid(answer: AnswerResult) -> tuple[str, ...]:
    """List what the answer's sentence leaves out."""
    if answer.treatment is None:
        return ()
    parts = {"Treatment": answer.treatment, "Stain": answer.stain, "Wood": answer.species}
    said = answer.reason.casefold()
    return tuple(f"{name}: {part}" for name, part in parts.items() if part and part.casefold() not in said)


def _target_words(job: Job) -> str:
    agreed = f", agreed when {job.target.stage}" if job.target.stage else ""
    if job.target.zone:
        return f"zone {job.target.zone}{agreed}"
    if job.target.between:
        return f"between {' and '.join(job.target.between)}{agreed}"
    return f"a colour value{agreed}"


def _evenness_words(job: Job) -> str:
    if job.evenness.wish == "lively":
        return "A lively figure is wished: blotch is reported, not judged"
    if job.evenness.like:
        return f"No blotchier than zone {job.evenness.like}"
    return f"Largest acceptable blotch: {words.number(job.evenness.limit or 0.0, words.BLOTCH_DECIMALS)}"


def _blotch_limit(job: Job, results: Results) -> float | None:
    if job.evenness.wish == "lively":
        return None
    if job.evenness.like:
        like = zone_result(results, job.evenness.like)
        return like.blotch if like else None
    return job.evenness.limit


def _answer(answer: AnswerResult, job: Job, results: Results) -> AnswerBlock:
    chosen = [item for item in results.verdicts if item.overall == "use" and item.treatment == answer.treatment]
    swatches = _swatches(chosen[0], results) if chosen else ()
    target = target_Labs(job, results, *((chosen[0].stage, chosen[0].light) if chosen else (None, None)))
    heading = _answer_heading(answer, results)
    if answer.treatment is None:
        return AnswerBlock(heading, answer.reason, (), (), _known(results), _settle(results))
    return AnswerBlock(heading, answer.reason, swatches, hex_colours(target), (), ())


def _answer_heading(answer: AnswerResult, results: Results) -> str:
    if answer.treatment is not None:
        return "Answer"
    ruled_out = results.verdicts and all(item.overall == "do not use" for item in results.verdicts)
    return "None of the tried treatments" if ruled_out else "Not decided yet"


def _known(results: Results) -> tuple[str, ...]:
    lines = []
    for item in results.verdicts:
        sure = [word for word in (item.colour, item.evenness) if word not in ("cannot tell", "not judged")]
        if sure:
            where = words.taken(item.stage, item.light)
            lines.append(f"{words.treatment_name(item.treatment)} ({where}): {', '.join(sure)}")
    return tuple(lines) or ("Nothing is certain yet: each uncertainty is unknown or reaches across its limit.",)


def _settle(results: Results) -> tuple[str, ...]:
    advice = [item.advice for item in results.verdicts if item.overall == "cannot tell"]
    remedies = [
        f"{photo.file}: {finding.remedy}"
        for photo in results.photos
        for finding in photo.findings
        if finding.severity == "unusable"
    ]
    return tuple(dict.fromkeys(line for line in (*advice, *remedies) if line))


def _comparable(verdicts: tuple[VerdictResult, ...]) -> list[list[VerdictResult]]:
    groups: dict[tuple[str, str, str | None], list[VerdictResult]] = {}
    for item in verdicts:
        groups.setdefault((item.species, item.stage, item.light), []).append(item)
    return [sorted(group, key=lambda item: item.rank) for group in groups.values()]


def _group(members: list[VerdictResult], job: Job, results: Results) -> VerdictGroup:
    first = members[0]
    colour_rows = [
        Row(
            words.treatment_name(item.treatment),
            item.stain,
            item.de00,
            item.de00_u95,
            words.colour(item.de00, item.de00_u95),
            colour_mark(item.colour),
        )
        for item in members
    ]
    blotch_rows = [
        Row(
            words.treatment_name(item.treatment),
            item.stain,
            item.blotch,
            item.blotch_u95,
            words.blotch(item.blotch, item.blotch_u95),
            evenness_mark(item.evenness),
        )
        for item in members
    ]
    return VerdictGroup(
        heading=f"{first.species}: {words.taken(first.stage, first.light)}",
        rows=tuple(_verdict_row(item, job, results) for item in members),
        charts=(
            chart(
                "Colour difference from the target", "ΔE00", job.target.tolerance, colour_rows, words.COLOUR_DECIMALS
            ),
            chart("Blotch", "L*", _blotch_limit(job, results), blotch_rows, words.BLOTCH_DECIMALS),
        ),
    )


def _verdict_row(item: VerdictResult, job: Job, results: Results) -> VerdictRow:
    return VerdictRow(
        name=words.treatment_name(item.treatment),
        detail=", ".join(part for part in (item.stain, words.count(item.boards, "board")) if part),
        swatches=_swatches(item, results),
        target=hex_colours(target_Labs(job, results, item.stage, item.light)),
        colour=words.colour(item.de00, item.de00_u95),
        colour_mark=colour_mark(item.colour),
        blotch=words.blotch(item.blotch, item.blotch_u95),
        evenness_mark=evenness_mark(item.evenness),
        overall_mark=overall_mark(item.overall),
        advice=item.advice,
    )


def _swatches(item: VerdictResult, results: Results) -> tuple[str, ...]:
    zones = [zone_result(results, path, item.stage, item.light) for path in item.zones]
    return hex_colours([zone.lab for zone in zones if zone])


def _is_against_control(item: DifferenceResult, results: Results) -> bool:
    """Pick the most certain differences: a treated zone against its own board's control, seen in the same photo."""
    a, b = (zone_result(results, path, item.stage, item.light) for path in (item.a, item.b))
    if a is None or b is None:
        return False
    return a.board == b.board and "none" in (a.treatment, b.treatment) and bool(set(a.photos) & set(b.photos))


def _difference_row(item: DifferenceResult, results: Results) -> DifferenceRow:
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
    )


def _zone_row(zone: ZoneResult, job: Job) -> ZoneRow:
    u95 = zone.lab_u95 or (None, None, None)
    return ZoneRow(
        id=zone.id,
        colour=hex_colours([zone.lab]),
        treatment=", ".join(part for part in (words.treatment_name(zone.treatment), zone.stain) if part),
        wood=zone.species,
        taken=words.taken(zone.stage, zone.light),
        lab=tuple(words.measured(value, u, 1) for value, u in zip(zone.lab, u95, strict=True)),
        blotch=words.blotch(zone.blotch, zone.blotch_u95),
        figure="–" if zone.figure is None else words.number(zone.figure, words.BLOTCH_DECIMALS),
        patch=words.length(zone.patch_mm, job.units),
        area=words.area(zone.area_mm2, job.units),
        left_out=words.percent(zone.masked),
    )


def _photo_row(photo: PhotoResult, job: Job) -> PhotoRow:
    findings = sorted(photo.findings, key=lambda item: SEVERITIES.index(item.severity))
    return PhotoRow(
        file=photo.file,
        board=photo.board,
        taken=words.taken(photo.stage, photo.light),
        usable=photo.usable,
        scale=words.scale(photo.mm_per_px, job.units),
        located=LOCATED[photo.located_by],
        light="not mapped" if photo.light_range is None else f"varies by {words.percent(photo.light_range)}",
        sha256=photo.sha256 or "not read",
        findings=tuple(FindingRow(severity_mark(item.severity), item.message, item.remedy) for item in findings),
    )
