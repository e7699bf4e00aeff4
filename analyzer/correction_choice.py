"""Which correction serves a photo of this job, and which of a job are worth keeping?"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from analyzer.corrections import kept_corrections
from analyzer.errors import AnalyzerError
from analyzer.job import Job, Reference
from analyzer.job_reference import in_words, known_of
from calibration.correction import Correction
from calibration.errors import CalibrationError
from calibration.findings import Finding, finding
from calibration.photo import Photo, open_photo
from calibration.reference_photo import read_reference_photo
from calibration.reference_reading import MAX_RESIDUAL
from calibration.stored_correction import Setup, StoredCorrection, apart, setup_of, stored_correction


@dataclass(frozen=True, slots=True)
class Available:
    """The corrections that a job asks for."""

    corrections: tuple[StoredCorrection, ...] = ()
    faults: tuple[str, ...] = ()  # why others are not there, in words
    asked_for: bool = False


NOT_ASKED_FOR: Final = Available()


@dataclass(frozen=True, slots=True)
class Learned:
    """What a photo with a chart or step card gives to later ones."""

    correction: StoredCorrection | None
    why_not: str = ""


def available_corrections(job: Job) -> Available:
    """Read the corrections that a job asks for. What cannot be read is no error: photos are measured without it."""
    wish = job.correction
    if wish is None:
        return NOT_ASKED_FOR
    if wish.photo is None or wish.reference is None:
        return _kept()
    try:
        photo = open_photo(job.folder / wish.photo)
        found = read_reference_photo(photo, known_of(wish.reference, job.folder), wish.card)
    except CalibrationError as refused:
        return Available((), (f"{wish.photo} cannot be used: {refused.what.rstrip('.')}",), asked_for=True)
    learned = learned_from(found.correction, photo, wish.light, wish.reference)
    if learned.correction is None:
        return Available((), (f"{wish.photo} cannot be used: {learned.why_not}",), asked_for=True)
    return Available((learned.correction,), (), asked_for=True)


def choose(
    available: Available, photo: Photo, light: str | None
) -> tuple[StoredCorrection | None, tuple[Finding, ...]]:
    """The correction for a photo in a light, and what is to be said when there is none.

    Of several that fit, the latest photo's counts.
    """
    if not available.asked_for:
        return None, ()
    misfits = {stored: apart(stored, photo, light) for stored in available.corrections}
    fitting = [stored for stored, words in misfits.items() if not words]
    if fitting:
        return max(fitting, key=lambda stored: stored.source.taken or ""), ()
    if misfits:
        nearest, words = min(misfits.items(), key=lambda item: len(item[1]))
        reason = f"that of {nearest.source.file} does not fit, {' and '.join(words)}"
    else:
        reason = "; ".join(available.faults) or "none is kept yet"
    return None, (finding("correction-not-fitting", difference=reason),)


def learned_from(correction: Correction, photo: Photo, light: str | None, reference: Reference) -> Learned:
    """What a photo's own correction gives to later ones, if it can be relied on."""
    why_not = _why_not(correction, setup_of(photo, light))
    if why_not:
        return Learned(None, why_not)
    return Learned(stored_correction(correction, photo, light, in_words(reference)))


def best_of(corrections: Iterable[StoredCorrection | None]) -> tuple[StoredCorrection, ...]:
    """One for each camera, lens, light and profile: that with the smallest residual; a light needs a name."""
    best: dict[Setup, StoredCorrection] = {}
    for stored in corrections:
        if stored is None or stored.setup.light is None:
            continue
        other = best.get(stored.setup)
        if other is None or stored.residual.mean < other.residual.mean:
            best[stored.setup] = stored
    return tuple(best.values())


def why_none(learned: Mapping[str, Learned], made_here: Iterable[StoredCorrection]) -> tuple[str, ...]:
    """Why photos of a job gave nothing to keep, in words. `learned` is by photo."""
    told = {file: one.why_not or _without_light(one.correction) for file, one in learned.items()}
    told |= {stored.source.file: _without_light(stored) for stored in made_here}
    return tuple(f"{file}: {why_not}" for file, why_not in told.items() if why_not)


def _without_light(stored: StoredCorrection | None) -> str:
    if stored is None or stored.setup.light is not None:
        return ""
    return 'its light has no name; give it one in job.toml, light = "shop", so that later jobs can tell it'


def _kept() -> Available:
    try:
        files = kept_corrections()
    except AnalyzerError as refused:
        return Available((), (str(refused.what).rstrip("."),), asked_for=True)
    stored = tuple(file.stored for file in files if file.stored is not None and file.stored.setup.light is not None)
    faults = tuple(f"{file.path.name} cannot be used, {file.fault}" for file in files if file.stored is None)
    return Available(stored, faults, asked_for=True)


def _why_not(correction: Correction, setup: Setup | None) -> str:
    if setup is None:
        return "it does not say which camera took it"
    if correction.chart is not None:
        residual = correction.chart.leave_one_out[0]
        too_far = f"the chart's patches are {residual:.1f} ΔE00 off after correction (limit {MAX_RESIDUAL:.1f})"
        return too_far if residual > MAX_RESIDUAL else ""
    return "" if correction.tone.is_usable else f"no tone curve was found: {correction.tone.why_not}"
