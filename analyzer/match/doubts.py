"""When should a mix not be relied on?"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.job import Job
from analyzer.match.foretold import Foretold
from analyzer.match.held import Pair, Setting
from analyzer.match.held_pot import HeldPot
from analyzer.match.match_result import DoubtResult
from analyzer.match.mixing import Mix, strength_wanted
from analyzer.recipe_fields import FIELDS
from analyzer.words import listed, named
from calibration.colorspace import Lab_to_XYZ

Floats = NDArray[np.float64]

_BEYOND: Final = 1.05  # of what was tried; less is within the slip of a measuring cup (chosen)
_LIGHTENS: Final = 1.02  # of the wood's own X, Y or Z: more light than before, beyond what two zones differ by (chosen)
_COVERS: Final = 0.1  # share of its light that a mix would keep over black: a tenth is seen as a veil (chosen)
_SATURATES: Final = 0.8  # of the first strength's effect for each further one (chosen)
_VERY_DARK: Final = 22.0  # L*, where the surface's own light is as strong as the wood's (chosen)
# Steps that change how much of a stain stays on the wood
_STEPS: Final = ("sanding", "raised", "solids", "wait", "wait_ended", "scuff", "stain_kind", "method", "dwell", "wipe")


def doubts_of(job: Job, setting: Setting, held: HeldPot, mix: Mix, told: Foretold) -> tuple[DoubtResult, ...]:
    """All reasons not to rely on a mix.

    Parameters
    ----------
    job : Job
    setting : Setting
    held : HeldPot
    mix : Mix
        The mix in parts.
    told : Foretold
        Its colour.
    """
    return (
        *_of_reach(job, setting, held, mix, told),
        *_of_opacity(held, mix),
        *_of_what_was_tried(held, mix),
        *_of_steps(job, held, mix),
    )


def _of_reach(job: Job, setting: Setting, held: HeldPot, mix: Mix, told: Foretold) -> Iterator[DoubtResult]:
    full = strength_wanted(held.pot, setting.Lab_target, mix.stains, held.limits)
    if held.limits.has_clear and full > _BEYOND:
        yield DoubtResult("too dark", f"the target asks for {full:.1f} times what one pot holds: one more coat")
    elif told.de00 - told.de00_u95 > job.target.tolerance:
        says = f"no mix of these stains comes nearer than {told.de00:.1f}: another stain is needed"
        yield DoubtResult("out of reach", says)
    if told.Lab[0] < _VERY_DARK:
        yield DoubtResult("very dark", "so dark a colour hangs on the light from the very surface, which is not known")


def _of_opacity(held: HeldPot, mix: Mix) -> Iterator[DoubtResult]:
    used = [held.stains[place] for place in mix.stains]
    light = sorted({pair.stained.stain or "" for pair in held.pairs if pair.stained.stain in used and _lightens(pair)})
    if light:
        says = f"{listed(light, 'and')} made the wood lighter somewhere: a pigment that covers, not a clear stain"
        yield DoubtResult("lightens", says)
    covering = held.pot.covering(mix.amounts)
    if covering > _COVERS:
        says = (
            f"the mix covers like thin paint (it would keep {covering:.0%} of its light over black; "
            "Kubelka and Munk's formula, fitted to light and dark boards): other wood makes another colour of it"
        )
        yield DoubtResult("covers", says)
    elif not all(held.pot.layers[place].is_judged for place in mix.stains):
        says = "whether these stains are clear or cover cannot be told: all their boards are alike in lightness"
        yield DoubtResult("cover not known", says)


def _lightens(pair: Pair) -> bool:
    return bool(np.any(Lab_to_XYZ(pair.stained.Lab) > _LIGHTENS * Lab_to_XYZ(pair.ground.Lab)))


def _of_what_was_tried(held: HeldPot, mix: Mix) -> Iterator[DoubtResult]:
    used = [(held.stains[place], float(mix.amounts[place] / held.tried[place])) for place in mix.stains]
    beyond = [f"{stain} {share:.1f} times" for stain, share in used if share > _BEYOND]
    total = float(np.sum(mix.amounts / held.tried))
    if beyond:
        yield DoubtResult("beyond what was tried", f"stronger than anything that was tried: {listed(beyond, 'and')}")
    elif held.limits.has_clear and total > _BEYOND:
        says = f"together {total:.1f} times as strong as the stains were tried"
        yield DoubtResult("beyond what was tried", says)
    stains = [stain for stain, _ in used]
    flat = [stain for stain in stains if (bend := _bend(held.pairs, stain)) is not None and bend < _SATURATES]
    if flat:
        says = f"{listed(flat, 'and')} darkened the wood less with each further share: the strength is a guess"
        yield DoubtResult("saturates", says)
    for stain, other, uptake in held.borrowed:
        if stain in stains:
            says = (
                f"{stain} was tried on {named(other)} only; taken as {uptake:.2f} of that here, as other stains showed"
            )
            yield DoubtResult("borrowed", says)
    if not held.grounds:
        yield DoubtResult("no bare wood", "no unstained zone was measured: only full-strength mixes can be worked out")
    kinds = {pair.kind for pair in held.pairs}
    if "photo" in kinds:
        says = "the wood below the stain is known from photos before staining, not from a zone in the same photo"
        yield DoubtResult("bare wood from another photo", says)
    if "control" in kinds:
        says = "the unstained zone has no pre-treatment, the stained ones do: its own colour is counted as the stain's"
        yield DoubtResult("bare wood untreated", says)
    if len(held.boards) == 1:
        yield DoubtResult("one board", f"all rests on board {held.boards[0]}: another takes stain otherwise")


def _bend(pairs: Sequence[Pair], stain: str) -> float | None:
    """Darkening for each share of stain at its greatest strength, over that at its least; None: one strength only."""
    by_strength: dict[float, list[float]] = {}
    for pair in pairs:
        if pair.stained.stain == stain:
            Y, Y_ground = (float(Lab_to_XYZ(Lab)[1]) for Lab in (pair.stained.Lab, pair.ground.Lab))
            by_strength.setdefault(pair.stained.strength, []).append(np.log(Y_ground / Y) / pair.stained.strength)
    if len(by_strength) < 2:
        return None
    least, most = (float(np.mean(by_strength[pick(by_strength)])) for pick in (min, max))
    return most / least if least > 0 else None


def _of_steps(job: Job, held: HeldPot, mix: Mix) -> Iterator[DoubtResult]:
    """Steps in which the zones behind the mix differ, as far as they are recorded."""
    used = {held.stains[place] for place in mix.stains}
    recipes = [job.zone(patch.id)[1].recipe for patch in held.patches if patch.stain in used]
    differing = [FIELDS[key].words for key in _STEPS if _differ(recipe.get(key) for recipe in recipes)]
    if differing:
        yield DoubtResult("steps differ", f"the zones it rests on differ in {listed(differing, 'and')}")


def _differ(values: Iterable[object]) -> bool:
    return len({str(value).strip().lower() for value in values if value is not None}) > 1
