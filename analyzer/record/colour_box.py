"""Which box in CIELAB surely holds every colour within a CIEDE2000 difference of one?

An index finds the colours of a box in no time, and the formula need then be worked out for those alone. The box is
derived from the formula (symbols of Sharma, Wu and Dalal, Color Research and Application 30(1), 21-30, 2005), not
fitted, so that none is ever missed:

With x = dC'/S_C and y = dH'/S_H, dE^2 = (dL/S_L)^2 + x^2 + y^2 + R_T x y, and |R_T| < 2, so no part is below 0.

* Lightness: S_L = 1 + 0.015 u^2 / sqrt(20 + u^2) <= 1 + 0.015 |u|, u the mean lightness minus 50, and
  |u| <= |L_1 - 50| + |dL| / 2. Hence |dL| <= dE (1 + 0.015 |L_1 - 50|) / (1 - 0.0075 dE).
* Red-green and yellow-blue: x^2 + y^2 + R_T x y >= (1 - |R_T| / 2)(x^2 + y^2); S_H <= 1 + 0.015 * 1.93 C < S_C =
  1 + 0.045 C, C the mean chroma C'. And dC'^2 + dH'^2 is r^2, the squared distance in the plane of a' and b', with
  C <= C'_1 + r / 2. Hence, with k = 1 / sqrt(1 - |R_T| / 2), r <= k dE (1 + 0.045 C'_1) / (1 - 0.0225 k dE).
  Since a' = (1 + G) a with one G in 0..0.5 for both colours, |da| <= r, |db| <= r and C'_1 <= hypot(1.5 a, b).
* R_T = -2 R sin(60° exp(-((h - 275°) / 25°)^2)), R < 1 and h the mean hue: at most sqrt(3) anywhere. Away from blue
  it all but vanishes: a first r says how far the mean hue can lie from that of the colour, and so bounds R_T anew.
"""

import math
from collections.abc import Sequence

_BLUE_DEG, _WIDTH_DEG = 275.0, 25.0
_ROUNDING = 1e-9  # a colour that lies on the limit is not lost to the last bit

Interval = tuple[float, float]


def colour_box(Lab: Sequence[float], within: float) -> tuple[Interval, Interval, Interval]:
    """Bound the colours within a CIEDE2000 difference of one.

    Parameters
    ----------
    Lab : sequence of 3 float
        CIELAB.
    within : float, 0 or more
        The CIEDE2000 difference (1:1:1).

    Returns
    -------
    box : three pairs of float
        Least and most of L*, a* and b*; infinite where the difference is too large for the bound to hold.

    Raises
    ------
    ValueError
        If `within` is not 0 or more, or a value is not finite.
    """
    L, a, b = (float(value) for value in Lab)
    if not within >= 0 or not all(math.isfinite(value) for value in (L, a, b)):
        raise ValueError(f"colour_box: needs a finite colour and a difference of 0 or more, got {Lab} and {within}.")
    dL = _most(within, 1 + 0.015 * abs(L - 50), 0.0075)
    anywhere = _radius(within, a, b, math.sqrt(3))
    r = _radius(within, a, b, _most_rotation(a, b, anywhere)) if math.isfinite(anywhere) else anywhere
    return tuple((value - half, value + half) for value, half in ((L, dL), (a, r), (b, r)))  # type: ignore[return-value] # three of three


def _radius(within: float, a: float, b: float, rotation: float) -> float:
    """r, given the most that |R_T| can be."""
    k = 1 / math.sqrt(1 - rotation / 2)
    return _most(k * within, 1 + 0.045 * math.hypot(1.5 * a, b), 0.0225)


def _most(within: float, at_the_colour: float, growth: float) -> float:
    """Solve d <= within (at_the_colour + growth d) for d; infinite where it holds for every d."""
    room = 1 - growth * within
    return within * at_the_colour / room * (1 + _ROUNDING) + _ROUNDING if room > 0 else math.inf


def _most_rotation(a: float, b: float, r: float) -> float:
    """The most that |R_T| can be for colours within r of this one in the plane of a' and b'.

    The hue h' of this colour lies between those of (a, b) and (1.5 a, b); a colour within r is off by asin(r / C') or
    less, with C' >= hypot(a, b), and the mean hue by half of that.
    """
    chroma = math.hypot(a, b)
    if r >= chroma:
        return math.sqrt(3)
    ends = [math.degrees(math.atan2(b, stretch * a)) for stretch in (1.0, 1.5)]
    reach = math.degrees(math.asin(r / chroma)) / 2
    nearest = min(abs((end - _BLUE_DEG + 180) % 360 - 180) for end in ends) - abs(ends[0] - ends[1]) - reach
    return 2 * math.sin(math.radians(60 * math.exp(-((max(nearest, 0.0) / _WIDTH_DEG) ** 2))))
