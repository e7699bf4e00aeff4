"""How much of it is right?  Treatments that differ only in their dose, read as one curve.

A dose is what `solids`, `dilution` or `stain_coats` say. Between the doses that were tried the curve is a straight
line, for a dilution against the share of the product in the mixture: few points allow no bolder shape, and nothing is
said beyond them. Each point is the mean over the boards, as a verdict's is; between two points the covariance goes over
from the one to the other, which is no less than that of the mean of both, whatever they have in common.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.dose_words import dose_in_words, said
from analyzer.guard_band import Z_975, decide
from analyzer.job import Job
from analyzer.results import DosePointResult, DoseResult
from analyzer.trials import (
    JudgedZone,
    PooledBlotch,
    PooledColour,
    blotch_spread,
    colour_spread,
    pool_blotch,
    pool_colour,
)
from analyzer.verdicts import judged_trials
from analyzer.words import UNTREATED
from calibration.difference import delta_E_00

DoseKey = Literal["solids", "dilution", "stain_coats"]
Floats = NDArray[np.float64]

KEYS: Final[tuple[DoseKey, ...]] = ("solids", "dilution", "stain_coats")
STEPS: Final = 20  # places looked at between two doses that were tried (chosen)

_NUMBER: Final = r"\d+(?:[.,]\d+)?"
_RATIO: Final = re.compile(rf"^\s*({_NUMBER})\s*(?::|to|\+)\s*({_NUMBER})\b", re.IGNORECASE)
_PLAIN: Final = re.compile(rf"^\D{{0,12}}?({_NUMBER})")
# A dose within a treatment's name, "shellac washcoat, 5 %", hides that two treatments differ in nothing else.
_DOSE_IN_NAME: Final = re.compile(
    rf"[\s,(]*(?<![A-Za-z])(?:{_NUMBER}\s*(?::|to|\+)\s*{_NUMBER}|{_NUMBER}\s*(?:%|percent|coats?|solids)?)[\s)]*",
    re.IGNORECASE,
)


def dose_of(key: DoseKey, written: object) -> float | None:
    """Read a dose as it stands in a job file.

    Parameters
    ----------
    key : str
        "solids", "dilution" or "stain_coats".
    written : object
        A number, or text such as "5 %", "about 7", "1:10" or "1 to 3".

    Returns
    -------
    dose : float or None
        Percent of solids; parts of thinner to one part; coats. None when the text names none.
    """
    if isinstance(written, bool) or written is None:
        return None
    if isinstance(written, int | float):
        return float(written)
    text = str(written)
    ratio = _RATIO.match(text)
    if ratio:
        first, second = (float(part.replace(",", ".")) for part in ratio.groups())
        return second / first if key == "dilution" and first > 0 else None
    plain = _PLAIN.match(text)
    return float(plain[1].replace(",", ".")) if plain else None


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
            curve = _Curve.through(key, by_dose)
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
        series = _Series(_without_dose(zone.treatment), zone.stain, zone.species, zone.stage, zone.light, rest)
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


def _without_dose(treatment: str) -> str:
    """A treatment's name without any dose in it; the control keeps its own."""
    if treatment == UNTREATED:
        return treatment
    return _DOSE_IN_NAME.sub(" ", treatment).strip(" ,;-") or treatment


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """What one dose does, measured or between two that were."""

    dose: float
    Lab_target: Floats
    delta_Lab: Floats
    covariance: Floats | None
    blotch: float | None
    blotch_u95: float | None
    limit: float | None
    limit_u95: float | None
    boards: int  # 0: between two doses

    @classmethod
    def of(cls, dose: float, colour: PooledColour, blotch: PooledBlotch | None, boards: int) -> "_Point":
        if blotch is None:
            return cls(dose, colour.Lab_target, colour.delta_Lab, colour.covariance, None, None, None, None, boards)
        return cls(
            dose, colour.Lab_target, colour.delta_Lab, colour.covariance,
            blotch.blotch, blotch.u95, blotch.limit, blotch.limit_u95, boards,
        )  # fmt: skip

    @property
    def de00(self) -> float:
        return float(delta_E_00(self.Lab_target, self.Lab_target + self.delta_Lab))

    @property
    def de00_u95(self) -> float | None:
        if self.covariance is None:
            return None
        return delta_E_00_u95(self.Lab_target, self.delta_Lab, self.covariance) or None

    def toward(self, other: "_Point", dose: float, share: float) -> "_Point":
        """A point on the straight line to another one."""

        def between(a: float | None, b: float | None) -> float | None:
            return None if a is None or b is None else (1 - share) * a + share * b

        def widths(a: float | None, b: float | None) -> float | None:
            return None if a is None or b is None else math.sqrt((1 - share) * a**2 + share * b**2)

        covariance = (
            None
            if self.covariance is None or other.covariance is None
            else (1 - share) * self.covariance + share * other.covariance
        )
        return _Point(
            dose,
            (1 - share) * self.Lab_target + share * other.Lab_target,
            (1 - share) * self.delta_Lab + share * other.delta_Lab,
            covariance,
            between(self.blotch, other.blotch),
            widths(self.blotch_u95, other.blotch_u95),
            between(self.limit, other.limit),
            widths(self.limit_u95, other.limit_u95),
            0,
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """The doses that were tried, in order, and the straight lines between them."""

    key: DoseKey
    tried: tuple[_Point, ...]

    @classmethod
    def through(cls, key: DoseKey, by_dose: dict[float, list[JudgedZone]]) -> "_Curve | None":
        """Pool each dose over its boards; None when fewer than two can be held against the target."""
        colours, blotches = colour_spread(list(by_dose.values())), blotch_spread(list(by_dose.values()))
        points = []
        for dose, zones in by_dose.items():
            colour = pool_colour(zones, colours)
            if colour is not None:
                points.append(_Point.of(dose, colour, pool_blotch(zones, blotches), colour.boards))
        return cls(key, tuple(points)) if len(points) > 1 else None

    def fine(self) -> list[_Point]:
        """The doses tried and those between them; of coats only whole numbers."""
        places = list(self.tried)
        for first, second in zip(self.tried, self.tried[1:], strict=False):
            places += [first.toward(second, *place) for place in self._between(first.dose, second.dose)]
        return sorted(places, key=lambda point: point.dose)

    def _between(self, low: float, high: float) -> list[tuple[float, float]]:
        """Doses between two, each with its share of the way in what the colour follows."""
        if self.key == "stain_coats":
            inner = [float(coats) for coats in range(math.floor(low) + 1, math.ceil(high))]
        else:
            strengths = np.linspace(_strength(self.key, low), _strength(self.key, high), STEPS + 1)[1:-1]
            inner = [_dose(self.key, float(strength)) for strength in strengths]
        start, end = _strength(self.key, low), _strength(self.key, high)
        return [(dose, (_strength(self.key, dose) - start) / (end - start)) for dose in inner]


def _strength(key: DoseKey, dose: float) -> float:
    """What colour follows: the share of the product in a mixture with so many parts of thinner; else the dose."""
    return 1 / (1 + dose) if key == "dilution" else dose


def _dose(key: DoseKey, strength: float) -> float:
    return 1 / strength - 1 if key == "dilution" else strength


def _read(job: Job, key: DoseKey, series: _Series, curve: _Curve) -> DoseResult:
    """Find the best dose: the one that takes up least of its limits, if there both surely hold."""
    points = [_Judged.of(job, point) for point in curve.fine()]
    good = [point.is_good for point in points]
    nearest = min(range(len(points)), key=lambda place: points[place].share)
    inside = [place for place, holds in enumerate(good) if holds]
    best = min(inside, key=lambda place: points[place].share) if inside else None
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

    point: _Point
    de00: float
    de00_u95: float | None
    colour: Literal["match", "no match", "cannot tell"]
    evenness: Literal["even", "blotchy", "not judged", "cannot tell"]
    share: float  # of the limits taken up, the larger one; 1 lies on its limit

    @classmethod
    def of(cls, job: Job, point: _Point) -> "_Judged":
        de00, u95 = point.de00, point.de00_u95
        colour = decide(de00, u95, job.target.tolerance)
        shares = [_share(de00, job.target.tolerance)]
        evenness: Literal["even", "blotchy", "not judged", "cannot tell"] = "not judged"
        if job.evenness.wish != "lively":
            known = point.blotch_u95 is not None and point.limit_u95 is not None
            width = math.hypot(point.blotch_u95 or 0.0, point.limit_u95 or 0.0) if known else None
            held = decide(point.blotch, width, point.limit)
            evenness = "even" if held == "within" else "blotchy" if held == "outside" else "cannot tell"
            if point.blotch is not None and point.limit is not None:
                shares.append(_share(point.blotch, point.limit))
        matched: Literal["match", "no match", "cannot tell"] = (
            "match" if colour == "within" else "no match" if colour == "outside" else "cannot tell"
        )
        return cls(point, de00, u95, matched, evenness, max(shares))

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
