"""Which colour would a mix of the tried stains have on this wood?

Each stain is a layer over the wood: it absorbs, and where two grounds of different lightness show that it covers, it
scatters too (layers.py). What layers absorb and scatter adds, each in proportion to its amount. The spectra behind the
colours are estimated (spectra.py) for several amounts of light from the surface itself, which no photo tells: the mean
of them is the prediction, their spread a part of its doubt.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.match.layers import absorption_of, layer_over, with_surface
from analyzer.match.spectra import absorbances_of
from calibration.camera_prior import observer_weights
from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab

Floats = NDArray[np.float64]

# Share of light from the very surface: bare sanded wood 0 to 3 %, less under a coat, where nobody looks into the gloss.
# Chosen, as in calibration/wood_spectra.py.
HAZES_DRY: Final = (0.0, 0.01, 0.02, 0.03)
HAZES_COATED: Final = (0.0, 0.005, 0.01)
_ROOM: Final = 1.3  # a surface cannot send back more than the darkest patch does; this much must be left for the wood

# Scattering that is looked for. At 0.02 a layer over black sends back 2 %, no more than the surface of dry wood does.
_SCATTERING: Final = (0.0, 0.02, 0.03, 0.05, 0.08, 0.12, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0, 1.5)
# To be believed, scattering must explain this much more of the misfit than chance would: chi-squared of one degree of
# freedom at 1 %, on how closely two boards of one recipe agree beside their grounds (CIELAB, one sigma; chosen).
_CHI_2: Final = 6.63
_BOARDS_AGREE: Final = 0.5
# The least scattering is taken that is as good as the best by so much of chi-squared: a stain is not called more opaque
# than it must be. Chosen on mix_study.py, where absorbances of boards differ by 30 % and colours err by 0.3: mixes
# of two pigments that scatter 0.15 (0.4) are foretold to 1.0 (1.3) CIEDE2000, as transparent ones to 2.8 (4.3).
_AS_GOOD: Final = 0.5
_GROUNDS_APART: Final = 3.0  # L*: with grounds closer than this nothing can be told of it (chosen on mix_study.py)


@dataclass(frozen=True, slots=True, eq=False)
class Stained:
    """One stained patch with the wood under it."""

    Lab: Floats  # (3,)
    Lab_ground: Floats | None  # None: not known
    strength: float
    board: str


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One stain at a strength of 1, for each haze."""

    K: Floats  # (hazes, 36)
    S: float  # of all bands; 0: transparent, or not known to be anything else
    misfit: float | None  # CIELAB, root mean square between boards, as a transparent layer; None: one ground only
    is_judged: bool  # grounds lie far enough apart to tell whether it covers


@dataclass(frozen=True, slots=True, eq=False)
class Pot:
    """What can be mixed, and over which wood."""

    ground: Floats  # (hazes, 36), reflectance of the wood under its surface
    layers: tuple[Layer, ...]
    hazes: tuple[float, ...]

    def Lab_of(self, amounts: ArrayLike) -> Floats:
        """CIELAB (..., 3) of mixes: amounts (..., n) of each layer."""
        return XYZ_to_Lab(self._XYZ_by_haze(amounts).mean(axis=0))

    def haze_covariance(self, amounts: ArrayLike) -> Floats:
        """Covariance (3, 3) that the unknown haze leaves of one mix."""
        each = XYZ_to_Lab(self._XYZ_by_haze(amounts))
        apart = each - each.mean(axis=0)
        return np.asarray(apart.T @ apart / max(1, len(each) - 1))

    def covering(self, amounts: ArrayLike) -> float:
        """Share of its own lightness that a mix would keep over black: 0 for a transparent stain, 1 for paint."""
        shares = np.asarray(amounts, dtype=np.float64)
        S = float(shares @ np.array([layer.S for layer in self.layers]))
        K = np.einsum("n,nhb->hb", shares, np.stack([layer.K for layer in self.layers]))
        Y = observer_weights()[:, 1]
        over = [float((layer_over(ground, np.maximum(K, 0), S) @ Y).mean()) for ground in (0.0, self.ground)]
        return over[0] / over[1]

    def _XYZ_by_haze(self, amounts: ArrayLike) -> Floats:
        shares = np.asarray(amounts, dtype=np.float64)
        scatter = shares @ np.array([layer.S for layer in self.layers])
        seen = []
        for place, haze in enumerate(self.hazes):
            absorb = shares @ np.stack([layer.K[place] for layer in self.layers])
            inside = layer_over(self.ground[place], absorb, scatter[..., np.newaxis])
            seen.append(with_surface(inside, haze) @ observer_weights())
        return np.stack(seen)


def hazes_for(stage: str, Labs: Sequence[Floats]) -> tuple[float, ...]:
    """Amounts of light from the surface that a stage may have and its darkest patch leaves possible."""
    every = HAZES_COATED if stage in ("sealed", "topcoated") else HAZES_DRY
    darkest = float(np.min(Lab_to_XYZ(np.stack(list(Labs))) / D50))
    return tuple(haze for haze in every if haze == 0 or haze * _ROOM < darkest)


def ground_reflectance(Labs: Sequence[Floats], hazes: Sequence[float]) -> Floats:
    """Mean wood (hazes, 36) of several bare patches, under its surface: the mean of their absorbances."""
    return np.stack([10.0 ** -absorbances_of(Lab_to_XYZ(np.stack(list(Labs))), haze).mean(axis=0) for haze in hazes])


def layer_of(patches: Sequence[Stained], ground: Floats, hazes: Sequence[float]) -> Layer:
    """Fit one stain to all patches that carry it: absorption at each band, and one scattering where it can be told.

    Parameters
    ----------
    patches : sequence of Stained
        At least one.
    ground : ndarray, (hazes, 36)
        Wood to be taken under patches whose own is not known.
    hazes : sequence of float
    """
    seen = [_Spectra.of(patches, own, haze) for own, haze in zip(ground, hazes, strict=True)]
    scattering, misfit, is_judged = _scattering(patches, seen[len(seen) // 2])
    return Layer(np.stack([one.absorption(scattering) for one in seen]), scattering, misfit, is_judged)


@dataclass(frozen=True, slots=True, eq=False)
class _Spectra:
    """Patches of one stain as reflectances under a surface of one haze."""

    stained: Floats  # (n, 36)
    grounds: Floats  # (n, 36)
    strengths: Floats  # (n,)
    haze: float

    @classmethod
    def of(cls, patches: Sequence[Stained], ground: Floats, haze: float) -> "_Spectra":
        stained = 10.0 ** -absorbances_of(Lab_to_XYZ(np.stack([patch.Lab for patch in patches])), haze)
        grounds = [
            ground if patch.Lab_ground is None else 10.0 ** -absorbances_of(Lab_to_XYZ(patch.Lab_ground), haze)
            for patch in patches
        ]
        return cls(stained, np.stack(grounds), np.array([patch.strength for patch in patches]), haze)

    def absorption(self, S: float) -> Floats:
        """K (36,) of a strength of 1: least squares through 0 over all patches."""
        if S == 0:
            each = np.log(self.grounds / self.stained) / 2
        else:
            each = absorption_of(self.stained, self.grounds, (S * self.strengths)[:, np.newaxis])
        return np.asarray(self.strengths @ each / float(self.strengths @ self.strengths))

    def misfit(self, S: float) -> float:
        """Sum of squares, CIELAB, of all patches around the one stain that fits them best."""
        K, strengths = self.absorption(S), self.strengths[:, np.newaxis]
        fitted = layer_over(self.grounds, strengths * K, S * strengths)
        weights = observer_weights()
        apart = XYZ_to_Lab(fitted @ weights) - XYZ_to_Lab(self.stained @ weights)
        return float(np.sum(apart**2))


def _scattering(patches: Sequence[Stained], seen: _Spectra) -> tuple[float, float | None, bool]:
    """Scattering of a stain, its misfit without any, and whether its grounds can tell."""
    grounds = [patch.Lab_ground for patch in patches if patch.Lab_ground is not None]
    if len(grounds) < len(patches) or len({patch.board for patch in patches}) < 2:
        return 0.0, None, False
    squares = np.array([seen.misfit(S) for S in _SCATTERING])
    misfit = math.sqrt(squares[0] / (3 * len(patches)))
    lightness = [float(Lab[0]) for Lab in grounds]
    if max(lightness) - min(lightness) < _GROUNDS_APART:
        return 0.0, misfit, False
    least = float(squares.min())
    is_believed = (float(squares[0]) - least) / _BOARDS_AGREE**2 > _CHI_2
    first = int(np.argmax(squares <= least + _AS_GOOD * _BOARDS_AGREE**2))
    return (_SCATTERING[first] if is_believed else 0.0), misfit, True
