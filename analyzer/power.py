"""On how many boards must a treatment be tried to see a difference of a given size?

A treatment is compared with the control of its own board, so that each board gives one paired difference and the test
is a paired t test, two-sided. Its power is exact: that of the noncentral t distribution (Johnson & Welch, Biometrika
31, 362-389, 1940), integrated over the spread that the boards may happen to show.
"""

import math
from functools import lru_cache
from typing import Final

import numpy as np

from analyzer.students_t import two_sided_t

ALPHA: Final = 0.05  # two-sided: how often a difference is seen where there is none
POWER: Final = 0.8  # how often a difference that is there is seen (common practice)
MOST_BOARDS: Final = 10_000  # chosen: nobody makes more, and the search must end

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)
_REACH: Final = 9.0  # standard deviations of the boards' spread beyond which nothing is left to integrate
_HALF_ERFC = np.frompyfunc(lambda x: 0.5 * math.erfc(x), 1, 1)


def power_of(boards: int, smallest: float, spread: float, *, alpha: float = ALPHA) -> float:
    """How probable it is that so many boards show a difference of a given size.

    Parameters
    ----------
    boards : int
        2 or more: one board shows no spread, and leaves no inference.
    smallest : float
        The smallest difference that matters, in the unit of `spread` (L* for blotch or lightness).
    spread : float
        Standard deviation of the paired differences from board to board, above 0.
    alpha : float
        Level of the test, two-sided.

    Returns
    -------
    power : float
        0 to 1; `alpha` when there is no difference.

    Raises
    ------
    ValueError
        For fewer than two boards or a spread that is not above 0.
    """
    if boards < 2:
        raise ValueError(f"power: one board is no trial, got {boards}; a spread needs two.")
    if not spread > 0 or not math.isfinite(smallest):
        raise ValueError(f"power: the spread must be above 0 and the difference finite, got {spread:g}, {smallest:g}.")
    nu = boards - 1
    shift = abs(smallest) / spread * math.sqrt(boards)
    limit = _critical(alpha, nu)
    # s: the spread as estimated over the true one, a chi variable over its root of nu, around 1 by about 1/sqrt(2 nu)
    width = _REACH / math.sqrt(2 * nu)
    low, high = max(0.0, 1 - width), 1 + width
    s = low + (high - low) * (_NODES + 1) / 2
    log_density = math.log(2) + nu / 2 * math.log(nu / 2) - math.lgamma(nu / 2) + (nu - 1) * np.log(s) - nu * s**2 / 2
    seen = _above(limit * s - shift) + _above(limit * s + shift)
    return min(1.0, float(np.sum(_WEIGHTS * np.exp(log_density) * seen)) * (high - low) / 2)


def boards_needed(smallest: float, spread: float, *, power: float = POWER, alpha: float = ALPHA) -> int:
    """Tell on how many boards a treatment must be tried to show a difference of a given size.

    Parameters
    ----------
    smallest : float
        The smallest difference that matters, not 0.
    spread : float
        Standard deviation of the paired differences from board to board, above 0, in the same unit.
    power : float
        How often a difference of that size is to be seen, above `alpha` and below 1.
    alpha : float
        Level of the test, two-sided; divide it by the number of treatments to plan for all of them at once.

    Returns
    -------
    boards : int
        2 or more.

    Raises
    ------
    ValueError
        If no number of boards up to 10,000 is enough, or an argument is out of range.
    """
    if not alpha < power < 1:
        raise ValueError(f"power: must lie above the level {alpha:g} and below 1, got {power:g}.")
    low, high = 1, 2
    while power_of(high, smallest, spread, alpha=alpha) < power:
        low, high = high, 2 * high
        if low > MOST_BOARDS:
            raise ValueError(f"power: a difference of {smallest:g} cannot be seen on {MOST_BOARDS} boards.")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_of(middle, smallest, spread, alpha=alpha) >= power else (middle, high)
    return high


def smallest_seen(boards: int, spread: float, *, power: float = POWER, alpha: float = ALPHA) -> float:
    """Tell how large a difference must be to be seen on so many boards, in the unit of `spread`.

    Parameters
    ----------
    boards : int
        2 or more.
    spread : float
        Standard deviation of the paired differences from board to board, above 0.
    power, alpha : float
        As in `boards_needed`.
    """
    low, high = 0.0, spread
    while power_of(boards, high, spread, alpha=alpha) < power:
        low, high = high, 2 * high
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if power_of(boards, middle, spread, alpha=alpha) >= power else (middle, high)
    return high


@lru_cache(maxsize=1024)
def _critical(alpha: float, degrees_of_freedom: int) -> float:
    return two_sided_t(alpha, degrees_of_freedom)


def _above(z: np.ndarray) -> np.ndarray:
    """Share of the normal distribution above z."""
    return np.asarray(_HALF_ERFC(z / math.sqrt(2)), dtype=np.float64)
