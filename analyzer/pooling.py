"""What do all photos of one zone, at one stage and in one light, say together?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.appearance import Appearance, mean_appearance
from analyzer.guard_band import Z_975
from analyzer.job import Board, Zone
from analyzer.results import Stage
from analyzer.uncertainty import Sight, absolute_budget, covariance_of, u_contrast
from calibration.colorspace import XYZ_to_Lab


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredZone:
    """One zone at one stage in one light, pooled over its photos."""

    board: Board
    zone: Zone
    stage: Stage
    light: str | None
    sights: tuple[Sight, ...]  # at least one

    @property
    def id(self) -> str:
        """Board id / zone id."""
        return f"{self.board.id}/{self.zone.id}"

    @property
    def Lab(self) -> NDArray[np.float64]:
        """CIELAB (3,) of the mean tristimulus values over all photos."""
        return XYZ_to_Lab(np.mean([sight.reading.XYZ for sight in self.sights], axis=0))

    @property
    def Lab_u95(self) -> NDArray[np.float64]:
        """95 % half-widths (3,) of `Lab` as an absolute colour."""
        return np.asarray(Z_975 * np.sqrt(np.diag(covariance_of(absolute_budget(self.sights)))))

    @property
    def blotch(self) -> float | None:
        """Blotch index, L*; mean over photos."""
        return mean_of_known([sight.reading.evenness.blotch for sight in self.sights])

    @property
    def blotch_u95(self) -> float | None:
        """95 % half-width of the blotch index.

        Photos of one zone see the same wood, so repeats do not narrow what so little wood can say; their own
        disagreement is added, and what the correction leaves open of small differences in lightness.
        """
        sampling = mean_of_known([sight.reading.evenness.blotch_u95 for sight in self.sights])
        if sampling is None:
            return None
        values = [value for sight in self.sights if (value := sight.reading.evenness.blotch) is not None]
        spread = float(np.std(values, ddof=1)) / np.sqrt(len(values)) if len(values) > 1 else 0.0
        seen = Z_975 * u_contrast(self.sights) * (self.blotch or 0.0)
        return float(np.sqrt(sampling**2 + (Z_975 * spread) ** 2 + seen**2))

    @property
    def figure(self) -> float | None:
        """The wood's figure, L*; mean over photos."""
        return mean_of_known([sight.reading.evenness.figure for sight in self.sights])

    @property
    def patch_mm(self) -> float | None:
        """Size of the patches, mm; mean over photos."""
        return mean_of_known([sight.reading.evenness.patch_mm for sight in self.sights])

    @property
    def appearance(self) -> Appearance | None:
        """How its unevenness looks; mean over photos."""
        return mean_appearance([sight.reading.appearance for sight in self.sights])

    @property
    def area_mm2(self) -> float:
        """Area inside the margin, mm2."""
        return self.sights[0].reading.area_mm2

    @property
    def masked(self) -> float:
        """Share of the area left out; mean over photos."""
        return float(np.mean([sight.reading.masked for sight in self.sights]))

    @property
    def photos(self) -> tuple[str, ...]:
        """The photos it was measured in, as named in job.toml."""
        return tuple(sight.photo for sight in self.sights)


def mean_of_known(values: Sequence[float | None]) -> float | None:
    """Mean of the values that are known, None when none is."""
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None
