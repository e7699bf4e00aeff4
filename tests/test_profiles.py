"""The meaning of codes: curves and matrices of profiles, against LittleCMS, colour-science and closed forms."""

from io import BytesIO

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from photo_files import (
    DATA,
    curve_function,
    curve_gamma,
    curve_samples,
    gray_profile,
    icc_profile,
    matrix_profile,
    random_codes,
    table_profile,
)
from PIL import Image, ImageCms

from calibration.colorspace import D50, XYZ_to_Lab, adaptation_matrix, sRGB_encode, white_XYZ
from calibration.profiles import (
    DISPLAY_P3,
    OPRGB,
    SRGB,
    Profile,
    ProfileDamagedError,
    ProfileSpaceError,
    apply_tables,
    power_curve,
    profile_of_primaries,
    read_profile,
)

BUILT_IN = (SRGB, DISPLAY_P3, OPRGB)
FOUND = ("DisplayP3.icm", "ClayRGB1998.icm", "SwappedRedAndGreen.icc")  # see data/icc/SOURCES.md
GAMMA_2 = curve_gamma(2.0)


def found(name: str) -> bytes:
    return (DATA / "icc" / name).read_bytes()


def Lab(profile: Profile, *RGB: int) -> np.ndarray:
    """CIELAB of 8-bit codes read through a profile."""
    linear = profile.table(256)[list(RGB), [0, 1, 2]]
    return XYZ_to_Lab(profile.to_XYZ @ linear)


def sRGB_codes(profile: Profile, codes: np.ndarray) -> np.ndarray:
    """8-bit codes of a profile as sRGB codes, not rounded and not clipped."""
    linear = profile.table(256)[codes, [0, 1, 2]].astype(np.float64)
    return 255 * sRGB_encode(linear @ (np.linalg.inv(SRGB.to_XYZ) @ profile.to_XYZ).T)


@pytest.mark.parametrize(("profile", "name"), [(SRGB, "sRGB"), (DISPLAY_P3, "Display P3"), (OPRGB, "Adobe RGB (1998)")])
def test_built_in_spaces_agree_with_colour_science(profile: Profile, name: str) -> None:
    """Its primaries, whites and curves are its own; only the adaptation to the ICC's D50 is added here."""
    colour = pytest.importorskip("colour")
    space = colour.RGB_COLOURSPACES[name]
    codes = random_codes(20, 20) / 255
    to_D50 = adaptation_matrix(white_XYZ((0.3127, 0.3290)), D50)
    XYZ = space.cctf_decoding(codes) @ (to_D50 @ colour.normalised_primary_matrix(space.primaries, space.whitepoint)).T
    linear = np.stack([curve(codes[..., at]) for at, curve in enumerate(profile.curves)], axis=-1)
    assert XYZ_to_Lab(linear @ profile.to_XYZ.T) == pytest.approx(XYZ_to_Lab(XYZ), abs=1e-4)


@pytest.mark.parametrize("name", FOUND)
def test_a_matrix_profile_is_read_as_littlecms_reads_it(name: str) -> None:
    """Its 8-bit result is ours, rounded: half a code, and 1/30 more for its own 16-bit steps."""
    codes = random_codes(40, 50)
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(BytesIO(found(name))),
        ImageCms.createProfile("sRGB"),
        "RGB",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.NOOPTIMIZE,
    )
    theirs = np.asarray(ImageCms.applyTransform(Image.fromarray(codes), transform))
    ours = sRGB_codes(read_profile(found(name)), codes)
    shown = ((ours > 1) & (ours < 254)).all(axis=-1)  # theirs is clipped to what sRGB can show
    assert shown.mean() > 0.5
    assert np.abs(ours - theirs)[shown].max() < 0.5 + 1 / 30


def test_the_display_P3_profile_is_display_P3() -> None:
    """Two ways to the same space: the embedded profile, and the published primaries and curve."""
    embedded = read_profile(found("DisplayP3.icm"))
    assert embedded.to_XYZ == pytest.approx(DISPLAY_P3.to_XYZ, abs=3e-5)  # rounding of its colorants, 1/65536
    assert embedded.table(256) == pytest.approx(DISPLAY_P3.table(256), abs=2e-5)


def test_a_P3_wood_brown_read_as_sRGB_is_wrong_by_8() -> None:
    """Codes 160, 110, 60: the case for honouring a profile at all. "About 8" is what the finding says."""
    as_P3, as_sRGB = Lab(DISPLAY_P3, 160, 110, 60), Lab(SRGB, 160, 110, 60)
    assert np.linalg.norm(as_P3 - as_sRGB) == pytest.approx(8.0, abs=0.3)


def test_the_swapped_profile_swaps_red_and_green() -> None:
    swapped = read_profile(found("SwappedRedAndGreen.icc"))
    assert Lab(swapped, 200, 90, 40) == pytest.approx(Lab(SRGB, 90, 200, 40), abs=0.05)


@pytest.mark.parametrize(
    "profile", [*BUILT_IN, *map(read_profile, map(found, FOUND))], ids=lambda profile: profile.name
)
def test_neutral_codes_are_neutral(profile: Profile) -> None:
    gray = profile.table(256)
    a_star, b_star = XYZ_to_Lab(gray @ profile.to_XYZ.T)[:, 1:].T
    assert np.abs([a_star, b_star]).max() < 1e-4  # float32 curves
    assert profile.to_XYZ.sum(axis=1) == pytest.approx(D50, abs=1e-12)


def test_colorants_that_were_never_adapted_still_make_white() -> None:
    """Old profiles state colorants under D65 as they are; R = G = B is white all the same."""
    under_D65 = profile_of_primaries("sRGB", [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)], power_curve(2))
    not_adapted = adaptation_matrix(D50, white_XYZ((0.3127, 0.3290))) @ under_D65.to_XYZ
    profile = read_profile(matrix_profile(not_adapted, [GAMMA_2] * 3))
    assert profile.to_XYZ == pytest.approx(SRGB.to_XYZ, abs=5e-5)


def test_16_bit_codes_lie_on_the_same_curve() -> None:
    for profile in BUILT_IN:
        assert profile.table(65536)[::257] == pytest.approx(profile.table(256), abs=1e-7)
        assert profile.table(65536).shape == (65536, 3)
        assert profile.table(65536).dtype == np.float32


x = np.linspace(0, 1, 256)


@pytest.mark.parametrize(
    ("element", "linear"),
    [
        (curve_samples([]), x),
        (curve_gamma(1.8), x ** (461 / 256)),
        (curve_samples([0, 0.25, 1]), np.where(x < 0.5, x / 2, 0.25 + 1.5 * (x - 0.5))),
        (curve_samples(np.linspace(0, 1, 1024) ** 2), x**2),
        (curve_function(0, 2.0), x**2),
        (curve_function(1, 2.0, 1.25, -0.25), np.where(x >= 0.2, (1.25 * x - 0.25) ** 2, 0)),
        (curve_function(2, 2.0, 1.0, -0.25, 0.25), np.where(x >= 0.25, (x - 0.25) ** 2 + 0.25, 0.25)),
        (
            curve_function(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
            np.where(x >= 0.04045, ((x + 0.055) / 1.055) ** 2.4, x / 12.92),
        ),
        (
            curve_function(4, 2.0, 0.75, 0.125, 0.5, 0.25, 0.125, 0.0625),
            np.where(x >= 0.25, (0.75 * x + 0.125) ** 2 + 0.125, 0.5 * x + 0.0625),
        ),
    ],
    ids=["identity", "gamma", "3 samples", "1024 samples", *(f"function {kind}" for kind in range(5))],
)
def test_every_kind_of_tone_curve_follows_its_formula(element: bytes, linear: np.ndarray) -> None:
    """ICC.1:2022 clauses 10.6 and 10.18."""
    profile = read_profile(matrix_profile(SRGB.to_XYZ, [element, GAMMA_2, element]))
    table = profile.table(256)
    assert table[:, 0] == pytest.approx(linear, abs=3e-5)  # parameters in 1/65536, samples in 1/65535
    assert table[:, 1] == pytest.approx(x**2, abs=1e-6)
    assert (table[:, 2] == table[:, 0]).all()


def test_a_gray_profile_gives_its_curve_and_a_neutral() -> None:
    profile = read_profile(gray_profile(GAMMA_2))
    assert profile.table(256)[:, 1] == pytest.approx(x**2, abs=1e-6)
    assert Lab(profile, 99, 99, 99)[1:] == pytest.approx([0, 0], abs=1e-4)


def test_the_name_of_a_profile_is_its_description() -> None:
    assert (
        read_profile(matrix_profile(SRGB.to_XYZ, [GAMMA_2] * 3, "  a\nphone's\tcolours ")).name == "a phone's colours"
    )


def table_like(profile: Profile) -> bytes:
    return table_profile(profile.to_XYZ, profile.curves[0](np.linspace(0, 1, 4096)))


def test_a_table_profile_means_what_the_same_matrix_profile_means() -> None:
    """Within the rounding to 8 bits, and a quarter of a code for LittleCMS' 16-bit steps."""
    profile = read_profile(table_like(OPRGB))
    assert profile.table_icc is not None
    codes = random_codes(60, 50)
    turned = codes.copy()
    apply_tables(profile.table_icc, turned, full_scale_from=254)
    linear = OPRGB.table(256)[codes, [0, 1, 2]].astype(np.float64)
    exact = 255 * sRGB_encode(linear @ (np.linalg.inv(profile.to_XYZ) @ OPRGB.to_XYZ).T)
    held = ((exact > 0) & (exact < 255) & (codes < 254)).all(axis=-1)  # P3 does not hold every green of opRGB
    assert held.mean() > 0.7
    assert np.abs(turned - exact)[held].max() < 0.75


def test_a_table_profile_leaves_clipped_channels_at_full_scale() -> None:
    codes = random_codes(300, 4)  # more than one strip
    codes[::7, :, 0] = 255
    codes[1::7, :, 2] = 254
    turned = codes.copy()
    apply_tables(table_like(OPRGB), turned, full_scale_from=254)
    assert ((turned >= 254) == (codes >= 254))[codes >= 254].all()
    assert (turned != codes).any()


def test_a_table_for_gray_gives_a_neutral() -> None:
    """One input channel, and XYZ along the neutral axis: ICC.1:2022 clause 10.10."""
    axis = np.rint(np.outer([0, 1], D50) * 32768).astype(">u2").tobytes()
    squares = np.rint(np.linspace(0, 1, 256) ** 2 * 65535).astype(">u2").tobytes()
    one = (65536).to_bytes(4, "big")
    matrix = b"".join(one if at % 4 == 0 else bytes(4) for at in range(9))
    table = b"mft2" + bytes(4) + bytes([1, 3, 2, 0]) + matrix + b"\x01\x00\x00\x02" + squares + axis
    icc = icc_profile({b"A2B0": table + b"\0\0\xff\xff" * 3}, space=b"GRAY")
    codes = np.repeat(np.arange(0, 250, 10, dtype=np.uint8)[None, :, None], 3, axis=2)
    turned = codes.copy()
    apply_tables(icc, turned, full_scale_from=254)
    assert np.ptp(turned, axis=-1).max() <= 1  # each channel is rounded by itself
    assert turned == pytest.approx(255 * sRGB_encode((codes / 255.0) ** 2), abs=0.75)


@pytest.mark.parametrize("space", [b"CMYK", b"Lab ", b"XYZ ", b"HSV "])
def test_a_profile_of_another_colour_space_is_told_from_a_damaged_one(space: bytes) -> None:
    with pytest.raises(ProfileSpaceError, match=space.decode().strip()):
        read_profile(matrix_profile(SRGB.to_XYZ, [GAMMA_2] * 3, space=space))


def test_a_found_Lab_profile_is_refused() -> None:
    with pytest.raises(ProfileSpaceError, match="Lab"):
        read_profile(found("lab2lab.icm"))


@pytest.mark.parametrize(
    ("icc", "reason"),
    [
        (b"", "cannot be opened"),
        (b"no profile at all", "cannot be opened"),
        (found("DisplayP3.icm")[:700], "neither a matrix nor a table"),  # LittleCMS opens it, without the curves
        (found("DisplayP3.icm")[:100], "cannot be opened"),
        (matrix_profile(SRGB.to_XYZ, [GAMMA_2] * 3, kind=b"link"), "does not describe a picture"),
        (matrix_profile(SRGB.to_XYZ, [GAMMA_2] * 3, connection=b"Lab "), "neither a matrix nor a table"),
        (icc_profile({b"rTRC": GAMMA_2}), "neither a matrix nor a table"),
        (icc_profile({b"wtpt": b""}, space=b"GRAY"), "tone curve"),
        (matrix_profile(np.zeros((3, 3)), [GAMMA_2] * 3), "no colour space"),
        (matrix_profile(np.ones((3, 3)) / 3, [GAMMA_2] * 3), "no colour space"),
        (matrix_profile(SRGB.to_XYZ * [[5], [-1], [1]], [GAMMA_2] * 3), "no colour space"),
        (matrix_profile(SRGB.to_XYZ * [[1], [1], [-1]], [GAMMA_2] * 3), "no white"),
        (matrix_profile(SRGB.to_XYZ, [b"none" + bytes(20)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [b"curv" + bytes(6)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [b"curv" + bytes(4) + b"\x7f\xff\xff\xff" * 3] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_gamma(0)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_samples([0.5, 0.5])] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_samples([1, 0])] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_function(0, -1.0)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_function(1, 2.0, 0.0, 0.5)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_function(3, 2.0, 90.0, 0.0, 1.0, 0.1)] * 3), "tone curve"),
        (matrix_profile(SRGB.to_XYZ, [curve_function(9, 2.0)] * 3), "tone curve"),
    ],
)
def test_a_damaged_profile_is_named_as_such(icc: bytes, reason: str) -> None:
    with pytest.raises(ProfileDamagedError, match=reason):
        read_profile(icc)


def test_damaged_tables_are_named_as_such() -> None:
    icc = icc_profile({b"A2B0": b"mft2" + bytes(60)})
    with pytest.raises(ProfileDamagedError, match="tables"):
        apply_tables(icc, random_codes(), full_scale_from=254)


@given(st.data())
def test_no_damage_to_a_profile_escapes_as_another_error(data: st.DataObject) -> None:
    icc = bytearray(data.draw(st.sampled_from([found("DisplayP3.icm"), matrix_profile(SRGB.to_XYZ, [GAMMA_2] * 3)])))
    for at in data.draw(st.lists(st.integers(0, 400), min_size=1, max_size=6)):
        icc[at % len(icc)] = data.draw(st.integers(0, 255))
    try:
        profile = read_profile(bytes(icc))
    except (ProfileDamagedError, ProfileSpaceError):
        return
    table = profile.table(256)
    assert np.isfinite(table).all()
    assert profile.to_XYZ.sum(axis=1) == pytest.approx(D50, abs=1e-9)


@given(st.floats(0.3, 3), st.floats(0, 1), st.floats(0, 1))
def test_more_code_never_means_less_light(gamma: float, a: float, b: float) -> None:
    curve = power_curve(gamma)
    darker, lighter = sorted((a, b))
    assert curve(np.array(darker)) <= curve(np.array(lighter))


def test_primaries_on_one_line_span_no_colour_space() -> None:
    with pytest.raises(ProfileDamagedError, match="no colour space"):
        profile_of_primaries("flat", [(0.3, 0.3), (0.4, 0.4), (0.5, 0.5)], power_curve(2))
