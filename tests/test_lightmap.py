"""The light map from the strips' white paper, on lights that are computed from lamps, windows and lenses.

L* at L* 50: a relative error e of the light is 116/3 Y^(1/3) e = 22.0 e there (CIE 1976).
"""

from typing import Any

import numpy as np
import pytest
from lamps import Floats, Shine, added, lamp, lens, shadow, straight, through, vignette, window
from numpy.typing import ArrayLike

from calibration.falloff import Lines, fit_falloff
from calibration.lightmap import LightMap, light_from_samples
from calibration.plane import Plane, plane_from_corners

L_PER_UNIT = 22.0
PAPER = np.array([0.60, 0.62, 0.50])  # warm under this camera's balance: the map must not care
NOISE = 0.003
SIZES = [(300.0, 150.0), (400.0, 200.0)]


def plane_of(length_mm: float, width_mm: float) -> Plane:
    """A board seen slightly askew."""
    right, bottom = 200 + 5 * length_mm, 200 + 5 * width_mm
    corners = [[200, 200], [right, 215], [right - 5, bottom + 5], [205, bottom - 5]]
    return plane_from_corners(corners, length_mm, width_mm)


def paper_places(plane: Plane, rows_mm: tuple[float, ...] = (15.0,), pitch_mm: float = 10.0) -> Floats:
    """Middles (n, 2) of white fields beside both long edges, board mm."""
    x = np.arange(pitch_mm / 2, plane.length_mm, pitch_mm)
    heights = [y for row in rows_mm for y in (-row, plane.width_mm + row)]
    return np.concatenate([np.stack([x, np.full_like(x, y)], axis=-1) for y in heights])


def card_mm(plane: Plane) -> Floats:
    return np.array([plane.length_mm + 60, plane.width_mm / 2])


def mapped(
    light: Shine, plane: Plane, places: Floats | None = None, *, noise: float = NOISE, seed: int = 11
) -> LightMap:
    places = paper_places(plane) if places is None else places
    rng = np.random.default_rng(seed)
    RGB = light(places)[:, np.newaxis] * PAPER * np.exp(rng.normal(0, noise, (len(places), 1)))
    result = light_from_samples(plane.to_px(places), RGB, None, plane, plane.to_px(card_mm(plane)))
    assert result is not None
    return result


def rise(pair: Floats) -> float:
    """From the first to the second of two."""
    return float(pair[1] - pair[0])


def face(plane: Plane) -> Floats:
    return np.stack(np.meshgrid(np.linspace(0, plane.length_mm, 25), np.linspace(0, plane.width_mm, 13)), axis=-1)


def left_over(result: LightMap, light: Shine, plane: Plane) -> tuple[float, float, float]:
    """Largest error over the face against its mean, L* at L* 50; share of the falloff left over; the falloff."""
    true = np.log(light(face(plane)))
    error = result.light.log_at(plane.to_px(face(plane))) - true
    worst = L_PER_UNIT * np.abs(error - error.mean()).max()
    return float(worst), float(np.ptp(error) / np.ptp(true)), float(-np.expm1(-np.ptp(true)))


def lights(plane: Plane) -> dict[str, Shine]:
    size = plane.length_mm, plane.width_mm
    middle = np.array(size) / 2
    return {
        "lamp at the left, 0.6 m": lamp(600, 180, middle),
        "lamp at the left, 1 m": lamp(1000, 180, middle),
        "lamp at the left, 1.5 m": lamp(1500, 180, middle),
        "lamp above, 0.6 m": lamp(600, -90, middle),
        "lamp above, 1 m": lamp(1000, -90, middle),
        "lamp beyond a corner": lamp(700, 215, middle),
        "low lamp": lamp(800, 20, middle, elevation_deg=28),
        "window at the left": window(900, 180, middle),
        "window above": window(900, -90, middle),
        "window beyond a corner": window(1200, -130, middle),
        "lens at 0.45 m": lens(450, middle + np.array([20, -15])),
        "lens at 0.7 m, lamp": through(lens(700, middle), lamp(1000, 200, middle)),
        "vignette": vignette(0.4, (0.3 * size[0], 0.6 * size[1]), *size),
        "straight along": straight(0.4, 0, *size),
        "straight across": straight(0.4, 90, *size),
        "straight askew": straight(0.4, 135, *size),
    }


@pytest.mark.parametrize("size_mm", SIZES)
@pytest.mark.parametrize("name", list(lights(plane_of(*SIZES[0]))))
def test_of_a_falloff_of_40_percent_less_than_0_4_L_and_a_seventh_is_left(
    name: str, size_mm: tuple[float, float]
) -> None:
    """Falloffs of 22 to 77 % over the board, the limit growing with those above 40 %; one row of fields a strip."""
    plane = plane_of(*size_mm)
    light = lights(plane)[name]
    worst, share, falloff = left_over(mapped(light, plane), light, plane)
    assert falloff > 0.2
    assert worst <= 0.4 * max(1, falloff / 0.4)
    assert share <= 0.15


@pytest.mark.parametrize("size_mm", SIZES)
@pytest.mark.parametrize("distance_mm", [700, 1000, 1500])
def test_two_lamps_at_45_degrees_at_the_boards_ends_leave_below_0_4_L(
    size_mm: tuple[float, float], distance_mm: float
) -> None:
    plane = plane_of(*size_mm)
    middle = np.array(size_mm) / 2
    light = added(lamp(distance_mm, 175, middle), lamp(1.1 * distance_mm, 8, middle))
    assert left_over(mapped(light, plane), light, plane)[0] <= 0.4


def test_lamps_above_and_below_the_board_need_two_rows_of_fields_a_strip_to_be_told_from_a_lens() -> None:
    """Along the strips both sag alike; only the slope across a strip tells. One row: the uncertainty knows."""
    plane = plane_of(300, 200)
    light = added(lamp(1000, 90, (150, 100)), lamp(1000, -90, (150, 100)))
    one_row, two_rows = (mapped(light, plane, paper_places(plane, rows)) for rows in ((17.5,), (14.1, 20.9)))
    assert left_over(two_rows, light, plane)[0] < 0.2 < left_over(one_row, light, plane)[0] < 0.6
    edge, middle = plane.to_px([(150, 5), (150, 100)])
    error = rise(one_row.light.log_at([edge, middle])) - rise(np.log(light(np.array([(150, 5), (150, 100)]))))
    assert abs(error) < 1.96 * one_row.light.u_between(edge, middle)
    assert two_rows.light.u_between(edge, middle) < one_row.light.u_between(edge, middle)


def some_light(rng: np.random.Generator, middle: Floats) -> Shine:
    """One or two lamps anywhere, with room light and a lens that darkens its corners."""
    distance, azimuth = rng.uniform(600, 1500), rng.uniform(0, 360)
    light = lamp(distance, azimuth, middle, rng.uniform(30, 60))
    if rng.random() < 0.4:
        light = added(light, lamp(distance * rng.uniform(0.9, 1.1), azimuth + 180, middle))
    level = rng.uniform(0, 0.3)
    room = added(light, lambda points: np.full(points.shape[:-1], level))
    return through(room, lens(rng.uniform(600, 1500), middle + rng.normal(0, 20, 2)))


def test_the_uncertainty_holds_the_error_19_times_of_20() -> None:
    """Strips tilted against each other by half a degree or so (0.4 %) included."""
    rng = np.random.default_rng(5)
    ratios = []
    for number in range(40):
        plane = plane_of(rng.uniform(300, 400), rng.uniform(150, 200))
        light = some_light(rng, np.array([plane.length_mm, plane.width_mm]) / 2)
        places = paper_places(plane, pitch_mm=14)
        tilt = 1 + rng.normal(0, 0.004)
        result = mapped(
            lambda points, f=light, t=tilt: f(points) * np.where(points[:, 1] > 0, t, 1), plane, places, seed=number
        )
        ends = np.array([(10, 10), (150, 75), (280, 120), card_mm(plane)])
        true, told = np.log(light(ends)), result.light.log_at(plane.to_px(ends))
        for a, b in ((0, 1), (0, 2), (1, 2), (1, 3), (2, 3)):
            u = result.light.u_between(*plane.to_px(ends[[a, b]]))
            ratios.append((told[b] - told[a] - true[b] + true[a]) / u)
    held = np.mean(np.abs(ratios) < 1.96)
    assert held >= 0.93
    assert np.sqrt(np.mean(np.square(ratios))) > 0.4  # and is not far too wide


def test_the_map_is_1_at_the_card_and_paper_and_exposure_do_not_matter() -> None:
    plane = plane_of(300, 150)
    places, light = paper_places(plane), lamp(900, 200, (150, 75))
    RGB = light(places)[:, np.newaxis] * PAPER
    card = plane.to_px(card_mm(plane))
    first = light_from_samples(plane.to_px(places), RGB, None, plane, card)
    other = light_from_samples(plane.to_px(places), RGB * [0.3, 0.4, 0.5], None, plane, card)
    assert first is not None
    assert other is not None
    assert first.light.log_RGB_at(card) == pytest.approx([0, 0, 0], abs=1e-12)
    points = plane.to_px(face(plane))
    assert other.light.log_RGB_at(points) == pytest.approx(first.light.log_RGB_at(points), abs=1e-6)
    assert first.light.mapped
    assert first.light.range_over(plane) == pytest.approx(left_over(first, light, plane)[2], abs=0.01)


def test_a_mirrored_board_has_the_mirrored_map() -> None:
    plane = plane_from_corners([[100, 100], [1600, 100], [1600, 850], [100, 850]], 300, 150)
    places, light = paper_places(plane), added(lamp(800, 215, (150, 75)), lamp(1200, 10, (150, 75)))
    mirror = np.array([300.0, 150.0])
    there = mapped(light, plane, places, noise=0.0)
    back = mapped(lambda points: light(mirror - points), plane, places, noise=0.0)
    here, turned = plane.to_px(face(plane)), plane.to_px(mirror - face(plane))
    same, other = there.light.log_at(here), back.light.log_at(turned)
    assert other - other.mean() == pytest.approx(same - same.mean(), abs=1e-6)


def spoiled(light: Shine, plane: Plane, share: Floats) -> LightMap:
    """The map when each field shows only a share of the light."""
    return mapped(lambda points: light(points) * share, plane)


def test_dirt_and_print_on_an_eighth_of_the_fields_leave_no_mark() -> None:
    plane = plane_of(360, 160)
    light = lamp(900, 200, (180, 80))
    rng = np.random.default_rng(3)
    count = len(paper_places(plane))
    share = np.where(rng.random(count) < 0.125, rng.uniform(0.6, 0.97, count), 1.0)
    clean, dirty = mapped(light, plane), spoiled(light, plane, share)
    points = plane.to_px(face(plane))
    assert L_PER_UNIT * np.abs(dirty.light.log_at(points) - clean.light.log_at(points)).max() < 0.15
    assert dirty.left_out == pytest.approx((share < 1).mean(), abs=0.05)
    assert dirty.light.findings == ()
    assert clean.left_out < 0.05


@pytest.mark.parametrize("depth", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("edge", ["top", "bottom"])
def test_a_hands_shadow_on_one_strip_is_told_with_its_place_and_not_followed(edge: str, depth: float) -> None:
    plane = plane_of(360, 160)
    light = lamp(900, 200, (180, 80))
    on_edge = (paper_places(plane)[:, 1] > 80) == (edge == "bottom")
    share = np.where(on_edge, shadow(220, 290, depth)(paper_places(plane)), 1.0)
    result = spoiled(light, plane, share)
    assert left_over(result, light, plane)[0] < 0.4
    (found,) = result.light.shadows
    assert found.edge == edge
    assert (found.from_mm, found.to_mm) == pytest.approx((220, 290), abs=15)
    assert found.depth == pytest.approx(-depth, abs=0.03)
    (told,) = [finding for finding in result.light.findings if finding.code == "shadow-edge"]
    assert f"{edge} edge" in told.message
    assert "darker" in told.message
    assert result.light.shadows_over(0, 200) == ()
    assert result.light.shadows_over(200, 260) == (found,)
    dark, bright, other = plane.to_px([(255, 80), (60, 80), (100, 80)])
    assert result.light.u_between(dark, bright) > depth / 2
    assert result.light.u_between(other, bright) < 0.01


def test_a_shadow_of_2_percent_is_none() -> None:
    plane = plane_of(360, 160)
    share = shadow(220, 290, 0.02)(paper_places(plane))
    assert spoiled(lamp(900, 200, (180, 80)), plane, share).light.shadows == ()


@pytest.mark.parametrize("depth", [0.1, 0.2, 0.4])
def test_the_edge_of_a_window_frames_shadow_across_the_board_is_told(depth: float) -> None:
    """One side of it is followed, the other is not, or neither quite: the uncertainty holds the step."""
    plane = plane_of(360, 160)
    light = through(lamp(900, 200, (180, 80)), shadow(170, 900, depth))
    result = mapped(light, plane)
    ends = np.array([(90.0, 80.0), (250.0, 80.0)])
    assert {found.edge for found in result.light.shadows} == {"top", "bottom"}
    assert result.light.shadows_over(160, 180)
    error = rise(result.light.log_at(plane.to_px(ends))) - rise(np.log(light(ends)))
    assert abs(error) < 1.96 * result.light.u_between(*plane.to_px(ends))


def test_a_hot_spot_is_told_as_brighter() -> None:
    plane = plane_of(360, 160)

    def spot(points: Floats) -> Floats:
        return np.asarray(1 + 0.3 * np.exp(-(((points[..., 0] - 120) / 25) ** 2)))

    result = spoiled(lamp(900, 200, (180, 80)), plane, spot(paper_places(plane)))
    assert {found.edge for found in result.light.shadows} == {"top", "bottom"}
    assert all(found.depth > 0.05 and found.from_mm < 120 < found.to_mm for found in result.light.shadows)
    assert "brighter" in result.light.findings[0].message


def two_colours(contrast: float, plane: Plane, seed: int = 2) -> tuple[LightMap, Any]:
    """A lamp at either end, the right one redder by `contrast` and less blue by as much."""
    middle = np.array([plane.length_mm, plane.width_mm]) / 2
    left, right = lamp(900, 170, middle), lamp(950, 5, middle)

    def light(points: Floats) -> Floats:
        red = np.array([contrast, 1.0, 1 / contrast])
        return left(points)[..., np.newaxis] + right(points)[..., np.newaxis] * red

    places = paper_places(plane)
    noise = np.random.default_rng(seed).normal(0, NOISE, (len(places), 3))
    RGB = light(places) * PAPER * np.exp(noise) / 4
    result = light_from_samples(plane.to_px(places), RGB, None, plane, plane.to_px(card_mm(plane)))
    assert result is not None
    return result, light


def test_lamps_of_two_colours_are_divided_out_channel_by_channel_and_told() -> None:
    plane = plane_of(360, 160)
    result, light = two_colours(1.4, plane)
    true = np.log(light(face(plane)) / light(card_mm(plane)))
    error = result.light.log_RGB_at(plane.to_px(face(plane))) - true
    of_ratios = (error[..., ::2] - error[..., 1:2]).reshape(-1, 2)
    assert np.ptp(true[..., 0] - true[..., 1]) > 0.08
    assert np.ptp(of_ratios, axis=0).max() < 0.01
    assert L_PER_UNIT * np.abs(error - error.mean(axis=(0, 1))).max() < 0.4
    assert result.is_mixed
    assert [finding.code for finding in result.light.findings] == ["mixed-light"]


def test_lamps_of_one_kind_are_not_mixed_light() -> None:
    plane = plane_of(360, 160)
    for contrast in (1.0, 1.02):
        result, _ = two_colours(contrast, plane)
        assert not result.is_mixed
        channels = result.light.log_RGB_at(plane.to_px(face(plane)))
        assert np.ptp(channels, axis=-1).max() == 0
        assert result.light.findings == ()


def test_rough_paper_is_told_by_its_residual() -> None:
    plane, light = plane_of(360, 160), lamp(900, 200, (180, 80))
    smooth, rough = mapped(light, plane, noise=0.005), mapped(light, plane, noise=0.03)
    assert smooth.residual == pytest.approx(0.005, rel=0.3)
    assert rough.residual == pytest.approx(0.03, rel=0.4)
    assert [finding.code for finding in rough.light.findings] == ["light-residual"]
    assert smooth.light.findings == ()
    ends = plane.to_px([(20, 20), (340, 140)])
    assert rough.light.u_between(*ends) > smooth.light.u_between(*ends)


def test_one_strip_alone_still_maps_along_the_board_and_is_unsure_across() -> None:
    plane = plane_of(360, 160)
    light = lamp(1000, 180, (180, 80))
    places = paper_places(plane)
    result = mapped(light, plane, places[places[:, 1] < 0])
    along = plane.to_px([(20, 5), (340, 5)])
    across = plane.to_px([(180, 5), (180, 155)])
    true = rise(np.log(light(np.array([(20.0, 5.0), (340.0, 5.0)]))))
    assert rise(result.light.log_at(along)) == pytest.approx(true, abs=0.02)
    assert result.light.u_between(*across) > 0.1
    assert mapped(light, plane).light.u_between(*across) < 0.02


def test_the_uncertainty_grows_beyond_the_strips() -> None:
    plane = plane_of(360, 160)
    light = mapped(lamp(1000, 180, (180, 80)), plane).light
    middle, *out = plane.to_px([(180, 80), (430, 80), (520, 80), (1500, 80)])
    near, far, farthest = (light.u_between(middle, point) for point in out)
    assert near < far < farthest
    assert farthest > 0.2
    assert light.u_between(middle, middle) == 0


def test_one_near_lamp_and_a_straight_falloff_are_told_apart() -> None:
    plane = plane_of(360, 160)
    near, even = mapped(lamp(600, 215, (180, 80)), plane), mapped(straight(0.4, 150, 360, 160), plane)
    assert max(near.laws, key=lambda law: near.laws[law]) == "one lamp or a lens"
    assert even.laws["linear"] > near.laws["linear"]
    assert sum(near.laws.values()) == pytest.approx(1)


def test_samples_that_mean_nothing_are_left_out_and_too_few_make_no_map() -> None:
    plane = plane_of(300, 150)
    places = paper_places(plane)
    RGB = np.repeat(lamp(900, 200, (150, 75))(places)[:, np.newaxis], 3, axis=1)
    card = plane.to_px(card_mm(plane))
    points = plane.to_px(face(plane))
    whole = light_from_samples(plane.to_px(places), RGB, None, plane, card)
    spoiled_RGB = np.concatenate([RGB, [[np.nan, 1, 1], [0, 1, 1], [-1, 1, 1]]])
    with_rubbish = light_from_samples(plane.to_px([*places, *places[:3]]), spoiled_RGB, None, plane, card)
    assert whole is not None
    assert with_rubbish is not None
    assert with_rubbish.light.log_at(points) == pytest.approx(whole.light.log_at(points), abs=1e-9)
    assert light_from_samples(plane.to_px(places[:7]), RGB[:7], None, plane, card) is None
    assert light_from_samples(plane.to_px(places[:8]), RGB[:8], None, plane, card) is not None
    assert light_from_samples(np.empty((0, 2)), np.empty((0, 3)), None, plane, card) is None


@pytest.mark.parametrize(("points", "RGB", "u"), [((9, 3), (9, 3), None), ((9, 2), (8, 3), None), ((9, 2), (9, 3), 8)])
def test_arrays_that_do_not_belong_together_are_refused(points: Any, RGB: Any, u: int | None) -> None:  # noqa: ANN401 - shapes
    with pytest.raises(ValueError, match="light_from_samples"):
        light_from_samples(np.ones(points), np.ones(RGB), None if u is None else np.ones(u), plane_of(300, 150), (0, 0))


def test_stated_uncertainties_weigh() -> None:
    """One half of the fields is said to be bad, and is bad: the map follows the good ones."""
    plane = plane_of(360, 160)
    light, places = lamp(900, 200, (180, 80)), paper_places(plane)
    bad = np.arange(len(places)) % 2 == 0
    noise = np.random.default_rng(1).normal(0, np.where(bad, 0.02, 0.002))
    RGB = (light(places) * np.exp(noise))[:, np.newaxis] * PAPER
    card, points = plane.to_px(card_mm(plane)), plane.to_px(face(plane))

    def error(u: ArrayLike | None) -> float:
        result = light_from_samples(plane.to_px(places), RGB, u, plane, card)
        assert result is not None
        off = result.light.log_at(points) - np.log(light(face(plane)))
        return float(np.std(off))

    assert error(np.where(bad, 0.02, 0.002)) < error(None)


def test_the_laws_posterior_does_not_depend_on_the_lights_level() -> None:
    plane = plane_of(300, 150)
    places = paper_places(plane)
    log_light = np.log(lamp(800, 190, (150, 75))(places))
    fits = [
        fit_falloff(Lines(places, log_light + level, np.full(len(places), 0.003), 300, 150)) for level in (0.0, -3.0)
    ]
    assert [fit.share for fit in fits[1].fits] == pytest.approx([fit.share for fit in fits[0].fits], rel=1e-6)
    assert fits[1].log_at(face(plane)) + 3 == pytest.approx(fits[0].log_at(face(plane)), abs=1e-9)
