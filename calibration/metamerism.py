"""How much of a colour match is lost when the light changes?  Source: ISO 18314-4:2020, special metamerism index."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def corrected_sample_Lab(
    Lab_standard_reference: ArrayLike,
    Lab_sample_reference: ArrayLike,
    Lab_sample_test: ArrayLike,
) -> NDArray[np.float64]:
    """CIELAB of a sample in the test light, freed of the difference that it has in the reference light already.

    The colour difference between this and the standard in the test light is the special metamerism index: what a
    pair that matched in the reference light would show in the test light. Additive correction of the standard.

    Parameters
    ----------
    Lab_standard_reference, Lab_sample_reference : array_like, (..., 3)
        Standard and sample in the reference light, CIELAB.
    Lab_sample_test : array_like, (..., 3)
        The sample in the test light.

    Returns
    -------
    Lab : ndarray of float64, (..., 3)
    """
    before = np.asarray(Lab_sample_reference, dtype=np.float64) - np.asarray(Lab_standard_reference, dtype=np.float64)
    return np.asarray(Lab_sample_test, dtype=np.float64) - before
