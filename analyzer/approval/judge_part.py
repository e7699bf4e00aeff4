"""Does a part lie within what was approved?  Colour and evenness, each within, outside or not to be told.

The part counts as it lies there, all of it seen, and so does the approved zone: both are measured, neither stands for
more wood than itself. So only what the measurement leaves open is in the doubt, unlike in verdicts on treatments.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from analyzer.approval.part_photo import PartSeen, PhotoSeen
from analyzer.approval.results import Verdict
from analyzer.approvals import Approval
from analyzer.approved_zone import difference_to_approved
from analyzer.compare import Difference, difference
from analyzer.directions import Direction, directions
from analyzer.guard_band import decide
from analyzer.pooling import MeasuredZone
from analyzer.targets import sheens_differ
from analyzer.verdicts import FINEST_BLOTCH_U95, FINEST_DE00_U95
from analyzer.words import half_width, listed

ACROSS: Final = ("camera", "reference", "tone")  # sources that hardly count where both lie in one photo


@dataclass(frozen=True, slots=True, eq=False)
class PartJudged:
    """What is said of one part."""

    to_approved: Difference | None
    compared: Literal["same photo", "across photos"] | None
    colour: Verdict
    evenness: Verdict
    overall: Verdict
    directions: tuple[Direction, ...]
    says: str
    settles: str


def judge_part(seen: PhotoSeen, part: PartSeen, approval: Approval, *, aged: bool = False) -> PartJudged:
    """Hold one measured part against an approval.

    Parameters
    ----------
    seen : PhotoSeen
        Its photo.
    part : PartSeen
        With a zone.
    approval : Approval
        Whole, of the part's stage.
    aged : bool
        An old piece is looked at: its difference is told, not judged.

    Raises
    ------
    ValueError
        If the part was not measured.
    """
    zone = part.zone
    if zone is None:
        raise ValueError("judge_part: a part without a measured zone")
    why_not = _why_not(seen, part, approval)
    if why_not:
        evenness = _evenness(zone, approval) if not aged else "not judged"
        colour: Verdict = "not judged" if aged or "colour" not in approval.covers else "cannot tell"
        says = f"colour cannot be told: {why_not}; {_evenness_words(part, approval, evenness)}"
        settles = f"a photo at the stage, sheen and light of the approval ({_conditions(approval)}) would settle it"
        return PartJudged(None, None, colour, evenness, _overall(colour, evenness), (), says, settles)
    beside = _beside(seen, approval)
    found = difference(beside, zone) if beside is not None else difference_to_approved(approval, zone)
    compared: Literal["same photo", "across photos"] = "same photo" if beside is not None else "across photos"
    ways = directions(found.Lab_a, found.delta_Lab, found.covariance)
    colour = "not judged"
    evenness = "not judged"
    if not aged:
        if "colour" in approval.covers:
            colour = decide(found.de00, found.de00_u95, approval.limits.tolerance)
        evenness = _evenness(zone, approval)
    clauses = [
        _colour_words(found, colour, ways, approval),
        "" if aged else _evenness_words(part, approval, evenness),
        _species_words(part, approval),
        _light_words(seen, approval),
    ]
    settles = _settling(seen, found, (colour, evenness), zone, approval)
    says = "; ".join(clause for clause in clauses if clause)
    return PartJudged(found, compared, colour, evenness, _overall(colour, evenness), ways, says, settles)


def is_other_species(part: PartSeen, approval: Approval) -> bool:
    """Whether the part is known to be of another wood than the approved zone."""
    species = part.wanted.species
    return species is not None and species.strip().lower() != approval.zone.species.strip().lower()


def words_of(found: Sequence[Direction]) -> str:
    """Directions in words, the first with its number: "1.2 darker and a little yellower"."""
    phrases = [
        f"{way.amount:.1f} {_COMPARED[way.word]}"
        if place == 0
        else f"{'clearly' if way.is_clear else 'a little'} {_COMPARED[way.word]}"
        for place, way in enumerate(found)
    ]
    return listed(phrases, "and")


_COMPARED: Final = {
    "light": "lighter",
    "dark": "darker",
    "vivid": "more vivid",
    "dull": "duller",
    "red": "redder",
    "yellow": "yellower",
    "green": "greener",
    "blue": "bluer",
}


def _why_not(seen: PhotoSeen, part: PartSeen, approval: Approval) -> str:
    """Why colours are not compared; "" when they are."""
    stage, light = seen.wanted.stage, seen.wanted.light
    if stage is not None and stage != approval.zone.stage:
        return f"approved was {approval.zone.stage} wood, and this is {stage}"
    if sheens_differ(part.wanted.sheen, approval.zone.sheen):
        return f"approved was {approval.zone.sheen} sheen, and this is {part.wanted.sheen}"
    in_photo = _beside(seen, approval) is not None
    if light is not None and approval.zone.light is not None and light != approval.zone.light and not in_photo:
        return f"approved was in the light “{approval.zone.light}”, and this was taken in “{light}”"
    return ""


def _beside(seen: PhotoSeen, approval: Approval) -> MeasuredZone | None:
    """The approved zone in the same photo; range boards are compared by their record."""
    if seen.approved is None or seen.approved.id != approval.zone.id or approval.range_boards:
        return None
    return seen.approved


def _conditions(approval: Approval) -> str:
    zone = approval.zone
    light = f", light “{zone.light}”" if zone.light else ""
    return f"{zone.stage}{', ' + zone.sheen if zone.sheen else ''}{light}"


def _evenness(zone: MeasuredZone, approval: Approval) -> Verdict:
    limits = approval.limits
    if "evenness" not in approval.covers or limits.wish == "lively" or zone.blotch is None:
        return "not judged"
    return decide(zone.blotch, _u95_against_limit(zone, approval), limits.blotch)


def _u95_against_limit(zone: MeasuredZone, approval: Approval) -> float | None:
    own, limit = zone.blotch_u95, approval.limits.blotch_u95
    return None if own is None or limit is None else math.hypot(own, limit)


def _overall(colour: Verdict, evenness: Verdict) -> Verdict:
    both = (colour, evenness)
    if "outside" in both:
        return "outside"
    if "cannot tell" in both:
        return "cannot tell"
    return "within" if "within" in both else "not judged"


def _colour_words(found: Difference, colour: Verdict, ways: Sequence[Direction], approval: Approval) -> str:
    off = f"{found.de00:.1f} ± {'unknown' if found.de00_u95 is None else half_width(found.de00_u95)}"
    where = "the range boards" if approval.range_boards else "the approved colour"
    way = f", {words_of(ways)}" if ways else ""
    limit = f"{approval.limits.tolerance:.1f}"
    match colour:
        case "within":
            return f"colour within {limit} of {where} ({off}{way})"
        case "outside":
            return f"colour outside: {off} from {where}{way}; limit {limit}"
        case "cannot tell":
            return f"colour cannot be told: {off} from {where}{way}; limit {limit}"
        case _:
            covered = "" if "colour" in approval.covers else "; the approval does not cover colour"
            return f"{off} from {where}{way}{covered}"


def _evenness_words(part: PartSeen, approval: Approval, evenness: Verdict) -> str:
    limits, zone = approval.limits, part.zone
    if evenness == "not judged":
        if "evenness" not in approval.covers:
            return "evenness not judged: the approval does not cover it"
        if limits.wish == "lively":
            return "evenness not judged: a lively figure is wanted"
        return (
            f"evenness not judged: {'the scale is not known' if part.scale is None else 'too little of the part shows'}"
        )
    found = f"blotch {zone.blotch:.2f}" if zone is not None and zone.blotch is not None else "blotch not measured"
    limit = "no limit was measured" if limits.blotch is None else f"limit {limits.blotch:.2f}"
    return {
        "within": f"even enough ({found}, {limit})",
        "outside": f"too blotchy ({found}, {limit})",
        "cannot tell": f"evenness cannot be told ({found}, {limit})",
    }[evenness]


def _species_words(part: PartSeen, approval: Approval) -> str:
    if not is_other_species(part, approval):
        return ""
    return f"another wood: {part.wanted.species}, approved on {approval.zone.species}"


def _light_words(seen: PhotoSeen, approval: Approval) -> str:
    if seen.wanted.light is None and approval.zone.light is not None and _beside(seen, approval) is None:
        return f"the light is not named, so it counts as another than “{approval.zone.light}”"
    return ""


def _settling(
    seen: PhotoSeen, found: Difference, judged: tuple[Verdict, Verdict], zone: MeasuredZone, approval: Approval
) -> str:
    """What would turn a "cannot tell" into an answer."""
    colour, evenness = judged
    ways = []
    if colour == "cannot tell":
        ways.append(_colour_settling(seen, found, approval))
    if evenness == "cannot tell":
        u95 = _u95_against_limit(zone, approval)
        if approval.limits.blotch is None:
            ways.append("an agreed limit of blotch is missing: approve anew with one")
        elif u95 is not None and u95 <= FINEST_BLOTCH_U95:
            ways.append("the evenness lies on its limit, where no photo decides: let the eye decide")
        else:
            ways.append("a sharper photo in more even light, of more of the part, would settle the evenness")
    return "; ".join(ways)


def _colour_settling(seen: PhotoSeen, found: Difference, approval: Approval) -> str:
    if found.de00_u95 is not None and found.de00_u95 <= FINEST_DE00_U95:
        return "the colour lies on its limit, where no photo decides: lay the approved board beside it, the eye decides"
    sources = found.sources
    largest = max(sources, key=lambda source: sources[source], default="camera")
    if largest == "light":
        return "edge strips along the part, or a photo of a plain sheet in its place, would settle it"
    if largest in ACROSS and _beside(seen, approval) is None:
        named = ""
        if seen.wanted.light is None and approval.zone.light is not None:
            named = f"the light's name, if it is the same (--light {approval.zone.light}), or "
        board = approval.zone.id.partition("/")[0]
        return f"{named}a photo with the approved board beside the part (--board {board}) would settle it"
    if largest in ACROSS:
        return "a step card or a 24-patch chart in the photo would settle it"
    return "more photos of the part would settle it"
