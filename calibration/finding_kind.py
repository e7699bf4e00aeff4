"""What is one kind of finding?  How far it reaches, what it says, what the finisher should do."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How far a finding reaches."""

    NOTE = "note"  # good to know; the numbers stand
    WARNING = "warning"  # measured, with a wider uncertainty or a reservation
    UNUSABLE = "unusable"  # not measured


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One thing that a check can notice."""

    code: str
    severity: Severity
    line: str  # for the finisher; {names} are filled with what was found
    remedy: str
    explanation: str
