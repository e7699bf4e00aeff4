"""How surprising is a mean over few boards?  Student's t, without a statistics library at run time.

With t = sqrt(nu) tan(theta) the density becomes cos(theta)^(nu - 1) (Abramowitz & Stegun 1964, 26.7.1); a tail is then
one smooth integral, by Gauss-Legendre quadrature.
"""

import math
from statistics import NormalDist
from typing import Final

import numpy as np

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_ALMOST_NORMAL: Final = 1e6  # degrees of freedom above which the normal distribution takes over; lgamma loses digits
_REACH: Final = 9.0  # standard deviations beyond which a density is nothing: exp(-9^2 / 2) = 3e-18
_STEPS: Final = 60  # of bisection: more than a float has digits


def two_sided_p(t: float, degrees_of_freedom: float) -> float:
    """Probability that Student's t lies farther from 0 than a given value, either way.

    Parameters
    ----------
    t : float
        Either sign.
    degrees_of_freedom : float
        nu, real, at least 1; infinity gives the normal distribution.

    Returns
    -------
    p : float
        0 to 1; relative error under 1e-4, under 1e-8 for whole nu (tested).

    Raises
    ------
    ValueError
        If there is less than one degree of freedom, or t is not a number.
    """
    nu = degrees_of_freedom
    if not nu >= 1 or math.isnan(t):
        raise ValueError(f"Student's t needs a number and at least 1 degree of freedom, got t {t:g} and {nu:g}.")
    if nu > _ALMOST_NORMAL:
        return math.erfc(abs(t) / math.sqrt(2))
    start = math.atan(abs(t) / math.sqrt(nu))
    end = min(math.pi / 2, start + _REACH / math.sqrt(nu))
    theta = start + (end - start) * (_NODES + 1) / 2
    tail = float(np.sum(_WEIGHTS * np.cos(theta) ** (nu - 1))) * (end - start) / 2
    whole = math.sqrt(math.pi) * math.exp(math.lgamma(nu / 2) - math.lgamma((nu + 1) / 2)) / 2
    return min(1.0, tail / whole)


def two_sided_t(p: float, degrees_of_freedom: float) -> float:
    """Tell how far out Student's t must lie to be so improbable: the inverse of `two_sided_p`.

    Parameters
    ----------
    p : float
        Above 0, below 1; 0.05 gives the factor of a 95 % interval.
    degrees_of_freedom : float
        At least 1.

    Raises
    ------
    ValueError
        If the probability is not between 0 and 1.
    """
    if not 0 < p < 1:
        raise ValueError(f"Student's t: a probability lies between 0 and 1, got {p:g}.")
    low, high = 0.0, 1.0
    while two_sided_p(high, degrees_of_freedom) > p:
        low, high = high, high * 2
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if two_sided_p(middle, degrees_of_freedom) > p else (low, middle)
    return (low + high) / 2


def p_of_mean(distance: float, known_variance: float, mean_variance: float, degrees_of_freedom: float) -> float:
    """Probability of a mean so far from 0 by chance, when part of its variance is known and part learnt from boards.

    It is the level at which the interval +- sqrt(z^2 known + t^2 learnt) just reaches 0, so that p < 0.05 exactly
    when the 95 % interval leaves 0 out.

    Parameters
    ----------
    distance : float
        The mean, either sign.
    known_variance : float
        Of the measurement, 0 or more.
    mean_variance : float
        Of the mean, learnt from the spread between boards, 0 or more.
    degrees_of_freedom : float
        Of that spread, at least 1.

    Returns
    -------
    p : float
        0 to 1; exactly 1 for no distance.
    """
    wanted = distance**2
    if wanted == 0:
        return 1.0
    if mean_variance == 0:
        return 0.0 if known_variance == 0 else two_sided_p(abs(distance) / math.sqrt(known_variance), math.inf)
    low, high = 0.0, abs(distance) / math.sqrt(mean_variance)  # of t; by the learnt part alone it could be no more
    if known_variance == 0:
        return two_sided_p(high, degrees_of_freedom)
    for _ in range(_STEPS):
        t = (low + high) / 2
        z = _normal_factor(two_sided_p(t, degrees_of_freedom))
        low, high = (t, high) if z**2 * known_variance + t**2 * mean_variance < wanted else (low, t)
    return two_sided_p((low + high) / 2, degrees_of_freedom)


def holm(p_values: list[float]) -> list[float]:
    """Adjust several p-values so that all of them together err in at most 5 % where 5 % is the level.

    Holm's step-down method (Scandinavian Journal of Statistics 6, 65-70, 1979): the smallest of m is multiplied by m,
    the next by m - 1, and so on; none falls below one before it, none exceeds 1.

    Parameters
    ----------
    p_values : list of float
        In any order, each 0 to 1.

    Returns
    -------
    adjusted : list of float
        In the same order.
    """
    adjusted = [0.0] * len(p_values)
    largest = 0.0
    for place, index in enumerate(sorted(range(len(p_values)), key=p_values.__getitem__)):
        largest = min(1.0, max(largest, (len(p_values) - place) * p_values[index]))
        adjusted[index] = largest
    return adjusted


def _normal_factor(p: float) -> float:
    """Two-sided factor of the normal distribution; for p below what a float can tell, that of the least p it can."""
    return NormalDist().inv_cdf(1 - p / 2) if p > 1e-15 else 8.0
