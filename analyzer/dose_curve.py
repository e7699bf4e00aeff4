"""Which curve do the doses of a treatment lie on?

Between the doses that were tried it is a straight line, for a dilution against the share of the product in the mixture:
few points allow no bolder shape, and nothing is said beyond them. Each point is the mean over the boards, as a
verdict's is; between two points the covariance goes over from the one to the other, which is no less than that of the
mean of both, whatever they have in common.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from analyzer.colour_interval import delta_E_00_u95
from analyzer.trials import (
    JudgedZone,
    PooledBlotch,
    PooledColour,
    blotch_spread,
    colour_spread,
    pool_blotch,
    pool_colour,
)
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
    rf"[\s,(]*(?<![A-Za-z\d])(?:{_NUMBER}\s*(?::|to|\+)\s*{_NUMBER}|{_NUMBER}\s*(?:%|percent|coats?|solids)?)[\s)]*",
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


def name_without_dose(treatment: str) -> str:
    """A treatment's name without any dose in it: "shellac washcoat" of "shellac washcoat, 5 %"."""
    return _DOSE_IN_NAME.sub(" ", treatment).strip(" ,;-") or treatment


@dataclass(frozen=True, slots=True, eq=False)
class DosePoint:
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
    def of(cls, dose: float, colour: PooledColour, blotch: PooledBlotch | None, boards: int) -> "DosePoint":
        """A dose that was tried, pooled over its boards."""
        if blotch is None:
            return cls(dose, colour.Lab_target, colour.delta_Lab, colour.covariance, None, None, None, None, boards)
        return cls(
            dose, colour.Lab_target, colour.delta_Lab, colour.covariance,
            blotch.blotch, blotch.u95, blotch.limit, blotch.limit_u95, boards,
        )  # fmt: skip

    @property
    def de00(self) -> float:
        """CIEDE2000 to the target."""
        return float(delta_E_00(self.Lab_target, self.Lab_target + self.delta_Lab))

    @property
    def de00_u95(self) -> float | None:
        """Its 95 % half-width."""
        if self.covariance is None:
            return None
        return delta_E_00_u95(self.Lab_target, self.delta_Lab, self.covariance) or None

    def toward(self, other: "DosePoint", dose: float, share: float) -> "DosePoint":
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
        return DosePoint(
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
class DoseCurve:
    """The doses that were tried, in order, and the straight lines between them."""

    key: DoseKey
    tried: tuple[DosePoint, ...]

    @classmethod
    def through(cls, key: DoseKey, by_dose: Mapping[float, Sequence[JudgedZone]]) -> "DoseCurve | None":
        """Pool each dose over its boards; None when fewer than two can be held against the target."""
        colours, blotches = colour_spread(list(by_dose.values())), blotch_spread(list(by_dose.values()))
        points = []
        for dose, zones in by_dose.items():
            colour = pool_colour(zones, colours)
            if colour is not None:
                points.append(DosePoint.of(dose, colour, pool_blotch(zones, blotches), colour.boards))
        return cls(key, tuple(points)) if len(points) > 1 else None

    def fine(self) -> list[DosePoint]:
        """The doses tried and those between them; of coats only whole numbers."""
        places = list(self.tried)
        for first, second in pairwise(self.tried):
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
