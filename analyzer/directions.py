"""In which direction does a colour miss its target, in a finisher's words?

The order is the colour matcher's: value first, then chroma, then hue (common practice, no source).
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from analyzer.guard_band import Z_975
from calibration.difference import components

# On finished wood a difference is first seen at about 0.5 Delta E*ab and called "a different colour" at about 2
# (visual against instrumental assessment of finished wood, Drvna industrija 2020, no. 2). Holding each direction by
# itself against these two is chosen.
A_LITTLE: Final = 0.5
CLEARLY: Final = 2.0

# Below this C*ab a colour is called grayish, and "redder" or "yellower" say more than hue and chroma. Chosen.
NEARLY_NEUTRAL: Final = 8.0

Word = Literal["light", "dark", "vivid", "dull", "red", "yellow", "green", "blue"]

_HUES: Final[tuple[Word, ...]] = ("red", "yellow", "green", "blue")  # at 0, 90, 180 and 270 degrees


@dataclass(frozen=True, slots=True)
class Direction:
    """One way in which a colour differs from its target."""

    word: Word
    amount: float  # |dL*|, |dC*| and |dH*|, or |da*| and |db*|: CIELAB units, as in results.json
    seen: float  # the same by the eye's weight: chroma and hue count less in vivid colours

    @property
    def is_clear(self) -> bool:
        """True where "clearly" is the word, False where "a little" is."""
        return self.seen >= CLEARLY


def directions(Lab_target: ArrayLike, delta_Lab: ArrayLike, covariance: ArrayLike | None) -> tuple[Direction, ...]:
    """Name the directions of a difference that can both be told and be seen.

    A direction counts when it is larger than its own 95 % half-width, and at least `A_LITTLE` after division by
    the weight of CIE 116:1995 (CIE94: S_L = 1, S_C = 1 + 0.045 C*, S_H = 1 + 0.015 C*).

    Parameters
    ----------
    Lab_target : array_like, (3,)
        CIELAB of the target.
    delta_Lab : array_like, (3,)
        Colour minus target.
    covariance : array_like, (3, 3), or None
        Of `delta_Lab`; None when unknown: then all that could be seen is named.

    Returns
    -------
    found : tuple of Direction
        Lightness, then chroma, then hue; of nearly neutral colours lightness, red-green, yellow-blue.
    """
    target, delta = np.asarray(Lab_target, dtype=np.float64), np.asarray(delta_Lab, dtype=np.float64)
    parts = components(target, target + delta)
    middle = target + delta / 2
    chroma, hue = math.hypot(middle[1], middle[2]), math.atan2(middle[2], middle[1])
    cos, sin = math.cos(hue), math.sin(hue)
    S_C, S_H = 1 + 0.045 * chroma, 1 + 0.015 * chroma
    # signed amount, weight, axis along which its uncertainty is read, word when negative, word when positive
    rows: list[tuple[float, float, tuple[float, float, float], Word, Word]]
    rows = [(float(parts.dL), 1.0, (1.0, 0.0, 0.0), "dark", "light")]
    if chroma < NEARLY_NEUTRAL:
        rows += [
            (float(parts.da), 1.0, (0.0, 1.0, 0.0), "green", "red"),
            (float(parts.db), 1.0, (0.0, 0.0, 1.0), "blue", "yellow"),
        ]
    else:
        quadrant = int(math.degrees(hue) % 360 // 90)
        rows += [
            (float(parts.dC), S_C, (0.0, cos, sin), "dull", "vivid"),
            (float(parts.dH), S_H, (0.0, -sin, cos), _HUES[quadrant], _HUES[(quadrant + 1) % 4]),
        ]
    found = []
    for amount, weight, axis, negative, positive in rows:
        seen = abs(amount) / weight
        if seen >= A_LITTLE and abs(amount) > _u95_along(axis, covariance):
            found.append(Direction(positive if amount > 0 else negative, abs(amount), seen))
    return tuple(found)


def _u95_along(axis: tuple[float, float, float], covariance: ArrayLike | None) -> float:
    """Read a 95 % half-width along one axis of CIELAB; 0 when the covariance is unknown."""
    if covariance is None:
        return 0.0
    along = np.asarray(axis)
    variance = float(along @ np.asarray(covariance, dtype=np.float64) @ along)
    return Z_975 * math.sqrt(max(0.0, variance))  # rounding may leave a tiny negative one
