"""Camera raw files in, the sensor's own numbers out: no balance, no interpolation, black and white where they are."""

import subprocess
import sys
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from colour.temperature import CCT_to_xy_CIE_D, CCT_to_xy_Kang2002
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from photo_files import STORED, random_codes, tiff_file
from simulator import Lab_to_reflectance, reflectance_to_Lab
from simulator.spectra import band_weights, sensor_matrix, sensor_white

from calibration.camera import gray_card_correction
from calibration.colorspace import D50, D65, XYZ_TO_SRGB, XYZ_to_Lab, adaptation_matrix, white_XYZ
from calibration.difference import delta_E_00
from calibration.errors import PhotoError
from calibration.photo import Photo, open_photo
from calibration.raw import _levels
from calibration.raw_colour import Calibration, CameraColour, _temperature_K, camera_matrix, white_of_light
from calibration.reference import GrayReading

rawpy = pytest.importorskip("rawpy")
tifffile = pytest.importorskip("tifffile")

from raw_files import (  # noqa: E402 - needs tifffile
    BGGR,
    BLACK,
    BYTE,
    GBRG,
    GRBG,
    LIGHT_A,
    LIGHT_D65,
    LONG,
    RATIONAL,
    RGGB,
    SHORT,
    SRATIONAL,
    TO_CAMERA,
    UNDEFINED,
    WHITE,
    counts_of,
    dng_file,
    mosaic,
    rationals,
)

WOODS = ((80, 5, 20), (62, 13, 25), (45, 8, 16), (67, 7, 21), (38, 14, 22), (30, 15, 18), (50, 19, 34), (26, 9, 11))
A = white_XYZ((0.44758, 0.40745))  # CIE 15
FINE = 65_000  # white level of a sensor of 16 bits: rounding to whole counts is then 0.02 in CIELAB in the darkest
# What lies in the light: a white, two grays, and four woods, as XYZ relative to that light's own white.
REFLECTANCES = np.array(
    [
        [1, 1, 1],
        [0.18, 0.18, 0.18],
        [0.03, 0.03, 0.03],
        [0.50, 0.46, 0.28],
        [0.30, 0.24, 0.11],
        [0.14, 0.09, 0.03],
        [0.09, 0.07, 0.04],
    ]
)


@pytest.fixture
def opened(tmp_path: Path) -> Callable[..., Photo]:
    """Open bytes as a photo file; the name says nothing about the content."""

    def open_bytes(content: bytes, **options: int) -> Photo:
        path = tmp_path / "IMG_0001.JPG"
        path.write_bytes(content)
        return open_photo(path, **options)

    return open_bytes


def random_counts(rows: int = 40, columns: int = 60, most: int = WHITE) -> np.ndarray:
    return np.random.default_rng(7).integers(BLACK - 30, most + 1, (rows, columns), dtype=np.uint16)


def of_full_scale(photo: Photo) -> np.ndarray:
    """Light as a share of the sensor's range: the balance, which the profile carries, taken off again."""
    at_white = photo.curve[65535]
    return photo.linear_RGB() / at_white


# --- counts


@pytest.mark.parametrize("pattern", [RGGB, GRBG, GBRG, BGGR])
def test_each_block_of_four_becomes_one_pixel(opened: Callable[..., Photo], pattern: tuple[int, ...]) -> None:
    """The mean of its greens, its red and its blue: a share of (white - black), to one step of the codes."""
    counts = random_counts(most=WHITE - 40)
    photo = opened(dng_file(counts, pattern=pattern))
    share = (counts.astype(float) - BLACK) / (WHITE - BLACK)
    sites = [share[row::2, column::2] for row in (0, 1) for column in (0, 1)]
    expected = [
        np.mean([site for site, seen in zip(sites, pattern, strict=True) if seen == channel], axis=0)
        for channel in range(3)
    ]
    assert photo.codes.shape == (20, 30, 3)
    assert photo.codes.dtype == np.uint16
    assert of_full_scale(photo) == pytest.approx(np.stack(expected, axis=-1), abs=1.7e-5)
    assert photo.profile == "camera raw, own matrix"
    assert photo.findings == ()


def test_noise_below_black_is_kept(opened: Callable[..., Photo]) -> None:
    """A dark frame averages to no light. Cut off at black, this noise of 20 counts would leave 8 on average."""
    noise = np.random.default_rng(3).normal(BLACK, 20, (200, 200))
    light = of_full_scale(opened(dng_file(np.rint(noise).astype(np.uint16))))
    assert light.min() < 0
    assert light.mean(axis=(0, 1)) * (WHITE - BLACK) == pytest.approx([0, 0, 0], abs=0.7)  # 3 sigma of the mean


def test_every_colour_has_its_own_black(opened: Callable[..., Photo]) -> None:
    black = (100, 200, 300, 400)  # red, green, green of the other row, blue
    counts = np.tile(np.array([[600, 700], [800, 900]], np.uint16), (16, 16))
    light = of_full_scale(opened(dng_file(counts, black=black)))
    expected = [500 / 3995, (500 / 3895 + 500 / 3795) / 2, 500 / 3695]
    assert light == pytest.approx(np.broadcast_to(expected, light.shape), abs=1e-5)


def test_a_linearisation_table_is_applied(opened: Callable[..., Photo]) -> None:
    """DNG 1.7: stored numbers are indices; black and white are those of the table's values."""
    table = (np.arange(1024) ** 2 // 16).astype(int)
    stored = np.random.default_rng(4).integers(300, 1000, (24, 32), dtype=np.uint16)
    tags = [(50712, SHORT, 1024, tuple(table.tolist()))]
    light = of_full_scale(opened(dng_file(stored, white=65408, black=(16,) * 4, tags=tags)))
    share = (table[stored] - 16) / (65408 - 16)
    assert light[..., 0] == pytest.approx(share[::2, ::2], abs=1e-5)


def test_only_the_active_area_is_taken_with_its_colours_in_place(opened: Callable[..., Photo]) -> None:
    counts = np.full((64, 80), WHITE, np.uint16)
    inner = mosaic(np.broadcast_to([1000, 2000, 3000], (28, 36, 3)))
    counts[4:60, 6:78] = inner
    photo = opened(dng_file(counts, tags=[(50829, LONG, 4, (4, 6, 60, 78))]))
    light = of_full_scale(photo)
    assert light.shape == (28, 36, 3)
    expected = (np.array([1000, 2000, 3000]) - BLACK) / (WHITE - BLACK)
    assert light == pytest.approx(np.broadcast_to(expected, light.shape), abs=1e-5)


def test_a_pattern_of_six_by_six_gives_one_pixel_for_each_three_by_three(opened: Callable[..., Photo]) -> None:
    """Two reds, two blues and five greens in each, but in other places: red and blue change sides."""
    letters = ["GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB", "RBGBRG"]
    pattern = np.array([["RGB".index(letter) for letter in row] for row in letters])
    counts = random_counts(48, 60, WHITE - 40)
    tags = [
        (33421, SHORT, 2, (6, 6)),
        (33422, BYTE, 36, bytes(pattern.ravel().tolist())),
        (50713, SHORT, 2, (1, 1)),
        (50714, SHORT, 1, BLACK),
    ]
    light = of_full_scale(opened(dng_file(counts, black=None, tags=tags)))
    assert light.shape == (16, 20, 3)
    seen_by = np.tile(pattern, (8, 10))
    share = (counts.astype(float) - BLACK) / (WHITE - BLACK)
    for row, column in ((0, 0), (0, 1), (1, 0), (1, 1), (15, 18)):
        block = slice(3 * row, 3 * row + 3), slice(3 * column, 3 * column + 3)
        expected = [share[block][seen_by[block] == channel].mean() for channel in range(3)]
        assert light[row, column] == pytest.approx(expected, abs=1.7e-5)


def test_a_pixel_is_clipped_from_the_white_level_on(opened: Callable[..., Photo]) -> None:
    """One of the two greens at the sensor's limit is enough; 1 % below it nothing is lost."""
    RGB = np.full((12, 15, 3), 2000)
    RGB[0, 0, 0], RGB[0, 1, 1], RGB[0, 2, 2], RGB[0, 3], RGB[0, 4] = WHITE, WHITE, 65535, WHITE - 40, WHITE + 1
    counts = mosaic(RGB)
    counts[3, 2] = WHITE  # the second green of row 1, column 1
    photo = opened(dng_file(counts))
    expected = np.zeros((12, 15), bool)
    expected[0, [0, 1, 2, 4]] = True
    expected[1, 1] = True
    assert np.array_equal(photo.is_clipped(), expected)
    assert of_full_scale(photo)[0, 1, 1] == pytest.approx(1)


def test_a_channel_that_bends_before_it_clips_is_full_where_it_bends() -> None:
    """What only cameras' own formats state; LibRaw hands it on. A limit below black is none."""
    raw = SimpleNamespace(black_level_per_channel=[64] * 4, white_level=1023)
    for stated, used in ((None, [1023] * 4), ([900, 1000, 50, 2000], [900, 1000, 1023, 1023])):
        raw.camera_white_level_per_channel = stated
        assert _levels(raw) == [(64, white) for white in used]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_comes_upright_once(opened: Callable[..., Photo], orientation: int) -> None:
    upright = np.random.default_rng(5).integers(500, 3500, (12, 15, 3))
    stored = np.ascontiguousarray(STORED[orientation](upright))
    light = of_full_scale(opened(dng_file(mosaic(stored), orientation=orientation)))
    assert light == pytest.approx((upright - BLACK) / (WHITE - BLACK), abs=1e-5)


def test_three_colours_a_pixel_are_taken_as_they_are_and_said_to_be_developed(opened: Callable[..., Photo]) -> None:
    RGB = np.random.default_rng(6).integers(300, WHITE - 40, (24, 30, 3), dtype=np.uint16)
    photo = opened(dng_file(RGB, pattern=None, black=(100, 110, 120)))
    black = np.array([100, 110, 120])
    assert of_full_scale(photo) == pytest.approx((RGB - black) / (WHITE - black), abs=1e-5)
    assert [found.code for found in photo.findings] == ["raw-developed"]


# --- colour


def seen(photo: Photo, number: int) -> np.ndarray:
    """XYZ of one of the things that lie side by side, as a share of the first, which is white."""
    XYZ = photo.linear_RGB()[0, ::2] @ photo.to_XYZ.T
    return XYZ[number] / XYZ[0, 1]


def scene(white: np.ndarray, to_camera: np.ndarray = TO_CAMERA, **options: object) -> bytes:
    """The things side by side, each two pixels wide; the white as the camera's guess too."""
    return dng_file(
        mosaic(side_by_side(white, to_camera)), white=FINE, neutral=to_camera @ white, to_camera=to_camera, **options
    )


def side_by_side(white: np.ndarray, to_camera: np.ndarray = TO_CAMERA) -> np.ndarray:
    counts = counts_of(REFLECTANCES * white, to_camera, white=FINE)
    return np.broadcast_to(np.repeat(counts, 2, axis=0), (12, 2 * len(counts), 3))


def test_the_camera_s_matrix_leads_to_XYZ_under_D50(opened: Callable[..., Photo]) -> None:
    """A sensor that is linear in XYZ: what it sees under D65 must come out as Bradford puts it under D50."""
    photo = opened(scene(D65))
    to_D50 = adaptation_matrix(D65, D50)
    for number, reflectance in enumerate(REFLECTANCES):
        expected = XYZ_to_Lab(to_D50 @ (reflectance * D65))
        assert XYZ_to_Lab(seen(photo, number)) == pytest.approx(expected, abs=0.03)


def test_white_is_equal_in_all_channels_and_D50(opened: Callable[..., Photo]) -> None:
    photo = opened(scene(D65))
    white = photo.linear_RGB()[0, 0]
    assert white / white[1] == pytest.approx([1, 1, 1], abs=1e-3)
    assert photo.to_XYZ @ [1, 1, 1] == pytest.approx(D50, abs=1e-12)


@pytest.mark.parametrize("neutral", [(0.4, 1, 0.9), (1, 0.7, 0.5), None])
def test_what_the_camera_took_as_white_does_not_change_colours_set_by_the_card(
    opened: Callable[..., Photo], neutral: tuple[float, ...] | None
) -> None:
    RGB = mosaic(side_by_side(D65))
    photos = [opened(dng_file(RGB, white=FINE, neutral=chosen)) for chosen in (TO_CAMERA @ D65, neutral)]
    through_card = []
    for photo in photos:
        card = photo.linear_RGB()[0, 2].astype(np.float64)
        reading = GrayReading(card, np.zeros(3), 0.0, 1, 0.0, 0.0)
        through_card.append(photo.linear_RGB()[0] @ gray_card_correction(photo, reading, 0.18 * D50).T)
    assert through_card[0] == pytest.approx(through_card[1], rel=1e-5)


@pytest.mark.parametrize(("white", "to_camera"), [(A, 0), (D65, 1)])
def test_of_two_matrices_the_one_for_the_photo_s_light_holds(
    opened: Callable[..., Photo], white: np.ndarray, to_camera: int
) -> None:
    """At the two lights that they were made for, no mixture: as with the one matrix alone, within 0.3 in CIELAB.

    McCamy's formula misses tungsten by some kelvins, so a little of the other matrix is mixed in.
    """
    matrices = TO_CAMERA * [[1.2], [1.0], [0.9]] + 0.05, TO_CAMERA
    tags = [
        (50722, SRATIONAL, 9, rationals(matrices[1])),
        (50779, SHORT, 1, LIGHT_D65),
        (50721, SRATIONAL, 9, rationals(matrices[0])),
        (50778, SHORT, 1, LIGHT_A),
    ]
    photo = opened(scene(white, matrices[to_camera], tags=tags))
    to_D50 = adaptation_matrix(white, D50)
    for number in (3, 4, 5, 6):
        expected = XYZ_to_Lab(to_D50 @ (REFLECTANCES[number] * white))
        assert XYZ_to_Lab(seen(photo, number)) == pytest.approx(expected, abs=0.3)


@pytest.mark.parametrize(
    ("xy", "kelvin"), [((0.44758, 0.40745), 2856), ((0.34567, 0.35851), 5003), ((0.31272, 0.32903), 6504)]
)
def test_colour_temperatures_of_the_CIE_s_illuminants(xy: tuple[float, float], kelvin: float) -> None:
    """CIE 15; McCamy 1992 claims errors of a few kelvins."""
    assert _temperature_K(white_XYZ(xy)) == pytest.approx(kelvin, abs=6)


def test_halfway_between_two_lights_in_1_over_T_the_matrices_are_mixed_half_and_half() -> None:
    calibrations = (
        Calibration(2856.0, A, TO_CAMERA * [[1.1], [1], [0.9]]),
        Calibration(6504.0, D65, TO_CAMERA),
    )
    half = (calibrations[0].to_camera + calibrations[1].to_camera) / 2
    kelvin = 2 / (1 / 2856 + 1 / 6504)
    x = np.linspace(0.36, 0.42, 601)
    y = -3.0 * x**2 + 2.87 * x - 0.275  # CIE 15: the daylight locus; it passes every temperature in between
    nearest = min(zip(x, y, strict=True), key=lambda xy: abs(_temperature_K(white_XYZ(xy)) - kelvin))
    mixed = camera_matrix(CameraColour(calibrations, half @ white_XYZ(nearest))).to_XYZ
    white = white_of_light(kelvin)
    assert mixed == pytest.approx(adaptation_matrix(white, D50) @ np.linalg.inv(half) * (half @ white), abs=2e-3)


def test_whites_of_black_bodies_and_daylight_are_those_of_another_library() -> None:
    """By the same formulas in colour-science; between 3500 and 4500 K, where one gives way to the other, neither."""
    for kelvin in (1700.0, 2200.0, 2856.0, 3400.0):
        x, y = CCT_to_xy_Kang2002(kelvin)
        assert white_of_light(kelvin) == pytest.approx(white_XYZ((x, y)), abs=1e-9)
    for kelvin in (4600.0, 5003.0, 6504.0, 7504.0, 20_000.0):
        x, y = CCT_to_xy_CIE_D(kelvin)
        assert white_of_light(kelvin) == pytest.approx(white_XYZ((x, y)), abs=1e-9)
    between = [white_of_light(kelvin) for kelvin in np.arange(3400, 4600, 25.0)]
    assert np.abs(np.diff(between, axis=0)).max() < 0.007  # no step


@pytest.mark.parametrize("sensor", ["one", "three", "five", "six", "nine", "ten", "eleven"])
@pytest.mark.parametrize(("light", "limit"), [("A", 4.0), ("LED-B1", 3.0), ("LED-B3", 3.0)])
def test_one_matrix_made_for_daylight_serves_under_lamps(sensor: str, light: str, limit: float) -> None:
    """As of all raw files that are no DNG. Mean CIEDE2000 of bare and stained woods.

    Taking the balanced numbers as they would be in daylight costs 5 Delta E under the first of these LEDs.
    """
    woods = np.array([Lab_to_reflectance(wood) for wood in WOODS])
    colour = CameraColour((Calibration(6504.0, D65, sensor_matrix(sensor, "D65")),), sensor_white(sensor, light))
    seen = woods @ band_weights(light, sensor)
    assert delta_E_00(XYZ_to_Lab(seen @ camera_matrix(colour).to_XYZ.T), reflectance_to_Lab(woods)).mean() < limit


def test_a_forward_matrix_outranks_the_other(opened: Callable[..., Photo]) -> None:
    """DNG 1.7: balanced numbers to XYZ under D50, white to white; gains of this camera against its model included."""
    forward = np.array([[0.60, 0.25, 0.1142], [0.25, 0.80, -0.05], [0.02, -0.10, 0.9049]])
    unit, gains = np.diag([1.05, 1.0, 0.97]), np.diag([1.1, 1.0, 0.9])
    neutral = np.array([0.5, 1.0, 0.7])
    tags = [
        (50964, SRATIONAL, 9, rationals(forward)),
        (50723, SRATIONAL, 9, rationals(unit)),
        (50727, RATIONAL, 3, rationals(np.diag(gains))),
    ]
    RGB = np.full((12, 12, 3), [1300, 2500, 900])
    photo = opened(dng_file(mosaic(RGB), neutral=neutral, tags=tags))
    share = (RGB[0, 0] - BLACK) / (WHITE - BLACK)
    to_model = np.linalg.inv(gains @ unit)
    expected = forward @ np.diag(1 / (to_model @ neutral)) @ to_model @ share
    assert photo.to_XYZ @ photo.linear_RGB()[0, 0] == pytest.approx(expected, abs=1e-4)


def test_a_white_given_as_chromaticity_is_understood(opened: Callable[..., Photo]) -> None:
    xy = (0.3457, 0.3585)
    photo = opened(dng_file(random_counts(), tags=[(50729, RATIONAL, 2, rationals(xy))]))
    neutral = TO_CAMERA @ white_XYZ(xy)
    assert 1 / photo.curve[65535] == pytest.approx(neutral / neutral.max(), abs=1e-4)


def test_colours_are_those_of_libraw_s_own_development(opened: Callable[..., Photo]) -> None:
    """LibRaw develops the same file to linear sRGB with the same white: balanced in the camera's own channels, as here.

    Its 16-bit result is scaled so that the least balanced channel keeps its range. Things inside sRGB only.
    """
    content = scene(D65)
    photo = opened(content)
    multipliers = 1 / (TO_CAMERA @ D65)
    with rawpy.imread(BytesIO(content)) as raw:
        theirs = raw.postprocess(
            half_size=True,
            gamma=(1, 1),
            no_auto_bright=True,
            output_bps=16,
            use_auto_wb=False,
            user_wb=[*multipliers, multipliers[1]],
            output_color=rawpy.ColorSpace.sRGB,
            adjust_maximum_thr=0.0,
            highlight_mode=rawpy.HighlightMode.Ignore,
        )
    theirs = theirs[0] / theirs[0, 0, 1]
    ours = photo.linear_RGB()[0] @ (XYZ_TO_SRGB @ photo.to_XYZ).T
    assert theirs[2:] == pytest.approx(ours[2:] / ours[0, 1], abs=2e-3)


# --- what the camera says, and what it does not do


def test_exif_is_read_from_the_raw_file(opened: Callable[..., Photo]) -> None:
    photo = opened(dng_file(random_counts(), tags=[(272, 2, 0, "Acme 5")]))
    assert photo.exif.camera == "Acme 5"


def opcode_list(*opcodes: int) -> bytes:
    """DNG 1.7 chapter 7: count; then for each its number, version, flags, size and content, big-endian."""
    packed = b"".join(
        opcode.to_bytes(4, "big") + bytes([1, 3, 0, 0]) + bytes(4) + (8).to_bytes(4, "big") + bytes(8)
        for opcode in opcodes
    )
    return len(opcodes).to_bytes(4, "big") + packed


@pytest.mark.parametrize(("opcodes", "codes"), [((4, 9), ["raw-shading"]), ((3,), ["raw-shading"]), ((1, 4, 5), [])])
def test_a_correction_of_the_corners_that_is_not_applied_is_told(
    opened: Callable[..., Photo], opcodes: tuple[int, ...], codes: list[str]
) -> None:
    listed = opcode_list(*opcodes)
    photo = opened(dng_file(random_counts(), tags=[(51009, UNDEFINED, len(listed), listed)]))
    assert [found.code for found in photo.findings] == codes


def test_a_preview_on_the_first_page_is_not_the_photo(opened: Callable[..., Photo], tmp_path: Path) -> None:
    """As phones write it: a small RGB picture first, the sensor's counts on a page below it."""
    path = tmp_path / "phone.dng"
    counts = random_counts()
    first = [
        (50706, BYTE, 4, bytes([1, 4, 0, 0]), True),
        (50708, 2, 0, "invented", True),
        (50721, SRATIONAL, 9, rationals(TO_CAMERA), True),
        (50778, SHORT, 1, LIGHT_D65, True),
        (274, SHORT, 1, 1, True),
    ]
    below = [
        (33421, SHORT, 2, (2, 2), True),
        (33422, BYTE, 4, bytes(RGGB), True),
        (50714, SHORT, 1, BLACK, True),
        (50717, LONG, 1, WHITE, True),
    ]
    with tifffile.TiffWriter(path) as writer:
        writer.write(random_codes(16, 24), photometric="rgb", subfiletype=1, subifds=1, extratags=first, metadata=None)
        writer.write(counts, photometric=32803, subfiletype=0, extratags=below, metadata=None)
    photo = opened(path.read_bytes())
    assert photo.codes.shape == (20, 30, 3)
    assert of_full_scale(photo)[..., 0] == pytest.approx((counts[::2, ::2] - float(BLACK)) / (WHITE - BLACK), abs=1e-5)


# --- what cannot be used


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (dng_file(random_counts(), to_camera=None), "colours cannot be used"),
        (dng_file(random_counts(), to_camera=np.ones((3, 3))), "spans no colour space"),
        (dng_file(random_counts(), white=200), "white 200"),
        (dng_file(random_counts(), tags=[(50718, RATIONAL, 2, (2, 1, 1, 1))]), "square pixels"),
        (dng_file(random_counts(), compression="zlib"), "cannot be"),
        (dng_file(random_counts(), pattern=None, black=(BLACK,)), "three colours"),
        (
            dng_file(
                random_counts(),
                black=None,
                tags=[(33421, SHORT, 2, (4, 4)), (33422, BYTE, 16, bytes([0, 0, 1, 1] * 2 + [1, 1, 2, 2] * 2))],
            ),
            "red, green and blue",
        ),
        (tiff_file(random_codes(), {254: [1]}), "a kind that cannot be read"),
        (tiff_file(random_codes(), {50706: [1]}), "cannot be"),
        (b"\0\0\0\x18ftypcrx " + bytes(99), "a kind that cannot be read"),
    ],
)
def test_a_raw_file_that_cannot_be_used_is_refused_with_its_reason(
    opened: Callable[..., Photo], content: bytes, what: str
) -> None:
    with pytest.raises(PhotoError) as refused:
        opened(content)
    assert what in refused.value.what
    assert "DNG or JPEG" in refused.value.remedy


def test_jpeg_xl_inside_is_named(opened: Callable[..., Photo]) -> None:
    content = dng_file(random_counts())
    with tifffile.TiffFile(BytesIO(content)) as file:
        at = file.pages[0].tags["Compression"].valueoffset
    content = content[:at] + (52546).to_bytes(2, "little") + content[at + 2 :]
    with pytest.raises(PhotoError, match="JPEG XL"):
        opened(content)


@pytest.mark.parametrize("kept", [0.3, 0.6, 0.99])
@pytest.mark.parametrize("filled", [False, True])
def test_a_raw_file_that_was_cut_short_is_refused(opened: Callable[..., Photo], kept: float, filled: bool) -> None:
    whole = dng_file(random_counts())
    part = whole[: int(kept * len(whole))]
    with pytest.raises(PhotoError, match="cut short"):
        opened(part + bytes(len(whole) - len(part)) if filled else part)


def test_too_many_pixels_are_refused_before_they_are_unpacked(opened: Callable[..., Photo]) -> None:
    with pytest.raises(PhotoError, match=r"60 x 40 = 0\.0 million pixels \(limit"):
        opened(dng_file(random_counts()), max_pixels=2399)
    assert opened(dng_file(random_counts()), max_pixels=2400).codes.shape == (20, 30, 3)


def test_without_the_extra_the_message_says_what_to_install(
    opened: Callable[..., Photo], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(PhotoError, match="camera raw file") as refused:
        opened(dng_file(random_counts()))
    assert "pip install 'evenboard[raw]'" in refused.value.remedy
    with pytest.raises(PhotoError, match="unknown kind"):
        opened(bytes(range(200)))


def test_extras_are_not_loaded_before_they_are_needed() -> None:
    code = "import sys, calibration.photo; print({'rawpy', 'pillow_heif', 'tifffile'} & set(sys.modules))"
    root = Path(__file__).parents[1]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert done.stdout.strip() == "set()"


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_damage_to_a_raw_file_escapes_as_another_error(opened: Callable[..., Photo], data: st.DataObject) -> None:
    content = bytearray(dng_file(random_counts(24, 24), neutral=(0.5, 1, 0.6)))
    for at in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=4)):
        content[at] = data.draw(st.integers(0, 255))
    try:
        photo = opened(bytes(content))
    except PhotoError as refused:
        assert refused.remedy  # noqa: PT017 - either way out is right, and each has its own claim
    else:
        assert photo.codes.ndim == 3
