"""How closely do repeated photos of the same zones agree?

Standard deviations of a single photo, pooled over all zones that were photographed twice or more at one stage in one
light (repeatability, ISO 5725-2:1994: the root of the mean variance, weighted by degrees of freedom). The mean over
repeats is what is judged, and its share of this spread is in every half-width already, as the source "repeats".
"""

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analyzer.pooling import MeasuredZone
from analyzer.results import RepeatabilityResult
from analyzer.uncertainty import Sight
from analyzer.words import half_width
from calibration.difference import delta_E_00

Floats = NDArray[np.float64]


def repeatability(zones: Sequence[MeasuredZone]) -> RepeatabilityResult | None:
    """Pool the spread between repeated photos over a whole job.

    Parameters
    ----------
    zones : sequence of MeasuredZone

    Returns
    -------
    repeatability : RepeatabilityResult or None
        None when no zone was photographed twice. Whether the board was moved between the photos nobody can see in
        them: only then do they tell how well the same board is measured again.
    """
    repeated = [zone for zone in zones if len(zone.sights) > 1]
    if not repeated:
        return None
    own = [[sight.reading.Lab for sight in zone.sights] for zone in repeated]
    pairs = [between for a, b in combinations(repeated, 2) if (between := _differences(a, b)) is not None]
    blotches = [_blotches(zone.sights) for zone in repeated]
    photos = {(sight.photo, zone.board.id, zone.stage, zone.light) for zone in repeated for sight in zone.sights}
    series = {(zone.board.id, zone.stage, zone.light) for zone in repeated}
    lab_sd, de00_sd = _lab_sd(own), _de00_sd(own)
    pair_lab_sd = _lab_sd([deltas for deltas, _ in pairs]) if pairs else None
    pair_de00_sd = _de00_sd([deltas + base for deltas, base in pairs]) if pairs else None
    return RepeatabilityResult(
        zones=len(repeated),
        photos=len({photo for photo, *_ in photos}),
        degrees_of_freedom=len(photos) - len(series),
        lab_sd=lab_sd,
        de00_sd=de00_sd,
        pair_lab_sd=pair_lab_sd,
        pair_de00_sd=pair_de00_sd,
        blotch_sd=_pooled_sd(blotches),
        says=_says(de00_sd, pair_de00_sd, len({zone.id for zone in repeated})),
    )


def _differences(a: MeasuredZone, b: MeasuredZone) -> tuple[Floats, Floats] | None:
    """Difference b minus a (n, 3) in each photo that shows both, two or more, and the mean colour of a."""
    if (a.stage, a.light) != (b.stage, b.light):
        return None
    by_photo = {sight.photo: sight for sight in b.sights}
    shared = [(sight, by_photo[sight.photo]) for sight in a.sights if sight.photo in by_photo]
    if len(shared) < 2:
        return None
    first = np.stack([sight.reading.Lab for sight, _ in shared])
    return np.stack([sight.reading.Lab for _, sight in shared]) - first, first.mean(axis=0)


def _blotches(sights: Sequence[Sight]) -> list[float]:
    return [blotch for sight in sights if (blotch := sight.reading.evenness.blotch) is not None]


def _lab_sd(groups: Iterable[Sequence[Floats] | Floats]) -> tuple[float, float, float]:
    """Pooled standard deviation of L*, a* and b*."""
    squares, degrees = np.zeros(3), 0
    for group in groups:
        values = np.stack(list(group))
        squares += ((values - values.mean(axis=0)) ** 2).sum(axis=0)
        degrees += len(values) - 1
    L, a, b = (float(value) for value in np.sqrt(squares / degrees))
    return L, a, b


def _de00_sd(groups: Iterable[Sequence[Floats] | Floats]) -> float:
    """Pooled CIEDE2000 distance of single photos from their mean, as a standard deviation: divided by n - 1, not n."""
    squares, degrees = 0.0, 0
    for group in groups:
        values = np.stack(list(group))
        squares += float((delta_E_00(values.mean(axis=0), values) ** 2).sum())
        degrees += len(values) - 1
    return float(np.sqrt(squares / degrees))


def _pooled_sd(groups: Iterable[Sequence[float]]) -> float | None:
    """Pooled standard deviation of one number; None where no group has two values."""
    told = [np.asarray(group) for group in groups if len(group) > 1]
    if not told:
        return None
    squares = sum(float(((values - values.mean()) ** 2).sum()) for values in told)
    return float(np.sqrt(squares / sum(len(values) - 1 for values in told)))


def _says(de00_sd: float, pair_de00_sd: float | None, zones: int) -> str:
    seen = f"{zones} zone{'' if zones == 1 else 's'} photographed again"
    between = (
        "" if pair_de00_sd is None else f", the difference of two zones in one photo by {half_width(pair_de00_sd)}"
    )
    return (
        f"{seen}: a zone's colour strays by {half_width(de00_sd)} ΔE00 from photo to photo{between} (standard "
        "deviations); this holds for a board put down anew only where it was moved between the photos"
    )
