"""When do two recorded values mean the same?  Numbers with units are compared as numbers."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

from analyzer.dose_curve import dose_of
from analyzer.recipe_fields import Kind, RecipeField

Likeness = Literal["same", "different", "cannot tell"]

# A degree Fahrenheit that was rounded is up to 0.28 °C off, a film in mil, to a tenth, about half a percent.
_NEAR_CELSIUS: Final = 0.3
_NEAR_FILM: Final = 5e-3

_NUMBER: Final = r"(\d+(?:[.,]\d+)?)"
_SECONDS: Final = {"s": 1, "sec": 1, "min": 60, "h": 3600, "hr": 3600, "d": 86_400, "day": 86_400, "week": 604_800}
_SECONDS_BY_WORD: Final = {"second": 1, "minute": 60, "hour": 3600, "m": 60}
_MICROMETRES: Final = {"µm": 1.0, "μm": 1.0, "um": 1.0, "micron": 1.0, "mil": 25.4, "mm": 1000.0}
_TIME: Final = re.compile(rf"(?:{_NUMBER}\s*([a-z]+)\.?\s*(?:and\s+)?)")
_PERCENT: Final = re.compile(rf"{_NUMBER}\s*(?:%|percent)?")
_FILM: Final = re.compile(rf"{_NUMBER}\s*([a-zµμ]+)\.?")
_CELSIUS: Final = re.compile(r"(-?\d+(?:[.,]\d+)?)\s*(?:°|degrees?\s)?\s*([cf])")
_GRIT: Final = re.compile(r"(p|cami)?[\s-]*(\d+)(?:\s*(?:grit))?(?:\s*(p|cami))?")
_GLOSS: Final = re.compile(rf"{_NUMBER}\s*(?:gu|gloss units?)?")


@dataclass(frozen=True, slots=True)
class Grit:
    """A grit and the scale it is of: P320 is finer than CAMI 320."""

    number: int
    scale: str | None  # "P" or "CAMI"; None: not given


def likeness(field: RecipeField, one: object, other: object, scales: tuple[str | None, str | None]) -> Likeness:
    """Compare two values of a field.

    Parameters
    ----------
    field : RecipeField
    one, other : as in job.toml
    scales : two of str or None
        The `grit_scale` of each side, for grits that do not say theirs.

    Returns
    -------
    "same", "different" or "cannot tell"
        The last for equal grits of which one does not say its scale.
    """
    if field.kind in ("grit", "grits"):
        return _grits_alike(grits_of(one, scales[0]), grits_of(other, scales[1]), one, other)
    read = _READERS.get(field.kind)
    a, b = (None if read is None else read(value) for value in (one, other))
    if a is None or b is None:
        same = a is None and b is None and _plain(one) == _plain(other)
    elif field.kind == "celsius":
        same = math.isclose(a, b, abs_tol=_NEAR_CELSIUS)
    else:
        same = math.isclose(a, b, rel_tol=_NEAR_FILM if field.kind == "film" else 1e-9, abs_tol=1e-9)
    return "same" if same else "different"


def seconds_of(written: object) -> float | None:
    """A time with its unit, "1 h 30 min" or "2 days"; None for anything else, "overnight" too."""
    text = _plain(written)
    parts = list(_TIME.finditer(text))
    if not parts or "".join(part[0] for part in parts) != text:
        return None
    total = 0.0
    for part in parts:
        unit = part[2].removesuffix("s") or "s"
        worth = _SECONDS.get(unit) or _SECONDS_BY_WORD.get(unit)
        if worth is None:
            return None
        total += worth * _number(part[1])
    return total


def percent_of(written: object) -> float | None:
    """A share, 5 or "5 %"; None for anything else, "about 5 %" too."""
    found = _PERCENT.fullmatch(_plain(written))
    return _number(found[1]) if found else None


def micrometres_of(written: object) -> float | None:
    """The thickness of a film with its unit, "4 mil" or "100 µm"; None for anything else."""
    found = _FILM.fullmatch(_plain(written))
    worth = _MICROMETRES.get(found[2] if found[2] in _MICROMETRES else found[2].removesuffix("s")) if found else None
    return None if found is None or worth is None else worth * _number(found[1])


def celsius_of(written: object) -> float | None:
    """A temperature with its unit, "20 °C" or "68 F"; None for anything else."""
    found = _CELSIUS.fullmatch(_plain(written))
    if found is None:
        return None
    degrees = _number(found[1])
    return degrees if found[2] == "c" else (degrees - 32) / 1.8


def grits_of(written: object, scale: str | None) -> tuple[Grit, ...] | None:
    """Grits in their order, [120, "P150"] or "120, 150"; None where one of them cannot be read."""
    items = (
        written if isinstance(written, list) else re.split(r"\s*(?:,|;|/|->|→|–|\bthen\b|\bto\b)\s*", _plain(written))
    )
    grits = []
    for item in items:
        found = _GRIT.fullmatch(_plain(item))
        if found is None:
            return None
        own = found[1] or found[3]
        grits.append(Grit(int(found[2]), own.upper() if own else scale))
    return tuple(grits)


def _grits_alike(a: tuple[Grit, ...] | None, b: tuple[Grit, ...] | None, one: object, other: object) -> Likeness:
    if a is None or b is None:
        return "same" if a is b and _plain(one) == _plain(other) else "different"
    if [grit.number for grit in a] != [grit.number for grit in b]:
        return "different"
    scales = [(x.scale, y.scale) for x, y in zip(a, b, strict=True)]
    if any(x != y and None not in (x, y) for x, y in scales):
        return "different"
    return "cannot tell" if any(x != y for x, y in scales) else "same"


def _gloss_of(written: object) -> float | None:
    found = _GLOSS.fullmatch(_plain(written))
    return _number(found[1]) if found else None


def _dilution_of(written: object) -> float | None:
    return dose_of("dilution", written)


_READERS: Final[dict[Kind, Callable[[Any], float | None]]] = {
    "time": seconds_of,
    "percent": percent_of,
    "film": micrometres_of,
    "celsius": celsius_of,
    "dilution": _dilution_of,
    "sheen": _gloss_of,
}


def _plain(written: object) -> str:
    """Text without what makes no difference: case, spaces and a full stop at the end."""
    return " ".join(str(written).casefold().split()).rstrip(".")


def _number(text: str) -> float:
    return float(text.replace(",", "."))
