"""What did a zone keep of its figure, and how blotchy would it be on ground as light as its control?

Both are told beside the verdicts, which count the blotch and nothing else.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analyzer.pooling import MeasuredZone

if TYPE_CHECKING:
    from analyzer.effects import Paired

# L*; less figure than that on bare wood is what grain lines of no account and the photo's noise leave, and a ratio to
# it says nothing. Chosen.
LEAST_FIGURE: Final = 0.2
LINEAR_UP_TO: Final = 8.0  # L*; above it lightness goes with the cube root of luminance (ISO/CIE 11664-4)


def figure_kept(zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> float | None:
    """The figure of a zone as a multiple of what it was on the bare wood: 1 when all was kept.

    Both as seen, in L*: a stain that darkens the ground evenly flattens the figure, too.

    Parameters
    ----------
    zone : MeasuredZone
        At any stage after bare.
    zones : sequence of MeasuredZone
        All of the job. The same zone bare is looked for in the same light first, then in any.

    Returns
    -------
    float or None
        None where the zone was not photographed bare, is bare itself, or had no figure to keep.
    """
    bare = [one for one in zones if one.id == zone.id and one.stage == "bare" and one.figure is not None]
    before = min(bare, key=lambda one: one.light != zone.light, default=None)
    if zone.stage == "bare" or before is None or before.figure is None or zone.figure is None:
        return None
    return zone.figure / before.figure if before.figure >= LEAST_FIGURE else None


def blotch_levelled(zone: MeasuredZone, pairs: Sequence["Paired"]) -> float | None:
    """Blotch that a zone would show if its ground were as light as that of its board's control, L*.

    Blotch comes from stain taken up unevenly, and that is a share of the light that is returned. The same share is
    less in L* on a darker ground, where the curve of lightness is flatter in the logarithm of luminance Y (CIE 1976:
    dL*/d ln Y = 116/3 Y^(1/3), with Y as a fraction of white). Held at the control's Y, a zone is blotchier
    than the control only for being more uneven, not for being darker or lighter.

    Parameters
    ----------
    zone : MeasuredZone
    pairs : sequence of Paired
        All treated zones of the job with the controls of their boards.

    Returns
    -------
    float or None
        None where the zone has no control, is one, or its blotch is not known.
    """
    here = (zone.id, zone.stage, zone.light)
    pair = next((pair for pair in pairs if (pair.zones[0], pair.stage, pair.light) == here), None)
    if pair is None or zone.blotch is None:
        return None
    L_control = float(pair.Lab_control[0])
    return zone.blotch * steepness(L_control) / steepness(L_control + float(pair.delta_Lab[0]))


def steepness(L_star: float) -> float:
    """Derivative of L* by the natural logarithm of luminance: (L* + 16) / 3, and L* itself on the straight part."""
    return (L_star + 16) / 3 if L_star > LINEAR_UP_TO else max(L_star, 0.0)
