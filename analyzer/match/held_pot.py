"""What do the patches of one setting leave to mix with, under one treatment?"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from analyzer.match.held import Pair, Patch, Setting
from analyzer.match.mixing import Limits
from analyzer.match.pot import Layer, Pot, Stained, ground_reflectance, hazes_for, layer_of
from calibration.colorspace import Lab_to_XYZ, XYZ_to_Lab

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class HeldPot:
    """A pot with the names of what is in it and what it was learnt from."""

    treatment: str
    stains: tuple[str, ...]
    tried: Floats  # (n,), the greatest strength of each that was tried
    coats: int  # of the mix: as many as most patches have
    pot: Pot
    limits: Limits
    patches: tuple[Patch, ...]  # the stained ones it was learnt from
    grounds: tuple[Patch, ...]
    pairs: tuple[Pair, ...]
    borrowed: tuple[tuple[str, str, float], ...]  # stain, the treatment it was tried on, how much less it takes here

    @property
    def boards(self) -> tuple[str, ...]:
        """Boards it was learnt from."""
        return tuple(sorted({patch.board for patch in self.patches}))


def held_pot(
    setting: Setting, treatment: str, *, stains: Collection[str] = (), without: Collection[str] = ()
) -> HeldPot | None:
    """Gather what can be mixed for one treatment.

    Parameters
    ----------
    setting : Setting
    treatment : str
    stains : collection of str
        Only these may go in; (): all.
    without : collection of str
        Ids of stained zones to leave out.

    Returns
    -------
    pot : HeldPot or None
        None when nothing stained carries the treatment, or there is neither the wood below a stain nor a second stain.
    """
    if stains:
        kept = tuple(patch for patch in setting.stained if patch.stain in stains)
        return held_pot(replace(setting, stained=kept), treatment, without=without)
    own = [patch for patch in setting.stained if patch.treatment == treatment and patch.id not in without]
    pairs = [pair for pair in setting.pairs if pair.stained.id not in without]
    grounds = _grounds(setting, treatment, pairs)
    if not own:
        return None
    if not grounds:
        return _without_ground(treatment, setting.stage, own)
    hazes = hazes_for(setting.stage, [patch.Lab for patch in (*setting.stained, *setting.bare)])
    ground = ground_reflectance([patch.Lab for patch in grounds], hazes)
    layers = _layers(own, pairs, ground, hazes)
    elsewhere = _borrowed(setting, treatment, layers, pairs, ground, hazes, without)
    named = {**layers, **{stain: layer for stain, _, layer, _ in elsewhere}}
    stains = tuple(sorted(named))
    coats = _usual_coats(own)
    learnt = [patch for patch in setting.stained if patch.id not in without and patch.stain in stains]
    return HeldPot(
        treatment=treatment,
        stains=stains,
        tried=np.array([max(patch.strength for patch in learnt if patch.stain == stain) for stain in stains]),
        coats=coats,
        pot=Pot(ground, tuple(named[stain] for stain in stains), hazes),
        limits=Limits(np.full(len(stains), 1 / coats), has_clear=True),
        patches=tuple(own),
        grounds=tuple(grounds),
        pairs=tuple(pair for pair in pairs if pair.stained.treatment == treatment),
        borrowed=tuple((stain, other, uptake) for stain, other, _, uptake in elsewhere),
    )


def uptake_of(layers: dict[str, Layer], other: dict[str, Layer]) -> float | None:
    """How much of a stain one treatment lets in, of what another does: by the stains that both were tried with."""
    shared = sorted(set(layers) & set(other))
    if not shared:
        return None
    ours, theirs = (np.concatenate([of[stain].K.ravel() for stain in shared]) for of in (layers, other))
    return float(ours @ theirs / (theirs @ theirs))


def _grounds(setting: Setting, treatment: str, pairs: Sequence[Pair]) -> list[Patch]:
    """Bare wood to lay a mix on: under this treatment's own patches, or what else was left bare."""
    of_pairs = {pair.ground.id: pair.ground for pair in pairs if pair.stained.treatment == treatment}
    if of_pairs:
        return list(of_pairs.values())
    alike = [patch for patch in setting.bare if patch.treatment == treatment]
    return alike or list(setting.bare) or list({pair.ground.id: pair.ground for pair in pairs}.values())


def _layers(
    patches: Iterable[Patch], pairs: Sequence[Pair], ground: Floats, hazes: Sequence[float]
) -> dict[str, Layer]:
    """Fit each stain of one treatment."""
    under = {pair.stained.id: pair.ground.Lab for pair in pairs}
    by_stain: dict[str, list[Stained]] = {}
    for patch in patches:
        if patch.stain is not None and patch.strength > 0:
            made = Stained(patch.Lab, under.get(patch.id), patch.strength, patch.board)
            by_stain.setdefault(patch.stain, []).append(made)
    # a patch whose ground is known says more than one that lies on the mean of the others
    best = {stain: [one for one in seen if one.Lab_ground is not None] or seen for stain, seen in by_stain.items()}
    return {stain: layer_of(seen, ground, hazes) for stain, seen in best.items()}


def _borrowed(
    setting: Setting,
    treatment: str,
    layers: dict[str, Layer],
    pairs: Sequence[Pair],
    ground: Floats,
    hazes: Sequence[float],
    without: Collection[str],
) -> list[tuple[str, str, Layer, float]]:
    """Stains that were tried on another treatment only, as they would go on here."""
    found: dict[str, tuple[str, str, Layer, float]] = {}
    others = {patch.treatment for patch in setting.stained} - {treatment}
    for other in sorted(others, key=lambda name: (name != "none", name)):
        there = [patch for patch in setting.stained if patch.treatment == other and patch.id not in without]
        tried = _layers(there, pairs, ground, hazes)
        uptake = uptake_of(layers, tried)
        if uptake is None or uptake <= 0:
            continue
        for stain, layer in tried.items():
            if stain not in layers and stain not in found:
                scaled = Layer(uptake * layer.K, uptake * layer.S, layer.misfit, layer.is_judged)
                found[stain] = (stain, other, scaled, uptake)
    return [found[stain] for stain in sorted(found)]


def _without_ground(treatment: str, stage: str, own: Sequence[Patch]) -> HeldPot | None:
    """Stains whose wood was never seen bare: mixed without clear base the wood is the same in all, and falls out.

    Each stain counts at its greatest strength alone.
    """
    strongest: dict[str, list[Patch]] = {}
    for patch in own:
        if patch.stain is None or patch.strength <= 0:
            continue
        held = strongest.setdefault(patch.stain, [])
        if held and patch.strength > held[0].strength:
            held.clear()
        if not held or patch.strength == held[0].strength:
            held.append(patch)
    if len(strongest) < 2:
        return None
    hazes = hazes_for(stage, [patch.Lab for patch in own])
    means = {stain: _mean_Lab(held) for stain, held in strongest.items()}
    ground = ground_reflectance(list(means.values()), hazes)
    stains = tuple(sorted(strongest))
    tried = np.array([strongest[stain][0].strength for stain in stains])
    layers = [
        layer_of([Stained(means[stain], None, strongest[stain][0].strength, "")], ground, hazes) for stain in stains
    ]
    return HeldPot(
        treatment=treatment,
        stains=stains,
        tried=tried,
        coats=_usual_coats(own),
        pot=Pot(ground, tuple(layers), hazes),
        limits=Limits(1 / tried, has_clear=False),
        patches=tuple(chain.from_iterable(strongest.values())),
        grounds=(),
        pairs=(),
        borrowed=(),
    )


def _usual_coats(patches: Sequence[Patch]) -> int:
    """Coats that most patches have; of several the fewest."""
    counted: dict[int, int] = {}
    for patch in patches:
        counted[patch.coats] = counted.get(patch.coats, 0) + 1
    return min(counted, key=lambda coats: (-counted[coats], coats))


def _mean_Lab(patches: Sequence[Patch]) -> Floats:
    return XYZ_to_Lab(np.mean([Lab_to_XYZ(patch.Lab) for patch in patches], axis=0))
