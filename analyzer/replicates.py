"""How much do boards differ under one and the same treatment, and what does that leave of a mean over few boards?

Boards, not pixels or zones, are the replicates of a trial. With two or three boards a treatment's own spread is
hardly known, so the spread is pooled over all treatments on the same species, joined where a verdict hangs on it with
what is known of such boards beforehand, and small numbers are paid for with Student's t.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analyzer.guard_band import Z_975

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)  # enough for a relative error of 1e-9 (tested)


@dataclass(frozen=True, slots=True, eq=False)
class SpreadPrior:
    """What is held to be true of the spread between boards before any was measured.

    A scaled inverse chi-squared distribution of the variance, worth so many degrees of freedom.
    """

    covariance: NDArray[np.float64]  # (k, k), one sigma squared, of one board around its treatment's mean
    degrees_of_freedom: float  # above 0: how many a job's own boards must bring to weigh as much


@dataclass(frozen=True, slots=True, eq=False)
class BoardSpread:
    """Spread of single boards around their treatment's mean."""

    covariance: NDArray[np.float64]  # (k, k), one sigma squared, of one board
    degrees_of_freedom: float  # effective, at least 1

    def of_mean(self, boards: int) -> NDArray[np.float64]:
        """Covariance of a mean over so many boards, widened for the small number it was learnt from.

        The widening (t / 1.96)^2 makes 1.96 times the root of a diagonal element the 95 % half-width that
        Student's t gives; such a part can then be added to one whose sigma is known.

        Parameters
        ----------
        boards : int
            Number of boards that were averaged, 1 or more. For a single board this is the spread that other
            treatments showed: a treatment is never surer for having fewer boards.

        Returns
        -------
        covariance : ndarray of float64, (k, k)
        """
        return self.covariance * ((student_t_975(self.degrees_of_freedom) / Z_975) ** 2 / boards)


def board_spread(
    trials: Sequence[Mapping[str, NDArray[np.float64]]], prior: SpreadPrior | None = None
) -> BoardSpread | None:
    """Pool the spread between boards over treatments.

    The pooled covariance is the sum of squares of (board - treatment's mean over boards), divided by the sum of
    (boards - 1). Those residuals are independent only if each zone strays on its own; when a board as a whole is
    darker, all its zones stray together and say no more than one. The degrees of freedom are therefore those of
    Satterthwaite (Biometrics Bulletin 2, 110-114, 1946) for the sum of the two parts, boards as a whole and the
    rest: the plain sum of (boards - 1) when zones stray on their own, (boards - 1) when only boards do.

    A prior joins as so many degrees of freedom more, so that the mean has the moderated t of Smyth (Statistical
    Applications in Genetics and Molecular Biology 3(1), article 3, 2004), whose prior is stated here, not fitted.

    Parameters
    ----------
    trials : sequence of mapping
        For each treatment, the mean (k,) of each of its boards, by the board's name; the same k throughout.
    prior : SpreadPrior, optional
        Of the same k. Without it the boards speak alone.

    Returns
    -------
    spread : BoardSpread or None
        None when no treatment has two boards.
    """
    replicated = [trial for trial in trials if len(trial) > 1]
    if not replicated:
        return None
    residuals: dict[str, list[NDArray[np.float64]]] = {}
    for trial in replicated:
        mean = np.mean(list(trial.values()), axis=0)
        for board, value in trial.items():
            residuals.setdefault(board, []).append(value - mean)
    every = np.array([residual for of_board in residuals.values() for residual in of_board])
    degrees = sum(len(trial) - 1 for trial in replicated)
    degrees_boards = len(residuals) - _linked_groups(replicated)
    squares = float(np.sum(every**2))
    squares_boards = float(sum(len(r) * np.sum(np.mean(r, axis=0) ** 2) for r in residuals.values()))
    effective = _satterthwaite(squares_boards, degrees_boards, squares - squares_boards, degrees - degrees_boards)
    seen = every.T @ every / degrees
    if prior is None:
        return BoardSpread(seen, effective)
    together = prior.degrees_of_freedom + effective
    return BoardSpread((prior.degrees_of_freedom * prior.covariance + effective * seen) / together, together)


@lru_cache(maxsize=256)
def student_t_975(degrees_of_freedom: float) -> float:
    """0.975 quantile of Student's t for real degrees of freedom.

    With t = sqrt(nu) tan(theta) the density becomes cos(theta)^(nu - 1) (Abramowitz & Stegun 1964, 26.7.1),
    smooth over the range needed: Gauss-Legendre quadrature and bisection.

    Parameters
    ----------
    degrees_of_freedom : float
        nu, at least 1 (infinity gives the normal distribution's 1.96).

    Returns
    -------
    t : float
        Two-sided 95 % factor, relative error under 1e-8.

    Raises
    ------
    ValueError
        If there is less than one degree of freedom.
    """
    nu = degrees_of_freedom
    if not nu >= 1:
        raise ValueError(f"Student's t needs at least 1 degree of freedom, got {nu:g}.")
    if nu > 1e6:  # lgamma loses its digits here; the first term of 26.7.5 is enough
        return Z_975 + (Z_975**3 + Z_975) / (4 * nu)
    whole = math.sqrt(math.pi) * math.exp(math.lgamma(nu / 2) - math.lgamma((nu + 1) / 2)) / 2
    low, high = Z_975, 13.0  # t of one degree of freedom is 12.706
    for _ in range(45):
        t = (low + high) / 2
        reach = math.atan(t / math.sqrt(nu))
        theta = reach * (_NODES + 1) / 2
        inside = float(np.sum(_WEIGHTS * np.cos(theta) ** (nu - 1))) * reach / 2 / whole
        low, high = (t, high) if inside < 0.95 else (low, t)
    return (low + high) / 2


def _linked_groups(trials: Sequence[Mapping[str, object]]) -> int:
    """In how many sets the boards fall when those with a treatment in common belong together."""
    groups: list[set[str]] = []
    for trial in trials:
        boards = set(trial)
        linked = [group for group in groups if group & boards]
        groups = [group for group in groups if not group & boards] + [boards.union(*linked)]
    return len(groups)


def _satterthwaite(squares_1: float, degrees_1: int, squares_2: float, degrees_2: int) -> float:
    """Effective degrees of freedom of the sum of two independent sums of squares."""
    if degrees_2 == 0:
        return float(degrees_1)
    noise = squares_1**2 / degrees_1 + max(squares_2, 0.0) ** 2 / degrees_2
    if noise == 0.0:  # boards agree exactly: nothing to widen
        return float(degrees_1 + degrees_2)
    return max(1.0, (squares_1 + max(squares_2, 0.0)) ** 2 / noise)
