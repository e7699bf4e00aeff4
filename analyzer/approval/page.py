"""What stands on the page of a verification?  One dataclass, filled here; the template only lays it out."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from analyzer.approval.chart_picture import control_chart_svg
from analyzer.approval.part_photo import PhotoSeen
from analyzer.approval.results import ApprovedResult, CheckFirst, FirstArticleResult, PartResult, Verdict, Verification
from analyzer.approval.run import by_eye_words, limits_words
from analyzer.approval.verify import Seen
from analyzer.report import words
from analyzer.report.marks import Mark, severity_mark
from analyzer.report.pictures import jpeg
from analyzer.report.swatches import hex_colours

TEMPLATES: Final = Path(__file__).parent / "templates"
REPORT_TEMPLATES: Final = Path(words.__file__).parent / "templates"  # the sheet and the shapes of the report
OUTLINE_RGB, CARD_RGB = (255, 255, 255), (40, 220, 255)
MODES: Final = {
    "run": "Parts of a run",
    "first article": "First part of a run",
    "aged": "An old piece beside its approval",
}
MARKS: Final[dict[Verdict, Mark]] = {
    "within": Mark("within", "disc", "good"),
    "outside": Mark("outside", "square", "bad"),
    "cannot tell": Mark("cannot tell", "diamond", "open"),
    "not judged": Mark("not judged", "ring", "plain"),
}
GO: Final = {
    "go": Mark("go", "disc", "good"),
    "stop": Mark("stop", "square", "bad"),
    "cannot tell": Mark("cannot tell", "diamond", "open"),
}


@dataclass(frozen=True, slots=True)
class ApprovalBlock:
    """What parts were held against."""

    title: str
    facts: tuple[str, ...]
    colours: tuple[str, ...]  # of the approved zone, or of its range boards
    changes: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FoundBlock:
    """A finding as shown."""

    mark: Mark
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class PartBlock:
    """One part."""

    place: int
    name: str
    detail: str
    approved: tuple[str, ...]
    colour: tuple[str, ...]  # of the part
    de00: str
    colour_mark: Mark
    blotch: str
    evenness_mark: Mark
    overall_mark: Mark
    says: str
    settles: str


@dataclass(frozen=True, slots=True)
class PhotoBlock:
    """One photo, small, with what was taken for the parts."""

    file: str
    detail: str
    picture: str  # data URI; "" where there is none
    found: tuple[FoundBlock, ...]


@dataclass(frozen=True, slots=True)
class FirstBlock:
    """May the run go on?"""

    mark: Mark
    part: str
    reasons: tuple[str, ...]
    checks: tuple[CheckFirst, ...]


@dataclass(frozen=True, slots=True)
class VerifyPage:
    """Everything on the page."""

    title: str
    kind: str
    made: str
    sentence: str
    approvals: tuple[ApprovalBlock, ...]
    first: FirstBlock | None
    parts: tuple[PartBlock, ...]
    numbers: tuple[tuple[str, str], ...]  # of the run: what, how much
    chart: str  # SVG; "" where there are too few photos for one
    rule: str
    boards: tuple[str, ...]
    photos: tuple[PhotoBlock, ...]
    aged: bool
    tool: str


def verify_html(seen: Seen) -> bytes:
    """Write the page: one file, no scripts, nothing fetched from elsewhere."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # noqa: PLC0415 - only when a page is written

    environment = Environment(
        loader=FileSystemLoader([TEMPLATES, REPORT_TEMPLATES]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("verify.html").render(page=page_of(seen)).encode()


def page_of(seen: Seen) -> VerifyPage:
    """Fill the page."""
    found = seen.verification
    run = found.run
    drawn = run is not None and len(run.points) > 1
    return VerifyPage(
        title=found.job,
        kind=MODES[found.mode],
        made=found.made.replace("T", " ")[:16],
        sentence=_sentence(found),
        approvals=tuple(_approval_block(one) for one in found.approvals),
        first=None if found.first_article is None else _first_block(found.first_article),
        parts=tuple(_part_block(part, found.approvals) for part in found.parts),
        numbers=_numbers(found),
        chart=control_chart_svg(run, found.approvals[0].lab) if run is not None and drawn and found.approvals else "",
        rule=words.sentence(limits_words()) if drawn else "",
        boards=found.boards,
        photos=tuple(_photo_block(photo) for photo in seen.photos),
        aged=found.mode == "aged",
        tool=f"{found.tool.name} {found.tool.version}. {found.tool.method}.",
    )


def _sentence(found: Verification) -> str:
    if found.first_article is not None:
        return {
            "go": "The first part is as approved: the run may go on.",
            "stop": "Stop: the first part is not as approved.",
            "cannot tell": "The first part cannot be told yet.",
        }[found.first_article.decision]
    if found.mode == "aged":
        return words.sentence("; ".join(part.says for part in found.parts[:1])) + "."
    return "No part could be measured." if found.run is None else words.sentence(found.run.says)


def _approval_block(one: ApprovedResult) -> ApprovalBlock:
    until = f", until {one.until}" if one.until else ""
    stain = f", {one.stain}" if one.stain else ""
    limits = [f"colour within {one.tolerance:.1f} ΔE00 of {'the range boards' if one.range_labs else 'it'}"]
    if one.blotch_limit is not None:
        limits.append(f"blotch up to {one.blotch_limit:.2f}")
    facts = [
        f"{one.species}: {words.treatment_name(one.treatment)}{stain}, {words.taken(one.stage, one.light)}",
        f"approved by {one.by} on {one.date[:10]}{until}",
        f"covers {', '.join(one.covers)}: {one.scope}",
        *([f"does not cover: {one.not_covered}"] if one.not_covered else []),
        "; ".join(limits),
        *([by_eye] if (by_eye := by_eye_words(one)) else []),
    ]
    colours = hex_colours(one.range_labs or (one.lab,))
    return ApprovalBlock(one.zone, tuple(facts), colours, one.changes, one.notes_of_change)


def _first_block(first: FirstArticleResult) -> FirstBlock:
    reasons = tuple(words.sentence(reason).rstrip(".") + "." for reason in first.reasons)
    checks = tuple(replace(check, what=words.sentence(check.what)) for check in first.check_first)
    return FirstBlock(GO[first.decision], first.part, reasons, checks)


def _part_block(part: PartResult, approvals: Sequence[ApprovedResult]) -> PartBlock:
    approval = next((one for one in approvals if one.name == part.approval), None)
    labs = () if approval is None else approval.range_labs or (approval.lab,)
    detail = ", ".join(
        text
        for text in (
            part.species or "",
            f"found by its {part.located_by}" if part.located_by in ("outline", "strips") else "",
            f"scale by {part.scale}" if part.scale == "edge strips" else "" if part.scale else "scale not known",
            "compared within one photo" if part.compared == "same photo" else "",
        )
        if text and part.is_measured
    )
    return PartBlock(
        place=part.place,
        name=part.id,
        detail=detail,
        approved=hex_colours(labs),
        colour=hex_colours([part.lab]) if part.lab else (),
        de00=words.colour(part.de00, part.de00_u95) if part.is_measured else "",
        colour_mark=MARKS[part.colour],
        blotch=words.blotch(part.blotch, part.blotch_u95) if part.blotch is not None else "",
        evenness_mark=MARKS[part.evenness],
        overall_mark=MARKS[part.overall],
        says=words.sentence(part.says) + ".",
        settles=words.sentence(part.settles) + "." if part.settles else "",
    )


def _numbers(found: Verification) -> tuple[tuple[str, str], ...]:
    run = found.run
    if run is None or run.mean is None:
        return ()
    axes = ("lightness", "vividness", "hue")
    rows = [("parts measured", f"{run.parts}")]
    rows.append(("within, outside, cannot be told", f"{run.within}, {run.outside}, {run.cannot_tell}"))
    if run.share_within is not None:
        rows.append(("share within, of those that could be told", words.percent(run.share_within)))
    if run.mean_de00 is not None:
        rows.append(("mean difference from the approved colour", f"{run.mean_de00:.1f} ΔE00"))
    for k, axis in enumerate(axes):
        spread = "" if run.spread is None else f", from part to part {run.spread[k]:.1f}"
        rows.append((f"mean of {axis} against approved", f"{words.number(run.mean[k], 1)}{spread}"))
    rows.append(("order", f"by {run.ordered_by}" if run.ordered_by == "time taken" else "as given"))
    if run.false_alarm is not None:
        rows.append((f"steady runs of {len(run.points)} photos that signal by chance", words.percent(run.false_alarm)))
    return tuple(rows)


def _photo_block(photo: PhotoSeen) -> PhotoBlock:
    taken = photo.taken.replace("T", " ")[:16] if photo.taken else "time not known"
    light = f"light “{photo.wanted.light}”" if photo.wanted.light else "light not named"
    lines = [(one, part.wanted.id) for part in photo.parts for one in part.findings]
    lines += [(one, "") for one in photo.findings]
    told = dict.fromkeys(lines)
    several = len(photo.parts) > 1
    found = tuple(
        FoundBlock(
            severity_mark(one.severity), f"{name}: {one.message}" if several and name else one.message, one.remedy
        )
        for one, name in told
    )
    return PhotoBlock(photo.wanted.file, f"{taken}, {light}", _picture(photo), found)


def _picture(photo: PhotoSeen) -> str:
    if photo.small is None:
        return ""
    small = photo.small.copy()
    outlines = [(part.outline_px, OUTLINE_RGB) for part in photo.parts]
    outlines.append((photo.card_px, CARD_RGB))
    for outline, colour in outlines:
        if outline is not None and np.abs(outline).max() < 1e6:
            points = np.round((outline + 0.5) / photo.shrink - 0.5).astype(np.int32)
            cv2.polylines(small, [points.reshape(-1, 1, 2)], isClosed=True, color=(0, 0, 0), thickness=4)
            cv2.polylines(small, [points.reshape(-1, 1, 2)], isClosed=True, color=colour, thickness=2)
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg(small)).decode()}"
