"""What does a photo of a chart or step card alone, without any board, tell of the camera?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.chart_finder import find_chart
from calibration.chart_reading import chart_findings, read_chart
from calibration.correction import Correction
from calibration.errors import ReferenceCardError
from calibration.findings import REGISTRY, Finding
from calibration.known import KnownReference
from calibration.light import Light
from calibration.photo import Photo
from calibration.preview import preview_of
from calibration.reference_reading import ReferenceReading, correction_findings, correction_of, tone_of
from calibration.step_card import find_step_card, read_step_card, step_card_findings

NO_MAP = Light(None, (1.0, 1.0), mapped=False, px_per_mm=1.0)  # without a board nothing tells how the light falls off


@dataclass(frozen=True, slots=True, eq=False)
class ReferencePhoto:
    """The correction that a chart or step card gives its own photo."""

    correction: Correction
    findings: tuple[Finding, ...]  # what its checks say against it


def read_reference_photo(photo: Photo, known: KnownReference, corners: ArrayLike | None = None) -> ReferencePhoto:
    """Find and read the chart or step card of a photo, wherever it lies.

    Parameters
    ----------
    photo : Photo
    known : KnownReference
        A colour chart or a step card.
    corners : array_like, (4, 2), optional
        Its corners as the finisher gave them, pixels.

    Raises
    ------
    ReferenceCardError
        If it is not seen, or cannot serve.
    """
    preview = preview_of(photo)
    if known.kind == "gray-card":
        raise ValueError("read_reference_photo: a gray card tells nothing of the camera.")
    if known.kind == "chart-24":
        chart = find_chart(photo, preview, corners)
        if chart is None:
            raise _not_found(photo, known, "chart-missing")
        patches, at_px = read_chart(photo, chart, known.XYZ), chart.corners_px
        found = tuple(chart_findings(patches))
    else:
        reflectances = [float(Y) for Y in known.XYZ[:, 1]]
        steps = find_step_card(preview, reflectances, corners, ())
        if steps is None:
            raise _not_found(photo, known, "step-card-missing")
        patches, at_px = read_step_card(photo, steps, reflectances), steps.corners_px
        found = step_card_findings(patches)
    read = ReferenceReading(known, np.asarray(at_px, dtype=np.float64), None, patches)
    correction = correction_of(photo, read, tone_of(photo, read, NO_MAP), NO_MAP)
    return ReferencePhoto(correction, (*found, *correction_findings(correction, read)))


def _not_found(photo: Photo, known: KnownReference, code: str) -> ReferenceCardError:
    return ReferenceCardError(
        f"the {known.name} was not found.", photo=photo.name, remedy=REGISTRY[code].remedy, code=code
    )
