"""Do the photos of a job go together?  One camera, one light where the job says so, and time to dry between stages.

Only what photos say themselves is compared: their EXIF tags, and the gray card as the camera wrote it, before any
balance. A photo that does not say what a comparison needs is left out of it. Nothing here changes a number: how much
less sure a comparison across cameras or lights is, stands in uncertainty.py.
"""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from analyzer.results import STAGES, Stage
from calibration.exif import Exif
from calibration.findings import Finding, finding

# Chosen. The level by the exposure settings is good to about half a stop: makers round shutter and sensitivity to
# thirds, tone curves lift middle gray by some tenths. Clouds and a lamp moved a little change light by up to a factor
# of two; four is another time of day, or another lamp.
MAX_LEVEL_RATIO = 4.0
# The card's red or blue against its green, as a ratio. With white balance set by hand, ordinary daylight wanders by
# about 10 % (5500 to 6500 K, measured camera sensitivities); daylight against warm LED or tungsten makes 20 to 70 %.
MAX_RATIO_MANUAL = 1.15
# Automatic white balance follows the light by itself, and wanders by the picture's content; chosen so wide that only
# a light which it could not follow is told. No source.
MAX_RATIO_AUTOMATIC = 1.5
# Chosen: shorter than the drying time that any wipe-on stain, washcoat or sealer is given as common practice (half an
# hour and more); fast spirit dyes dry in less, therefore no more than a quarter of an hour.
DRY_AFTER_MINUTES = 15.0
TINTS = {(True, False): "warmer", (False, True): "cooler", (True, True): "pinker", (False, False): "greener"}
NEVER_DRY = ("bare", "wet")  # nothing was put on; or it may be wet


@dataclass(frozen=True, slots=True, eq=False)
class PhotoFacts:
    """What one photo says of how it was taken, for one board in it."""

    file: str
    exif: Exif
    card_linear_RGB: NDArray[np.float64]  # (3,), 0..1 of full scale, before any balance (GrayReading.linear_RGB)
    light: str | None = None  # as the job names it
    board: str | None = None
    stage: Stage | None = None  # None where no job says it

    @property
    def camera(self) -> str:
        """Camera and lens in words."""
        return f"{self.exif.camera} ({self.exif.lens})" if self.exif.lens else str(self.exif.camera)

    @property
    def light_level(self) -> float | None:
        """Light on the card, in a unit that all photos of one camera share; None where an exposure setting is missing.

        The card's linear level is proportional to illuminance x exposure time x sensitivity / f-number squared
        (ISO 2720:1974, the camera exposure equation).
        """
        exif = self.exif
        if exif.exposure_s is None or exif.f_number is None or exif.iso is None:
            return None
        return float(self.card_linear_RGB[1]) * exif.f_number**2 / (exif.exposure_s * exif.iso)


def consistency_findings(photos: Sequence[PhotoFacts]) -> list[tuple[Finding, ...]]:
    """Compare the photos of one job with each other.

    Parameters
    ----------
    photos : sequence of PhotoFacts
        Of one job, in its order; several boards in one photo give several.

    Returns
    -------
    list of tuple of Finding
        One tuple for each of `photos`, in their order. A finding goes to the odd ones out: those that differ from
        the photo with which most others agree, of two photos the later one.
    """
    found: list[list[Finding]] = [[] for _ in photos]
    for index, what in (*_other_cameras(photos), *_other_lights(photos), *_too_soon(photos)):
        found[index].append(what)
    return [tuple(of_photo) for of_photo in found]


def _other_cameras(photos: Sequence[PhotoFacts]) -> Iterator[tuple[int, Finding]]:
    """Photos of one stage: colours of different stages are not compared anyway."""
    known = [index for index, photo in enumerate(photos) if photo.exif.camera]
    for group in _grouped(known, lambda i: photos[i].stage):
        for index, other in _odd_ones(photos, group, _same_camera):
            photo, usual = photos[index], photos[other]
            said = {"file": photo.file, "camera": photo.camera, "other": usual.file, "usual": usual.camera}
            yield index, finding("camera-differs", **said)


def _same_camera(a: PhotoFacts, b: PhotoFacts) -> bool:
    """A lens that one of them does not name is taken to be the same."""
    lenses = {a.exif.lens, b.exif.lens} - {None}
    return a.exif.camera == b.exif.camera and len(lenses) < 2


def _other_lights(photos: Sequence[PhotoFacts]) -> Iterator[tuple[int, Finding]]:
    """Photos in one light by the job: its level by the exposure settings, its colour by the card."""
    cameras = [index for index, photo in enumerate(photos) if photo.exif.camera]
    alike = _grouped(cameras, lambda i: (photos[i].light, photos[i].exif.camera, photos[i].exif.lens))
    for group in alike:
        told = set()
        for index, other in _odd_ones(photos, [i for i in group if photos[i].light_level], _same_level):
            told.add(index)
            yield index, _light_finding(photos[index], photos[other], _level_words(photos[index], photos[other]))
        for balance in _grouped(group, lambda i: (photos[i].exif.white_balance, photos[i].exif.light_source)):
            for index, other in _odd_ones(photos, balance, _same_colour):
                if index not in told:
                    yield index, _light_finding(photos[index], photos[other], _hue_words(photos[index], photos[other]))


def _light_finding(photo: PhotoFacts, usual: PhotoFacts, difference: str) -> Finding:
    return finding("light-differs", file=photo.file, other=usual.file, difference=difference)


def _same_level(a: PhotoFacts, b: PhotoFacts) -> bool:
    level_a, level_b = a.light_level, b.light_level
    if level_a is None or level_b is None:
        return True
    return max(level_a, level_b) < MAX_LEVEL_RATIO * min(level_a, level_b)


def _level_words(photo: PhotoFacts, usual: PhotoFacts) -> str:
    ratio = (photo.light_level or 1.0) / (usual.light_level or 1.0)
    strength = f"{ratio:.1f} times as strong" if ratio > 1 else f"{1 / ratio:.1f} times weaker"
    return f"by the exposure settings the light on the gray card is {strength}"


def _same_colour(a: PhotoFacts, b: PhotoFacts) -> bool:
    limit = MAX_RATIO_MANUAL if a.exif.white_balance == "manual" else MAX_RATIO_AUTOMATIC
    return bool(np.abs(_hue(a) - _hue(b)).max() < np.log(limit))


def _hue(photo: PhotoFacts) -> NDArray[np.float64]:
    """Logarithms of the card's red and blue against its green, (2,)."""
    RGB = np.log(np.maximum(photo.card_linear_RGB, 1e-6))
    return np.asarray(RGB[[0, 2]] - RGB[1])


def _hue_words(photo: PhotoFacts, usual: PhotoFacts) -> str:
    red, blue = _hue(photo) - _hue(usual)
    tint = TINTS[bool(red > 0), bool(blue > 0)]
    percent = 100 * np.expm1(max(abs(red), abs(blue)))
    by_hand = " with white balance set by hand" if photo.exif.white_balance == "manual" else ""
    return f"the gray card looks {percent:.0f} % {tint}{by_hand}"


def _too_soon(photos: Sequence[PhotoFacts]) -> Iterator[tuple[int, Finding]]:
    """Photos of a dry stage taken shortly after one of an earlier stage of the same board, by one camera's clock."""
    for index, photo in enumerate(photos):
        if photo.stage is None or photo.stage in NEVER_DRY:
            continue
        waits = [
            (minutes, earlier)
            for earlier in photos
            if earlier.stage is not None
            and earlier.board == photo.board
            and STAGES.index(earlier.stage) < STAGES.index(photo.stage)
            and (minutes := _minutes_between(earlier.exif, photo.exif)) is not None
            and 0 <= minutes < DRY_AFTER_MINUTES
        ]
        if waits:
            minutes, earlier = min(waits, key=lambda wait: wait[0])
            yield (
                index,
                finding(
                    "stage-too-soon",
                    file=photo.file,
                    stage=photo.stage,
                    minutes=minutes,
                    other=earlier.file,
                    earlier=earlier.stage,
                    limit=DRY_AFTER_MINUTES,
                ),
            )


def _minutes_between(first: Exif, second: Exif) -> float | None:
    """Minutes from one photo to the other; None unless one camera's clock tells both."""
    if first.taken is None or second.taken is None or first.camera is None or first.camera != second.camera:
        return None
    start, end = datetime.fromisoformat(first.taken), datetime.fromisoformat(second.taken)
    if (start.tzinfo is None) != (end.tzinfo is None):
        return None
    return (end - start).total_seconds() / 60


def _odd_ones(
    photos: Sequence[PhotoFacts], indices: Sequence[int], alike: Callable[[PhotoFacts, PhotoFacts], bool]
) -> list[tuple[int, int]]:
    """Which of the photos differ from the one that most agree with, each with that one; the earliest of equals.

    Files are counted, not boards: a photo of three boards is one witness.
    """
    if not indices:
        return []
    support = [len({photos[j].file for j in indices if alike(photos[i], photos[j])}) for i in indices]
    usual = indices[int(np.argmax(support))]
    return [(i, usual) for i in indices if not alike(photos[i], photos[usual])]


def _grouped(indices: Sequence[int], key: Callable[[int], Hashable]) -> list[list[int]]:
    groups: dict[Hashable, list[int]] = {}
    for index in indices:
        groups.setdefault(key(index), []).append(index)
    return list(groups.values())
