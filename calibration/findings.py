"""What did a check notice about a photo?  Made from the one registry that code, documentation and reports read."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from calibration.errors import CalibrationError
from calibration.finding_kinds import KINDS, FindingKind, Severity

__all__ = ["REGISTRY", "Finding", "FindingKind", "Severity", "finding", "finding_of"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something a check noticed in one photo, in words for the finisher."""

    code: str
    severity: Severity
    message: str
    remedy: str


REGISTRY: Final = MappingProxyType({kind.code: kind for kind in KINDS})


def finding(code: str, **found: object) -> Finding:
    """Make one finding from the registry.

    Parameters
    ----------
    code : str
        A code of `REGISTRY`.
    **found
        What the kind's line names: values, limits, reasons.

    Raises
    ------
    KeyError
        If the code is not registered, or a value that its line names is missing.
    """
    kind = REGISTRY[code]
    return Finding(code, kind.severity, kind.line.format(**found), kind.remedy)


def finding_of(error: CalibrationError) -> Finding:
    """The finding that says in results and reports what an error says to a caller."""
    kind = REGISTRY[error.code]
    return Finding(kind.code, kind.severity, error.what[:1].upper() + error.what[1:], error.remedy or kind.remedy)
