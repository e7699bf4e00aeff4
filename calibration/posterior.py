"""Which parameters fit best, given what was known of them before?

Gauss-Newton steps, damped as by Levenberg and Marquardt (Marquardt 1963, SIAM J. Appl. Math. 11:431), on residuals
that hold the prior too: each parameter counts as measured once, at its prior mean with its prior spread. What the data
do not tell then stays where it was expected, with the uncertainty it had.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP = 1e-5  # of the forward differences
MOST_STEPS = 200
MOST_TRIES = 14  # of one step, each damped four times as much
SETTLED = 1e-6  # relative decrease of the sum of squares that ends the search


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Where a fit ended."""

    mean: Floats  # (p,)
    covariance: Floats  # (p, p), of the linearised problem
    misfit: float  # sum of the squared residuals, the prior's with them
    settled: bool  # False: it was still moving when it was stopped


def fit_with_prior(residuals: Callable[[Floats], Floats], start: Floats, prior: Floats, u_prior: Floats) -> Posterior:
    """Find the most probable parameters.

    Parameters
    ----------
    residuals : callable, (p,) -> (n,)
        What the data say against parameters, in standard uncertainties; may be infinite where nothing is defined.
    start : ndarray, (p,)
        Where to begin; its residuals must be finite.
    prior, u_prior : ndarray, (p,)
        Mean and standard deviation of the prior; infinite where nothing was known.
    """
    known = np.isfinite(u_prior)

    def all_residuals(parameters: Floats) -> Floats:
        return np.concatenate([residuals(parameters), (parameters - prior)[known] / u_prior[known]])

    now, left = start.astype(np.float64), all_residuals(start)
    damping, settled = 1e-3, False
    for _ in range(MOST_STEPS):
        slopes = _slopes(all_residuals, now, left)
        normal, downhill = slopes.T @ slopes, -slopes.T @ left
        taken = None
        for _ in range(MOST_TRIES):
            there = now + np.linalg.solve(normal + damping * np.diag(np.diag(normal)), downhill)
            squares = all_residuals(there)
            if np.isfinite(squares).all() and squares @ squares < left @ left:
                taken = there, squares
                break
            damping *= 4
        if taken is None:
            settled = True  # no step, however short, makes it better
            break
        gained = float(left @ left - taken[1] @ taken[1])
        now, left = taken
        damping = max(damping / 8, 1e-9)
        if gained < SETTLED * max(float(left @ left), 1.0):
            settled = True
            break
    slopes = _slopes(all_residuals, now, left)
    return Posterior(now, np.asarray(np.linalg.inv(slopes.T @ slopes)), float(left @ left), settled)


def _slopes(residuals: Callable[[Floats], Floats], at: Floats, there: Floats) -> Floats:
    return np.stack([(residuals(at + nudge) - there) / STEP for nudge in STEP * np.eye(len(at))], axis=1)
