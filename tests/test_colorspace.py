"""Claims about RGB, XYZ and CIELAB, held against standards, three other libraries and closed forms."""

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import colour
import numpy as np
import pytest
import skimage.color
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray
from PIL import ImageCms

from calibration import colorspace
from calibration.colorspace import (
    D50,
    D65,
    DISPLAY_P3_PRIMARIES,
    DISPLAY_P3_TO_XYZ,
    LINEAR_LIMIT,
    LINEAR_OFFSET,
    LINEAR_SLOPE,
    OPRGB_PRIMARIES,
    OPRGB_TO_XYZ,
    SRGB_PRIMARIES,
    SRGB_TO_XYZ,
    Lab_image,
    Lab_to_LCh,
    Lab_to_sRGB_codes,
    Lab_to_XYZ,
    XYZ_to_Lab,
    adaptation_matrix,
    primaries_matrix,
    sRGB_decode,
    sRGB_encode,
    white_XYZ,
)

Array = NDArray[np.float64]
Photo = NDArray[np.float32]
Primaries = tuple[tuple[float, float], ...]

TO_RATIO = SRGB_TO_XYZ / D50[:, np.newaxis]


def lightness(Y: float) -> float:
    return float(XYZ_to_Lab(Y * D50)[0])


# --- whites, primaries, adaptation ---------------------------------------------------------------------------------


def test_the_white_is_the_one_that_icc_profiles_are_written_with() -> None:
    """ICC.1:2022: 0.9642, 1, 0.8249, in units of 1/65536."""
    assert pytest.approx([0.9642, 1.0, 0.8249], abs=0.5 / 65536) == D50
    assert (np.rint(D50 * 65536) == D50 * 65536).all()


@pytest.mark.parametrize("to_XYZ", [SRGB_TO_XYZ, DISPLAY_P3_TO_XYZ, OPRGB_TO_XYZ])
def test_equal_red_green_and_blue_are_neutral_in_every_colour_space(to_XYZ: Array) -> None:
    grays = np.linspace(0, 1, 50)[:, np.newaxis] * np.ones(3)
    assert np.abs(XYZ_to_Lab(grays @ to_XYZ.T)[:, 1:]).max() < 1e-10


def test_the_srgb_matrix_is_the_one_that_littlecms_puts_into_its_profile() -> None:
    """An independent library computes and stores the same colorants; a profile holds them in units of 1/65536."""
    profile = ImageCms.createProfile("sRGB")
    colorants = np.transpose([profile.red_colorant[0], profile.green_colorant[0], profile.blue_colorant[0]])
    assert pytest.approx(colorants, abs=0.5 / 65536) == SRGB_TO_XYZ


@pytest.mark.parametrize(
    ("primaries", "published"),
    [
        # IEC 61966-2-1:1999, to four decimals
        (SRGB_PRIMARIES, [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]),
        # Adobe RGB (1998) Color Image Encoding, version 2005-05, to five decimals
        (
            OPRGB_PRIMARIES,
            [[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]],
        ),
    ],
)
def test_published_matrices_follow_from_the_chromaticities(primaries: Primaries, published: list[list[float]]) -> None:
    digits = 4 if primaries is SRGB_PRIMARIES else 5
    assert primaries_matrix(primaries, D65) == pytest.approx(np.array(published), abs=0.51 * 10.0**-digits)


@pytest.mark.parametrize(
    ("primaries", "name"), [(SRGB_PRIMARIES, "sRGB"), (DISPLAY_P3_PRIMARIES, "Display P3"), (OPRGB_PRIMARIES, "Adobe")]
)
def test_matrices_agree_with_colour_science(primaries: Primaries, name: str) -> None:
    key = {"Adobe": "Adobe RGB (1998)"}.get(name, name)
    expected = colour.normalised_primary_matrix(colour.RGB_COLOURSPACES[key].primaries, np.array([0.3127, 0.3290]))
    assert primaries_matrix(primaries, D65) == pytest.approx(expected, abs=1e-12)


def test_bradford_from_d65_to_d50_has_the_published_elements() -> None:
    """B. J. Lindbloom, "Chromatic Adaptation", for the ASTM E308 whites, seven decimals."""
    published = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    matrix = adaptation_matrix([0.95047, 1, 1.08883], [0.96422, 1, 0.82521])
    assert matrix == pytest.approx(np.array(published), abs=6e-8)


def test_srgb_adapted_to_d50_has_the_published_elements() -> None:
    """B. J. Lindbloom, "RGB/XYZ Matrices", for the ASTM E308 whites, seven decimals."""
    published = [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
    white = np.array([0.95047, 1, 1.08883])
    matrix = adaptation_matrix(white, [0.96422, 1, 0.82521]) @ primaries_matrix(SRGB_PRIMARIES, white)
    assert matrix == pytest.approx(np.array(published), abs=6e-8)


@given(st.floats(0.25, 0.5), st.floats(0.25, 0.45), st.floats(0.25, 0.5), st.floats(0.25, 0.45))
def test_adapting_a_white_gives_the_other_white_and_back(x_1: float, y_1: float, x_2: float, y_2: float) -> None:
    white_1, white_2 = white_XYZ((x_1, y_1)), white_XYZ((x_2, y_2))
    assert adaptation_matrix(white_1, white_2) @ white_1 == pytest.approx(white_2, abs=1e-12)
    there_and_back = adaptation_matrix(white_2, white_1) @ adaptation_matrix(white_1, white_2)
    assert there_and_back == pytest.approx(np.eye(3), abs=1e-12)


def test_shared_constants_cannot_be_changed_by_accident() -> None:
    with pytest.raises(ValueError, match="read-only"):
        D50[0] = 1


# --- sRGB ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("encoded", "linear"), [(0, 0), (0.04045, 0.0031308), (0.5, 0.2140411), (1, 1)])
def test_srgb_decoding_follows_iec_61966_2_1(encoded: float, linear: float) -> None:
    assert sRGB_decode(encoded) == pytest.approx(linear, abs=6e-8)


def test_srgb_curves_agree_with_colour_science_and_undo_each_other() -> None:
    codes = np.arange(256) / 255
    assert sRGB_decode(codes) == pytest.approx(colour.models.eotf_sRGB(codes), abs=1e-12)
    assert sRGB_encode(sRGB_decode(codes)) == pytest.approx(codes, abs=1e-12)


def test_srgb_curves_go_on_below_black_and_above_white() -> None:
    beyond = np.array([-0.1, -0.001, 1.2])
    assert sRGB_decode(beyond) == pytest.approx([-0.1 / 12.92, -0.001 / 12.92, ((1.2 + 0.055) / 1.055) ** 2.4])
    assert sRGB_encode(sRGB_decode(beyond)) == pytest.approx(beyond, abs=1e-12)


# Lab D50 (Bradford) of 8-bit sRGB, computed once with colour-science 0.4.7 for its D50 (x 0.3457, y 0.3585).
SRGB_COLOURS = [
    ((255, 0, 0), (54.2905, 80.8049, 69.8910)),
    ((0, 255, 0), (87.8185, -79.2711, 80.9946)),
    ((0, 0, 255), (29.5683, 68.2874, -112.0297)),
    ((128, 128, 128), (53.5850, 0, 0)),
    ((160, 110, 60), (51.0056, 16.6164, 35.7837)),
    ((192, 150, 100), (65.2510, 11.6495, 32.6373)),
    ((92, 58, 33), (28.1320, 13.4109, 21.8494)),
]


@pytest.mark.parametrize(("codes", "Lab"), SRGB_COLOURS)
def test_srgb_codes_have_the_lab_of_an_independent_library(
    codes: tuple[int, int, int], Lab: tuple[float, float, float]
) -> None:
    white = white_XYZ((0.3457, 0.3585))
    to_XYZ = adaptation_matrix(D65, white) @ primaries_matrix(SRGB_PRIMARIES, D65)
    linear = sRGB_decode(np.array(codes) / 255)
    assert XYZ_to_Lab(to_XYZ @ linear, white) == pytest.approx(np.array(Lab), abs=6e-5)
    # The white of ICC profiles lies 1e-4 beside that D50: at most 0.01 on a primary, 0.003 on wood.
    assert XYZ_to_Lab(SRGB_TO_XYZ @ linear) == pytest.approx(np.array(Lab), abs=0.01 if max(Lab) > 60 else 0.0035)


@pytest.mark.parametrize(
    ("primaries", "Lab"),
    [(DISPLAY_P3_PRIMARIES, (54.967, 94.093, 94.770)), (OPRGB_PRIMARIES, (61.425, 89.561, 75.150))],
)
def test_red_of_the_wider_spaces_has_its_lab_under_d65(primaries: Primaries, Lab: tuple[float, float, float]) -> None:
    """Computed once with colour-science 0.4.7, three decimals."""
    assert XYZ_to_Lab(primaries_matrix(primaries, D65)[:, 0], D65) == pytest.approx(np.array(Lab), abs=6e-4)


def test_reading_a_display_p3_photo_as_srgb_would_be_wrong_by_eight() -> None:
    """Why the profile matters: the same codes in the two spaces."""
    linear = sRGB_decode(np.array([160, 110, 60]) / 255)
    as_P3, as_sRGB = XYZ_to_Lab(DISPLAY_P3_TO_XYZ @ linear), XYZ_to_Lab(SRGB_TO_XYZ @ linear)
    assert 7 < np.linalg.norm(as_P3 - as_sRGB) < 9


# --- CIELAB --------------------------------------------------------------------------------------------------------


def test_the_line_touches_the_cube_root_in_value_and_slope() -> None:
    assert pytest.approx(np.cbrt(LINEAR_LIMIT), abs=1e-15) == LINEAR_SLOPE * LINEAR_LIMIT + LINEAR_OFFSET
    assert pytest.approx(LINEAR_LIMIT ** (-2 / 3) / 3, abs=1e-12) == LINEAR_SLOPE


@pytest.mark.parametrize(("Y", "L_star"), [(0, 0), (0.18, 49.4961), (0.184187, 50.0), (1, 100)])
def test_lightness_of_known_reflectances(Y: float, L_star: float) -> None:
    """L* = 116 cbrt(Y) - 16, rounded to four decimals."""
    assert lightness(Y) == pytest.approx(L_star, abs=1e-4)


def test_lightness_8_is_where_the_line_ends() -> None:
    assert Lab_to_XYZ([8.0, 0, 0])[1] == pytest.approx(216 / 24389, abs=1e-15)


def test_a_third_of_a_stop_moves_an_18_percent_card_by_five_lightness_units() -> None:
    """Closed form: 116 (0.18 * 2^(+-1/3))^(1/3) - 16 - 49.4961."""
    assert lightness(0.18 * 2 ** (1 / 3)) - lightness(0.18) == pytest.approx(5.2436, abs=1e-4)
    assert lightness(0.18 * 2 ** (-1 / 3)) - lightness(0.18) == pytest.approx(-4.8549, abs=1e-4)


def test_a_card_entered_as_19_percent_instead_of_18_makes_everything_lighter() -> None:
    """Closed form: (50 + 16) (0.19 / 0.18)^(1/3) - 16."""
    Y = Lab_to_XYZ([50.0, 0, 0])[1]
    assert lightness(Y * 0.19 / 0.18) == pytest.approx(66 * (0.19 / 0.18) ** (1 / 3) - 16, abs=1e-10)
    assert lightness(Y * 0.19 / 0.18) == pytest.approx(51.200, abs=1e-3)


@pytest.fixture(scope="module")
def wood_and_wide_XYZ() -> Array:
    """Random tristimulus values: half near wood, half over all of CIELAB that a camera can deliver."""
    random = np.random.default_rng(20)
    wood = random.uniform([15, 0, 5], [90, 25, 45], (2000, 3))
    wide = random.uniform([0, -90, -110], [100, 100, 95], (2000, 3))
    return Lab_to_XYZ(np.concatenate([wood, wide]))


def test_lab_agrees_with_colour_science(wood_and_wide_XYZ: Array) -> None:
    expected = colour.XYZ_to_Lab(wood_and_wide_XYZ, colour.XYZ_to_xy(D50))
    assert np.abs(XYZ_to_Lab(wood_and_wide_XYZ) - expected).max() < 1e-9
    assert np.abs(Lab_to_XYZ(expected) - wood_and_wide_XYZ).max() < 1e-12


def test_lab_agrees_with_scikit_image(wood_and_wide_XYZ: Array) -> None:
    """Whose 0.008856 and 7.787 are rounded: a few 1e-4 in the darkest colours."""
    positive = wood_and_wide_XYZ[(wood_and_wide_XYZ > 0).all(axis=-1)]
    white = skimage.color.xyz_tristimulus_values(illuminant="D50", observer="2")
    expected = skimage.color.xyz2lab(positive, illuminant="D50", observer="2")
    assert len(positive) > 2500
    assert np.abs(XYZ_to_Lab(positive, white) - expected).max() < 2e-3


def test_lab_to_xyz_and_back_changes_nothing_even_below_black(wood_and_wide_XYZ: Array) -> None:
    Lab = np.random.default_rng(3).uniform([-20, -110, -110], [120, 110, 110], (40, 50, 3))
    assert XYZ_to_Lab(Lab_to_XYZ(Lab)) == pytest.approx(Lab, abs=1e-9)
    assert Lab_to_XYZ(XYZ_to_Lab(wood_and_wide_XYZ)) == pytest.approx(wood_and_wide_XYZ, abs=1e-12)


def test_noise_below_black_stays_below_black() -> None:
    assert XYZ_to_Lab(-0.01 * D50) == pytest.approx([-0.01 * 24389 / 27, 0, 0], abs=1e-12)


@given(st.floats(-0.1, 2), st.floats(-0.1, 2))
def test_more_light_never_looks_darker(a: float, b: float) -> None:
    darker, lighter = sorted((a, b))
    assert lightness(darker) <= lightness(lighter)


@given(st.tuples(*[st.floats(0.02, 1)] * 3), st.floats(0.5, 4))
def test_exposure_changes_lightness_and_chroma_but_not_hue_or_chromaticity(
    linear_RGB: tuple[float, float, float], exposure: float
) -> None:
    XYZ = SRGB_TO_XYZ @ np.array(linear_RGB)
    Lab, brighter = XYZ_to_Lab(XYZ), XYZ_to_Lab(exposure * XYZ)
    assert brighter[1:] == pytest.approx(exposure ** (1 / 3) * Lab[1:], abs=1e-9)
    back = Lab_to_XYZ(brighter)
    assert back / back.sum() == pytest.approx(XYZ / XYZ.sum(), abs=1e-12)


@pytest.mark.parametrize(
    ("a_star", "b_star", "hue_deg"), [(1, 0, 0), (0, 1, 90), (-1, 0, 180), (0, -1, 270), (0, 0, 0), (1, -1e-20, 0)]
)
def test_hue_runs_from_red_over_yellow_green_and_blue(a_star: float, b_star: float, hue_deg: float) -> None:
    L_star, C_star, h = Lab_to_LCh([40.0, a_star, b_star])
    assert (L_star, C_star) == (40, np.hypot(a_star, b_star))
    assert h == pytest.approx(hue_deg, abs=1e-12)
    assert 0 <= h < 360


def test_hue_and_chroma_agree_with_colour_science(wood_and_wide_XYZ: Array) -> None:
    Lab = XYZ_to_Lab(wood_and_wide_XYZ)
    assert Lab_to_LCh(Lab) == pytest.approx(colour.models.Lab_to_LCHab(Lab), abs=1e-9)


# --- colours to look at --------------------------------------------------------------------------------------------


def test_a_colour_shown_on_the_screen_is_the_srgb_colour_it_came_from() -> None:
    steps = np.arange(0, 256, 15, dtype=np.uint8)
    codes = np.stack(np.meshgrid(steps, steps, steps), axis=-1)
    shown = Lab_to_sRGB_codes(XYZ_to_Lab(sRGB_decode(codes / 255) @ SRGB_TO_XYZ.T))
    assert shown.dtype == np.uint8
    assert (shown == codes).all()


def test_a_colour_beyond_the_screen_is_clipped() -> None:
    assert Lab_to_sRGB_codes([[110, 0, 0], [-5, 0, 0], [60, 110, 80]]).tolist()[:2] == [[255] * 3, [0] * 3]
    red, green, blue = Lab_to_sRGB_codes([60.0, 110, 80])
    assert (red, green) == (255, 0)
    assert 0 <= blue < 60


# --- whole images --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def linear_photo() -> Photo:
    """Larger than one tile, from below black to above white, with a dark strip where the line rules."""
    photo = np.random.default_rng(7).uniform(-0.02, 1.3, (150, 401, 3)).astype(np.float32)
    photo[:40] *= np.float32(0.01)
    return photo


def reference_Lab(linear_RGB: Photo) -> Array:
    return XYZ_to_Lab(linear_RGB.astype(np.float64) @ SRGB_TO_XYZ.T)


def delta_E(Lab_1: Array, Lab_2: Array) -> Array:
    return np.linalg.norm(Lab_1 - Lab_2, axis=-1)


def test_the_image_path_equals_the_exact_path(linear_photo: Photo) -> None:
    Lab = Lab_image(linear_photo, TO_RATIO)
    assert (Lab.dtype, Lab.shape) == (np.float32, linear_photo.shape)
    assert linear_photo.nbytes > 2 * colorspace.TILE_BYTES
    assert delta_E(Lab, reference_Lab(linear_photo)).max() < 1e-3


def test_the_image_path_equals_the_exact_path_around_the_knee() -> None:
    ramp = np.linspace(-0.02, 0.03, 3000, dtype=np.float32)[np.newaxis, :, np.newaxis] * np.ones(3, np.float32)
    assert delta_E(Lab_image(ramp, TO_RATIO), reference_Lab(ramp)).max() < 1e-4


def test_every_8_bit_gray_comes_out_neutral() -> None:
    grays = np.repeat(sRGB_decode(np.arange(256) / 255), 3).reshape(1, 256, 3).astype(np.float32)
    assert np.abs(Lab_image(grays, TO_RATIO)[..., 1:]).max() < 2e-4


def test_the_matrix_carries_gain_and_correction(linear_photo: Photo) -> None:
    gains = np.diag([1.3, 1.0, 0.7])
    corrected = (linear_photo @ gains).astype(np.float32)
    assert delta_E(Lab_image(linear_photo, TO_RATIO @ gains), reference_Lab(corrected)).max() < 1e-3


@pytest.mark.parametrize(
    "view",
    [
        lambda photo: photo[::-1],
        lambda photo: photo[:, ::-1],
        lambda photo: photo.transpose(1, 0, 2),
        lambda photo: photo[3:30, 5:90],
        lambda photo: photo[::2, ::3],
        lambda photo: np.ascontiguousarray(photo[..., ::-1])[..., ::-1],
        lambda photo: photo[:1, :1],
    ],
)
def test_cropped_turned_and_mirrored_images_give_the_same_colours(
    linear_photo: Photo, view: Callable[[Photo], Photo]
) -> None:
    assert delta_E(Lab_image(view(linear_photo), TO_RATIO), reference_Lab(view(linear_photo))).max() < 1e-3


def test_the_photo_is_left_alone_unless_it_is_the_output_too(linear_photo: Photo) -> None:
    photo = linear_photo.copy()
    Lab = Lab_image(photo, TO_RATIO)
    assert (photo == linear_photo).all()
    assert Lab_image(photo, TO_RATIO, out=photo) is photo
    assert (photo == Lab).all()


@pytest.mark.parametrize("shape", [(0, 5, 3), (5, 0, 3)])
def test_an_empty_image_gives_an_empty_image(shape: tuple[int, ...]) -> None:
    assert Lab_image(np.empty(shape, np.float32), TO_RATIO).shape == shape


@pytest.mark.parametrize(
    ("photo", "matrix", "out"),
    [
        (np.zeros((4, 4, 3)), TO_RATIO, None),
        (np.zeros((4, 4, 4), np.float32), TO_RATIO, None),
        (np.zeros((4, 3), np.float32), TO_RATIO, None),
        (np.zeros((4, 4, 3), np.float32), np.eye(4), None),
        (np.zeros((4, 4, 3), np.float32), np.full((3, 3), np.nan), None),
        (np.zeros((4, 4, 3), np.float32), TO_RATIO, np.zeros((4, 4, 3))),
        (np.zeros((4, 4, 3), np.float32), TO_RATIO, np.zeros((5, 4, 3), np.float32)),
        (np.zeros((4, 4, 3), np.float32), TO_RATIO, np.zeros((4, 8, 3), np.float32)[:, ::2]),
        (np.full((4, 4, 3), np.nan, np.float32), TO_RATIO, None),
        (np.full((4, 4, 3), np.inf, np.float32), TO_RATIO, None),
    ],
)
def test_what_is_no_linear_image_is_refused(photo: Photo, matrix: Array, out: Photo | None) -> None:
    with pytest.raises(ValueError, match="Lab_image"):
        Lab_image(photo, matrix, out=out)


# --- the contract of all of them -----------------------------------------------------------------------------------


@pytest.mark.parametrize("convert", [XYZ_to_Lab, Lab_to_XYZ, Lab_to_LCh, Lab_to_sRGB_codes])
def test_any_leading_shape_goes_and_float32_is_computed_in_float64(
    convert: Callable[[ArrayLike], NDArray[Any]],
) -> None:
    colours = np.random.default_rng(1).uniform(0, 1, (2, 3, 4, 3)).astype(np.float32)
    one_by_one = np.array([convert(c.astype(np.float64)) for c in colours.reshape(-1, 3)]).reshape(colours.shape)
    assert convert(colours).shape == colours.shape
    assert convert(colours) == pytest.approx(one_by_one, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("convert", [XYZ_to_Lab, Lab_to_XYZ, Lab_to_LCh, Lab_to_sRGB_codes])
@pytest.mark.parametrize("wrong", [1.0, [1.0, 2.0], np.zeros((3, 4)), [0.1, np.nan, 0.1], [np.inf, 0, 0]])
def test_what_is_no_colour_is_refused_by_name(convert: Callable[[ArrayLike], NDArray[Any]], wrong: ArrayLike) -> None:
    with pytest.raises(ValueError, match=convert.__name__):
        convert(wrong)


def test_colour_maths_loads_nothing_heavy_and_no_analyzer() -> None:
    program = (
        "import sys, calibration.colorspace, calibration.difference\n"
        "print(sorted({'analyzer', 'scipy', 'skimage', 'matplotlib', 'colour', 'PIL'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
