"""How does a verdict look?  Always a word and a shape; the colour only repeats them."""

from dataclasses import dataclass
from typing import Literal

from analyzer.results import Colour, Evenness, Overall

# Names of the drawings in templates/shapes.svg.
Shape = Literal["disc", "square", "diamond", "ring", "triangle"]
Tone = Literal["good", "bad", "open", "plain"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A verdict or a severity as shown: a filled disc is good, a square is not, a hollow diamond is open."""

    word: str
    shape: Shape
    tone: Tone


_COLOUR: dict[Colour, Mark] = {
    "match": Mark("match", "disc", "good"),
    "no match": Mark("no match", "square", "bad"),
    "cannot tell": Mark("cannot tell", "diamond", "open"),
}
_EVENNESS: dict[Evenness, Mark] = {
    "even": Mark("even", "disc", "good"),
    "blotchy": Mark("blotchy", "square", "bad"),
    "cannot tell": Mark("cannot tell", "diamond", "open"),
    "not judged": Mark("not judged", "ring", "plain"),
}
_OVERALL: dict[Overall, Mark] = {
    "use": Mark("use", "disc", "good"),
    "do not use": Mark("do not use", "square", "bad"),
    "cannot tell": Mark("cannot tell", "diamond", "open"),
}
_SEVERITY: dict[Literal["note", "warning", "unusable"], Mark] = {
    "note": Mark("Note", "ring", "plain"),
    "warning": Mark("Warning", "triangle", "open"),
    "unusable": Mark("Not used", "square", "bad"),
}


def colour_mark(verdict: Colour) -> Mark:
    """How a colour verdict looks."""
    return _COLOUR[verdict]


def evenness_mark(verdict: Evenness) -> Mark:
    """How an evenness verdict looks."""
    return _EVENNESS[verdict]


def overall_mark(verdict: Overall) -> Mark:
    """How an overall verdict looks."""
    return _OVERALL[verdict]


def severity_mark(severity: Literal["note", "warning", "unusable"]) -> Mark:
    """How the severity of a finding looks."""
    return _SEVERITY[severity]
