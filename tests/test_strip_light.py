"""The light map from white fields where the printed strips have them: dirt, shadows, curled paper, cards far away.

L* at L* 50: a relative error e of the light is 22.0 e there (CIE 1976).
"""

from collections.abc import Callable

import numpy as np
import pytest
from lamps import Floats, Shine, added, lamp, lens, shadow, through
from numpy.typing import NDArray

from calibration.lightmap import LightMap, light_from_samples
from calibration.plane import Plane, plane_from_corners
from calibration.strips import Side, sections, white_fields_mm

L_PER_UNIT = 22.0
NOISE = 0.003
PAPER = np.array([0.60, 0.62, 0.50])
Lean = Callable[[Floats], Floats]  # d ln E by the tilt of the paper toward the bottom of the board, rad


def plane_of(length_mm: float, width_mm: float) -> Plane:
    right, bottom = 200 + 5 * length_mm, 200 + 5 * width_mm
    corners = np.array([[200, 200], [right, 215], [right - 5, bottom + 5], [205, bottom - 5]])
    return plane_from_corners(corners, length_mm, width_mm)


def patches_of(length_mm: float, width_mm: float) -> tuple[Floats, NDArray[np.intp]]:
    """Middles (n, 2) of four patches a white field, board mm, and the number of the field that each belongs to."""
    points, fields = [], []
    for side in Side:
        down = width_mm if side is Side.BOTTOM else 0.0
        boxes = [
            box for part in sections(side, length_mm) for cell in part.cells for box in white_fields_mm(side, cell)
        ]
        for left, top, right, bottom in boxes:
            x, y = (np.array([0.25, 0.75]) * (b - a) + a for a, b in ((left, right), (top, bottom)))
            points += [(along, across + down) for along in x for across in y]
            fields += [len(points)] * 4
    return np.array(points), np.array(fields)


def some_light(rng: np.random.Generator, middle: Floats) -> tuple[Shine, Lean]:
    """One or two lamps anywhere, with room light and a lens that darkens its corners."""
    distance, azimuth, elevation = rng.uniform(600, 1500), rng.uniform(0, 360), rng.uniform(30, 60)
    lamps = [(distance, azimuth)]
    if rng.random() < 0.4:
        lamps.append((distance * rng.uniform(0.9, 1.1), azimuth + 180))
    shine = [lamp(far, there, middle, elevation) for far, there in lamps]
    level = rng.uniform(0, 0.3)
    light = added(*shine, lambda points: np.full(points.shape[:-1], level))
    glass = lens(rng.uniform(600, 1500), middle + rng.normal(0, 20, 2))

    def lean(points: Floats) -> Floats:
        each = [np.sin(np.radians(there)) * one(points) for one, (_, there) in zip(shine, lamps, strict=True)]
        return np.asarray(sum(each) / np.tan(np.radians(elevation)) / light(points))

    return through(light, glass), lean


def curled(points: Floats, plane: Plane, lean: Lean, per_m: tuple[float, float]) -> Floats:
    """What curl makes of the light on the paper: the strips' outer edges rise, with these curvatures (top, bottom)."""
    at_top = points[:, 1] < 0
    outward_m = np.where(at_top, -points[:, 1], points[:, 1] - plane.width_mm) / 1000
    return np.asarray(1 + np.where(at_top, per_m[0], -per_m[1]) * outward_m * lean(points))


def mapped(plane: Plane, points: Floats, paper: Floats, card_mm: Floats | None = None, seed: int = 1) -> LightMap:
    noise = np.random.default_rng(seed).normal(0, NOISE, (len(points), 1))
    card = np.array([plane.length_mm + 60, plane.width_mm / 2]) if card_mm is None else card_mm
    result = light_from_samples(
        plane.to_px(points), paper[:, None] * PAPER * np.exp(noise), None, plane, plane.to_px(card)
    )
    assert result is not None
    return result


def worst_L(result: LightMap, light: Shine, plane: Plane) -> float:
    """Largest error over the face against its mean, L* at L* 50."""
    face = np.stack(np.meshgrid(np.linspace(0, plane.length_mm, 13), np.linspace(0, plane.width_mm, 7)), axis=-1)
    error = result.light.log_at(plane.to_px(face)) - np.log(light(face))
    return float(L_PER_UNIT * np.abs(error - error.mean()).max())


def dirt(rng: np.random.Generator, points: Floats, fields: NDArray[np.intp], share: float) -> Floats:
    """What dirt on a share of the fields leaves of them: all over a field, or a spot on part of it."""
    left = np.ones(len(points))
    for field in np.unique(fields)[rng.random(len(np.unique(fields))) < share]:
        within, depth = np.flatnonzero(fields == field), rng.uniform(0.03, 0.4)
        if rng.random() < 0.5:
            left[within] *= 1 - depth
        else:
            middle, radius_mm = points[rng.choice(within)] + rng.normal(0, 3, 2), rng.uniform(3, 9)
            inside = (radius_mm + 3 - np.hypot(*(points - middle).T)) / 6
            left *= 1 - depth * np.clip(inside, 0, 1)
    return left


def on_dirty_strips(share: float, number: int) -> tuple[LightMap, float]:
    """A map by strips of which this share of fields is dirty, and its worst error."""
    rng = np.random.default_rng(number)
    plane = plane_of(rng.uniform(240, 400), rng.uniform(120, 200))
    light, _ = some_light(rng, np.array([plane.length_mm, plane.width_mm]) / 2)
    points, fields = patches_of(plane.length_mm, plane.width_mm)
    result = mapped(plane, points, light(points) * dirt(rng, points, fields, share), seed=number)
    return result, worst_L(result, light, plane)


def test_dirt_on_an_eighth_of_the_fields_is_no_shadow() -> None:
    """At most 1 board of 50; the light is known as well as by clean strips."""
    results = [on_dirty_strips(0.12, number) for number in range(50)]
    assert sum(bool(result.light.shadows) for result, _ in results) <= 1
    assert np.quantile([error for _, error in results], 0.95) < 0.3


def test_dirt_on_a_quarter_of_the_fields_does_not_lead_the_map_astray() -> None:
    """On some boards half of a strip is dirty then."""
    results = [on_dirty_strips(0.25, number) for number in range(40)]
    assert max(error for _, error in results) < 0.4
    assert sum(bool(result.light.shadows) for result, _ in results) <= 1


@pytest.mark.parametrize(("depth", "width_mm"), [(0.04, 60), (0.06, 40), (0.15, 35), (0.3, 150)])
def test_a_shadow_on_clean_strips_is_told_and_not_followed(depth: float, width_mm: float) -> None:
    for number in range(8):
        rng = np.random.default_rng(number)
        plane = plane_of(rng.uniform(240, 400), rng.uniform(120, 200))
        light, _ = some_light(rng, np.array([plane.length_mm, plane.width_mm]) / 2)
        points, _ = patches_of(plane.length_mm, plane.width_mm)
        start = rng.uniform(10, plane.length_mm - width_mm - 10)
        shade = np.where(points[:, 1] < 0, shadow(start, start + width_mm, depth)(points), 1.0)
        result = mapped(plane, points, light(points) * shade, seed=number)
        assert any(found.edge == "top" and found.touches(start, start + width_mm) for found in result.light.shadows)
        assert worst_L(result, light, plane) < 0.4


def test_one_dirty_row_of_fields_is_no_shadow() -> None:
    """A smear along the strip's outer half, or the shadow of the board's own edge on the inner one."""
    plane = plane_of(300, 150)
    light = lamp(900, 200, (150, 75))
    points, _ = patches_of(300, 150)
    for near in (True, False):
        row = (points[:, 1] < 0) & ((points[:, 1] > -17.5) == near) & (points[:, 0] > 60) & (points[:, 0] < 200)
        result = mapped(plane, points, light(points) * np.where(row, 0.85, 1.0))
        assert result.light.shadows == ()
        assert worst_L(result, light, plane) < 0.4


def test_curled_strips_are_held_by_the_uncertainty() -> None:
    """Curvatures of up to 1 per m, much alike on both strips: between places of the board, card and board."""
    errors, ratios = [], []
    for number in range(30):
        rng = np.random.default_rng(number)
        plane = plane_of(rng.uniform(240, 400), rng.uniform(120, 200))
        middle = np.array([plane.length_mm, plane.width_mm]) / 2
        light, lean = some_light(rng, middle)
        points, _ = patches_of(plane.length_mm, plane.width_mm)
        common = rng.normal(0, 0.6)
        per_m = common + rng.normal(0, 0.25), common + rng.normal(0, 0.25)
        card = middle + rng.choice([-1, 1], 2) * (0, plane.width_mm / 2 + rng.uniform(60, 300))
        result = mapped(plane, points, light(points) * curled(points, plane, lean, per_m), card, seed=number)
        errors.append(worst_L(result, light, plane))
        ends = np.array([(10, middle[1]), middle, (middle[0], 8), (middle[0], plane.width_mm - 8), card])
        off = result.light.log_at(plane.to_px(ends)) - np.log(light(ends))
        for a, b in ((0, 1), (1, 2), (2, 3), (4, 1), (4, 2)):
            ratios.append((off[b] - off[a]) / result.light.u_between(*plane.to_px(ends[[a, b]])))
    assert np.quantile(errors, 0.95) < 0.4
    assert np.mean(np.abs(ratios) < 1.96) >= 0.93
    assert np.sqrt(np.mean(np.square(ratios))) > 0.4  # and is not far too wide


@pytest.mark.parametrize(("card_mm", "told"), [((360, 75), False), ((-60, 30), False), ((150, 330), True)])
def test_a_card_too_far_from_the_strips_is_told(card_mm: tuple[float, float], told: bool) -> None:
    plane = plane_of(300, 150)
    light = lamp(900, 200, (150, 75))
    points, _ = patches_of(300, 150)
    for paper in (light(points), np.where(points[:, 1] < 0, light(points), np.nan)):  # both strips, then one alone
        result = mapped(plane, points, paper, np.array(card_mm))
        codes = [finding.code for finding in result.light.findings]
        assert ("card-beyond-strips" in codes) is (told and bool(np.isfinite(paper).all()))


def test_lamps_of_two_colours_leave_doubt_about_colours_that_grows_with_the_change() -> None:
    """Of a* and b* more than of L*; none between places in the same light, and next to none by lamps of one kind."""
    plane = plane_of(300, 150)
    points, _ = patches_of(300, 150)
    left, right = lamp(900, 175, (150, 75)), lamp(950, 5, (150, 75))
    card = plane.to_px(np.array([360.0, 75.0]))

    def by(contrast: float) -> LightMap:
        RGB = left(points)[:, None] + right(points)[:, None] * np.array([contrast, 1.0, 1 / contrast])
        RGB *= np.exp(np.random.default_rng(2).normal(0, NOISE, RGB.shape)) / 4
        result = light_from_samples(plane.to_px(points), RGB * PAPER, None, plane, card)
        assert result is not None
        return result

    start, middle, end = plane.to_px([(10, 75), (150, 75), (290, 75)])
    mixed, slightly, alike = by(1.5).light, by(1.04), by(1.0).light
    L, a, b = mixed.u_Lab_between(start, end)
    assert 0 < L < min(a, b)
    assert max(a, b) == pytest.approx(0.8, abs=0.5)  # 0.10 to 0.15 of change, at 7 for each unit
    assert (mixed.u_Lab_between(start, middle) < mixed.u_Lab_between(start, end)).all()
    assert mixed.u_Lab_between(start, start) == pytest.approx(0)
    assert not slightly.is_mixed
    assert slightly.light.u_Lab_between(start, end)[1:].max() > 0.1  # seen, and left in
    assert alike.u_Lab_between(start, end).max() < 0.1
