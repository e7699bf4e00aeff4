"""Which things can a check notice, how grave are they, and what should the finisher do?  The one table of them."""

from calibration import finding_kinds_photo, finding_kinds_picture, finding_kinds_place, finding_kinds_reference
from calibration.finding_kind import FindingKind, Severity

__all__ = ["KINDS", "FindingKind", "Severity"]

KINDS = (
    *finding_kinds_photo.KINDS,
    *finding_kinds_place.KINDS,
    *finding_kinds_reference.KINDS,
    *finding_kinds_picture.KINDS,
)
