"""Is a measured value within its limit, outside it, or can that not be told?

The decision rule is the guard band of JCGM 106:2012 (ISO/IEC Guide 98-4), section 8, with a band as wide as
the 95 % half-width on both sides of the limit.
"""

import math
from statistics import NormalDist
from typing import Final, Literal

Decision = Literal["within", "outside", "cannot tell"]

# A 95 % half-width is this many standard uncertainties: the 0.975 quantile of the normal distribution.
Z_975: Final = NormalDist().inv_cdf(0.975)


def decide(value: float | None, u95: float | None, limit: float | None) -> Decision:
    """Hold a value against an upper limit.

    At the limit itself 2.5 % of repeated measurements fall below the band, so a value that is truly outside
    is called within in at most 2.5 % of cases, and the other way round.

    Parameters
    ----------
    value : float or None
        What was measured, 0 or more; None when it could not be.
    u95 : float or None
        Its 95 % half-width in the same unit; None when unknown.
    limit : float or None
        The largest acceptable value in the same unit; None when there is none to hold against.

    Returns
    -------
    decision : str
        "within" when value + u95 <= limit (equality is within), "outside" when value - u95 > limit,
        otherwise, and whenever something is unknown, "cannot tell".

    Raises
    ------
    ValueError
        If a number is NaN or the half-width is negative.
    """
    if value is None or u95 is None or limit is None:
        return "cannot tell"
    if math.isnan(value) or math.isnan(limit) or not u95 >= 0:
        raise ValueError(f"guard band: value {value:g}, half-width {u95:g}, limit {limit:g}; none may be NaN, "
                         "the half-width not negative.")  # fmt: skip
    if value + u95 <= limit:
        return "within"
    if value - u95 > limit:
        return "outside"
    return "cannot tell"


def conformance_probability(y: float, u: float, limit: float) -> float:
    """How probable it is that the true value lies below an upper limit, given what was measured.

    p_c = Phi((T_U - y) / u), JCGM 106:2012, 7.3: normal distribution, nothing known beforehand. The rule of
    `decide` calls a value within exactly when this probability is at least 0.975.

    Parameters
    ----------
    y : float
        Measured value.
    u : float
        Its standard uncertainty (one sigma), more than 0, in the same unit.
    limit : float
        Upper tolerance limit T_U in the same unit.

    Returns
    -------
    p_c : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If the standard uncertainty is not more than 0.
    """
    if not u > 0:
        raise ValueError(f"conformance probability: the standard uncertainty must be more than 0, got {u:g}.")
    return 0.5 * math.erfc((y - limit) / (u * math.sqrt(2)))
