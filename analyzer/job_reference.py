"""What is known of the reference that a job names?"""

from pathlib import Path

from analyzer.job import Reference
from calibration.known import KnownReference, colour_chart, gray_card, step_card


def known_of(told: Reference, folder: Path) -> KnownReference:
    """Its known colours; a chart's own values are read from the job folder.

    Raises
    ------
    CalibrationError
        If that file does not hold.
    """
    if told.kind == "step-card":
        return step_card(told.reflectance)
    if told.kind == "chart-24":
        return colour_chart(told.edition or "from-2015", folder / told.values if told.values else None)
    return gray_card(None if told.lab else told.reflectance[0], told.lab)


def in_words(told: Reference) -> str:
    """What it is, with the values that it is taken to have."""
    if told.kind == "chart-24":
        return f"24-patch colour chart, {'its own' if told.values else told.edition} values"
    values = told.lab or told.reflectance
    return f"{told.kind.replace('-', ' ')}, {', '.join(f'{value:g}' for value in values)}"
