"""How much of it is right?  Treatments that differ only in their dose, read as one curve.

A dose is what `solids`, `dilution` or `stain_coats` say; dose_curve.py reads it and draws the curve.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analyzer.dose_curve import KEYS, DoseCurve, DoseKey, DosePoint, Floats, dose_of, name_without_dose
from analyzer.dose_words import dose_in_words, said
from analyzer.guard_band import Z_975, decide
from analyzer.job import Job
from analyzer.results import Colour, DosePointResult, DoseResult, Evenness
from analyzer.trials import JudgedZone
from analyzer.verdicts import judged_trials
from analyzer.words import UNTREATED


def doses(job: Job, zones: Iterable[JudgedZone]) -> tuple[DoseResult, ...]:
    """Read each dose that was varied by itself as one curve, and find the dose that meets both limits.

    Parameters
    ----------
    job : Job
        Recipes of its zones, tolerance, wish for evenness.
    zones : iterable of JudgedZone
        As for `verdicts.judge`.

    Returns
    -------
    doses : tuple of DoseResult
        One a species, stage, light, stain, treatment and key of which two doses or more were measured against the
        target.
    """
    judged = [zone for trial in judged_trials(job, zones) for zone in trial]
    found = []
    for key in KEYS:
        for series, by_dose in _series(job, judged, key):
            curve = DoseCurve.through(key, by_dose)
            if curve is not None:
                found.append(_read(job, key, series, curve))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Series:
    """What the zones of one curve have in common."""

    treatment: str
    stain: str | None
    species: str
    stage: str
    light: str | None
    rest: str  # the recipe without the dose


def _series(job: Job, zones: Sequence[JudgedZone], key: DoseKey) -> list[tuple[_Series, dict[float, list[JudgedZone]]]]:
    """Zones that differ only in this key, by their dose; only where there are two doses or more."""
    grouped: dict[_Series, dict[float, list[JudgedZone]]] = {}
    names: dict[_Series, set[str]] = {}
    for zone in zones:
        _, of_job = job.zone(zone.id)
        dose = dose_of(key, of_job.recipe.get(key))
        if dose is None:
            continue
        rest = repr(sorted((k, _plain(v)) for k, v in of_job.recipe.items() if k not in (key, "notes")))
        series = _Series(_family_name(zone.treatment), zone.stain, zone.species, zone.stage, zone.light, rest)
        grouped.setdefault(series, {}).setdefault(dose, []).append(zone)
        names.setdefault(series, set()).add(zone.treatment)
    found = []
    for series, by_dose in grouped.items():
        if len(by_dose) > 1:
            called = names[series]
            named = replace(series, treatment=next(iter(called))) if len(called) == 1 else series
            found.append((named, dict(sorted(by_dose.items()))))
    return found


def _plain(value: Any) -> str:  # noqa: ANN401 - a recipe's value is a number or text
    return str(value).strip().lower()


def _family_name(treatment: str) -> str:
    return treatment if treatment == UNTREATED else name_without_dose(treatment)


def _read(job: Job, key: DoseKey, series: _Series, curve: DoseCurve) -> DoseResult:
    """Find the best dose: the one that takes up least of its limits, if there both surely hold."""
    points = [_Judged.of(job, point) for point in curve.fine()]
    good = [point.is_good for point in points]
    nearest = min(range(len(points)), key=lambda place: points[place].standing)
    inside = [place for place, holds in enumerate(good) if holds]
    best = min(inside, key=lambda place: points[place].standing) if inside else None
    low, high = (None, None) if best is None else _run(good, best)
    result = DoseResult(
        treatment=series.treatment,
        stain=series.stain,
        species=series.species,
        stage=series.stage,
        light=series.light,
        key=key,
        points=tuple(_point_result(key, _Judged.of(job, point)) for point in curve.tried),
        best=None if best is None else points[best].point.dose,
        best_range=None if low is None or high is None else (points[low].point.dose, points[high].point.dose),
        nearest=_point_result(key, points[nearest if best is None else best]),
        says="",
    )
    return replace(result, says=said(result, job.target.tolerance))


def _run(good: Sequence[bool], place: int) -> tuple[int, int]:
    """First and last of the unbroken row of good places around one of them."""
    low = high = place
    while low > 0 and good[low - 1]:
        low -= 1
    while high < len(good) - 1 and good[high + 1]:
        high += 1
    return low, high


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """One dose against both limits."""

    point: DosePoint
    de00: float
    de00_u95: float | None
    colour: Colour
    evenness: Evenness
    shares: tuple[float, ...]  # of the limits taken up; 1 lies on its limit

    @classmethod
    def of(cls, job: Job, point: DosePoint) -> "_Judged":
        de00, u95 = point.de00, point.de00_u95
        colour = decide(de00, u95, job.target.tolerance)
        shares = [_share(de00, job.target.tolerance)]
        evenness: Evenness = "not judged"
        if job.evenness.wish != "lively":
            known = point.blotch_u95 is not None and point.limit_u95 is not None
            width = math.hypot(point.blotch_u95 or 0.0, point.limit_u95 or 0.0) if known else None
            held = decide(point.blotch, width, point.limit)
            evenness = "even" if held == "within" else "blotchy" if held == "outside" else "cannot tell"
            if point.blotch is not None and point.limit is not None:
                shares.append(_share(point.blotch, point.limit))
        matched: Colour = "match" if colour == "within" else "no match" if colour == "outside" else "cannot tell"
        return cls(point, de00, u95, matched, evenness, tuple(shares))

    @property
    def standing(self) -> tuple[float, float]:
        """Sort key, best first: the larger share, and where that is the same, their sum."""
        return round(max(self.shares), 9), sum(self.shares)

    @property
    def is_good(self) -> bool:
        return self.colour == "match" and self.evenness in ("even", "not judged")


def _share(value: float, limit: float) -> float:
    return value / limit if limit > 0 else math.inf


def _point_result(key: DoseKey, judged: _Judged) -> DosePointResult:
    point = judged.point
    return DosePointResult(
        dose=point.dose,
        words=dose_in_words(key, point.dose),
        boards=point.boards,
        de00=judged.de00,
        de00_u95=judged.de00_u95,
        dl=float(point.delta_Lab[0]),
        da=float(point.delta_Lab[1]),
        db=float(point.delta_Lab[2]),
        dlab_u95=_widths(point.covariance),
        colour=judged.colour,
        blotch=point.blotch,
        blotch_u95=point.blotch_u95,
        evenness=judged.evenness,
    )


def _widths(covariance: Floats | None) -> tuple[float, float, float] | None:
    if covariance is None or not np.diag(covariance).min() > 0:
        return None
    L, a, b = (float(Z_975 * math.sqrt(variance)) for variance in np.diag(covariance))
    return L, a, b
