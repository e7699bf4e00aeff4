"""Which samples of the strips' paper show the light, and how well?

Dirt, print and the shadow of a hand make a field darker than the light does. What agrees with a smooth light is trusted
(Tukey's biweight: Beaton & Tukey, Technometrics 16, 1974, 147-185).
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.falloff import Falloff, Law, Lines, fit_falloff, predicted, unlikely

Floats = NDArray[np.float64]

U_FIELD = 0.0015  # least of a white field, relative: paper is not alike everywhere (chosen)
BIWEIGHT = 4.685  # spreads, beyond which a field does not count
ABSOLUTE_ROUNDS, BIWEIGHT_ROUNDS = 2, 6  # by least absolute deviations, and in all
LEAST_TRUST = 1e-4
SPREAD_CAP = 0.01  # relative; fields further off than five of these are never a smooth light's (chosen)
TOO_BRIGHT = 2.0  # paper brighter than the light on it costs so much more than darker: only gloss makes it (chosen)
RIM_ROUNDS, RIM_SHARE = 5, 0.03  # steps to the upper rim of the samples, and how much those below it count (chosen)
MIN_START = 4  # samples from which a fit may begin


def without_dirt(lines: Lines, laws: Sequence[Law], start: NDArray[np.bool_] | None = None) -> tuple[Lines, Floats]:
    """The samples with the uncertainty that their scatter shows; and how far each is trusted, (n,), 0 to 1.

    A shadow over half of a strip would draw the fit along, so it is begun again without each part of the strips, and
    the beginning is kept that ends with a likely light and leaves out least, above all least of what is too bright.

    Parameters
    ----------
    lines : Lines
        `u` as stated for each sample, 0 where nothing is known.
    laws : sequence of Law
        What smooth light there can be.
    start : ndarray of bool, (n,), optional
        Samples known to be clean: the only beginning then.

    Returns
    -------
    lines : Lines
        `u` now holds the samples' scatter too, and is large for what is not trusted.
    trust : ndarray, (n,)
    """
    everything = replace(lines, u=np.maximum(lines.u, U_FIELD))
    noise = noise_of(lines, lines.log_light - predicted(fit_falloff(everything, laws), everything))
    spread = np.hypot(everything.u, max(SPREAD_CAP / 2, noise))
    best: tuple[float, Floats] | None = None
    for begun in [_brightest(lines, spread, laws), *_starts(lines)] if start is None else [start]:
        trust = np.where(begun, 1.0, LEAST_TRUST)
        for round_ in range(BIWEIGHT_ROUNDS):
            error, _ = _error_with(lines, trust, spread, laws)
            if round_ < ABSOLUTE_ROUNDS:
                trust = np.where(begun, 1 / np.maximum(np.abs(error) / spread, 1.0), LEAST_TRUST)
            else:
                trust = np.clip(1 - (error / (BIWEIGHT * spread)) ** 2, 0, None) ** 2
        cost = _cost_of(_error_with(lines, trust, spread, laws)[1], trust, error)
        if best is None or cost < best[0]:
            best = cost, trust
    trust = best[1] if best else np.ones(len(lines.u))
    error, _ = _error_with(lines, trust, spread, laws)
    scatter = max(noise_of(lines, error), min(SPREAD_CAP, 1.4826 * float(np.median(np.abs(error)))))
    u = np.hypot(everything.u, np.sqrt(max(scatter**2 - float(np.median(everything.u)) ** 2, 0.0)))
    trust = np.clip(1 - (error / (BIWEIGHT * u)) ** 2, 0, None) ** 2
    return replace(lines, u=u / np.sqrt(np.maximum(trust, LEAST_TRUST))), trust


def _error_with(lines: Lines, trust: Floats, spread: Floats, laws: Sequence[Law]) -> tuple[Floats, Falloff]:
    """How far the samples (n,) lie from the light that those which are trusted show, and that light."""
    weighted = replace(lines, u=spread / np.sqrt(np.maximum(trust, LEAST_TRUST)))
    falloff = fit_falloff(weighted, laws)
    return lines.log_light - predicted(falloff, weighted), falloff


def _cost_of(falloff: Falloff, trust: Floats, error: Floats) -> float:
    """Negative log posterior of a light, up to a constant, with Tukey's loss for the samples."""
    loss = BIWEIGHT**2 / 6 * (1 - trust**1.5)  # 1 - (1 - r^2)^3 of each
    return float((loss * np.where(error > 0, TOO_BRIGHT, 1.0)).sum() + min(unlikely(fit) for fit in falloff.fits))


def _brightest(lines: Lines, spread: Floats, laws: Sequence[Law]) -> NDArray[np.bool_]:
    """Samples (n,) along the upper rim of all: by asymmetric least squares (Newey & Powell, Econometrica 55, 1987)."""
    above = np.ones(len(lines.u), bool)
    for _ in range(RIM_ROUNDS):
        error, _ = _error_with(lines, np.where(above, 1.0, RIM_SHARE), spread, laws)
        above = error > -spread
    return above if np.count_nonzero(above) >= MIN_START else np.ones(len(above), bool)


def _starts(lines: Lines) -> list[NDArray[np.bool_]]:
    """All samples; all but each third of each strip; and either half and either strip alone, where there is any."""
    region, x = region_of(lines), lines.points_mm[:, 0]
    left = x < lines.length_mm / 2
    starts = [np.ones(len(x), bool), *(region != number for number in range(6)), left, ~left]
    starts += [lines.is_bottom, ~lines.is_bottom]
    return [start for start in starts if np.count_nonzero(start) >= MIN_START]


def region_of(lines: Lines) -> NDArray[np.intp]:
    """Third of the top strip, 0 to 2, or of the bottom strip, 3 to 5, (n,)."""
    third = np.clip(3 * lines.points_mm[:, 0] / lines.length_mm, 0, 2).astype(np.intp)
    return np.asarray(third + 3 * lines.is_bottom)


def noise_of(lines: Lines, error: Floats) -> float:
    """Scatter of single fields: by how much neighbours on a strip differ in their error, robustly."""
    strips = lines.is_bottom, ~lines.is_bottom
    steps = [np.diff(error[strip][np.argsort(lines.points_mm[strip, 0])]) for strip in strips]
    return 1.4826 * float(np.median(np.abs(np.concatenate(steps)))) / math.sqrt(2)
