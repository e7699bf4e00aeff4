"""Which rows stand in the report's table of where the ± comes from?"""

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.report import words
from analyzer.results import VerdictResult

NAMES = {
    "reference": "reference",
    "light": "light",
    "tone": "tone curve",
    "camera": "camera",
    "repeats": "repeats",
    "measurement": "measurement",
    "wood": "wood",
}


@dataclass(frozen=True, slots=True)
class SourceRow:
    """The parts of one treatment's ±, in the order of the table's names."""

    name: str
    parts: tuple[str, ...]
    total: str


@dataclass(frozen=True, slots=True)
class SourceTable:
    """Treatments that may be compared, and the sources that count for any of them."""

    names: tuple[str, ...]
    rows: tuple[SourceRow, ...]


def source_table(verdicts: Sequence[VerdictResult]) -> SourceTable:
    """Fill the table; no rows where nothing is known."""
    told = [item for item in verdicts if item.sources and item.de00_u95 is not None]
    keys = [key for key in NAMES if any(item.sources.get(key) for item in told)]
    rows = [
        SourceRow(
            ", ".join(part for part in (words.treatment_name(item.treatment, item.dose), item.stain) if part),
            tuple(_half_width(item.sources.get(key, 0.0)) for key in keys),
            _half_width(item.de00_u95 or 0.0),
        )
        for item in told
    ]
    return SourceTable(tuple(NAMES[key] for key in keys), tuple(rows))


def _half_width(u95: float) -> str:
    return f"± {words.number(u95, 2)}"
