"""What does `evenboard measure --keep-correction` keep, and what does it say of that?"""

from analyzer.corrections import keep_correction
from analyzer.measurement import Measurement


def keep_corrections(measurement: Measurement) -> tuple[str, ...]:
    """Keep the corrections that a measured job gave, one for each camera, lens and light.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    tuple of str
        What was kept, and why photos gave nothing, in sentences.

    Raises
    ------
    CorrectionError
        If they cannot be written.
    """
    kept = [keep_correction(stored) for stored in measurement.corrections]
    said = [
        f"Kept for later jobs: {one.name}, by {stored.source.file} ({stored.residual.words})."
        for one, stored in zip(kept, measurement.corrections, strict=True)
    ]
    said += [f"No correction is kept of {why_not}." for why_not in measurement.not_kept]
    if not said:
        said.append(
            "No correction is kept: no photo was measured by a chart or step card. Say under [reference] in job.toml "
            "what lies in the photos, or name a photo of it under [correction]."
        )
    return tuple(said)
