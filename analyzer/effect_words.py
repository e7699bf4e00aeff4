"""How is a treatment's effect told to a finisher?"""

from typing import Final

from analyzer.results import EffectResult
from analyzer.words import half_width, listed

LEVEL: Final = 0.05  # of the adjusted p-values: how often one of the treatments seems to do something and does not

_MORE: Final = {
    "light": "lighter",
    "dark": "darker",
    "vivid": "more vivid",
    "dull": "duller",
    "red": "redder",
    "yellow": "yellower",
    "green": "greener",
    "blue": "bluer",
}


def said(effect: EffectResult, treatments: int) -> str:
    """Say what a treatment does to blotch and colour.

    Parameters
    ----------
    effect : EffectResult
        With its p-values adjusted.
    treatments : int
        How many were tried on two boards or more, and so were adjusted for each other.

    Returns
    -------
    words : str
        Clauses joined by semicolons, without a full stop, beginning with a small letter.
    """
    if effect.boards == 1:
        return f"{_blotch_here(effect)}; {_colour(effect)}; one board: no inference about the pre-treatment"
    return f"{_blotch(effect, treatments)}; {_colour_over_boards(effect, treatments)}"


def _blotch(effect: EffectResult, treatments: int) -> str:
    if effect.blotch_change is None:
        return "blotch was not measured beside a control"
    over = f"over {effect.boards} boards"
    falls = effect.blotch_change < 0
    if effect.blotch_p_holm is not None and effect.blotch_p_holm < LEVEL:
        return f"{'evens' if falls else 'makes it blotchier'}: {_moves(effect, 'falls', 'rises')}, {over}"
    if effect.blotch_p is not None and effect.blotch_p < LEVEL:
        return f"{_moves(effect, 'seems to fall', 'seems to rise')}, {over}; {_by_chance(treatments)}"
    return f"no change in blotch can be told: {_levels(effect)}, a change of {_change(effect)}, {over}"


def _blotch_here(effect: EffectResult) -> str:
    """On one board: what lies there, and nothing about the treatment."""
    if effect.blotch_change is None:
        return "blotch was not measured beside a control"
    u95 = effect.blotch_change_u95
    if u95 is not None and abs(effect.blotch_change) > u95:
        return f"here {_moves(effect, 'falls', 'rises')}"
    return f"here no change in blotch can be told: {_levels(effect)}, a change of {_change(effect)}"


def _moves(effect: EffectResult, falls: str, rises: str) -> str:
    verb = falls if (effect.blotch_change or 0.0) < 0 else rises
    return f"blotch {verb} {_levels(effect)}, by {_change(effect)}"


def _levels(effect: EffectResult) -> str:
    return f"from {effect.blotch_control or 0.0:.1f} to {effect.blotch or 0.0:.1f}"


def _change(effect: EffectResult) -> str:
    doubt = "unknown" if effect.blotch_change_u95 is None else half_width(effect.blotch_change_u95)
    return f"{abs(effect.blotch_change or 0.0):.1f} ± {doubt}"


def _colour_over_boards(effect: EffectResult, treatments: int) -> str:
    if effect.colour_p_holm is None or effect.colour_p_holm < LEVEL:
        return _colour(effect)
    if effect.colour_p is not None and effect.colour_p < LEVEL:
        return f"{_colour(effect)}; {_by_chance(treatments)}"
    return f"no shift in colour can be told ({_distance(effect)})"


def _colour(effect: EffectResult) -> str:
    if effect.de00_u95 is not None and effect.de00 <= effect.de00_u95:
        return f"no shift in colour can be told ({_distance(effect)})"
    ways = listed([_MORE[word] for word in effect.directions], "and") if effect.directions else ""
    return f"colour {_distance(effect)} from the control{': ' if ways else ''}{ways}"


def _distance(effect: EffectResult) -> str:
    return f"{effect.de00:.1f} ± {'unknown' if effect.de00_u95 is None else half_width(effect.de00_u95)}"


def _by_chance(treatments: int) -> str:
    return f"among {treatments} treatments that may be chance" if treatments > 1 else "that may be chance"
