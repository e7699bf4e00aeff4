"""Which smooth light can lie between two lines along which it was measured?

Along each line the light is measured; between them it must be inferred, and that depends on what makes it fall off.
A lamp over a table gives E proportional to Z / r^3 (inverse square and Lambert's cosine, twice), so that E^(-2/3) is a
paraboloid that curves alike in x and y; a lens darkens its corners by cos^4, so that E^(-1/2) is one; the sum of lamps
on both sides rises along one direction and sags along the other. Each such law is a linear model after a power of E
is taken (Box & Cox, J. R. Statist. Soc. B 26, 1964, 211-252), with a prior on its coefficients. Laws that explain the
measured lines equally well are averaged by their evidence (MacKay, Neural Computation 4, 1992, 415-447), and
where they disagree, between the lines and beyond them, the uncertainty says so.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.strips import FIELD_MM

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Law:
    """One way for light to fall off: (E^power - 1) / power is a polynomial with these priors (one sigma, per m^n)."""

    name: str
    power: float  # 0 stands for the logarithm
    share: float  # prior probability
    slope: float
    curvature: tuple[float, float]  # mean of both directions: expected, sigma
    unlike: float  # half the difference of the curvatures along x and y
    warp: float  # change along x of the curvature along y
    bulge: float  # curvature along x of the curvature along y: what two lines cannot tell
    # the paraboloid opens the way of a lamp's or a lens's: its curvature is at most this times slope squared
    bound: float | None


# Priors chosen from simulated lamps at 0.6 to 1.5 m (one, or two at 45 degrees), windows at 0.8 to 2 m, cos^4 from
# 0.45 to 1.2 m, none to 40 % of it as room light. For a lamp at distance r and elevation e the curvature of
# the law is -3 / r^2 and the slope 3 cos(e) / r: never less curvature than a third of the slope squared. Lamps on both
# sides are mostly alike, so together they slope little.
LAWS = (
    Law("one lamp or a lens", -2 / 3, 0.40, 1.5, (-3.0, 4.0), 1.0, 1.0, 20.0, -1 / 3),
    Law("exponential", 0.0, 0.10, 1.5, (-3.0, 4.0), 1.0, 1.0, 80.0, 0.0),
    Law("linear", 1.0, 0.30, 1.5, (-3.0, 4.0), 1.0, 1.0, 80.0, 0.0),
    Law("lamps on both sides", 0.0, 0.20, 0.8, (0.5, 2.0), 4.0, 6.0, 120.0, None),
)
BOUND_SOFTNESS = 0.5  # per m^2, by which room light and large sources blur the bound (chosen)
TWIST, CUBIC, QUARTIC = 3.0, 15.0, 80.0  # sigma of xy, of third and of fourth derivatives, per m^n (same lamps)
LEVEL = 10.0  # sigma of the constant: any
TERMS, OF_LIGHT = 15, 12  # coefficients, and how many of them belong to the light; the others are the paper's
# What belongs to the paper and not to the light (chosen). 1 degree of tilt under a lamp at 45 degrees is 1.7 %.
U_STRIP_LEVEL = 0.004  # of one strip against the other: tilt, another sheet
U_STRIP_SLOPE = 0.2  # per m away from the board, both strips alike: flare from the wood's darkness
# Per m away from the board, one strip brighter outward and the other darker: both curl alike (a radius of 1.4 m lifts
# the outer cut edge by 0.3 mm) under a lamp at 45 degrees beyond one of them.
U_STRIP_CURL = 0.7
NEAR_ROW_MM, BETWEEN_ROWS_MM = (3 * FIELD_MM[0] + FIELD_MM[1]) / 4, (FIELD_MM[1] - FIELD_MM[0]) / 2  # of two rows
REACH_MM = 400.0  # beyond the board's edges the surface is followed this far, then kept
U_BEYOND_PER_MM = 0.20 / 100  # further out: as light from one lamp at 0.6 to 1.5 m goes on to change (simulated)
LEAST_LIGHT = 0.02  # of that at the board's middle: below, a power law has run out


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Light measured along lines on paper at the long edges of a board."""

    points_mm: Floats  # (n, 2)
    log_light: Floats  # (n,), natural logarithm
    u: Floats  # (n,), standard uncertainty of each, relative
    length_mm: float
    width_mm: float
    design: Floats = field(default_factory=lambda: np.empty((0, TERMS)))  # (n, 15), of the fits; made if left out

    def __post_init__(self) -> None:
        """Make the design once: every fit of the same places asks for it."""
        if len(self.design) != len(self.points_mm):
            terms = _terms(self.points_mm, self.length_mm, self.width_mm)
            object.__setattr__(self, "design", np.hstack([terms[:, :OF_LIGHT], _paper_terms(self)]))

    def part(self, chosen: NDArray[np.bool_]) -> "Lines":
        """Some of the samples."""
        return replace(
            self,
            points_mm=self.points_mm[chosen],
            log_light=self.log_light[chosen],
            u=self.u[chosen],
            design=self.design[chosen],
        )

    @property
    def is_bottom(self) -> NDArray[np.bool_]:
        """Which samples lie nearer the bottom edge (n,)."""
        return self.points_mm[:, 1] > self.width_mm / 2

    @property
    def outward_mm(self) -> Floats:
        """Distance from the board's nearer long edge (n,), positive outside."""
        y = self.points_mm[:, 1]
        return np.where(self.is_bottom, y - self.width_mm, -y)


@dataclass(frozen=True, slots=True, eq=False)
class LawFit:
    """One law fitted to the lines."""

    law: Law
    coefficients: Floats  # (15,)
    covariance: Floats  # (15, 15)
    share: float  # posterior probability of the law


@dataclass(frozen=True, slots=True, eq=False)
class Falloff:
    """The light over and around a board: the laws that explain the lines, each with its probability."""

    fits: tuple[LawFit, ...]
    log_level: float  # ln light at which the laws' own scale is 1
    length_mm: float
    width_mm: float
    widening: float = 1.0  # of the standard uncertainty: what predictions of left-out regions showed

    def log_at(self, points_mm: ArrayLike) -> Floats:
        """Natural logarithm of light (...,) at points (..., 2) in board mm."""
        points = np.asarray(points_mm, dtype=np.float64)
        terms = self._terms(points.reshape(-1, 2))
        mean = sum(fit.share * _log_of(terms @ fit.coefficients, fit.law.power) for fit in self.fits)
        return np.asarray(mean + self.log_level).reshape(points.shape[:-1])

    def u_between(self, first_mm: ArrayLike, second_mm: ArrayLike) -> Floats:
        """Relative standard uncertainty (...,) of the ratio of light at two points (..., 2) in board mm.

        Within each law from the covariance of its coefficients, between the laws from their disagreement.
        """
        first, second = np.broadcast_arrays(
            np.asarray(first_mm, dtype=np.float64), np.asarray(second_mm, dtype=np.float64)
        )
        shape = first.shape[:-1]
        first, second = first.reshape(-1, 2), second.reshape(-1, 2)
        ends = self._terms(first), self._terms(second)
        steps, variances = [], []
        for fit in self.fits:
            logs = [_log_of(terms @ fit.coefficients, fit.law.power) for terms in ends]
            slopes = [
                terms * np.exp(-fit.law.power * log)[:, np.newaxis] for terms, log in zip(ends, logs, strict=True)
            ]
            step = slopes[1] - slopes[0]
            steps.append(logs[1] - logs[0])
            variances.append(np.einsum("ni,ij,nj->n", step, fit.covariance, step))
        shares = np.array([fit.share for fit in self.fits])
        mean = shares @ np.array(steps)
        variance = shares @ (np.array(variances) + (np.array(steps) - mean) ** 2)
        beyond_mm = self._beyond_mm(first) + self._beyond_mm(second)
        u = np.hypot(self.widening * np.sqrt(np.maximum(variance, 0)), U_BEYOND_PER_MM * beyond_mm)
        return np.asarray(u).reshape(shape)

    def _terms(self, points_mm: Floats) -> Floats:
        return _terms(self._kept(points_mm), self.length_mm, self.width_mm)

    def _kept(self, points_mm: Floats) -> Floats:
        return np.clip(points_mm, -REACH_MM, (self.length_mm + REACH_MM, self.width_mm + REACH_MM))

    def _beyond_mm(self, points_mm: Floats) -> Floats:
        return np.asarray(np.hypot(*(points_mm - self._kept(points_mm)).T))


def fit_falloff(lines: Lines, laws: Sequence[Law] = LAWS) -> Falloff:
    """Fit every law to the lines and weigh the laws against each other.

    Parameters
    ----------
    lines : Lines
        Dirt already left out or given a large `u`: the fit is by least squares.
    laws : sequence of Law
        Those that come into question, at least one.

    Returns
    -------
    Falloff
    """
    precision = 1 / lines.u**2
    level = float(precision @ lines.log_light / precision.sum())
    fitted = [_fit_law(law, lines, lines.log_light - level) for law in laws]
    log_evidence = np.array([evidence for _, _, evidence in fitted])
    share = np.exp(log_evidence - log_evidence.max())
    share /= share.sum()
    fits = tuple(
        LawFit(law, coefficients, covariance, float(part))
        for law, (coefficients, covariance, _), part in zip(laws, fitted, share, strict=True)
    )
    return Falloff(fits, level, lines.length_mm, lines.width_mm)


def predicted(falloff: Falloff, lines: Lines) -> Floats:
    """What a fit expects of samples (n,): ln light as the paper shows it.

    Unlike `Falloff.log_at` this includes what belongs to the paper: one strip may be tilted against the other.
    """
    shares = np.array([fit.share for fit in falloff.fits])
    return np.asarray(shares @ np.array([_shown(fit, lines)[0] for fit in falloff.fits]) + falloff.log_level)


def predicted_mean(falloff: Falloff, lines: Lines, weights: Floats) -> tuple[float, float]:
    """The same of a weighted mean of samples, the weights (n,) summing to 1, and its standard uncertainty."""
    means, variances = [], []
    for fit in falloff.fits:
        shown, rows = _shown(fit, lines)
        together = weights @ rows
        means.append(weights @ shown)
        variances.append(together @ fit.covariance @ together)
    shares = np.array([fit.share for fit in falloff.fits])
    mean = shares @ np.array(means)
    variance = shares @ (np.array(variances) + (np.array(means) - mean) ** 2)
    return float(mean + falloff.log_level), math.sqrt(variance)


def _shown(fit: LawFit, lines: Lines) -> tuple[Floats, Floats]:
    """What is seen on the paper (n,), ln, by one law, and its derivative by the coefficients (n, 15)."""
    log_E = _log_of(lines.design[:, :OF_LIGHT] @ fit.coefficients[:OF_LIGHT], fit.law.power)
    rows = lines.design.copy()
    rows[:, :OF_LIGHT] *= np.exp(-fit.law.power * log_E)[:, np.newaxis]
    return log_E + rows[:, OF_LIGHT:] @ fit.coefficients[OF_LIGHT:], rows


def unlikely(fit: LawFit) -> float:
    """How far the light and the paper lie from what is expected of them: negative log prior, up to a constant."""
    expected, sigma = _prior(fit.law)
    return float((((fit.coefficients - expected) / sigma) ** 2).sum() / 2)


def _fit_law(law: Law, lines: Lines, log_E: Floats) -> tuple[Floats, Floats, float]:
    """Posterior mean (15,), covariance (15, 15) and log evidence of one law: linear regression with Gaussian priors."""
    expected, sigma = _prior(law)
    scale = np.exp(law.power * log_E)  # d of the transformed light by d ln light
    rows = lines.design / lines.u[:, np.newaxis]
    rows[:, :OF_LIGHT] /= scale[:, np.newaxis]
    values = _power_of(log_E, law.power) / (scale * lines.u)
    precision = rows.T @ rows + np.diag(sigma**-2)
    covariance: Floats = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    coefficients = covariance @ (rows.T @ values + expected / sigma**2)
    misfit = ((values - rows @ coefficients) ** 2).sum() + (((coefficients - expected) / sigma) ** 2).sum()
    log_determinant = np.linalg.slogdet(precision)[1] + 2 * np.log(sigma).sum()
    # the last sum: densities are compared in ln light, the power was taken of it (Box & Cox 1964, eq. 8)
    evidence = -0.5 * (misfit + log_determinant) + law.power * log_E.sum() + math.log(law.share)
    return coefficients, covariance, float(evidence + _log_share_within_bound(law, coefficients, covariance))


def _terms(points_mm: Floats, length_mm: float, width_mm: float) -> Floats:
    """Polynomial terms (n, 15) about the board's middle, in m; the last three, the paper's, are 0.

    Divided by factorials, so that the coefficients are derivatives.
    """
    x, y = ((points_mm - (length_mm / 2, width_mm / 2)) / 1000).T
    zero = np.zeros_like(x)
    terms = (
        np.ones_like(x),
        x,
        y,
        (x * x + y * y) / 2,
        (x * x - y * y) / 2,
        x * y,
        x**3 / 6,
        x * x * y / 2,
        x * y * y / 2,
        x**4 / 24,
        x**3 * y / 6,
        x * x * y * y / 4,
        zero,
        zero,
        zero,
    )
    return np.stack(terms, axis=1)


def _paper_terms(lines: Lines) -> Floats:
    """Terms (n, 3) that belong to the strips: relative level, common slope away from the board, curl.

    Curl begins at the cut edge that touches the board: what it does to the level goes with what it does to the slope.
    """
    side = np.where(lines.is_bottom, 0.5, -0.5)
    from_edge_m = np.zeros(len(side))
    for strip in (lines.is_bottom, ~lines.is_bottom):
        if strip.any():  # strips of other boards lie further out, but begin at an edge of their own
            away_mm = lines.outward_mm[strip] - lines.outward_mm[strip].min()
            from_edge_m[strip] = (NEAR_ROW_MM + np.minimum(away_mm, BETWEEN_ROWS_MM)) / 1000
    return np.stack([side, from_edge_m - from_edge_m.mean(), 2 * side * from_edge_m], axis=1)


def _prior(law: Law) -> tuple[Floats, Floats]:
    """Expected coefficients and their sigma, (15,) each, in the order of the terms."""
    mean, spread = law.curvature
    expected = np.zeros(TERMS)
    expected[3] = mean
    surface = (
        LEVEL,
        law.slope,
        law.slope,
        spread,
        law.unlike,
        TWIST,
        CUBIC,
        CUBIC,
        law.warp,
        QUARTIC,
        QUARTIC,
        law.bulge,
    )
    return expected, np.array([*surface, U_STRIP_LEVEL, U_STRIP_SLOPE, U_STRIP_CURL])


def _log_share_within_bound(law: Law, coefficients: Floats, covariance: Floats) -> float:
    """Evidence gained or lost because the prior on the curvature ends at the bound, natural logarithm."""
    if law.bound is None:
        return 0.0
    bound = law.bound * (coefficients[1] ** 2 + coefficients[2] ** 2)
    sigma = math.hypot(math.sqrt(covariance[3, 3]), BOUND_SOFTNESS)
    mean, spread = law.curvature
    return math.log(max(_normal_share((bound - coefficients[3]) / sigma), 1e-9) / _normal_share(-mean / spread))


def _normal_share(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def _power_of(log_E: Floats, power: float) -> Floats:
    return np.asarray(np.expm1(power * log_E) / power) if power else log_E


def _log_of(transformed: Floats, power: float) -> Floats:
    if not power:
        return transformed
    inside = np.maximum(1 + power * transformed, 1e-6)
    return np.asarray(np.maximum(np.log(inside) / power, math.log(LEAST_LIGHT)))
