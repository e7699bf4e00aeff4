"""What can a check notice about a photo, how grave is it, and what should the finisher do?

The one registry of findings: code, documentation and reports all read it.
"""

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final


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


@dataclass(frozen=True, slots=True)
class Finding:
    """Something a check noticed in one photo, in words for the finisher."""

    code: str
    severity: Severity
    message: str
    remedy: str


_KINDS = (
    FindingKind(
        "photo-unreadable",
        Severity.UNUSABLE,
        "The photo cannot be read: {reason}.",
        "Export it again as JPEG, PNG or TIFF.",
        "The file is missing, damaged, too large, or of a kind that this version does not decode.",
    ),
    FindingKind(
        "no-profile",
        Severity.NOTE,
        "The photo carries no colour profile; sRGB is assumed.",
        "Send the original file: messaging apps and some editors strip the profile.",
        "A wide-gamut phone photo read as sRGB is wrong by about 8 Delta E on wood.",
    ),
    FindingKind(
        "profile-damaged",
        Severity.WARNING,
        "The photo's colour profile cannot be used ({reason}); sRGB is assumed.",
        "Send the original file, or export it again with its colour profile embedded.",
        "A wide-gamut phone photo read as sRGB is wrong by about 8 Delta E on wood.",
    ),
    FindingKind(
        "profile-8-bit",
        Severity.NOTE,
        "The colour profile is table-based and was applied in 8 bits.",
        "Nothing to do; a photo with an ordinary profile is slightly more exact.",
        "Profiles made of a matrix and three curves are applied in floating point, table-based ones by the colour "
        "management library with 8-bit rounding: up to half a code value a pixel, averaged out over a zone.",
    ),
    FindingKind(
        "board-not-found",
        Severity.UNUSABLE,
        "The board was not found in the photo: {reason}.",
        "Give its corners in job.toml: corners = [[x, y], …], or lay it on a plain background with all edges in frame.",
        "The board's outline is searched as the largest four-sided shape that stands out from a calm background and "
        "has the board's proportions.",
    ),
    FindingKind(
        "board-turned",
        Severity.WARNING,
        "The board stands upright in the photo; its left end was taken to be at the top.",
        "If that is wrong, give corners in job.toml, top-left first.",
        "An outline does not tell which end is which. A board lying across the photo is read as seen; one standing "
        "upright is read from the top down.",
    ),
    FindingKind(
        "outline-rough",
        Severity.WARNING,
        "The board's outline is only found to about {error_mm:.1f} mm.",
        "Use a background that is clearly lighter or darker than the wood, or give corners.",
        "The edge points do not lie on straight lines as well as they should.",
    ),
    FindingKind(
        "card-missing",
        Severity.UNUSABLE,
        "The gray card was not found: {reason}.",
        "Give its corners in job.toml: card = [[x, y], …], or lay it flat beside the board, wholly in frame.",
        "The card is searched as a calm, neutral, four-sided patch.",
    ),
    FindingKind(
        "card-uneven",
        Severity.WARNING,
        "The light changes by {percent:.0f} % across the gray card (limit {limit:.0f} %).",
        "Move the lamps further away, and keep shadows off the card.",
        "The card alone sets neutral and level. When the light changes across it, it changes across the board too.",
    ),
    FindingKind(
        "card-small",
        Severity.WARNING,
        "The gray card covers only {pixels} pixels (wanted {limit}).",
        "Move closer, or use a larger card.",
        "The fewer pixels, the more camera noise is left in neutral and level.",
    ),
    FindingKind(
        "card-clipped",
        Severity.UNUSABLE,
        "{percent:.1f} % of the gray card is at full scale in a colour channel (limit {limit:.1f} %).",
        "Retake with about one stop less exposure.",
        "A clipped card no longer tells the colour or the level of the light.",
    ),
    FindingKind(
        "card-dark",
        Severity.WARNING,
        "The gray card is very dark in the photo ({percent:.1f} % of full scale; wanted at least {limit:.0f} %).",
        "Give more exposure: an 18 % card should look middle gray.",
        "Few code values are left for the dark stains, so noise and rounding grow.",
    ),
    FindingKind(
        "clipped",
        Severity.WARNING,
        "{percent:.1f} % of the board is at full scale in a colour channel (limit {limit:.1f} %).",
        "Retake with less exposure, and turn the lamps until no highlight shows.",
        "A clipped channel has lost its colour before any balance. Such pixels are left out of every measure.",
    ),
    FindingKind(
        "too-dark",
        Severity.WARNING,
        "The board is under-exposed: its brightest parts reach {percent:.1f} % of full scale (wanted {limit:.0f} %).",
        "Give more exposure.",
        "Camera noise and 8-bit steps grow in the dark: one step is 0.5 L* at code 30.",
    ),
    FindingKind(
        "blurred",
        Severity.WARNING,
        "The photo is blurred: edges are {blur_mm:.1f} mm wide (limit {limit:.1f} mm).",
        "Hold the phone still or use a stand, and tap on the board to focus.",
        "Colour means survive blur; blotches finer than the blur do not, and the evenness would look too good.",
    ),
    FindingKind(
        "too-few-pixels",
        Severity.WARNING,
        "Only {px_per_mm:.1f} px/mm on the board (wanted {limit:.1f}).",
        "Move closer, or send the full-size photo.",
        "Fine texture can no longer be told from blotch.",
    ),
    FindingKind(
        "far-too-few-pixels",
        Severity.UNUSABLE,
        "Only {px_per_mm:.2f} px/mm on the board (at least {limit:.2f} needed).",
        "Move closer, or send the full-size photo.",
        "At this scale a blotch of 4 mm is smaller than a few pixels.",
    ),
    FindingKind(
        "light-not-mapped",
        Severity.NOTE,
        "The light over the board was not mapped: {percent:.0f} % of uneven light would look like {L_star:.1f} L*.",
        "Give a photo of a plain sheet in the same place and light (flat = …), or use edge strips.",
        "Five per cent of light is one L* at L* 45. The uncertainty carries what the surroundings of the board let "
        "expect.",
    ),
    FindingKind(
        "light-uneven",
        Severity.WARNING,
        "The background around the board brightens by {percent:.0f} % across it (limit {limit:.0f} %).",
        "Move the lamps further away and use two of the same kind, one on each side.",
        "Seen on the calm background around the board. It is not used to correct anything, only to widen the "
        "uncertainty.",
    ),
    FindingKind(
        "flat-unusable",
        Severity.WARNING,
        "The photo of the plain sheet was not used: {reason}.",
        "Photograph a clean, plain sheet in the same place, light and framing as the board, not clipped.",
        "A sheet that is dark, clipped or not plain would print its own faults on the board.",
    ),
    FindingKind(
        "glare",
        Severity.WARNING,
        "Glare or specks cover {percent:.0f} % of zone {zone} and were left out.",
        "Turn the lamps or the board until the highlights go.",
        "Pixels far brighter than their zone are masked before anything is averaged.",
    ),
    FindingKind(
        "zone-covered",
        Severity.WARNING,
        "{percent:.0f} % of zone {zone} is hidden and was left out.",
        "Lay the card beside the board, or between the zones.",
        "The gray card and its rim lie over the zone.",
    ),
)

REGISTRY: Final = MappingProxyType({kind.code: kind for kind in _KINDS})


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
