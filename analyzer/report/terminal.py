"""What does a finisher see on the terminal when the measuring is done?"""

import textwrap
from collections.abc import Iterator

from analyzer.report import words
from analyzer.report.photos import seen_photos
from analyzer.report.terminal_lines import plain, wrapped
from analyzer.results import Results, VerdictResult

NARROWEST = 56  # below this many columns the table becomes a list
GAP = 2
INDENT = "  "
HEADINGS = ("treatment", "colour difference", "blotch", "verdict")


def summary(results: Results, width: int = 80) -> str:
    """Say the answer in plain text.

    Parameters
    ----------
    results : Results
        A whole answer.
    width : int
        Columns of the terminal.

    Returns
    -------
    str
        The answer's sentence, one line a treatment, and the photos that could not be used; no colour codes, no line
        wider than `width` unless a single word is. Names from the job file are stripped of control characters.
    """
    blocks = [wrapped(_title(results), width), wrapped(results.answer.reason, width), *_verdicts(results, width)]
    blocks += _photos(results, width)
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _title(results: Results) -> str:
    job = results.job.get("job", {})
    return str(job.get("name", "")) if isinstance(job, dict) else ""


def _verdicts(results: Results, width: int) -> Iterator[list[str]]:
    groups: dict[tuple[str, str, str | None], list[VerdictResult]] = {}
    for item in results.verdicts:
        groups.setdefault((item.species, item.stage, item.light), []).append(item)
    for (species, stage, light), group in groups.items():
        ranked = sorted(group, key=lambda item: item.rank)
        stains = {item.stain for item in group}
        shared = stains.pop() if len(stains) == 1 else None  # said once above the table, not in every row
        named = [(_name(item, None if shared else item.stain), item) for item in ranked]
        heading = f"{species}: {words.taken(stage, light)}" + (f", {shared}" if shared else "")
        yield wrapped(heading, width) + (_table(named, width) if width >= NARROWEST else _list(named, width))
    if results.verdicts:
        note = "Colour difference is ΔE00 from the target, blotch is in L*, ± is the 95 % uncertainty."
        yield wrapped(note, width)


def _table(named: list[tuple[str, VerdictResult]], width: int) -> list[str]:
    cells = [(_colour(item), _blotch(item), item.overall.upper()) for _, item in named]
    columns = [max(len(row[k]) for row in [HEADINGS[1:], *cells]) for k in range(3)]
    room = width - len(INDENT) - sum(columns) - 3 * GAP
    if room < len(HEADINGS[0]):
        return _list(named, width)
    first = max(len(HEADINGS[0]), min(room, max(len(name) for name, _ in named)))
    lines = [_line(HEADINGS, first, columns)]
    for (name, _), row in zip(named, cells, strict=True):
        start, *rest = textwrap.wrap(name, first, break_on_hyphens=False) or [""]
        lines += [_line((start, *row), first, columns), *(INDENT + more for more in rest)]
    return lines


def _line(cells: tuple[str, ...], first: int, columns: list[int]) -> str:
    padded = [cells[0].ljust(first), *(cell.ljust(column) for cell, column in zip(cells[1:], columns, strict=True))]
    return (INDENT + (" " * GAP).join(padded)).rstrip()


def _list(named: list[tuple[str, VerdictResult]], width: int) -> list[str]:
    lines = []
    for name, item in named:
        lines += wrapped(f"{name}: {item.overall.upper()}", width, INDENT)
        lines += wrapped(f"colour difference {_colour(item)}", width, 2 * INDENT)
        lines += wrapped(f"blotch {_blotch(item)}", width, 2 * INDENT)
    return lines


def _name(item: VerdictResult, stain: str | None) -> str:
    name = "none (control)" if item.treatment == "none" else item.treatment
    return plain(", ".join(part for part in (name, item.dose, stain) if part))


def _colour(item: VerdictResult) -> str:
    return f"{words.colour(item.de00, item.de00_u95)}  {item.colour}"


def _blotch(item: VerdictResult) -> str:
    return f"{words.blotch(item.blotch, item.blotch_u95)}  {item.evenness}"


def _photos(results: Results, width: int) -> Iterator[list[str]]:
    photos = seen_photos(results)
    unused = [photo for photo in photos if not photo.usable]
    if unused:
        lines = wrapped(f"Not used: {len(unused)} of {words.count(len(photos), 'photo')}", width)
        for photo in unused:
            lines += wrapped(photo.file, width, INDENT)
            for found in photo.findings:
                if found.finding.severity == "unusable":
                    lines += wrapped(f"{found.finding.message} {found.finding.remedy}", width, 2 * INDENT)
        yield lines
    warned = sum(any(found.finding.severity == "warning" for found in photo.findings) for photo in photos)
    if warned:
        yield wrapped(f"Warnings on {words.count(warned, 'photo')}: see “The photos” in report.html.", width)
