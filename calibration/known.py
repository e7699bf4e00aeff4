"""What is known of the reference that lies in a photo: a gray card, a gray step card or a 24-patch colour chart?"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import card_XYZ
from calibration.chart import NEUTRALS, Edition, chart_XYZ
from calibration.colorspace import D50

Kind = Literal["gray-card", "step-card", "chart-24"]
NAMES: dict[Kind, str] = {"gray-card": "gray card", "step-card": "step card", "chart-24": "colour chart"}


@dataclass(frozen=True, slots=True, eq=False)
class KnownReference:
    """The known colours of a reference, in its own order: light to dark, or row by row from dark skin."""

    kind: Kind
    XYZ: NDArray[np.float64]  # (n, 3), under D50, Y = 1 for a perfect white; n is 1 for a gray card

    @property
    def name(self) -> str:
        """What it is, in words."""
        return NAMES[self.kind]

    @property
    def is_neutral(self) -> NDArray[np.bool_]:
        """Which of its colours (n,) are neutral."""
        flags = np.full(len(self.XYZ), self.kind != "chart-24")
        if self.kind == "chart-24":
            flags[NEUTRALS] = True
        return flags


def gray_card(reflectance: float | None = 0.18, Lab: ArrayLike | None = None) -> KnownReference:
    """A gray card.

    Parameters
    ----------
    reflectance : float or None
        Luminous reflectance, 0..1, of a card taken as exactly neutral.
    Lab : array_like, (3,), or None
        CIELAB (D50, 2 degree) from the card's maker, instead.
    """
    return KnownReference("gray-card", card_XYZ(reflectance, Lab)[np.newaxis])


def step_card(reflectances: Sequence[float]) -> KnownReference:
    """A row of neutral steps of these luminous reflectances, light to dark."""
    return KnownReference("step-card", np.asarray(reflectances, dtype=np.float64)[:, np.newaxis] * D50)


def colour_chart(edition: Edition = "from-2015", values: Path | None = None) -> KnownReference:
    """A 24-patch colour chart, by a published table or by its own values (`chart.chart_XYZ`)."""
    return KnownReference("chart-24", chart_XYZ(edition, values))
