"""What do known neutral steps in a photo say of its tone curve and flare?

A white, a gray and a black step tell three levels: one is the exposure, which leaves two. More steps tell more. So all
numbers of the curve are fitted at once, each held near what cameras do anyway (a Gaussian prior): with three steps the
S is found along with the flare and little else, with six or more nearly everything.
The gain of each channel is free, since the light's colour is not the curve's affair; the curve is common to the three
channels, as cameras apply it, and only the veil may differ a little.

A fit that its own steps do not confirm is refused. ISO 14524 measures a camera's curve in the same way, from twelve
neutral steps or more.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import D50, XYZ_to_Lab, sRGB_decode, sRGB_encode
from calibration.findings import Finding, finding
from calibration.posterior import Posterior, fit_with_prior
from calibration.tone_curve import PARAMETERS, PRIOR, U_PRIOR, ToneCurve, curve_of, is_possible

Floats = NDArray[np.float64]

__all__ = ["ToneCurve", "ToneFit", "fit_tone", "tone_findings"]

# Standard uncertainties of what a step is said to be. Chosen: makers' values are given to two digits, prints fade and
# soil, and the light is not quite even over a card.
U_STEP = 0.010  # relative, common to the three channels
U_BLACK = 0.0006  # of a perfect white: gloss and dust, which count on the black step
U_CHANNEL = 0.006  # relative, of each channel: a step is not quite neutral
U_CODE = 0.1  # 8-bit codes: rounding, as far as noise does not average it out
MIN_STEPS, MIN_RANGE = 3, 4.0  # usable steps, and lightest over darkest; with less there is nothing to fit
ENOUGH_TO_SUSPECT = 5  # steps: with fewer, one that is wrong cannot be told from a curve
SUSPECT = 4.0  # standard uncertainties that a step may be off the curve through all others
LOOK_CLOSER = 1.2  # standard uncertainties off the common curve from which a wrong step is looked for
MAX_RESIDUAL_L = 1.5  # L*, of a step: beyond, no curve of this kind is what the photo has (chosen)
MAX_FROM_PRIOR = 3.4  # prior standard deviations of a number
DATA_SHARE = 0.5  # of the prior's spread: a number whose spread the data brought below was told by them
# How far photos that keep to their profile stray from it, of `PARAMETERS` (chosen: a lens always scatters a little).
U_PLAIN = np.array([0.0007, 0.0003, 0.0003, 0.0003, 0.005, 0.01, 0.01, *(0.002,) * (len(PARAMETERS) - 7)])
GRAY = 0.18
COUNT = len(PARAMETERS)

NO_CHANGE: Final = ToneCurve()


@dataclass(frozen=True, slots=True, eq=False)
class ToneFit:
    """A tone curve with how far it can be trusted."""

    curve: ToneCurve  # no change at all when the fit is not usable
    why_not: str  # why it is not usable, in words; "" when it is
    covariance: Floats  # (15, 15), of `PARAMETERS`, standing for what is not known too
    told: tuple[str, ...]  # the numbers that the data told, of `PARAMETERS`
    residual_relative: Floats  # (n,), of each step's light, mean of the channels; NaN: not used
    residual_L: Floats  # (n,), the same in L*
    used: NDArray[np.bool_]  # (n,)
    white_RGB: Floats  # (3,), light of a perfect white where `gain` is 1, after the curve; NaN: not known
    u_white_relative: Floats  # (3,)

    @property
    def is_usable(self) -> bool:
        """Whether the curve may be applied."""
        return not self.why_not

    def u_log_light(self, linear_RGB: ArrayLike) -> Floats:
        """Relative standard uncertainty (..., 3) of light at levels (..., 3), middle gray being exact."""
        change = self._relative_change(linear_RGB)
        return np.asarray(np.sqrt(np.maximum(np.einsum("...i,ij,...j", change, self.covariance, change), 0)))

    def u_log_ratio(self, first_RGB: ArrayLike, second_RGB: ArrayLike) -> Floats:
        """Relative standard uncertainty (..., 3) of the ratio of light at two levels: of a pair of zones."""
        change = self._relative_change(first_RGB) - self._relative_change(second_RGB)
        return np.asarray(np.sqrt(np.maximum(np.einsum("...i,ij,...j", change, self.covariance, change), 0)))

    def _relative_change(self, linear_RGB: ArrayLike) -> Floats:
        light = np.maximum(self.curve.apply(linear_RGB).astype(np.float64), 1e-4)
        return np.asarray(self.curve.derivatives(linear_RGB) / light[..., None])


def fit_tone(
    linear_RGB: ArrayLike,
    u_relative: ArrayLike,
    known: ArrayLike,
    gain: ArrayLike | None = None,
    *,
    used: ArrayLike | None = None,
    u_step: ArrayLike = U_STEP,
) -> ToneFit:
    """Fit a tone curve to neutral steps of known reflectance.

    Parameters
    ----------
    linear_RGB : array_like, (n, 3)
        Mean of each step, by the photo's own profile, not evened by any light map.
    u_relative : array_like, (n, 3)
        Relative standard uncertainty of these means.
    known : array_like, (n,) or (n, 3)
        Reflectances, 0..1, in any order; of each channel where the steps are known not to be quite neutral.
    gain : array_like, (n,), optional
        Light at each step relative to the reference's middle. Left out: even.
    used : array_like of bool, (n,), optional
        Which steps can be relied on; those that are not finite never are.
    u_step : float or array_like, (n,)
        Relative standard uncertainty of a step's reflectance and light.

    Returns
    -------
    ToneFit
        Not usable, with the reason, where the steps are too few or do not confirm the curve.
    """
    steps = _steps(linear_RGB, u_relative, known, gain, used, u_step)
    why_not = _too_little(steps)
    if why_not:
        return _refused(why_not, steps)
    posterior = _fit(steps)
    if steps.used.sum() >= ENOUGH_TO_SUSPECT:
        suspect = _suspect(steps, posterior)
        if suspect is not None:
            steps.used[suspect] = False
            posterior = _fit(steps)
    return _judged(steps, _weighed(steps, posterior))


def tone_findings(fit: ToneFit) -> tuple[Finding, ...]:
    """What a fit says against itself."""
    return (finding("tone-unsure", reason=fit.why_not),) if fit.why_not else ()


def unusable(why_not: str, n: int = 0) -> ToneFit:
    """No curve, with the reason; the covariance stays the prior's."""
    nothing = np.full(n, np.nan)
    return ToneFit(
        NO_CHANGE, why_not, np.diag(U_PRIOR**2 + PRIOR**2), (), nothing, nothing, np.zeros(n, bool), np.full(3, np.nan),
        np.full(3, np.nan),
    )  # fmt: skip


def told_by_data(covariance: Floats) -> tuple[str, ...]:
    """Numbers of the curve whose spread the data brought well below the prior's."""
    spread = np.sqrt(np.diag(covariance)[: len(PARAMETERS)])
    return tuple(name for name, u, prior in zip(PARAMETERS, spread, U_PRIOR, strict=True) if u < DATA_SHARE * prior)


@dataclass(frozen=True, slots=True, eq=False)
class _Steps:
    RGB: Floats  # (n, 3)
    known: Floats  # (n, 3), reflectance times gain
    whitening: Floats  # (n, 3, 3): residuals of a step in standard uncertainties
    used: NDArray[np.bool_]  # (n,)
    like: ToneCurve  # the tie and the range


def _steps(
    linear_RGB: ArrayLike,
    u_relative: ArrayLike,
    known: ArrayLike,
    gain: ArrayLike | None,
    used: ArrayLike | None,
    u_step: ArrayLike,
) -> _Steps:
    RGB, u, reflectance = (np.asarray(values, dtype=np.float64) for values in (linear_RGB, u_relative, known))
    if reflectance.ndim == 1:
        reflectance = np.repeat(reflectance[:, None], 3, axis=1)
    light = np.ones(len(RGB)) if gain is None else np.asarray(gain, dtype=np.float64)
    shapes = {RGB.shape, u.shape, reflectance.shape}
    if RGB.ndim != 2 or RGB.shape[1] != 3 or len(shapes) > 1 or light.shape != RGB.shape[:1]:
        raise ValueError("fit_tone: linear_RGB and u_relative must be (n, 3), known (n,) or (n, 3), gain (n,).")
    Y, at_step = reflectance.mean(axis=1), reflectance * light[:, None]
    wanted = np.ones(len(Y), bool) if used is None else np.array(used, dtype=bool)
    wanted &= (
        np.isfinite(RGB).all(axis=1) & np.isfinite(u).all(axis=1) & (at_step > 0).all(axis=1) & (RGB > 0).all(axis=1)
    )
    RGB, u = np.where(wanted[:, None], RGB, 0.5), np.where(wanted[:, None], u, 1.0)
    code = sRGB_decode(sRGB_encode(RGB) + U_CODE / 255) / RGB - 1
    own = u**2 + U_CHANNEL**2 + code**2
    common = np.asarray(u_step, dtype=np.float64) ** 2 + (U_BLACK / np.maximum(Y, 1e-6)) ** 2
    covariance = common[:, None, None] + own[:, :, None] * np.eye(3)
    whitening = np.linalg.inv(np.linalg.cholesky(covariance))
    levels = RGB[wanted].mean(axis=1) if wanted.any() else np.array([GRAY])
    nearest = int(np.abs(np.log(np.maximum(Y[wanted], 1e-6) / GRAY)).argmin()) if wanted.any() else 0
    like = ToneCurve(mid_level=float(levels[nearest]), darkest=float(levels.min()), lightest=float(levels.max()))
    return _Steps(RGB, at_step, whitening, wanted, like)


def _too_little(steps: _Steps) -> str:
    count = int(steps.used.sum())
    if count < MIN_STEPS:
        return f"only {count} steps can be used (at least {MIN_STEPS} needed)"
    known = steps.known[steps.used].mean(axis=1)
    if known.max() < MIN_RANGE * known.min():
        return f"the lightest step is only {known.max() / known.min():.1f} times the darkest (at least {MIN_RANGE:.0f})"
    order = np.argsort(known)
    if (np.diff(steps.RGB[steps.used].mean(axis=1)[order]) <= 0).any():
        return "a lighter step is not lighter in the photo"
    return ""


def _fit(steps: _Steps) -> Posterior:
    """Parameters of the curve, then the logarithms of the three channels' gains."""
    used = steps.used

    def residuals(parameters: Floats) -> Floats:
        if not is_possible(parameters[:COUNT]):
            return np.full(3 * int(used.sum()), np.inf)
        off = _off_curve(parameters, steps)[used]
        return np.asarray(np.einsum("nij,nj->ni", steps.whitening[used], off).ravel())

    gains = np.log(steps.RGB[used] / steps.known[used])
    start = np.concatenate([np.zeros(COUNT), np.median(gains, axis=0)])
    u_prior = np.concatenate([U_PRIOR, np.full(3, np.inf)])
    return fit_with_prior(residuals, start, np.concatenate([PRIOR, np.zeros(3)]), u_prior)


def _weighed(steps: _Steps, curved: Posterior) -> Posterior:
    """The curve averaged with none at all, each by how probable it is after the steps (MacKay 1992, Laplace's way).

    Many photos keep to their profile, above all those that were developed from raw; a prior about cameras' looks would
    bend them. Both are taken as equally probable beforehand.
    """
    used = steps.used

    def residuals(gains: Floats) -> Floats:
        off = _off_curve(np.concatenate([np.zeros(COUNT), gains]), steps)[used]
        return np.asarray(np.einsum("nij,nj->ni", steps.whitening[used], off).ravel())

    start = np.median(np.log(steps.RGB[used] / steps.known[used]), axis=0)
    plain = fit_with_prior(residuals, start, np.zeros(3), np.full(3, np.inf))
    for_curve = -curved.misfit / 2 + np.linalg.slogdet(curved.covariance)[1] / 2 - float(np.log(U_PRIOR).sum())
    for_plain = -plain.misfit / 2 + np.linalg.slogdet(plain.covariance)[1] / 2
    share = float(1 / (1 + np.exp(np.clip(for_curve - for_plain, -50, 50))))
    straight = np.concatenate([np.zeros(COUNT), plain.mean])
    of_straight = np.zeros_like(curved.covariance)
    of_straight[:COUNT, :COUNT], of_straight[COUNT:, COUNT:] = np.diag(U_PLAIN**2), plain.covariance
    mean = (1 - share) * curved.mean + share * straight
    covariance = np.zeros_like(curved.covariance)
    for weight, at, own in ((1 - share, curved.mean, curved.covariance), (share, straight, of_straight)):
        covariance += weight * (own + np.outer(at - mean, at - mean))
    return replace(curved, mean=mean, covariance=covariance)


def _off_curve(parameters: Floats, steps: _Steps) -> Floats:
    """How far each step's light (n, 3) lies above what it should be, relative."""
    light = curve_of(parameters[:COUNT], steps.like).exactly(steps.RGB)
    return np.asarray(light / (steps.known * np.exp(parameters[COUNT:])) - 1)


def _suspect(steps: _Steps, posterior: Posterior) -> int | None:
    """The step that lies far off the curve through all others: shaded, shiny or soiled; None if none does."""
    if _off_in_u(steps, posterior)[steps.used].max() < LOOK_CLOSER:
        return None
    # not the one farthest off the common curve: a wrong step drags the curve along, and others seem off
    without = {
        int(step): _fit(replace(steps, used=steps.used & (np.arange(len(steps.used)) != step)))
        for step in np.flatnonzero(steps.used)
    }
    worst = min(without, key=lambda step: without[step].misfit)
    return worst if _off_alone(worst, without[worst], steps) > SUSPECT else None


def _off_alone(step: int, without: Posterior, steps: _Steps) -> float:
    """How far a step lies off what the others foretell, in standard uncertainties of both: an end is foretold badly."""
    alone = _off_curve(without.mean, steps)[step]
    nudges = 1e-4 * np.eye(len(without.mean))
    slopes = np.stack([(_off_curve(without.mean + nudge, steps)[step] - alone) / 1e-4 for nudge in nudges], axis=1)
    own = np.linalg.inv(steps.whitening[step].T @ steps.whitening[step])
    foretold = own + slopes @ without.covariance @ slopes.T
    return float(np.sqrt(alone @ np.linalg.solve(foretold, alone) / len(alone)))


def _off_in_u(steps: _Steps, posterior: Posterior) -> Floats:
    """How far each step (n,) lies off a curve, in its standard uncertainties."""
    off = np.einsum("nij,nj->ni", steps.whitening, _off_curve(posterior.mean, steps))
    return np.asarray(np.sqrt((off**2).mean(axis=1)))


def _judged(steps: _Steps, posterior: Posterior) -> ToneFit:
    off = np.where(steps.used, _off_curve(posterior.mean, steps).mean(axis=1), np.nan)
    known = steps.known.mean(axis=1)
    off_L = _lightness(known * (1 + np.nan_to_num(off))) - _lightness(known)
    off_L = np.where(steps.used, off_L, np.nan)
    worst = float(np.nanmax(np.abs(off_L)))
    far = np.abs(posterior.mean[:COUNT] - PRIOR) / U_PRIOR
    why_not = ""
    curve = curve_of(posterior.mean[:COUNT], steps.like)
    if not (posterior.settled and curve.is_monotone):
        why_not = "no curve was found that fits the steps"
    elif worst > MAX_RESIDUAL_L:
        why_not = f"the steps lie up to {worst:.1f} L* off any curve that cameras have (limit {MAX_RESIDUAL_L:.1f})"
    elif far.max() > MAX_FROM_PRIOR:
        why_not = f"the steps ask for more {PARAMETERS[int(far.argmax())]} than cameras have"
    if why_not:
        return replace(_refused(why_not, steps), residual_relative=off, residual_L=off_L)
    covariance = posterior.covariance
    return ToneFit(
        curve,
        "",
        covariance[:COUNT, :COUNT],
        told_by_data(covariance),
        off,
        off_L,
        steps.used,
        np.exp(posterior.mean[COUNT:]),
        np.sqrt(np.diag(covariance)[COUNT:]),
    )


def _refused(why_not: str, steps: _Steps) -> ToneFit:
    return replace(unusable(why_not, len(steps.used)), used=steps.used)


def _lightness(Y: Floats) -> Floats:
    return XYZ_to_Lab(np.maximum(Y, 0)[:, None] * D50)[:, 0]
