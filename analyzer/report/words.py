"""How are numbers, lengths and verdicts said to the finisher?  One wording for page, terminal and pictures."""

import math
from typing import Literal

Units = Literal["mm", "in"]

MM_PER_INCH = 25.4
MINUS = "\u2212"
# A component of a colour difference below this is not put into words: it is near the first visible difference on
# finished wood, about 0.5 (Drvna industrija 2020, no. 2, "Comparison of visual and instrumental assessment …").
WORTH_A_WORD = 0.5
ROUNDING_SLACK = 1e-6  # of the last digit: 0.3 held as 0.30000000000000004 stays 0.3

COLOUR_DECIMALS = 1
BLOTCH_DECIMALS = 2


def number(value: float, decimals: int) -> str:
    """Say a number with a true minus sign, never "-0"."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def measured(value: float | None, u95: float | None, decimals: int) -> str:
    """Say a value and its 95 % half-width, for example "1.1 ± 0.5".

    The half-width is rounded up: a doubt is never told smaller than it is, and never as 0.
    """
    if value is None:
        return "not measured"
    if u95 is None:
        return f"{number(value, decimals)} ± unknown"
    rounded_up = math.ceil(u95 * 10**decimals - ROUNDING_SLACK) / 10**decimals
    return f"{number(value, decimals)} ± {number(rounded_up, decimals)}"


def colour(de00: float | None, u95: float | None) -> str:
    """Say a colour difference, Delta E 2000."""
    return measured(de00, u95, COLOUR_DECIMALS)


def blotch(index: float | None, u95: float | None) -> str:
    """Say a blotch index, L*."""
    return measured(index, u95, BLOTCH_DECIMALS)


def length(mm: float | None, units: Units) -> str:
    """Say a length in the job's units, for example "14 mm" or "0.55 in"."""
    if mm is None:
        return "–"
    return f"{mm / MM_PER_INCH:.2f} in" if units == "in" else f"{mm:.0f} mm"


def lengths(low_mm: float, high_mm: float, units: Units) -> str:
    """Say a range of lengths in the job's units, for example "4–50 mm" or "0.16–2 in"."""
    if units == "in":
        return f"{low_mm / MM_PER_INCH:.2g}–{high_mm / MM_PER_INCH:.2g} in"
    return f"{low_mm:g}–{high_mm:g} mm"


def distance(metres: float, units: Units) -> str:
    """Say how far away somebody stands, in metres or feet."""
    return f"{metres / 0.3048:.2g} ft" if units == "in" else f"{metres:g} m"


def board_size(length_mm: float, width_mm: float, units: Units) -> str:
    """Say length by width in the job's units, for example "300 × 150 mm"."""
    if units == "in":
        return f"{length_mm / MM_PER_INCH:.3g} × {width_mm / MM_PER_INCH:.3g} in"
    return f"{length_mm:.4g} × {width_mm:.4g} mm"


def area(mm2: float, units: Units) -> str:
    """Say an area in square centimetres or square inches."""
    return f"{mm2 / MM_PER_INCH**2:.1f} in²" if units == "in" else f"{mm2 / 100:.0f} cm²"


def scale(mm_per_px: float | None, units: Units) -> str:
    """Say how finely a photo saw the board, in pixels per unit of length."""
    if mm_per_px is None:
        return "–"
    return f"{MM_PER_INCH / mm_per_px:.0f} px/in" if units == "in" else f"{1 / mm_per_px:.1f} px/mm"


def percent(fraction: float | None) -> str:
    """Say a fraction as per cent, with one decimal below 10 %."""
    if fraction is None:
        return "–"
    return f"{100 * fraction:.{0 if fraction >= 0.1 or fraction == 0 else 1}f} %"


def taken(stage: str, light: str | None) -> str:
    """Say stage and light, which stand beside every number: "stained, light “shop”"."""
    return f"{stage}, light “{light}”" if light else f"{stage}, light not named"


def direction(dL: float, da: float, db: float) -> str:
    """Say a colour difference in shop words, the largest part first: "lighter, yellower"."""
    parts = [(dL, "lighter", "darker"), (da, "redder", "greener"), (db, "yellower", "bluer")]
    worth = sorted((part for part in parts if abs(part[0]) >= WORTH_A_WORD), key=lambda part: -abs(part[0]))
    return ", ".join(more if value > 0 else less for value, more, less in worth) or "the same to the eye"


def gray_scale(grade: float | None) -> str:
    """Say a gray scale grade as the scale does, to its half steps: 4, 4–5, 5."""
    if grade is None:
        return "–"
    halves = round(2 * grade)
    return f"{halves // 2}–{halves // 2 + 1}" if halves % 2 else f"{halves // 2}"


def sentence(text: str) -> str:
    """Begin with a capital letter, and change nothing else."""
    return text[:1].upper() + text[1:]


def count(n: int, one: str, many: str | None = None) -> str:
    """Count things: "1 board", "2 boards"."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def treatment_name(treatment: str, dose: str | None = None) -> str:
    """Say a treatment as a finisher does; "none" is the control."""
    name = "no pre-treatment (control)" if treatment == "none" else treatment
    return name if dose is None else f"{name}, {dose}"
