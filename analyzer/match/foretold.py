"""How sure is the colour of a mix that nobody has made yet?

What is foretold is the next board of the same wood. Its doubt joins the measurement of the patches it rests on, the
spread from board to board, what the unknown surface light leaves, and what the model itself is short of. Where a stain
was tried on several boards or in several strengths, each patch is also foretold from the others; if they miss it by
more than the boards explain, that counts.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.guard_band import Z_975
from analyzer.match.eye import covariance_of_u
from analyzer.match.held import Patch, Setting
from analyzer.match.held_pot import HeldPot, held_pot
from analyzer.match.pot import Pot, ground_reflectance
from analyzer.replicates import BoardSpread, board_spread
from analyzer.trials import COLOUR_PRIOR
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

# What the way of adding is short of when all else is known: 0.2 on average for the simulator's stains, with the light
# from the surface unknown (spectra.py). CIEDE2000, one sigma; chosen somewhat larger.
MODEL_U: Final = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Foretold:
    """A colour that was worked out, and how sure that is."""

    Lab: Floats  # (3,)
    parts: Mapping[str, Floats]  # source -> covariance (3, 3), one sigma squared
    Lab_target: Floats

    @property
    def covariance(self) -> Floats:
        """Sum of all sources, (3, 3)."""
        return np.asarray(sum(self.parts.values()))

    @property
    def Lab_u95(self) -> Floats:
        """95 % half-widths (3,)."""
        return np.asarray(Z_975 * np.sqrt(np.diag(self.covariance)))

    @property
    def de00(self) -> float:
        """CIEDE2000 to the target."""
        return float(delta_E_00(self.Lab_target, self.Lab))

    @property
    def de00_u95(self) -> float:
        """Its 95 % half-width."""
        return delta_E_00_u95(self.Lab_target, self.Lab - self.Lab_target, self.covariance)


def foretold(setting: Setting, held: HeldPot, amounts: Floats) -> Foretold:
    """Colour of a mix on the next board of this wood.

    Parameters
    ----------
    setting : Setting
    held : HeldPot
    amounts : ndarray, (n,)
        Of each of its stains, at a strength of 1.
    """
    Lab = held.pot.Lab_of(amounts)
    residuals = left_out(setting, held)
    wood = _wood(setting)
    missed = np.mean([np.outer(r, r) for r in residuals], axis=0) if len(residuals) > 1 else np.zeros((3, 3))
    return Foretold(
        Lab=Lab,
        parts={
            "measurement": _measured(setting, held, amounts, Lab),
            "wood": missed if np.trace(missed) > np.trace(wood) else wood,
            "surface": held.pot.haze_covariance(amounts),
            "model": covariance_of_u(Lab, MODEL_U),
        },
        Lab_target=setting.Lab_target,
    )


def left_out(setting: Setting, held: HeldPot) -> list[Floats]:
    """Miss (3,), CIELAB, of each stained patch when it is foretold from the others, on its own ground."""
    found = []
    for pair in held.pairs:
        patch = pair.stained
        without = held_pot(setting, held.treatment, without=(patch.id,))
        if (
            without is None
            or patch.stain not in without.stains
            or patch.stain in {name for name, _, _ in without.borrowed}
        ):
            continue
        ground = ground_reflectance([pair.ground.Lab], without.pot.hazes)
        amounts = np.where(np.array(without.stains) == patch.stain, patch.strength, 0.0)
        found.append(Pot(ground, without.pot.layers, without.pot.hazes).Lab_of(amounts) - patch.Lab)
    return found


def _measured(setting: Setting, held: HeldPot, amounts: Floats, Lab: Floats) -> Floats:
    """Covariance by what the mix rests on.

    Within photos that show the target too, errors of card, light and camera are smooth in colour: they vanish at the
    target's own colour and grow with the distance from it. A mix of patches on all sides of the target shares them by
    its own distance, not by those of the patches. Colours that were measured by themselves, the ground in an earlier
    photo or all of them where the target is a value, bring along their own errors, each by its share.
    """
    beside = [patch for patch in (*held.patches, *held.grounds) if patch.u_pair is not None]
    shares = amounts / held.tried
    total = float(shares.sum())
    alone = np.zeros((3, 3))
    for stain, share in zip(held.stains, shares, strict=True):
        alone += abs(share) * _alone([patch for patch in held.patches if patch.stain == stain] or held.patches)
    if held.grounds:
        alone += abs(1 - total) * _alone(held.grounds)
    alone *= max(1.0, total)  # beyond what was tried errors grow with the way
    return alone + (covariance_of_u(Lab, _u_at(beside, setting.Lab_target, Lab)) if beside else np.zeros((3, 3)))


def _alone(patches: Sequence[Patch]) -> Floats:
    """Mean covariance of patches that were measured by themselves; those beside the target bring none."""
    return np.asarray(np.mean([np.zeros((3, 3)) if p.u_pair is not None else p.covariance for p in patches], axis=0))


def _u_at(patches: Sequence[Patch], Lab_target: Floats, Lab: Floats) -> float:
    """One sigma, CIEDE2000, of a patch at some distance from the target: as those that were measured have it."""
    squares = np.array([(patch.u_pair or 0.0) ** 2 for patch in patches])
    distances = np.array([float(delta_E_00(Lab_target, patch.Lab)) for patch in patches])
    nearest = float(squares.min())
    growth = float(np.max((squares - nearest) / np.maximum(distances, 1.0) ** 2))
    return float(np.sqrt(nearest + growth * float(delta_E_00(Lab_target, Lab)) ** 2))


def _wood(setting: Setting) -> Floats:
    """Covariance of one further board around the mean of those at hand.

    The spread between boards is pooled over all recipes of the setting, bare wood among them, and joined with what is
    believed of boards beforehand, as for verdicts.
    """
    by_recipe: dict[tuple[str, str, float], dict[str, list[Floats]]] = {}
    for patch in (*setting.stained, *setting.bare):
        of = by_recipe.setdefault((patch.treatment, patch.stain or "", patch.strength), {})
        of.setdefault(patch.board, []).append(patch.Lab)
    means = [{board: np.mean(Labs, axis=0) for board, Labs in of.items()} for of in by_recipe.values()]
    boards = max((len(of) for of in means), default=1)
    prior = BoardSpread(COLOUR_PRIOR.covariance, COLOUR_PRIOR.degrees_of_freedom)
    spread = board_spread(means, COLOUR_PRIOR) or prior
    return spread.of_mean(1) + spread.of_mean(boards)
