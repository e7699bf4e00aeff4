"""How is a dose, and which of them is right, told to a finisher?"""

from typing import Final

from analyzer.results import DosePointResult, DoseResult
from analyzer.words import half_width, listed

NAMES: Final = {"solids": "solids", "dilution": "dilution", "stain_coats": "coats of stain"}


def dose_in_words(key: str, dose: float) -> str:
    """Say a dose in the unit in which it is mixed: "5 % solids", "1:10", "2 coats"."""
    if key == "solids":
        return f"{f'{dose:.1f}'.removesuffix('.0') if dose >= 1 else f'{dose:.2g}'} % solids"
    if key == "dilution":
        return "undiluted" if dose == 0 else f"1:{dose:.2g}"
    return f"{dose:.3g} coat{'' if dose == 1 else 's'}"


def said(result: DoseResult, tolerance: float) -> str:
    """Say which dose meets both limits, or that none surely does and which is nearest.

    Parameters
    ----------
    result : DoseResult
        All but its words.
    tolerance : float
        CIEDE2000.

    Returns
    -------
    words : str
        One sentence without a full stop, beginning with a small letter.
    """
    tried = f"tried: {listed([point.words for point in result.points], 'and')}"
    alone = "" if any(point.boards > 1 for point in result.points) else "; one board a dose: another may differ"
    nearest = result.nearest
    if result.best is not None and result.best_range is not None:
        low, high = (dose_in_words(result.key, dose) for dose in result.best_range)
        within = "" if low == high else f" (any from {low} to {high} does)"
        mixed = "" if nearest.boards else ", read between the doses tried, so make a sample of it first"
        return f"{nearest.words} meets the limits{within}: {_figures(nearest)}{mixed}; {tried}{alone}"
    why = _because(nearest, tolerance)
    found = f"nearest is {nearest.words}: {_figures(nearest)}{why}"
    return f"none of the doses surely meets the limits; {found}; {tried}{alone}"


def _figures(point: DosePointResult) -> str:
    colour = f"colour {point.de00:.1f} ± {_doubt(point.de00_u95)} from the target"
    if point.blotch is None:
        return f"{colour}, blotch not measured"
    return f"{colour}, blotch {point.blotch:.1f} ± {_doubt(point.blotch_u95)}"


def _doubt(u95: float | None) -> str:
    return "unknown" if u95 is None else half_width(u95)


def _because(point: DosePointResult, tolerance: float) -> str:
    """Name what keeps the nearest dose from its limits."""
    reasons = []
    if point.colour == "no match":
        reasons.append(f"the colour misses its {tolerance:.1f}")
    elif point.colour == "cannot tell":
        reasons.append("the colour cannot be told")
    if point.evenness == "blotchy":
        reasons.append("it is too blotchy")
    elif point.evenness == "cannot tell":
        reasons.append("its evenness cannot be told")
    return f" ({listed(reasons, 'and')})" if reasons else ""
