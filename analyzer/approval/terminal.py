"""What does a verification, or a list of approvals, say on the terminal?"""

from collections.abc import Sequence

from analyzer.approval.check import ApprovalState
from analyzer.approval.results import PartResult, Verification
from analyzer.approval.run import by_eye_words
from analyzer.report import words
from analyzer.report.terminal_lines import plain, wrapped

INDENT = "  "


def verification_summary(found: Verification, width: int = 100) -> str:
    """A table of parts, what each says, and what the run says; no line is longer than `width` allows."""
    blocks = [[found.job]]
    for one in found.approvals:
        covered = ", ".join(one.covers)
        taken = words.taken(one.stage, one.light)
        head = f"Against {one.zone}, {taken}, approved by {one.by} on {one.date[:10]}: {covered}."
        changed = [f"NOTE: {change}." for change in one.changes]
        by_eye = by_eye_words(one)
        changed = [*([words.sentence(f"{by_eye}.")] if by_eye else []), *changed]
        blocks.append([*wrapped(head, width), *(line for text in changed for line in wrapped(text, width, INDENT))])
    blocks.append(_table(found.parts, width) if found.mode != "aged" else _told(found.parts, width))
    if found.first_article is not None:
        first = found.first_article
        lines = [f"{first.part}: {first.decision.upper()}"]
        for reason in first.reasons:
            lines += wrapped(f"{words.sentence(reason).rstrip('.')}.", width, INDENT)
        for check in first.check_first:
            lines += wrapped(f"Check first: {check.what}; {check.check}.", width, INDENT)
        blocks.append(lines)
    if found.run is not None:
        blocks.append(wrapped(words.sentence(found.run.says), width))
    blocks += [wrapped(line, width) for line in found.boards]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def approvals_summary(states: Sequence[ApprovalState], width: int = 100) -> str:
    """All approvals of a job, each with whether it is in force and with what has changed since."""
    lines = []
    for state in states:
        approval = state.approval
        if approval is None:
            lines += wrapped(f"{state.name}: cannot be read: {state.fault}", width)
            continue
        zone = approval.zone
        force = "in force" if state.in_force else "not in force"
        until = f", until {approval.until}" if approval.until else ""
        lines += wrapped(f"{approval.name}: {force}", width)
        lines += wrapped(f"{zone.id}, {zone.species}, {words.taken(zone.stage, zone.light)}", width, INDENT)
        lines += wrapped(f"by {approval.by} on {approval.date[:10]}{until}: {approval.scope}", width, INDENT)
        without = f"; not: {approval.not_covered}" if approval.not_covered else ""
        lines += wrapped(f"covers {', '.join(approval.covers)}{without}", width, INDENT)
        for change in state.changes:
            lines += wrapped(f"{'CHANGED: ' if change.matters else ''}{change.says}", width, INDENT)
    return "\n".join(lines) if lines else "Nothing was approved in this job yet."


def _table(parts: Sequence[PartResult], width: int) -> list[str]:
    first = max([len("part"), *(len(part.id) for part in parts)])
    lines = [f"{INDENT}{'part'.ljust(first)}  colour difference          blotch                     verdict"]
    for part in parts:
        colour = f"{words.colour(part.de00, part.de00_u95)}  {part.colour}" if part.de00 is not None else part.colour
        blotch = f"{words.blotch(part.blotch, part.blotch_u95)}  {part.evenness}" if part.blotch else part.evenness
        lines.append(f"{INDENT}{plain(part.id).ljust(first)}  {colour:<25}  {blotch:<25}  {part.overall.upper()}")
        lines += wrapped(f"{part.says}.", width, 3 * INDENT)
        lines += wrapped(f"{part.settles}.", width, 3 * INDENT) if part.settles else []
        if not part.is_measured:
            lines += [line for text in _refusals(part) for line in wrapped(text, width, 3 * INDENT)]
    return lines


def _told(parts: Sequence[PartResult], width: int) -> list[str]:
    """Parts of which nothing is judged."""
    lines = []
    for part in parts:
        lines += wrapped(f"{part.id}: {part.says}.", width, INDENT)
        lines += [line for text in _refusals(part) for line in wrapped(text, width, 3 * INDENT)]
    return lines


def _refusals(part: PartResult) -> list[str]:
    return [f"{found.message} {found.remedy}" for found in part.findings if found.severity == "unusable"]
