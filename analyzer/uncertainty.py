"""How sure is a zone's colour, and how sure is the difference of two zones?  Named sources, combined as in the GUM.

Each source is a covariance (3, 3) of CIELAB, one sigma squared. What two zones have in common cancels in their
difference: a doubt about the reference, the tone curve or the camera moves both, and alike for like colours
(JCGM 100:2008, 5.2).

What is measured here is the zone as it lies there: all of it is seen. How far it stands for the treatment, on more of
the same wood, is another question with an uncertainty of its own, `wood_of_zone` and `wood_of_pair`; verdicts take
both.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analyzer.guard_band import Z_975
from analyzer.replicates import student_t_975
from analyzer.zones import ZoneReading
from calibration.colorspace import XYZ_to_Lab
from calibration.correction import Correction
from calibration.light import Light
from calibration.white_preserving import Lab_slopes

Floats = NDArray[np.float64]
Budget = Mapping[str, Floats]  # source -> covariance (3, 3) of CIELAB

# Standard uncertainties between photos, each of L*, a*, b*: local tone mapping and exposure. Chosen.
U_OTHER_PHOTO = 0.35  # same camera and light
U_UNKNOWN_CAMERA = 0.6  # the same when a photo does not say which camera took it
CONTRAST_STEP = 0.05  # relative, in luminance either way: how blotch is seen through the correction
SOURCES = ("reference", "light", "tone", "camera", "repeats")


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """One zone as one photo shows it, with what the photo shares among its zones."""

    reading: ZoneReading
    photo: str
    board: str
    camera: str | None
    light_name: str | None
    light: Light
    card_px: Floats  # (2,), centre of the reference
    correction: Correction
    # Change of CIELAB (3, 3, k) by each doubt about the tone curve: of the zone, and of it a little darker and lighter.
    tone_acts: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Work out once what every comparison with another zone asks for."""
        shades = self.reading.XYZ * np.array([[1.0], [1 - CONTRAST_STEP], [1 + CONTRAST_STEP]])
        acts = Lab_slopes(shades) @ self.correction.tone_acts(shades, self.light_here)
        object.__setattr__(self, "tone_acts", acts)

    @property
    def light_here(self) -> Floats:
        """Light (3,) on the zone relative to the reference's; 1 where it is not mapped."""
        if not self.light.mapped:
            return np.ones(3)
        there, here = self.light.log_RGB_at(np.stack([self.card_px, self.reading.centre_px]))
        return np.asarray(np.exp(here - there))


def absolute_budget(sights: Sequence[Sight]) -> Budget:
    """Sources of uncertainty of one zone's CIELAB, pooled over its photos.

    Parameters
    ----------
    sights : sequence of Sight
        The zone in each of its photos, at least one.
    """
    budget = {
        "reference": _mean([_square(_stated(sight)) for sight in sights])
        + _mean([_square(_read(sight)) for sight in sights]) / len(sights),
        "light": _mean([_light_to_card(sight) for sight in sights]),
        "tone": _mean([_square(_tone_acts(sight)) for sight in sights]),
        "camera": _mean([sight.correction.error.u_absolute(sight.reading.Lab) for sight in sights]),
    }
    return {**budget, "repeats": _repeats([sight.reading.Lab for sight in sights])}


def pair_budget(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    """Sources of uncertainty of the difference of two zones, second minus first.

    Photos that show both zones are compared within themselves; without such a photo the zones are compared across
    photos, and both photos' errors count.
    """
    shared = _shared_photos(first, second)
    if shared:
        return _pair_in_photos(*shared)
    return _pair_across_photos(first, second)


def wood_of_zone(sights: Sequence[Sight]) -> Floats:
    """Covariance (3, 3) of a zone's CIELAB as a sample of so much treated wood."""
    return _mean([_wood_alone(sight.reading, Lab_slopes(sight.reading.XYZ)) for sight in sights])


def wood_of_pair(first: Sequence[Sight], second: Sequence[Sight]) -> Floats:
    """The same for the difference of two zones: growth lines that cross both cancel."""
    shared = _shared_photos(first, second)
    if shared:
        return _mean([_wood_of_pair(a, b) for a, b in zip(*shared, strict=True)])
    return wood_of_zone(first) + wood_of_zone(second)


def u_contrast(sights: Sequence[Sight]) -> float:
    """Relative standard uncertainty of small lightness differences within a zone: of what blotch is told by."""
    return float(np.mean([_u_contrast(sight) for sight in sights]))


def covariance_of(budget: Budget) -> Floats:
    """Sum of all sources, (3, 3)."""
    return np.asarray(sum(budget.values()))


def in_common(first: Sequence[Sight], second: Sequence[Sight]) -> tuple[Sequence[Sight], Sequence[Sight]]:
    """Both zones in the photos that show both; in all their photos when none does."""
    return _shared_photos(first, second) or (first, second)


def _shared_photos(first: Sequence[Sight], second: Sequence[Sight]) -> tuple[Sequence[Sight], Sequence[Sight]] | None:
    by_photo = {sight.photo: sight for sight in second}
    pairs = [(sight, by_photo[sight.photo]) for sight in first if sight.photo in by_photo]
    if not pairs:
        return None
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


def _pair_in_photos(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    pairs = list(zip(first, second, strict=True))
    budget = {
        "reference": _mean([_square(_stated(b) - _stated(a)) for a, b in pairs])
        + _mean([_square(_read(b) - _read(a)) for a, b in pairs]) / len(pairs),
        "light": _mean([_light_between(a, b) for a, b in pairs]),
        "tone": _mean([_square(_tone_acts(b) - _tone_acts(a)) for a, b in pairs]),
        "camera": _mean([a.correction.error.u_pair(a.reading.Lab, b.reading.Lab) for a, b in pairs]),
    }
    return {**budget, "repeats": _repeats([b.reading.Lab - a.reading.Lab for a, b in pairs])}


def _pair_across_photos(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    a, b = first[0], second[0]
    zones = (first, second)
    every = (*first, *second)
    reference = _both(zones, lambda s: _square(_read(s)))
    tone = _both(zones, lambda s: _square(_tone_acts(s)))
    camera = _both(zones, lambda s: s.correction.error.u_absolute(s.reading.Lab))
    if len({(s.camera, s.light_name, s.correction.basis) for s in every}) > 1:
        reference = reference + _both(zones, lambda s: _square(_stated(s)))
    else:
        reference = reference + _square(_stated(b) - _stated(a))
        if len({s.correction.tone_from for s in every}) == 1:
            tone = _square(_tone_acts(b) - _tone_acts(a))
        if len({s.correction.camera_from for s in every}) == 1:
            u_other = U_UNKNOWN_CAMERA if a.camera is None else U_OTHER_PHOTO
            pair = _mean([s.correction.error.u_pair(a.reading.Lab, b.reading.Lab) for s in (a, b)])
            camera = pair + np.eye(3) * u_other**2
    return {
        "reference": reference,
        "light": _both(zones, _light_to_card),
        "tone": tone,
        "camera": camera,
        "repeats": _repeats([s.reading.Lab for s in first]) + _repeats([s.reading.Lab for s in second]),
    }


def _both(zones: tuple[Sequence[Sight], Sequence[Sight]], of: Callable[[Sight], Floats]) -> Floats:
    """Covariance that both zones bring along, each the mean over its photos."""
    return _mean([of(sight) for sight in zones[0]]) + _mean([of(sight) for sight in zones[1]])


def _stated(sight: Sight) -> Floats:
    """Change of CIELAB (3, m) by each doubt about what the reference is said to be."""
    return _acts(sight, sight.correction.stated)


def _read(sight: Sight) -> Floats:
    """Change of CIELAB (3, m) by each doubt about how the reference was read."""
    return _acts(sight, sight.correction.read)


def _acts(sight: Sight, relative: Floats) -> Floats:
    """Change of CIELAB (3, m) by relative changes (3, m) of X, Y and Z."""
    XYZ = sight.reading.XYZ
    return np.asarray(Lab_slopes(XYZ) @ (XYZ[:, np.newaxis] * relative))


def _tone_acts(sight: Sight) -> Floats:
    """Change of CIELAB (3, k) by each doubt about the tone curve."""
    return np.asarray(sight.tone_acts[0])


def _u_contrast(sight: Sight) -> float:
    """By tone curve and camera: the change of a small step in lightness, relative to the step."""
    darker, lighter = (sight.reading.XYZ * (1 + sign * CONTRAST_STEP) for sign in (-1, 1))
    Lab_darker, Lab_lighter = XYZ_to_Lab(darker), XYZ_to_Lab(lighter)
    step = float(Lab_lighter[0] - Lab_darker[0])
    of_tone = float(np.linalg.norm(sight.tone_acts[2, 0] - sight.tone_acts[1, 0])) / step
    of_camera = float(np.sqrt(sight.correction.error.of_modes_between(Lab_darker, Lab_lighter)[0, 0])) / step
    return float(np.hypot(of_tone, of_camera))


def _light_to_card(sight: Sight) -> Floats:
    """Covariance by the light between the reference and a zone."""
    ends = sight.card_px, sight.reading.centre_px
    level = _along(_acts(sight, np.ones((3, 1)))[:, 0], sight.light.u_between(*ends))
    return level + _mixed_light(sight.light.u_Lab_between(*ends))


def _light_between(a: Sight, b: Sight) -> Floats:
    """Covariance by the light between two zones of one photo."""
    ends = a.reading.centre_px, b.reading.centre_px
    level = _along(_acts(b, np.ones((3, 1)))[:, 0], a.light.u_between(*ends))
    return level + _mixed_light(a.light.u_Lab_between(*ends))


def _wood_alone(reading: ZoneReading, to_Lab: Floats) -> Floats:
    """Covariance of a zone's mean Lab as a sample of so much treated wood, from its blocks.

    Rows of blocks (strips along the grain) and columns of blocks are random effects of a two-way layout: streaks
    run along whole rows, so the blocks of a row are no independent witnesses.
    """
    blocks = reading.block_XYZ @ to_Lab.T
    return _rows_part(np.nanmean(_rows(blocks), axis=1)) + _columns_part(blocks)


def _wood_of_pair(a: Sight, b: Sight) -> Floats:
    """The same for a difference: on one board, strips at the same height are paired, and shared streaks cancel."""
    to_Lab_a, to_Lab_b = Lab_slopes(a.reading.XYZ), Lab_slopes(b.reading.XYZ)
    blocks_a, blocks_b = a.reading.block_XYZ @ to_Lab_a.T, b.reading.block_XYZ @ to_Lab_b.T
    same_strips = a.board == b.board and np.allclose(a.reading.across_mm, b.reading.across_mm, atol=1.0)
    if not same_strips or len(blocks_a) != len(blocks_b):
        return _wood_alone(a.reading, to_Lab_a) + _wood_alone(b.reading, to_Lab_b)
    full = ~(np.isnan(blocks_a).all(axis=(1, 2)) | np.isnan(blocks_b).all(axis=(1, 2)))
    if full.sum() < 2:  # what hides one zone shows the other: no strips are seen in both
        return _wood_alone(a.reading, to_Lab_a) + _wood_alone(b.reading, to_Lab_b)
    rows = np.nanmean(blocks_b[full], axis=1) - np.nanmean(blocks_a[full], axis=1)
    return _rows_part(rows) + _columns_part(blocks_a) + _columns_part(blocks_b)


def _rows(blocks: Floats) -> Floats:
    return blocks[~np.isnan(blocks).all(axis=(1, 2))]


def _rows_part(rows: Floats) -> Floats:
    """Covariance of the mean of strips (n, 3), widened by Student's t for few strips."""
    count = len(rows)
    if count < 2:
        return np.zeros((3, 3))
    widened = (student_t_975(count - 1) / Z_975) ** 2
    return np.asarray(np.cov(rows, rowvar=False) * widened / count)


def _columns_part(blocks: Floats) -> Floats:
    """What columns of blocks add: their spread beyond what the single blocks' own spread explains."""
    rows = _rows(blocks)
    rows = rows[:, ~np.isnan(rows).all(axis=(0, 2))]
    if rows.shape[0] < 2 or rows.shape[1] < 2:
        return np.zeros((3, 3))
    columns = np.nanmean(rows, axis=0)
    residuals = rows - np.nanmean(rows, axis=1, keepdims=True) - columns + np.nanmean(rows, axis=(0, 1))
    residuals = residuals[~np.isnan(residuals).any(axis=2)]
    degrees = (rows.shape[0] - 1) * (rows.shape[1] - 1)
    single = residuals.T @ residuals / degrees
    beyond = np.cov(columns, rowvar=False) - single / rows.shape[0]
    variances, axes = np.linalg.eigh(beyond)
    return np.asarray((axes * np.maximum(variances, 0.0)) @ axes.T / rows.shape[1])


def _along(direction: Floats, u_relative: float) -> Floats:
    """Covariance of a relative error of the light: all three tristimulus values move together."""
    return np.outer(direction, direction) * u_relative**2


def _mixed_light(u_Lab: Floats) -> Floats:
    """Covariance of what light of changing colour leaves."""
    return np.diag(u_Lab**2)


def _repeats(values: Sequence[Floats]) -> Floats:
    """Covariance of the mean of repeated photos, from their own spread; none seen from a single photo."""
    if len(values) < 2:
        return np.zeros((3, 3))
    return np.asarray(np.cov(np.stack(values), rowvar=False) / len(values))


def _square(acts: Floats) -> Floats:
    """Covariance of independent effects (3, m), one sigma each."""
    return np.asarray(acts @ acts.T)


def _mean(covariances: Sequence[Floats]) -> Floats:
    return np.asarray(np.mean(covariances, axis=0))
