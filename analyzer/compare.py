"""How far apart are two zones in colour, and how sure is that?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """Colour b minus colour a, CIELAB D50/2 degree."""

    delta_Lab: NDArray[np.float64]  # (3,), b minus a
    covariance: NDArray[np.float64] | None  # (3, 3) of delta_Lab, one sigma squared; None: unknown
    Lab_a: NDArray[np.float64]  # (3,)
    Lab_b: NDArray[np.float64]  # (3,)
    de00: float
    de00_u95: float | None
