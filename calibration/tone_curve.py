"""Which light does a photo's linear RGB stand for, once the camera's tone curve and its stray light are taken back?

A colour profile says what the codes mean on a display. Cameras make them look better on the way: more contrast, a toe
and a shoulder; and the lens adds a veil of scattered light. Few numbers describe that (Grossberg & Nayar 2004, IEEE
TPAMI 26:1272, measured that real cameras' curves fill a small part of all possible ones). Here, in the order in which
light takes its way:

    (light + flare) ^ gamma, of full scale    veil, then contrast
    S of the encoded value                    toe and shoulder; a logistic curve from 0 to 1, as Braun & Fairchild
                                              (1999, J. Electronic Imaging 8:380) used sigmoids to remap lightness
    bends                                     a few per cent, smooth along the encoded values: no camera's curve is
                                              quite of this kind, and what the steps say of that is followed

`ToneCurve` goes the other way. It is monotone for all numbers that cameras have (`is_monotone`). Its scale is tied so
that middle gray keeps its level: what sets the level of the light is the reference, not the curve.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.colorspace import sRGB_decode, sRGB_encode

Floats = NDArray[np.float64]

BENDS = np.linspace(0.05, 0.95, 8)  # encoded values of the middles of the bends
BEND_WIDTH = 0.13  # of encoded values, sigma
PARAMETERS = (
    "flare", "red flare", "green flare", "blue flare", "contrast", "S", "middle of the S", *("bend",) * len(BENDS)
)  # fmt: skip
# What is known of a photo before anything in it was measured: means and standard deviations. Chosen: lenses in even
# light scatter 0-2 % of white, nearly as neutral as the scene; cameras raise contrast by an S, seldom by a power, since
# displays expect the profile's curve. The S of 11 published curves of cameras were up to 1. Held at "no change"
# instead, three steps left twice the error on such curves, and no less on a straight one.
PRIOR = np.array([0.006, 0, 0, 0, 0, 0.35, 0, *(0.0,) * len(BENDS)])
U_PRIOR = np.array([0.008, 0.0015, 0.0015, 0.0015, 0.08, 0.35, 0.06, *(0.03,) * len(BENDS)])
LARGEST_S = 4.0  # beyond it the curve is a step
TRUSTED = 2.0  # times beyond the outermost known levels; farther on the curve goes straight
NEAR_BLACK = 1.5e-4  # linear RGB, half an 8-bit code: below it the curve always goes straight
NODES = 2049  # of the look-up table, evenly spaced in the square root of linear RGB
_NEAR_LINEAR = 1e-4


@dataclass(frozen=True, slots=True)
class ToneCurve:
    """From linear RGB, as a photo's profile gives it, to numbers proportional to the light of the scene."""

    flare: tuple[float, float, float] = (0.0, 0.0, 0.0)  # veil in red, green, blue; of full scale
    gamma: float = 1.0  # contrast: above 1 the photo shows more than there is
    s_curve: float = 0.0  # additional slope of the S in its middle; below 0: less
    s_middle: float = 0.5  # encoded value at which the S is steepest
    bends: tuple[float, ...] = (0.0,) * len(BENDS)  # relative light, smooth bumps at `BENDS`
    mid_level: float = 0.18  # linear RGB that keeps its value
    darkest: float = 0.0  # linear RGB between which the curve was measured
    lightest: float = 1.0

    def apply(self, linear_RGB: ArrayLike) -> NDArray[np.float32]:
        """Light of linear RGB.

        Parameters
        ----------
        linear_RGB : array_like, (..., 3)
            1 at full scale. Below 0 and above 1 the curve goes on straight.

        Returns
        -------
        ndarray of float32, (..., 3)
            Proportional to the light of the scene; negative where there is less than the veil alone would give.
        """
        linear = np.asarray(linear_RGB)
        roots = np.linspace(0, 1, NODES)
        table = self.exactly(np.repeat((roots**2)[:, None], 3, axis=1))
        out = np.empty(linear.shape, np.float32)
        for channel in range(3):
            out[..., channel] = _looked_up(linear[..., channel], table[:, channel])
        return out

    @property
    def is_monotone(self) -> bool:
        """Whether more linear RGB is always more light."""
        levels = np.repeat((np.linspace(0, 1, 500) ** 2)[:, None], 3, axis=1)
        return bool((np.diff(self.exactly(levels), axis=0) > 0).all())

    def with_tone(self, curve: NDArray[np.float32]) -> NDArray[np.float32]:
        """A photo's table (codes, 3) of code -> linear RGB, turned into one of code -> light."""
        return self.apply(curve)

    def at_exposure(self, mid_level: float) -> "ToneCurve":
        """The curve of another photo by the same camera, in which middle gray has another level, linear RGB.

        The curve acts on codes and stays as it is. The veil is a share of the light that reaches the lens.
        """
        veiled = self._unscaled(np.array([[self.mid_level] * 3, [mid_level] * 3])) + np.array(self.flare)
        was, now = veiled.mean(axis=1)
        red, green, blue = (float(veil * now / was) for veil in self.flare)
        return replace(self, flare=(red, green, blue), mid_level=mid_level)

    def exactly(self, linear: Floats) -> Floats:
        """Light (..., 3) of linear RGB (..., 3) without the table, in double precision: for fits."""
        low, high = max(self.darkest / TRUSTED, NEAR_BLACK), min(self.lightest * TRUSTED, 1.0)
        light = self._unscaled(np.clip(linear, low, high))
        ends = np.array([[low], [high]])
        step = 1e-3 * ends
        inner = ends + step * [[1], [-1]]
        slopes = np.abs(self._unscaled(inner) - self._unscaled(ends)) / np.maximum(step, 1e-12)
        light = light + slopes[0] * np.minimum(linear - low, 0) + slopes[1] * np.maximum(linear - high, 0)
        middle = float(self._unscaled(np.full((1, 3), self.mid_level)).mean())
        return np.asarray(light * (self.mid_level / middle))

    def derivatives(self, linear_RGB: ArrayLike) -> Floats:
        """Change of light by each of `PARAMETERS`, the tie to middle gray kept.

        Parameters
        ----------
        linear_RGB : array_like, (..., 3)

        Returns
        -------
        ndarray, (..., 3, 15)
            With the covariance of a fit, these give the covariance of light at any levels.
        """
        linear = np.asarray(linear_RGB, dtype=np.float64)
        at, step = parameters_of(self), 1e-4
        columns = []
        for nudge in step * np.eye(len(at)):
            more, less = (curve_of(at + sign * nudge, self) for sign in (1, -1))
            columns.append((more.exactly(linear) - less.exactly(linear)) / (2 * step))
        return np.stack(columns, axis=-1)

    def _unscaled(self, linear: Floats) -> Floats:
        """Light (..., 3) of linear RGB in 0..1, full scale being 1 with the veil."""
        encoded = sRGB_encode(linear)
        straight = np.maximum(sRGB_decode(sigmoid_inverse(encoded, self.s_curve, self.s_middle)), 0.0)
        bent = straight ** (1 / self.gamma)
        if any(self.bends):
            bumps = np.exp(-0.5 * ((encoded[..., None] - BENDS) / BEND_WIDTH) ** 2)
            bent = bent * np.exp(bumps @ np.array(self.bends))
        return np.asarray(bent - np.array(self.flare))


def parameters_of(curve: ToneCurve) -> Floats:
    """The numbers (15,) that a fit searches, in the order of `PARAMETERS`; all are 0 for "no change"."""
    common = float(np.mean(curve.flare))
    return np.array(
        [
            common,
            *(np.array(curve.flare) - common),
            np.log(curve.gamma),
            curve.s_curve,
            curve.s_middle - 0.5,
            *curve.bends,
        ]
    )


def curve_of(parameters: Floats, like: ToneCurve) -> ToneCurve:
    """The curve of parameters (15,), with the tie and the range of another one."""
    common, red, green, blue, log_gamma, s_curve, off_middle, *bends = (float(p) for p in parameters)
    kept = {name: getattr(like, name) for name in ("mid_level", "darkest", "lightest")}
    flare = common + red, common + green, common + blue
    return ToneCurve(flare, float(np.exp(log_gamma)), s_curve, 0.5 + off_middle, tuple(bends), **kept)


def is_possible(parameters: Floats) -> bool:
    """Whether parameters (15,) make a curve at all."""
    return bool(np.isfinite(parameters).all() and abs(parameters[5]) < LARGEST_S and abs(parameters[6]) < 0.45)


def sigmoid(encoded: ArrayLike, s_curve: float, s_middle: float) -> Floats:
    """An S from 0 to 1 of encoded values 0..1.

    A piece of a logistic curve, stretched to end at 0 and 1, whose slope in its middle is ``1 + s_curve`` when that
    middle is at 0.5. With `s_curve` below 0 it is the inverse of the one with ``-s_curve``.
    """
    return _logit(encoded, -s_curve, s_middle) if s_curve < 0 else _logistic(encoded, s_curve, s_middle)


def sigmoid_inverse(encoded: ArrayLike, s_curve: float, s_middle: float) -> Floats:
    """The inverse of `sigmoid`."""
    return _logistic(encoded, -s_curve, s_middle) if s_curve < 0 else _logit(encoded, s_curve, s_middle)


def _logistic(encoded: ArrayLike, s_curve: float, s_middle: float) -> Floats:
    V = np.asarray(encoded, dtype=np.float64)
    if s_curve < _NEAR_LINEAR:
        return V + s_curve / _NEAR_LINEAR * (_logistic(V, _NEAR_LINEAR, s_middle) - V) if s_curve > 0 else V
    k, low, high = _ends(s_curve, s_middle)
    return np.asarray((1 / (1 + np.exp(-k * (V - s_middle))) - low) / (high - low))


def _logit(encoded: ArrayLike, s_curve: float, s_middle: float) -> Floats:
    V = np.asarray(encoded, dtype=np.float64)
    if s_curve < _NEAR_LINEAR:
        return V + s_curve / _NEAR_LINEAR * (_logit(V, _NEAR_LINEAR, s_middle) - V) if s_curve > 0 else V
    k, low, high = _ends(s_curve, s_middle)
    share = low + V * (high - low)
    return np.asarray(s_middle + np.log(share / (1 - share)) / k)


def _ends(s_curve: float, s_middle: float) -> tuple[float, float, float]:
    """Steepness of the logistic curve, and its values where encoded values are 0 and 1."""
    k = _steepness(s_curve)
    return k, float(1 / (1 + np.exp(k * s_middle))), float(1 / (1 + np.exp(-k * (1 - s_middle))))


def _steepness(s_curve: float) -> float:
    """The k that solves ``(k / 4) / tanh(k / 4) = 1 + s_curve``, by Newton's method."""
    quarter = np.sqrt(3 * s_curve) + s_curve
    for _ in range(40):
        value = quarter / np.tanh(quarter) - 1 - s_curve
        slope = 1 / np.tanh(quarter) - quarter / np.sinh(quarter) ** 2
        quarter -= value / slope
        if abs(value) < 1e-12:
            break
    return float(4 * quarter)


def _looked_up(linear: NDArray[np.floating], table: Floats) -> NDArray[np.float32]:
    """Values of a table that is even in square roots, going on straight beyond 0 and 1."""
    places = np.sqrt(np.clip(linear, 0, 1), dtype=np.float32) * np.float32(NODES - 1)
    before = np.minimum(places.astype(np.int32), NODES - 2)
    places -= before
    light = table[:-1].astype(np.float32)[before]
    places *= np.diff(table).astype(np.float32)[before]
    light += places
    if linear.size and (linear.min() < 0 or linear.max() > 1):
        roots = np.linspace(0, 1, NODES)
        below = (table[1] - table[0]) / roots[1] ** 2
        above = (table[-1] - table[-2]) / (1 - roots[-2] ** 2)
        light += (below * np.minimum(linear, 0) + above * np.maximum(linear - 1, 0)).astype(np.float32)
    return np.asarray(light, dtype=np.float32)
