"""Does a match hold in another light?

One RGB photo cannot see metamerism: three numbers a pixel leave open what the surface does in another light. Photos
of the same boards and of the target in a second light can: what the pair shows there, less what it shows in the first
light already, is the special metamerism index (ISO 18314-4:2020). The camera is no eye, so that this is a warning in
words and a number with its uncertainty, not an instrument's index.
"""

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.job import Job
from analyzer.results import SecondLightResult
from analyzer.trials import JudgedZone, PooledColour, pool_colour
from analyzer.verdicts import judged_trials
from analyzer.words import half_width
from calibration.difference import delta_E_00
from calibration.metamerism import corrected_sample_Lab

Light = str | None

VISIBLE: Final = 1.0  # CIEDE2000: about just visible side by side (common practice, no source)


def second_light(job: Job, zones: Iterable[JudgedZone]) -> tuple[SecondLightResult, ...]:
    """Compare each treatment's difference to the target between the lights it was photographed in.

    Parameters
    ----------
    job : Job
    zones : iterable of JudgedZone
        As for `verdicts.judge`.

    Returns
    -------
    tuple of SecondLightResult
        One a treatment, stain, species and stage seen in two lights or more; the lights in the job's order.
    """
    order = list(dict.fromkeys([*job.target.lights, *(entry.light for entry in job.photos)]))
    grouped: dict[tuple[str, str, str | None, str, str | None], dict[Light, list[JudgedZone]]] = {}
    for trial in judged_trials(job, zones):
        one = trial[0]
        by_light = grouped.setdefault((one.stage, one.species, one.stain, one.treatment, one.dose), {})
        by_light[one.light] = trial
    found = []
    for by_light in grouped.values():
        lights = sorted(by_light, key=lambda light: (order.index(light) if light in order else len(order), light or ""))
        pooled = {light: colour for light in lights if (colour := pool_colour(by_light[light], None)) is not None}
        if len(pooled) > 1:
            found.append(_compared(job, by_light[lights[0]][0], pooled))
    return tuple(found)


def _compared(job: Job, one: JudgedZone, pooled: dict[Light, PooledColour]) -> SecondLightResult:
    lights = tuple(pooled)
    de00 = tuple(_de00(colour) for colour in pooled.values())
    u95 = tuple(_u95(colour) for colour in pooled.values())
    worst = lights[int(np.argmax(de00))]
    index, index_u95 = (None, None) if job.target.lab is not None else _metamerism(tuple(pooled.values()))
    return SecondLightResult(
        treatment=one.treatment,
        stain=one.stain,
        species=one.species,
        stage=one.stage,
        lights=lights,
        de00=de00,
        de00_u95=u95,
        worst=worst,
        metamerism=index,
        metamerism_u95=index_u95,
        says=_says(index, index_u95, worst),
        dose=one.dose,
    )


def _de00(colour: PooledColour) -> float:
    return float(delta_E_00(colour.Lab_target, colour.Lab_target + colour.delta_Lab))


def _u95(colour: PooledColour) -> float | None:
    covariance = colour.covariance
    return None if covariance is None else delta_E_00_u95(colour.Lab_target, colour.delta_Lab, covariance)


def _metamerism(colours: Sequence[PooledColour]) -> tuple[float, float | None]:
    """The largest index over all pairs of lights, with its 95 % half-width."""
    indices = [_index(reference, test) for reference, test in combinations(colours, 2)]
    return max(indices, key=lambda index: index[0])


def _index(reference: PooledColour, test: PooledColour) -> tuple[float, float | None]:
    corrected = corrected_sample_Lab(
        reference.Lab_target, reference.Lab_target + reference.delta_Lab, test.Lab_target + test.delta_Lab
    )
    index = float(delta_E_00(test.Lab_target, corrected))
    covariance = _sum(reference.covariance, test.covariance)
    u95 = None if covariance is None else delta_E_00_u95(test.Lab_target, corrected - test.Lab_target, covariance)
    return index, u95


def _sum(first: NDArray[np.float64] | None, second: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    return None if first is None or second is None else first + second


def _says(index: float | None, u95: float | None, worst: Light) -> str:
    where = f"in {worst} light" if worst else "in the light without a name"
    if index is None:
        return (
            f"Farthest from the target {where}. The target is a value, which says nothing of other lights: photograph "
            "the agreed sample beside the boards in each light."
        )
    number = f"{index:.1f}" if u95 is None else f"{index:.1f} ± {half_width(u95)}"
    if u95 is not None and index - u95 > VISIBLE:
        return (
            f"The match changes with the light, by {number}; it is worst {where}. Stain and sample are of different "
            "colorants: agree on the light in which the piece will stand."
        )
    if u95 is not None and index + u95 <= VISIBLE:
        return f"The match holds: it changes by {number} between the lights."
    return f"Whether the match changes with the light cannot be told ({number}); it is worst {where}."
