"""What does a photo show of a reference with several known patches?  The common shape of a step card and a chart.

Readings are raw: no light map, no tone correction; what reads them decides what to do with both.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class PatchReadings:
    """Patches of a reference as one photo shows them, in the order of the reference's own values."""

    linear_RGB: NDArray[np.float64]  # (n, 3), mean over each patch's middle, 0..1 of full scale; NaN where unreadable
    u_relative: NDArray[np.float64]  # (n, 3), standard uncertainty of the mean, relative
    centres_px: NDArray[np.float64]  # (n, 2), in the photo
    corners_px: NDArray[np.float64]  # (4, 2), of the whole reference, clockwise from its first patch's corner
    why_not: tuple[str, ...]  # for each patch: why it is left out, in words; "" when it is used

    @property
    def used(self) -> NDArray[np.bool_]:
        """Which patches (n,) can be relied on."""
        return np.array([not why for why in self.why_not])
