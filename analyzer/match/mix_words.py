"""How is a mix told to a finisher?"""

from collections.abc import Sequence

from analyzer.guard_band import decide
from analyzer.match.foretold import Foretold
from analyzer.match.held_pot import HeldPot
from analyzer.match.mixing import Parts
from analyzer.words import half_width, listed, named

# Common practice, no source; what a label forbids or asks for goes first.
CAUTION = (
    "Mix only stains of one base and only as their labels allow, stir, keep to one batch, and make the trial board "
    "before anything else. Rags with oil stain can heat up by themselves: dry them flat outdoors or keep them in water "
    "in a closed metal can, as the label and local rules say."
)


def in_words(stains: Sequence[str], parts: Parts) -> str:
    """Write the parts: "3 parts brown, 1 part red, 2 parts clear base", the largest first."""
    counted = sorted(zip(parts.parts, stains, strict=True), key=lambda pair: (-pair[0], pair[1]))
    told = [_counted(count, stain) for count, stain in counted if count]
    if len(told) == 1 and not parts.clear:
        return f"{told[0].split(' ', 2)[2]} alone"
    return ", ".join([*told, *([_counted(parts.clear, "clear base")] if parts.clear else [])])


def mix_says(held: HeldPot, parts: Parts, told: Foretold, tolerance: float, doubts: Sequence[str]) -> str:
    """The whole mix in one or two sentences without a caution."""
    L, a, b = told.Lab
    within = {"within": "a match", "outside": "no match", "cannot tell": "too unsure to call a match"}
    verdict = within[decide(told.de00, told.de00_u95, tolerance)]
    coats = "" if held.coats == 1 else f", {held.coats} coats"
    base = "" if held.grounds else " (each as strong as it was tried)"
    on = f"on {named(held.treatment)}{coats}"
    says = (
        f"{on}: {in_words(held.stains, parts)}{base}. Foretold for the next board: L* {L:.1f}, a* {a:.1f}, b* {b:.1f}, "
    )
    says += f"{told.de00:.1f} ± {half_width(told.de00_u95)} from the target, {verdict}"
    return says + (f". With caution: {'; '.join(doubts)}" if doubts else "")


def ground_missing(treatments: Sequence[str], boards: Sequence[str], stage: str, light: str | None) -> str:
    """Say which zones or photos would let clear base be worked out."""
    where = "" if light is None else f' in the light "{light}"'
    one = f'a zone with stain = "none" and treatment = "{treatments[0]}"'
    zones = one if len(treatments) == 1 else f"{one}, best one for each of these pre-treatments,"
    coat = ", under the same coat" if stage in ("sealed", "topcoated") else ""
    photo = (
        f"; or add photos of {listed(boards, 'and')} as they were before staining{where}" if stage == "stained" else ""
    )
    return (
        f"How much of a stain {listed([named(one) for one in treatments], 'and')} let in cannot be told, and so no mix "
        f"with clear base: no unstained zone was measured {stage}{where}. Add {zones} to board {listed(boards, 'or')} "
        f"or to a new one{coat}, and photograph it {stage}{photo}"
    )


def stain_missing(stain: str, treatments: Sequence[str]) -> str:
    """Say that a mix asks for a second stain."""
    return (
        f"A mix of two stains cannot be told: {stain} is the only one that was tried on "
        f"{listed([named(one) for one in treatments], 'and')}. Add a zone with another stain to go with it"
    )


def _counted(count: int, what: str) -> str:
    return f"{count} part{'' if count == 1 else 's'} {what}"
