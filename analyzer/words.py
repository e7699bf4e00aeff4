"""What should the finisher do, in one plain sentence?

Everything here is common practice of the finishing room, no source, and is worded as something to try. Nothing
here mixes chemicals, heats, or goes beyond a product's label; the report carries the cautions.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analyzer.directions import Direction, Word
from analyzer.results import Colour, Evenness, Overall

UNTREATED: Final = "none"  # the control's treatment


class Doubt(StrEnum):
    """What a "cannot tell" hangs on."""

    BOARDS = "boards"  # the wood: boards differ by more than the measurement is unsure of
    LIGHT = "light"  # of the measurement mostly this
    CAMERA = "camera"  # the camera, its tone curve, or the reference's own value
    PHOTOS = "photos"  # the measurement in general
    LIMIT = "limit"  # as sure as photos get, and yet on the limit


@dataclass(frozen=True, slots=True)
class ColourFound:
    """Colour of one treatment against the target."""

    verdict: Colour
    de00: float | None
    de00_u95: float | None
    tolerance: float
    directions: tuple[Direction, ...]  # colour minus target
    doubt: Doubt | None  # None: nothing in doubt, or not comparable
    why_not: str | None  # why there is no comparison
    boards: int  # that could be compared
    against_sample: bool  # the target is a zone of a board, not a value


@dataclass(frozen=True, slots=True)
class EvennessFound:
    """Evenness of one treatment against its limit, L*."""

    verdict: Evenness
    blotch: float | None
    blotch_u95: float | None
    limit: float | None
    doubt: Doubt | None  # None: nothing in doubt, or nothing to hold against
    figure_kept: float | None = None  # of the figure of the bare wood; None: not known, or not asked for


def advice(treatment: str, boards: int, overall: Overall, colour: ColourFound, evenness: EvennessFound) -> str:
    """One sentence on one treatment: how the colour is, what to try, how even it is, what would settle a doubt.

    Parameters
    ----------
    treatment : str
        As in job.toml; "none" for a control.
    boards : int
        Number of boards that carry it.
    overall : str
        The verdict that colour and evenness make together.
    colour, evenness : ColourFound, EvennessFound

    Returns
    -------
    sentence : str
        Clauses joined by semicolons, with a full stop.
    """
    clauses = [
        colour_clause(colour),
        colour_remedy(treatment, colour, evenness.verdict),
        evenness_clause(evenness),
        evenness_remedy(treatment, colour, evenness.verdict),
    ]
    if overall == "cannot tell":
        clauses.append(settling_clause(boards, colour, evenness))
    if 0 < colour.boards < boards:
        clauses.append(f"only {colour.boards} of {boards} boards could be compared with the target")
    if boards == 1:
        clauses.append("rests on one board")
    return "; ".join(clause for clause in clauses if clause) + "."


def colour_clause(colour: ColourFound) -> str:
    """Say how the colour lies to the target, numbers first."""
    if colour.de00 is None:
        return "colour cannot be told" + (f": {colour.why_not.strip().rstrip('.')}" if colour.why_not else "")
    off = _too(colour.directions)
    if colour.verdict == "match":
        if colour.directions:
            return f"a match, {colour.directions[0].amount:.1f} on the {colour.directions[0].word} side"
        return "a match, no difference that can be told" if _is_lost(colour) else "a match, hardly a visible difference"
    if colour.verdict == "no match":
        return off or f"{colour.de00:.1f} from the target, in no one direction that can be named"
    if colour.de00_u95 is None:
        return f"{off or f'{colour.de00:.1f} from the target'}, but how sure that is is not known"
    if not off and _is_lost(colour):
        off = "no difference that can be told"
    off = off or f"{colour.de00:.1f} from the target"
    return f"{off}, but ± {half_width(colour.de00_u95)} leaves open whether that is within {colour.tolerance:.1f}"


def evenness_clause(evenness: EvennessFound) -> str:
    """Say how even the surface is."""
    if evenness.verdict == "even":
        return "even enough"
    if evenness.verdict == "not judged":
        kept = evenness.figure_kept
        times = "" if kept is None else f"; the figure is {kept:.1f} times that of the bare wood"
        return f"evenness not judged, as a lively figure is wanted{times}"
    if evenness.blotch is None:
        return "evenness could not be measured"
    found = f"blotch {evenness.blotch:.1f}"
    if evenness.limit is None:
        return f"{found}, with no limit measured to hold it against"
    if evenness.verdict == "blotchy":
        return f"too blotchy ({evenness.blotch:.1f}, limit {evenness.limit:.1f})"
    doubt = ", how sure is not known" if evenness.blotch_u95 is None else f" ± {half_width(evenness.blotch_u95)}"
    return f"evenness cannot be told ({found}{doubt}, limit {evenness.limit:.1f})"


def colour_remedy(treatment: str, colour: ColourFound, evenness: Evenness) -> str:
    """Name what to try against a colour that misses; empty when none is shown to miss, or evening will mend it."""
    if colour.verdict != "no match":
        return ""
    remedies = []
    # Value first, then look again: a second change is named only for a clear miss, a third would teach nothing.
    for direction in (*colour.directions[:1], *(second for second in colour.directions[1:2] if second.is_clear)):
        if direction.word == "light":
            ways = _MORE_COLOUR if direction.is_clear else _A_LITTLE_MORE_COLOUR
            # A weaker pre-treatment lets more blotch through: only where the surface can afford it.
            affordable = evenness in ("even", "not judged") and treatment != UNTREATED
            remedies.append(listed([*ways, "a weaker pre-treatment"] if affordable else ways, "or"))
        elif direction.word != "dark":
            remedies.append(_ANOTHER_COLOUR[direction.word])
        elif evenness != "blotchy":  # what evens a blotchy surface lightens it too
            remedies.append(listed([*_LESS_COLOUR, _stronger(treatment)], "or"))
    return "try " + ", and ".join(remedies) if remedies else ""


def evenness_remedy(treatment: str, colour: ColourFound, evenness: Evenness) -> str:
    """Name what to try against a blotchy surface; empty when it is not shown to be one."""
    if evenness != "blotchy":
        return ""
    is_dark = colour.verdict == "no match" and any(direction.word == "dark" for direction in colour.directions)
    return f"try {_stronger(treatment)}{', which also lightens,' if is_dark else ''} or a gel stain"


def settling_clause(boards: int, colour: ColourFound, evenness: EvennessFound) -> str:
    """Say what would turn a "cannot tell" into an answer."""
    needed = []
    another = "a second board" if boards == 1 else "another board"
    if colour.verdict == "cannot tell" and colour.de00 is None:
        place = "with the sample in it" if colour.against_sample else "in even light"
        needed.append(f"a photo at the target's own stage and sheen, {place},")
    if colour.doubt is Doubt.BOARDS or evenness.doubt is Doubt.BOARDS:
        needed.append(another)
    if colour.doubt is Doubt.LIGHT:
        needed.append("edge strips beside the board, or a photo of a plain sheet, to even the light out,")
    if colour.doubt is Doubt.CAMERA and colour.against_sample:
        needed.append("a step card or a 24-patch chart in the photo instead of the gray card")
    elif colour.doubt in (Doubt.PHOTOS, Doubt.CAMERA):
        needed.append(_BETTER_COLOUR_WITH_SAMPLE if colour.against_sample else _BETTER_COLOUR_WITH_VALUE)
    if evenness.doubt is Doubt.PHOTOS:
        needed.append("a sharp photo in more even light of a larger zone")
    if evenness.verdict == "cannot tell" and evenness.blotch is not None and evenness.limit is None:
        needed.append("a photo of the zone that sets the limit, at this stage and in this light,")
    settled = f"{' and '.join(needed)} would settle it" if needed else ""
    on_limit = [
        f"{what} lies on its limit, where no photo decides: change the recipe or agree on the limit"
        for what, doubt in (("the colour", colour.doubt), ("the evenness", evenness.doubt))
        if doubt is Doubt.LIMIT
    ]
    return "; ".join([*([settled] if settled else []), *on_limit])


def half_width(u95: float) -> str:
    """Write a 95 % half-width to one decimal, rounded up: a doubt is never told smaller than it is."""
    return f"{math.ceil(u95 * 10 - 1e-6) / 10:.1f}"


def named(treatment: str) -> str:
    """Name a treatment inside a sentence."""
    return "no pre-treatment" if treatment == UNTREATED else treatment


def listed(items: Sequence[str], joint: str) -> str:
    """Join items as a sentence does: `a, b or c`."""
    return f" {joint} ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


_MORE_COLOUR: Final = ["one more coat", "a darker stain"]
_A_LITTLE_MORE_COLOUR: Final = ["a slightly darker stain", "a longer dwell before wiping"]
_LESS_COLOUR: Final = ["a more diluted stain", "wiping sooner"]
# Away from one hue is toward its opposite on the colour wheel.
_ANOTHER_COLOUR: Final[dict[Word, str]] = {
    "vivid": "a browner, less vivid stain",
    "dull": "a cleaner stain with less black in it",
    "red": "a stain with less red in it, leaning to green",
    "yellow": "a stain with less yellow in it, leaning to violet",
    "green": "a stain with less green in it, leaning to red",
    "blue": "a stain with less blue in it, leaning to orange",
}
_BETTER_COLOUR_WITH_SAMPLE: Final = "repeat photos with the sample beside the board in even light"
# A value carries the camera's whole error; a sample in the same photo carries almost none of it.
_BETTER_COLOUR_WITH_VALUE: Final = "the agreed sample itself beside the board in the photo, instead of a value,"


def _stronger(treatment: str) -> str:
    return "a pre-treatment" if treatment == UNTREATED else "a stronger pre-treatment"


def _is_lost(colour: ColourFound) -> bool:
    """Tell whether the difference is no larger than its own uncertainty."""
    return colour.de00 is not None and colour.de00_u95 is not None and colour.de00 <= colour.de00_u95


def _too(found: Sequence[Direction]) -> str:
    """Join directions, the first with its number: `2.1 too light and a little too yellow`."""
    phrases = [
        f"{direction.amount:.1f} too {direction.word}"
        if place == 0
        else f"{'clearly' if direction.is_clear else 'a little'} too {direction.word}"
        for place, direction in enumerate(found)
    ]
    return listed(phrases, "and")
