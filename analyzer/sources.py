"""Where does the ± of a colour difference come from?  Its parts by source, in CIEDE2000 units.

Parts are 95 % half-widths whose squares add up to that of the whole, so that each can be read beside it. A covariance
counts along the direction of the difference where there is a clear one, and by all three directions where the two
colours can hardly be told apart (JCGM 100:2008, 5.1).
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from calibration.colorspace import Lab_to_XYZ
from calibration.white_preserving import Lab_slopes, perceived_slopes

Floats = NDArray[np.float64]


def sources_u95(Lab_target: Floats, delta_Lab: Floats, u95: float, parts: Mapping[str, Floats]) -> dict[str, float]:
    """Share the half-width of a colour difference out over its sources.

    Parameters
    ----------
    Lab_target, delta_Lab : ndarray, (3,)
        CIELAB of the target, and colour minus target.
    u95 : float
        95 % half-width of the CIEDE2000 difference.
    parts : mapping
        Covariance (3, 3) of `delta_Lab` by source.

    Returns
    -------
    dict
        Half-width by source, CIEDE2000; root of the sum of squares is `u95`. Empty without any doubt.
    """
    XYZ = Lab_to_XYZ(Lab_target + delta_Lab / 2)
    to_perceived = perceived_slopes(XYZ) @ np.linalg.inv(Lab_slopes(XYZ))
    along = to_perceived @ delta_Lab
    distance = float(np.linalg.norm(along))
    if distance > u95:
        act = (along / distance) @ to_perceived
        variances = {source: float(act @ part @ act) for source, part in parts.items()}
    else:
        variances = {source: float(np.trace(to_perceived @ part @ to_perceived.T)) for source, part in parts.items()}
    whole = sum(variances.values())
    if not whole > 0:
        return {}
    return {source: u95 * float(np.sqrt(max(variance, 0.0) / whole)) for source, variance in variances.items()}
