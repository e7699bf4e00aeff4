"""Which amounts of the tried stains come nearest the target?

Amounts cannot be negative, and the pot is full when stain and clear base make up one whole. On so few stains every face
of that region is tried: each choice of up to three stains, with clear base and without, is solved by Levenberg and
Marquardt's steps on the parts of CIEDE2000 (eye.py), and the best solution that lies inside is the answer. That is the
active-set method of non-negative least squares (Lawson and Hanson 1974) with the search for the set made exhaustive: no
solver is needed, and none can stop at the wrong set.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.directions import A_LITTLE
from analyzer.match.eye import parts_00
from analyzer.match.pot import Pot
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]

MOST_STAINS: Final = 3  # of one mix: three change value, chroma and hue; a fourth can no longer be told apart
MOST_PARTS: Final = 20  # of one mix, clear base counted: a measuring cup shows 5 % (chosen)
ROUNDING: Final = (
    0.25  # CIEDE2000 that rounding to parts may cost: half of what is first seen on finished wood (chosen)
)

_STEPS: Final = 30
_NUDGE: Final = 1e-4  # of an amount, for the slopes
_DONE: Final = 1e-6
_INSIDE: Final = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """What a pot may hold."""

    full: Floats  # (n,): a mix with full @ amounts = 1 leaves no room for clear base
    has_clear: bool  # clear base can be added: the wood without stain is known


@dataclass(frozen=True, slots=True, eq=False)
class Mix:
    """Amounts of each stain and what they come to."""

    amounts: Floats  # (n,), at a strength of 1; 0 for a stain that is not in it
    Lab: Floats  # (3,)
    de00: float  # to the target

    @property
    def stains(self) -> tuple[int, ...]:
        """Places of the stains that are in it."""
        return tuple(int(place) for place in np.flatnonzero(self.amounts > 0))


def solved(pot: Pot, Lab_target: Floats, limits: Limits) -> Mix:
    """Mix of the fewest stains that comes as near the target as can be seen.

    A stain more is worth it when it brings the colour nearer by `A_LITTLE`, where a difference on finished wood is
    first seen.

    Parameters
    ----------
    pot : Pot
    Lab_target : ndarray, (3,)
    limits : Limits

    Returns
    -------
    mix : Mix
    """
    best = [min(_mixes(pot, Lab_target, limits, count), key=lambda mix: mix.de00) for count in _counts(pot)]
    nearest = min(mix.de00 for mix in best)
    return next(mix for mix in best if mix.de00 <= nearest + A_LITTLE)


def strength_wanted(pot: Pot, Lab_target: Floats, stains: Sequence[int], limits: Limits) -> float:
    """How full a pot of these stains would be if it could hold more than it does: above 1 for too dark a target."""
    start = np.full(len(stains), 0.5 / len(stains)) / limits.full[list(stains)]
    found = _descend(pot, Lab_target, list(stains), start, None)
    return float(limits.full[list(stains)] @ np.maximum(found, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """A mix in whole parts."""

    parts: tuple[int, ...]  # of each stain
    clear: int  # of clear base
    mix: Mix


def in_parts(pot: Pot, Lab_target: Floats, exact: Mix, limits: Limits) -> Parts:
    """Round a mix to the fewest whole parts that a finisher can measure out and that keep its colour.

    Parameters
    ----------
    pot : Pot
    Lab_target : ndarray, (3,)
    exact : Mix
        From `solved`; the rounded mix has no other stains.
    limits : Limits

    Returns
    -------
    parts : Parts
        Of all with the fewest parts whose distance to the target grows by at most `ROUNDING`, the nearest; with
        `MOST_PARTS` the nearest whatever it costs.
    """
    stains = exact.stains
    best: Parts | None = None
    for total in range(1, MOST_PARTS + 1):
        counts = np.array([c for c in _counted(len(stains), total) if limits.has_clear or sum(c) == total])
        if not counts.size:
            continue
        amounts = np.zeros((len(counts), len(limits.full)))
        amounts[:, stains] = counts / total / limits.full[list(stains)]
        Labs = pot.Lab_of(amounts)
        distances = delta_E_00(Lab_target, Labs)
        place = int(np.argmin(distances))
        if best is None or distances[place] < best.mix.de00:
            every = np.zeros(len(limits.full), dtype=int)
            every[list(stains)] = counts[place]
            mix = Mix(amounts[place], Labs[place], float(distances[place]))
            best = Parts(tuple(int(c) for c in every), total - int(counts[place].sum()), mix)
        if best.mix.de00 <= exact.de00 + ROUNDING:
            break
    if best is None:
        raise ValueError("in_parts: a mix without stains")
    return best


def _counts(pot: Pot) -> range:
    return range(1, min(MOST_STAINS, len(pot.layers)) + 1)


def _mixes(pot: Pot, Lab_target: Floats, limits: Limits, count: int) -> Iterator[Mix]:
    """Solutions inside the region, for every choice of so many stains."""
    for stains in combinations(range(len(pot.layers)), count):
        places = list(stains)
        full = limits.full[places]
        found = [_descend(pot, Lab_target, places, 1 / full / count, full)]  # no clear base
        if limits.has_clear:
            found.append(_descend(pot, Lab_target, places, 0.5 / full / count, None))
        inside = [x for x in found if x.min() >= -_INSIDE and full @ x <= 1 + _INSIDE]
        # the corners belong to the region too: each stain alone, undiluted
        inside += [np.eye(count)[k] / full for k in range(count)]
        for amounts_of in inside:
            amounts = np.zeros(len(pot.layers))
            amounts[places] = np.maximum(amounts_of, 0.0)
            Lab = pot.Lab_of(amounts)
            yield Mix(amounts, Lab, float(delta_E_00(Lab_target, Lab)))


def _descend(pot: Pot, Lab_target: Floats, places: list[int], start: Floats, full: Floats | None) -> Floats:
    """Amounts nearest the target, negative ones allowed; with `full` the pot stays full."""
    count = len(places)
    free = np.eye(count) if full is None else _along(full)
    if free.shape[1] == 0:
        return start
    at, damping = start, 1e-3
    parts = _parts(pot, Lab_target, places, at[np.newaxis])[0]
    for _ in range(_STEPS):
        slopes = (_parts(pot, Lab_target, places, at + _NUDGE * free.T) - parts).T / _NUDGE
        normal = slopes.T @ slopes
        step = free @ np.linalg.solve(
            normal + damping * (np.diag(np.diag(normal)) + 1e-12 * np.eye(len(normal))), -slopes.T @ parts
        )
        new = _parts(pot, Lab_target, places, (at + step)[np.newaxis])[0]
        if new @ new < parts @ parts:
            at, parts, damping = at + step, new, damping / 5
        else:
            damping *= 8
        if np.abs(step).max() < _DONE:
            break
    return at


def _along(full: Floats) -> Floats:
    """Directions (n, n - 1) in which the pot stays full."""
    return np.asarray(np.linalg.svd(full[np.newaxis])[2][1:].T)


def _parts(pot: Pot, Lab_target: Floats, places: list[int], amounts_of: Floats) -> Floats:
    amounts = np.zeros((len(amounts_of), len(pot.layers)))
    amounts[:, places] = np.clip(amounts_of, -1.0, 8.0)  # a far step: nothing blacker or brighter need be thought of
    return parts_00(Lab_target, pot.Lab_of(amounts))


def _counted(stains: int, total: int) -> Iterator[tuple[int, ...]]:
    """Whole parts of each stain, at least one, together at most the total."""
    if stains == 0:
        yield ()
        return
    for first in range(1, total - stains + 2):
        for rest in _counted(stains - 1, total - first):
            yield (first, *rest)
