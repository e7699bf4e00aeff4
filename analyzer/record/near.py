"""Which colour is meant: a value, a recorded zone, or a photo?"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

from analyzer.errors import RecordError
from analyzer.jobfile_table import nearest
from analyzer.record.job_entry import RESULTS
from analyzer.record.photo_colour import Region, photo_colour
from analyzer.record.query import Lab
from analyzer.record.recipe_comparison import split_zone
from analyzer.report.jsonfile import read_results
from analyzer.results import STAGES, FindingResult, Results, ZoneResult

_NUMBERS: Final = re.compile(r"\s*[-+]?[\d.]+\s*[,;\s]\s*[-+]?[\d.]+\s*[,;\s]\s*[-+]?[\d.]+\s*")


@dataclass(frozen=True, slots=True)
class NearColour:
    """A colour that zones are held against."""

    kind: Literal["value", "zone", "photo"]
    named: str  # as it was asked for
    lab: Lab  # CIELAB, D50, 2 degree observer
    lab_u95: Lab | None  # None: an exact value, or not known
    folder: Path | None = None  # of a zone
    zone: str | None = None
    stage: str | None = None
    light: str | None = None
    findings: tuple[FindingResult, ...] = ()  # of a photo
    # Of a zone: the differences of its own job to other zones, by zone, stage and light, with their ±. Photos that show
    # both tell them far better than two values apart.
    beside: Mapping[tuple[str, str, str | None], tuple[float, float]] = field(default_factory=dict)


def near_colour(
    named: str, *, stage: str | None = None, light: str | None = None, region: Region | None = None
) -> NearColour:
    """Read what a search is for.

    Parameters
    ----------
    named : str
        CIELAB as "38,14.5,22"; a zone as "FOLDER:BOARD/ZONE"; or a photo of a board and a gray card.
    stage, light : str, optional
        Which measurement of the zone; left out, its latest stage, and the light of its first photo there.
    region : four of float, optional
        Of the photo.

    Raises
    ------
    RecordError
        If there is no such zone or file, or the value is no colour.
    CalibrationError
        If the photo cannot serve.
    """
    if _NUMBERS.fullmatch(named) and not Path(named).exists():
        return NearColour("value", named, _lab(named), None)
    folder, zone = split_zone(named)
    if zone is not None:
        return _of_zone(named, folder, zone, stage, light)
    if not Path(named).is_file():
        raise RecordError(
            f"{named} is no colour, zone or photo that is there.",
            remedy='Name a value as "38,14.5,22", a zone as FOLDER:BOARD/ZONE, or a photo.',
        )
    found = photo_colour(Path(named), region)
    return NearColour("photo", named, found.lab, found.lab_u95, findings=found.findings)


def _lab(named: str) -> Lab:
    try:
        L, a, b = (float(part) for part in re.split(r"[,;\s]+", named.strip()))
    except ValueError as wrong:
        raise RecordError(f"{named} is no CIELAB value.", remedy='Write three numbers: "38,14.5,22".') from wrong
    if not (0 <= L <= 100 and max(abs(a), abs(b)) <= 128 and all(map(math.isfinite, (L, a, b)))):
        raise RecordError(
            f"{named} is no colour: L* lies in 0 to 100, a* and b* in -128 to 128.", remedy='Such as "38,14.5,22".'
        )
    return L, a, b


def _of_zone(named: str, folder: Path, zone: str, stage: str | None, light: str | None) -> NearColour:
    try:
        results = read_results((folder / RESULTS).read_bytes())
    except OSError as missing:
        reason = missing.strerror or str(missing)
        raise RecordError(
            f"{folder / RESULTS} cannot be read: {reason}.", remedy=f"Measure the job first: evenboard measure {folder}"
        ) from missing
    except ValueError as wrong:
        raise RecordError(f"{folder / RESULTS}: {wrong}", remedy="Measure the job again.") from wrong
    found = _chosen(results.zones, folder, zone, stage, light)
    return NearColour(
        "zone", named, found.lab, found.lab_u95, folder, zone, found.stage, found.light, beside=_beside(results, found)
    )


def _beside(results: Results, zone: ZoneResult) -> dict[tuple[str, str, str | None], tuple[float, float]]:
    """What the zone's own job says of its difference to others, where it says how sure that is."""
    at = (zone.stage, zone.light)
    found = {}
    for matrix in results.matrices:
        if (matrix.stage, matrix.light) == at and matrix.de00_u95 and zone.id in matrix.zones:
            row = matrix.zones.index(zone.id)
            for other, de00, u95 in zip(matrix.zones, matrix.de00[row], matrix.de00_u95[row], strict=True):
                if de00 is not None and u95 is not None:
                    found[other, *at] = de00, u95
    for pair in results.differences:
        if (pair.stage, pair.light) == at and zone.id in (pair.a, pair.b) and pair.de00_u95 is not None:
            other = pair.b if pair.a == zone.id else pair.a
            found[other, *at] = pair.de00, pair.de00_u95
    return found


def _chosen(zones: Sequence[ZoneResult], folder: Path, zone: str, stage: str | None, light: str | None) -> ZoneResult:
    """The measurement that is meant; the latest stage where none is named."""
    measured = [one for one in zones if one.id == zone]
    if not measured:
        paths = list(dict.fromkeys(one.id for one in zones))
        near = nearest(zone, paths)
        hint = f"Did you mean {near}?" if near else f"It has {', '.join(paths) or 'none'}."
        raise RecordError(f"{folder} has no measured zone {zone}.", remedy=hint)
    fitting = [
        one
        for one in measured
        if stage in (None, one.stage) and (light is None or (one.light or "").casefold() == light.casefold())
    ]
    if not fitting:
        had = ", ".join(f"{one.stage} in light {one.light or 'not named'}" for one in measured)
        raise RecordError(f"{zone} was not measured so.", remedy=f"It was measured {had}.")
    return max(fitting, key=lambda one: STAGES.index(one.stage) if one.stage in STAGES else -1)
