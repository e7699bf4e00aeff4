"""Which colours stand side by side on the page: a zone's, and the target's?"""

from collections.abc import Sequence

import numpy as np

from analyzer.job import Job
from analyzer.results import Results, VerdictResult, ZoneResult
from calibration.colorspace import Lab_to_sRGB_codes

Lab = tuple[float, float, float]


def zone_result(results: Results, path: str, stage: str | None = None, light: str | None = None) -> ZoneResult | None:
    """One zone's result, None when it was not measured.

    Parameters
    ----------
    results : Results
        Where to look.
    path : str
        "board/zone".
    stage, light : str or None
        What it should be seen at. The nearest is taken: same stage and light, then same stage, then any, since an
        agreed sample may exist at one stage only.
    """
    seen = [zone for zone in results.zones if zone.id == path]
    return max(seen, key=lambda zone: (zone.stage == stage, zone.light == light), default=None)


def target_Labs(job: Job, results: Results, stage: str | None, light: str | None) -> list[Lab]:
    """Agreed colours in CIELAB: one, the limits of range boards from light to dark, or none when not measured."""
    if job.target.lab:
        return [job.target.lab]
    paths = [job.target.zone] if job.target.zone else list(job.target.between)
    zones = [zone_result(results, path, job.target.stage or stage, light) for path in paths]
    return [zone.lab for zone in zones if zone]


def verdict_colours(verdict: VerdictResult, results: Results) -> tuple[str, ...]:
    """Colours of the zones that a verdict rests on, for a screen, in the order of the zones."""
    zones = [zone_result(results, path, verdict.stage, verdict.light) for path in verdict.zones]
    return hex_colours([zone.lab for zone in zones if zone])


def hex_colours(Labs: Sequence[Lab]) -> tuple[str, ...]:
    """Colours for a screen, "#rrggbb". A guide for the eye: a screen is no standard."""
    if not Labs:
        return ()
    codes = Lab_to_sRGB_codes(np.array(Labs))
    return tuple("#" + bytes(code).hex() for code in codes)
