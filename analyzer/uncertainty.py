"""How sure is a zone's colour, and how sure is the difference of two zones?  Named sources, combined as in the GUM.

Each source is a covariance (3, 3) of CIELAB, one sigma squared. What two zones have in common cancels in their
difference: the card's noise and its stated value act on both alike, the same growth lines cross both when they lie
side by side on one board, and the camera errs in the same direction for similar colours (JCGM 100:2008, 5.2).

The priors below are stated, not measured on the photo. They come from a simulation with measured camera
sensitivities on wood-like spectra (daylight to fluorescent, gray card only): absolute errors of 0.4 to 6 CIEDE2000 by
camera and light, errors of a pair in one photo of 0.1 to 0.5, up to 0.7 with an unknown tone curve.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.guard_band import Z_975
from analyzer.replicates import student_t_975
from analyzer.zones import ZoneReading
from calibration.colorspace import D50
from calibration.light import Light

Floats = NDArray[np.float64]
Budget = Mapping[str, Floats]  # source -> covariance (3, 3) of CIELAB

# Standard uncertainties, chosen from the simulation named above.
U_CARD_LEVEL = 0.02  # relative, of a card's stated reflectance: 18 % is rarely known better than 0.4 % absolute
U_CARD_NEUTRAL = 0.006  # relative, of each tristimulus value of a card called neutral: about 0.5 in a* or b*
U_CAMERA_ABSOLUTE = np.array([1.4, 4.0, 3.2])  # L*, a*, b*, gray card only, light of unknown kind
U_CAMERA_PAIR_FLOOR = 0.10  # each of L*, a*, b*, two zones of one photo
U_CAMERA_PAIR_SHARE = 0.06  # of the CIELAB distance between them: tone curve and colour matrix
U_CAMERA_OTHER_PHOTO = 0.35  # each of L*, a*, b*, same camera and light: local tone mapping, exposure
U_CAMERA_UNKNOWN = 0.6  # the same when a photo does not say which camera took it
SOURCES = ("wood", "card", "light", "camera", "repeats")


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """One zone as one photo shows it, with what the photo shares among its zones."""

    reading: ZoneReading
    photo: str
    board: str
    camera: str | None
    light_name: str | None
    light: Light
    card_px: Floats  # (2,), centre of the card
    u_card_relative: Floats  # (3,), of the card's mean


def absolute_budget(sights: Sequence[Sight]) -> Budget:
    """Sources of uncertainty of one zone's CIELAB, pooled over its photos.

    Parameters
    ----------
    sights : sequence of Sight
        The zone in each of its photos, at least one.
    """
    XYZ = np.mean([sight.reading.XYZ for sight in sights], axis=0)
    to_Lab = Lab_jacobian(XYZ)
    lights = [sight.light.u_between(sight.card_px, sight.reading.centre_px) for sight in sights]
    budget = {
        "wood": _mean([_wood_alone(sight.reading, to_Lab) for sight in sights]),
        "card": _card_noise([to_Lab * XYZ], [sights]) + _stated_card(to_Lab * XYZ),
        "light": _along(to_Lab @ XYZ, float(np.mean(lights)))
        + _mixed_light([sight.light.u_Lab_between(sight.card_px, sight.reading.centre_px) for sight in sights]),
        "camera": np.diag(U_CAMERA_ABSOLUTE**2),
    }
    return _with_repeats(budget, [sight.reading.Lab for sight in sights])


def pair_budget(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    """Sources of uncertainty of the difference of two zones, second minus first.

    Photos that show both zones are compared within themselves; without such a photo the zones are compared across
    photos, and both photos' errors count.
    """
    shared = _shared_photos(first, second)
    if shared:
        return _pair_in_photos(*shared)
    return _pair_across_photos(first, second)


def covariance_of(budget: Budget) -> Floats:
    """Sum of all sources, (3, 3)."""
    return np.asarray(sum(budget.values()))


def in_common(first: Sequence[Sight], second: Sequence[Sight]) -> tuple[Sequence[Sight], Sequence[Sight]]:
    """Both zones in the photos that show both; in all their photos when none does."""
    return _shared_photos(first, second) or (first, second)


def Lab_jacobian(XYZ: Floats) -> Floats:
    """Derivative (3, 3) of CIELAB (D50) by XYZ (3,), from the formula of ISO/CIE 11664-4:2019."""
    ratio = XYZ / D50
    limit = (6 / 29) ** 3
    slope = np.where(ratio > limit, np.cbrt(np.maximum(ratio, limit)) ** -2 / 3, (841 / 108)) / D50
    f_to_Lab = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
    return np.asarray(f_to_Lab * slope)


def _shared_photos(first: Sequence[Sight], second: Sequence[Sight]) -> tuple[Sequence[Sight], Sequence[Sight]] | None:
    by_photo = {sight.photo: sight for sight in second}
    pairs = [(sight, by_photo[sight.photo]) for sight in first if sight.photo in by_photo]
    if not pairs:
        return None
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


def _pair_in_photos(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    XYZ_a, XYZ_b = _mean_XYZ(first), _mean_XYZ(second)
    to_Lab_a, to_Lab_b = Lab_jacobian(XYZ_a), Lab_jacobian(XYZ_b)
    card = to_Lab_b * XYZ_b - to_Lab_a * XYZ_a  # a relative error of the card acts on both zones
    lights = [a.light.u_between(a.reading.centre_px, b.reading.centre_px) for a, b in zip(first, second, strict=True)]
    deltas = [b.reading.Lab - a.reading.Lab for a, b in zip(first, second, strict=True)]
    budget = {
        "wood": _mean([_wood_of_pair(a, b, to_Lab_a, to_Lab_b) for a, b in zip(first, second, strict=True)]),
        "card": _card_noise([card], [first]) + _stated_card(card),
        "light": _along(to_Lab_b @ XYZ_b, float(np.mean(lights)))
        + _mixed_light(
            [
                a.light.u_Lab_between(a.reading.centre_px, b.reading.centre_px)
                for a, b in zip(first, second, strict=True)
            ]
        ),
        "camera": _camera_of_pair(np.mean(deltas, axis=0), 0.0),
    }
    return _with_repeats(budget, deltas)


def _pair_across_photos(first: Sequence[Sight], second: Sequence[Sight]) -> Budget:
    XYZ_a, XYZ_b = _mean_XYZ(first), _mean_XYZ(second)
    to_Lab_a, to_Lab_b = Lab_jacobian(XYZ_a), Lab_jacobian(XYZ_b)
    lights = [np.mean([s.light.u_between(s.card_px, s.reading.centre_px) for s in zone]) for zone in (first, second)]
    delta = np.mean([s.reading.Lab for s in second], axis=0) - np.mean([s.reading.Lab for s in first], axis=0)
    alike = {(s.camera, s.light_name) for s in (*first, *second)}
    if len(alike) > 1:
        camera = 2 * np.diag(U_CAMERA_ABSOLUTE**2)
    else:
        known = first[0].camera is not None
        camera = _camera_of_pair(delta, U_CAMERA_OTHER_PHOTO if known else U_CAMERA_UNKNOWN)
    budget = {
        "wood": _mean([_wood_alone(s.reading, to_Lab_a) for s in first])
        + _mean([_wood_alone(s.reading, to_Lab_b) for s in second]),
        "card": _card_noise([to_Lab_a * XYZ_a, to_Lab_b * XYZ_b], [first, second])
        + _stated_card(to_Lab_b * XYZ_b - to_Lab_a * XYZ_a),
        "light": _along(to_Lab_a @ XYZ_a, float(lights[0]))
        + _along(to_Lab_b @ XYZ_b, float(lights[1]))
        + sum(
            _mixed_light([s.light.u_Lab_between(s.card_px, s.reading.centre_px) for s in zone])
            for zone in (first, second)
        ),
        "camera": camera,
    }
    repeats = _repeats([s.reading.Lab for s in first]) + _repeats([s.reading.Lab for s in second])
    return {**budget, "repeats": repeats}


def _mean_XYZ(sights: Sequence[Sight]) -> Floats:
    return np.asarray(np.mean([sight.reading.XYZ for sight in sights], axis=0))


def _wood_alone(reading: ZoneReading, to_Lab: Floats) -> Floats:
    """Covariance of a zone's mean Lab as a sample of so much treated wood, from its blocks.

    Rows of blocks (strips along the grain) and columns of blocks are random effects of a two-way layout: streaks
    run along whole rows, so the blocks of a row are no independent witnesses.
    """
    blocks = reading.block_XYZ @ to_Lab.T
    return _rows_part(np.nanmean(_rows(blocks), axis=1)) + _columns_part(blocks)


def _wood_of_pair(a: Sight, b: Sight, to_Lab_a: Floats, to_Lab_b: Floats) -> Floats:
    """The same for a difference: on one board, strips at the same height are paired, and shared streaks cancel."""
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


def _card_noise(acts: Sequence[Floats], zones: Sequence[Sequence[Sight]]) -> Floats:
    """Noise of the card's mean, through the derivatives (3, 3) by a relative error of each tristimulus value."""
    total = np.zeros((3, 3))
    for act, sights in zip(acts, zones, strict=True):
        variance = np.mean([sight.u_card_relative**2 for sight in sights], axis=0) / len(sights)
        total += (act * variance) @ act.T
    return total


def _stated_card(act: Floats) -> Floats:
    """Doubt about the card's stated value: level common to all three tristimulus values, neutrality of each."""
    relative = np.full((3, 3), U_CARD_LEVEL**2) + np.diag(np.full(3, U_CARD_NEUTRAL**2))
    return np.asarray(act @ relative @ act.T)


def _along(direction: Floats, u_relative: float) -> Floats:
    """Covariance of a relative error of the light: all three tristimulus values move together."""
    return np.outer(direction, direction) * u_relative**2


def _mixed_light(u_Lab: Sequence[Floats]) -> Floats:
    """Covariance of what light of changing colour leaves, from its uncertainty (3,) in each photo: a bias of all."""
    return np.diag(np.mean(u_Lab, axis=0) ** 2)


def _camera_of_pair(delta_Lab: Floats, u_more: float) -> Floats:
    distance = float(np.sqrt((delta_Lab**2).sum()))
    variance = U_CAMERA_PAIR_FLOOR**2 + (U_CAMERA_PAIR_SHARE * distance) ** 2 + u_more**2
    return np.eye(3) * variance


def _repeats(values: Sequence[Floats]) -> Floats:
    """Covariance of the mean of repeated photos, from their own spread; none seen from a single photo."""
    if len(values) < 2:
        return np.zeros((3, 3))
    return np.asarray(np.cov(np.stack(values), rowvar=False) / len(values))


def _with_repeats(budget: Budget, values: Sequence[Floats]) -> Budget:
    return {**budget, "repeats": _repeats(values)}


def _mean(covariances: Sequence[Floats]) -> Floats:
    return np.asarray(np.mean(covariances, axis=0))
