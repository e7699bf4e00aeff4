"""Claims about colour differences: the published pairs, two other libraries, identities."""

import csv
from collections.abc import Callable
from typing import Any

import colour
import numpy as np
import pytest
import skimage.color
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from calibration import difference
from calibration.difference import components, delta_E_00, delta_E_ab
from calibration.published import published_file

Array = NDArray[np.float64]
Pair = tuple[list[float], list[float], float]
Measure = Callable[[ArrayLike, ArrayLike], Any]


def published_pairs() -> list[Pair]:
    with published_file("ciede2000_pairs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert [int(row["pair"]) for row in rows] == list(range(1, 35))
    return [
        (
            [float(row[key]) for key in ("L_1", "a_1", "b_1")],
            [float(row[key]) for key in ("L_2", "a_2", "b_2")],
            float(row["delta_E_00"]),
        )
        for row in rows
    ]


PAIRS = published_pairs()
PAIR_14 = PAIRS[13]

# Pairs as they occur on stained wood; standard, sample, then dE*ab, dE00, dE00 2:1:1, dL, dC, dH.
# Computed once with colour-science 0.4.7 and scikit-image 0.26, which agree to 1e-13; four decimals.
WOOD_PAIRS = [
    ((70, 8, 22), (68, 9, 23), 2.4495, 1.7843, 1.1599, -2, 1.2888, -0.5823),
    ((62, 13, 26), (58, 14, 27), 4.2426, 3.5850, 1.8891, -4, 1.3449, -0.4372),
    ((47, 8, 16), (45, 8.5, 16), 2.0616, 1.9897, 1.0887, -2, 0.2291, -0.4444),
    ((30, 10, 12), (28, 9, 10), 3.0000, 2.0976, 1.6268, -2, -2.1669, -0.5520),
    ((81.1, 7.2, 20), (68.2, 13.1, 25.9), 15.3633, 10.5741, 6.6866, None, None, None),
    ((55, 15, 35), (55, 18, 32), 4.2426, 3.0730, 3.0730, None, None, None),
    ((40, 12, 20), (40, 12, 24), 4.0000, 2.3166, 2.3166, None, None, None),
]
HALF_DIGIT = 5.1e-5

Lab_colours = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100)).map(np.array)


@pytest.fixture(scope="module")
def wood_and_wide_pairs() -> tuple[Array, Array]:
    """Random pairs: close ones near wood, near-neutral ones with every hue, far ones over all of CIELAB."""
    random = np.random.default_rng(5)
    wood = random.uniform([15, 0, 5], [90, 25, 45], (3000, 3))
    gray = random.normal([50, 0, 0], [20, 2, 2], (3000, 3))
    wide = random.uniform([0, -100, -110], [100, 100, 100], (3000, 3))
    other = random.uniform([0, -100, -110], [100, 100, 100], (3000, 3))
    standard = np.concatenate([wood, gray, wide])
    sample = np.concatenate([wood + random.normal(0, 2, wood.shape), gray + random.normal(0, 2, gray.shape), other])
    return standard, sample


# --- CIEDE2000 -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("standard", "sample", "expected"), PAIRS)
def test_ciede2000_of_the_published_pairs_in_either_order(
    standard: ArrayLike, sample: ArrayLike, expected: float
) -> None:
    """Sharma, Wu, Dalal 2005, four decimals. Pair 14 lies on a step, where 4.7461 is right as well."""
    found = delta_E_00(standard, sample)
    allowed = [expected, 4.7461] if (standard, sample) == PAIR_14[:2] else [expected]
    assert min(abs(found - value) for value in allowed) < HALF_DIGIT
    assert delta_E_00(sample, standard) == found


def test_ciede2000_of_the_published_pairs_in_float32() -> None:
    """All at once and in single precision: the rounding of the pairs themselves is most of the error."""
    standard, sample, expected = (np.array(column) for column in zip(*PAIRS, strict=True))
    found = delta_E_00(standard.astype(np.float32), sample.astype(np.float32))
    assert found.dtype == np.float32
    assert np.delete(np.abs(found - expected), 13).max() < 6e-5


@pytest.mark.parametrize("pair", [pair for pair in PAIRS if pair is not PAIR_14])
def test_ciede2000_2_1_1_of_the_published_pairs_agrees_with_two_libraries(pair: Pair) -> None:
    """Published for 1:1:1 only. Pair 14 is left out: there the rounding of a library's arctangent decides."""
    standard, sample, _ = pair
    found = delta_E_00(standard, sample, k_L=2)
    assert found == pytest.approx(skimage.color.deltaE_ciede2000(standard, sample, kL=2), abs=1e-9)
    assert found == pytest.approx(colour.difference.delta_E_CIE2000(standard, sample, textiles=True), abs=1e-9)


def test_the_step_at_opposite_hues_is_as_high_as_published() -> None:
    """Sharma, Wu, Dalal 2005: 0.0403 from pair 10 to 11, 0.0584 from pair 14 to 15."""
    value = [delta_E_00(*pair[:2]) for pair in PAIRS]
    assert value[10] - value[9] == pytest.approx(7.2195 - 7.1792, abs=1e-4)
    assert value[13] - value[14] == pytest.approx(4.8045 - 4.7461, abs=1e-4)


@pytest.mark.parametrize("wood", WOOD_PAIRS)
def test_ciede2000_of_pairs_like_stained_wood(wood: tuple[Any, ...]) -> None:
    standard, sample, _, de00, de00_211, *_ = wood
    assert delta_E_00(standard, sample) == pytest.approx(de00, abs=HALF_DIGIT)
    assert delta_E_00(standard, sample, k_L=2) == pytest.approx(de00_211, abs=HALF_DIGIT)


def test_ciede2000_agrees_with_two_libraries_on_wood_and_everywhere_else(
    wood_and_wide_pairs: tuple[Array, Array],
) -> None:
    standard, sample = wood_and_wide_pairs
    found = delta_E_00(standard, sample)
    assert np.abs(found - skimage.color.deltaE_ciede2000(standard, sample)).max() < 1e-8
    assert np.abs(found - colour.difference.delta_E_CIE2000(standard, sample)).max() < 1e-8


def test_every_factor_agrees_with_scikit_image(wood_and_wide_pairs: tuple[Array, Array]) -> None:
    standard, sample = wood_and_wide_pairs
    expected = skimage.color.deltaE_ciede2000(standard, sample, kL=1.75, kC=0.6, kH=1.3)
    assert np.abs(delta_E_00(standard, sample, k_L=1.75, k_C=0.6, k_H=1.3) - expected).max() < 1e-8


def test_float32_stays_within_1e_4_of_float64(wood_and_wide_pairs: tuple[Array, Array]) -> None:
    standard, sample = (colours.astype(np.float32) for colours in wood_and_wide_pairs)
    exact = delta_E_00(standard.astype(np.float64), sample.astype(np.float64))
    assert np.abs(delta_E_00(standard, sample) - exact).max() < 1e-4


@pytest.mark.parametrize("chromas", [(8, 8), (30, 12), (0.3, 60)])
def test_every_combination_of_two_hues_agrees_with_colour_science(chromas: tuple[float, float]) -> None:
    """Every branch of the mean hue. The 0.7 keeps off the steps, where the rounding of a library decides."""
    hue_1, hue_2 = (hue.ravel() for hue in np.meshgrid(np.arange(0, 360, 3.0), np.arange(0.7, 360, 3.0)))
    standard, sample = (_at_hue(hue, C) for hue, C in zip((hue_1, hue_2), chromas, strict=True))
    expected = colour.difference.delta_E_CIE2000(standard, sample)
    assert np.abs(delta_E_00(standard, sample) - expected).max() < 1e-8


@pytest.mark.parametrize("a_b", [(1, 0), (-1, 0), (0, 2), (0, -2), (0.5, 0.5), (-0.5, 0.5), (3, -3), (-3, -3)])
def test_exactly_opposite_hues_take_the_branch_of_the_published_formula(a_b: tuple[float, float]) -> None:
    """|h2 - h1| = 180 counts as "not more than 180": the mean hue is the plain mean (Sharma et al., equation 14)."""
    lower_hue_deg = min(np.degrees(np.arctan2(b, a)) % 360 for a, b in (a_b, (-a_b[0], -a_b[1])))
    C = np.hypot(*a_b)
    just_within_180 = _at_hue(lower_hue_deg + 1e-6, C), _at_hue(lower_hue_deg + 180 - 1e-6, C)
    just_beyond_180 = _at_hue(lower_hue_deg - 1e-6, C), _at_hue(lower_hue_deg + 180 + 1e-6, C)
    found = delta_E_00([50, *a_b], [50, -a_b[0], -a_b[1]])
    assert found == pytest.approx(colour.difference.delta_E_CIE2000(*just_within_180), abs=1e-6)
    assert abs(found - colour.difference.delta_E_CIE2000(*just_beyond_180)) > 1e-3


def _at_hue(hue_deg: ArrayLike, C: float) -> Array:
    hue = np.radians(hue_deg)
    return np.stack([np.full_like(hue, 50), C * np.cos(hue), C * np.sin(hue)], axis=-1)


@given(Lab_colours, Lab_colours)
def test_ciede2000_is_symmetric_and_never_negative(standard: Array, sample: Array) -> None:
    there = delta_E_00(standard, sample)
    assert there == delta_E_00(sample, standard)
    assert there >= 0


@given(Lab_colours)
def test_equal_colours_do_not_differ(colour_of_both: Array) -> None:
    parts = components(colour_of_both, colour_of_both)
    assert delta_E_00(colour_of_both, colour_of_both) == 0
    assert delta_E_ab(colour_of_both, colour_of_both) == 0
    assert (parts.dL, parts.da, parts.db, parts.dC, parts.dH) == (0, 0, 0, 0, 0)


@pytest.mark.parametrize("chroma", [0.0, 1e-300, 1e-30, 1e-12, 1e-3])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_hardly_any_chroma_is_no_trouble(chroma: float, dtype: type[np.floating]) -> None:
    """Against the closed form for two neutrals: dL / S_L. Warnings are errors here, so nothing over- or underflows."""
    standard, sample = np.array([50, chroma, -chroma], dtype), np.array([60, -chroma, chroma], dtype)
    S_L = 1 + 0.015 * 25 / np.sqrt(20 + 25)
    assert delta_E_00(standard, sample) == pytest.approx(10 / S_L, abs=1e-5)


# --- CIE 1976 and its parts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("wood", WOOD_PAIRS)
def test_cie76_of_pairs_like_stained_wood(wood: tuple[Any, ...]) -> None:
    standard, sample, de76, *_ = wood
    assert delta_E_ab(standard, sample) == pytest.approx(de76, abs=HALF_DIGIT)


@pytest.mark.parametrize("wood", [wood for wood in WOOD_PAIRS if wood[5] is not None])
def test_parts_of_pairs_like_stained_wood(wood: tuple[Any, ...]) -> None:
    standard, sample, _, _, _, dL, dC, dH = wood
    parts = components(standard, sample)
    assert (parts.dL, parts.dC, parts.dH) == pytest.approx((dL, dC, dH), abs=HALF_DIGIT)
    assert (parts.da, parts.db) == pytest.approx((sample[1] - standard[1], sample[2] - standard[2]), abs=1e-12)


def test_parts_add_up_to_the_whole(wood_and_wide_pairs: tuple[Array, Array]) -> None:
    standard, sample = wood_and_wide_pairs
    parts = components(standard, sample)
    whole = delta_E_ab(standard, sample) ** 2
    assert parts.dL**2 + parts.da**2 + parts.db**2 == pytest.approx(whole, rel=1e-12, abs=1e-9)
    assert parts.dL**2 + parts.dC**2 + parts.dH**2 == pytest.approx(whole, rel=1e-12, abs=1e-9)
    assert whole == pytest.approx(skimage.color.deltaE_cie76(standard, sample) ** 2, rel=1e-12)


def test_hue_part_is_the_chord_of_the_hue_angle(wood_and_wide_pairs: tuple[Array, Array]) -> None:
    """ISO/CIE 11664-4: 2 sqrt(C1 C2) sin(dh / 2), here with angles, which the code avoids."""
    (_, C_1, h_1), (_, C_2, h_2) = (colour.models.Lab_to_LCHab(colours).T for colours in wood_and_wide_pairs)
    dh_deg = (h_2 - h_1 + 180) % 360 - 180
    expected = 2 * np.sqrt(C_1 * C_2) * np.sin(np.radians(dh_deg) / 2)
    assert np.abs(components(*wood_and_wide_pairs).dH - expected).max() < 1e-9


@given(Lab_colours, Lab_colours)
def test_the_parts_of_sample_and_standard_swapped_are_opposite(standard: Array, sample: Array) -> None:
    there, back = components(standard, sample), components(sample, standard)
    for name in ("dL", "da", "db", "dC", "dH"):
        assert getattr(there, name) == -getattr(back, name)


def test_signs_say_what_they_mean() -> None:
    """A sample that is lighter, redder, yellower, more vivid; then one that turned from orange towards yellow."""
    parts = components([40, 10, 10], [45, 12, 13])
    assert min(parts.dL, parts.da, parts.db, parts.dC) > 0
    assert components([40, 20, 10], [40, 10, 20]).dH > 0
    assert components([40, 10, 20], [40, 20, 10]).dH < 0


def test_a_neutral_has_no_hue_to_differ_in() -> None:
    assert components([40, 0, 0], [40, 3, 4]).dH == 0
    assert components([40, 0, 0], [40, 3, 4]).dC == 5


# --- shapes, types, refusals ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("measure", [delta_E_ab, delta_E_00, lambda a, b: components(a, b).dH])
def test_a_map_against_one_target_is_each_pixel_against_it(measure: Measure) -> None:
    image = np.random.default_rng(9).uniform([20, -10, 0], [90, 30, 40], (7, 11, 3))
    target = np.array([50, 10, 20.0])
    expected = [[measure(pixel, target) for pixel in row] for row in image]
    assert measure(image, target) == pytest.approx(np.array(expected), abs=1e-12)
    assert measure(image[:, ::-1], target) == pytest.approx(np.array(expected)[:, ::-1], abs=1e-12)


@pytest.mark.parametrize("measure", [delta_E_ab, delta_E_00, lambda a, b: components(a, b).dC])
def test_shapes_broadcast(measure: Measure) -> None:
    zones, targets = (
        np.random.default_rng(2).uniform(20, 60, (5, 1, 3)),
        np.random.default_rng(3).uniform(20, 60, (4, 3)),
    )
    table = measure(zones, targets)
    assert table.shape == (5, 4)
    assert table[3, 2] == pytest.approx(measure(zones[3, 0], targets[2]), abs=1e-12)
    assert measure(np.empty((0, 3)), targets[0]).shape == (0,)
    assert np.ndim(measure(zones[0, 0], targets[0])) == 0


def test_tiles_do_not_show(monkeypatch: pytest.MonkeyPatch, wood_and_wide_pairs: tuple[Array, Array]) -> None:
    standard, sample = wood_and_wide_pairs
    at_once = delta_E_00(standard, sample)
    monkeypatch.setattr(difference, "TILE_PAIRS", 127)
    assert (delta_E_00(standard, sample) == at_once).all()
    assert (delta_E_00(standard, sample[0]) == delta_E_00(sample[:1], standard)).all()


@pytest.mark.parametrize("measure", [delta_E_ab, delta_E_00, lambda a, b: components(a, b).dH])
def test_float32_is_kept_only_when_both_are(measure: Measure) -> None:
    single, double = np.full((4, 3), 20, np.float32), np.full((4, 3), 30.0)
    assert measure(single, single).dtype == np.float32
    assert measure(single, double).dtype == np.float64
    assert measure([[20, 20, 20]], [[30, 30, 30]]).dtype == np.float64


def test_inputs_are_left_alone(wood_and_wide_pairs: tuple[Array, Array]) -> None:
    standard, sample = (colours.copy() for colours in wood_and_wide_pairs)
    delta_E_00(standard, sample)
    components(standard, sample)
    assert (standard == wood_and_wide_pairs[0]).all()
    assert (sample == wood_and_wide_pairs[1]).all()


@pytest.mark.parametrize("measure", [delta_E_ab, delta_E_00, components])
@pytest.mark.parametrize("wrong", [1.0, [1.0, 2.0], np.zeros((3, 4)), [50, np.nan, 0], [np.inf, 0, 0]])
def test_what_is_no_colour_is_refused_by_name(measure: Measure, wrong: ArrayLike) -> None:
    for pair in ((wrong, [50, 0, 0]), ([50, 0, 0], wrong)):
        with pytest.raises(ValueError, match=measure.__name__):
            measure(*pair)


@pytest.mark.parametrize("factor", ["k_L", "k_C", "k_H"])
@pytest.mark.parametrize("value", [0, -1, np.nan])
def test_a_factor_must_be_positive(factor: str, value: float) -> None:
    with pytest.raises(ValueError, match=factor):
        delta_E_00([50, 0, 0], [51, 0, 0], **{factor: value})
