"""What is wrong with how the edge strips lie?"""

from calibration.findings import Finding, finding
from calibration.strip_board import SettledBoard
from calibration.strips import Side

# Chosen, from what hands leave (1 mm, 1 degree) and simulated photos (residuals of 0.01 mm).
MAX_RESIDUAL_MM = 0.3
MAX_ZERO_MM = 3.0
MAX_WIDTH_ERROR_MM = 8.0  # one degree over a board of 400 mm is 7 mm at its end
MAX_LENGTH_ERROR_MM = 1.5


def strip_findings(settled: SettledBoard) -> tuple[Finding, ...]:
    """Findings about the strips beside one board; all of them leave it measurable."""
    laid = settled.laid
    found = []
    if laid.missing is not None:
        found.append(finding("strip-missing", strip=laid.missing.value))
    if laid.residual_mm > MAX_RESIDUAL_MM:
        found.append(finding("strips-not-flat", residual_mm=laid.residual_mm, limit=MAX_RESIDUAL_MM))
    zeros = [(side, zero_mm) for side in Side if (zero_mm := laid.zero_mm(side)) is not None]
    found += [
        finding("zero-arrow-off", strip=side.value, off_mm=abs(zero_mm), limit=MAX_ZERO_MM)
        for side, zero_mm in zeros
        if abs(zero_mm) > MAX_ZERO_MM
    ]
    if laid.width_error_mm is not None and abs(laid.width_error_mm) > MAX_WIDTH_ERROR_MM:
        found.append(finding("strips-beside-width", error_mm=abs(laid.width_error_mm), limit=MAX_WIDTH_ERROR_MM))
    if settled.length_error_mm is not None and abs(settled.length_error_mm) > MAX_LENGTH_ERROR_MM:
        found.append(finding("length-misfit", error_mm=abs(settled.length_error_mm), limit=MAX_LENGTH_ERROR_MM))
    return tuple(found)
