"""Make `findings.md`: everything that the checks can say about a photo, from the one registry of findings.

    python docs/make_findings.py     # writes docs/findings.md

A test compares the page with the registry, so that neither can change alone.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # this tree's registry, not an installed one

from calibration.findings import REGISTRY, FindingKind, Severity

PAGE = Path(__file__).resolve().parent / "findings.md"

HEAD = """\
# What the checks can say about a photo

`evenboard check` and `evenboard measure` tell what they notice, photo by photo, each with what to do about it. The code
in front stands in `results.json`. The page is made from `calibration/finding_kinds.py`; words in {braces} are
filled in.
"""

SECTIONS = {
    Severity.UNUSABLE: "Not measured: take or export the photo again, or give corners",
    Severity.WARNING: "Measured, with a wider uncertainty or a reservation",
    Severity.NOTE: "Good to know: the numbers stand",
}


def findings_page() -> str:
    """Write the page."""
    parts = [HEAD]
    for severity, heading in SECTIONS.items():
        parts.append(f"## {heading}\n")
        parts += [_entry(kind) for kind in _kinds(severity)]
    return "\n".join(parts)


def _kinds(severity: Severity) -> Iterator[FindingKind]:
    return (kind for kind in REGISTRY.values() if kind.severity is severity)


def _entry(kind: FindingKind) -> str:
    return (
        f"**`{kind.code}`** {_plain(kind.line)}\n\n- What to do: {kind.remedy}\n- Why it matters: {kind.explanation}\n"
    )


def _plain(line: str) -> str:
    """A line with its number formats taken out: {percent:.0f} is {percent} to a reader."""
    return line.replace(":.0f}", "}").replace(":.1f}", "}").replace(":.2f}", "}")


if __name__ == "__main__":
    PAGE.write_text(findings_page(), encoding="utf-8", newline="\n")
