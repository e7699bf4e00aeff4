"""Photo files in, upright codes and their linear light out; and everything that people send instead of a photo."""

import hashlib
import os
import struct
import warnings
import zlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from photo_files import (
    DATA,
    STORED,
    curve_gamma,
    exif_block,
    gray_profile,
    matrix_profile,
    pillow_file,
    png_chunk,
    png_file,
    random_codes,
    table_profile,
    tiff_file,
)
from PIL import Image

from calibration.colorspace import XYZ_to_Lab
from calibration.errors import PhotoError
from calibration.exif import Exif
from calibration.findings import Severity
from calibration.photo import MAX_PIXELS, Photo, open_photo
from calibration.photo_header import read_header
from calibration.profiles import DISPLAY_P3, OPRGB, SRGB

P3_ICC = (DATA / "icc" / "DisplayP3.icm").read_bytes()
SWAPPED_ICC = (DATA / "icc" / "SwappedRedAndGreen.icc").read_bytes()
ORIENTATIONS = range(1, 9)


@pytest.fixture
def opened(tmp_path: Path) -> Callable[..., Photo]:
    """Open bytes as a photo file; the name says nothing about the content."""

    def open_bytes(content: bytes, **options: int) -> Photo:
        path = tmp_path / "IMG_0001.JPG"
        path.write_bytes(content)
        return open_photo(path, **options)

    return open_bytes


def codes_of(photo: Photo) -> list[str]:
    return [finding.code for finding in photo.findings]


def gray_photo(level: int, kind: str = "JPEG", **options: object) -> bytes:
    return pillow_file(np.full((8, 8, 3), level, np.uint8), kind, **options)


# --- pixels


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("write", [png_file, tiff_file, lambda codes: tiff_file(codes, order=">")])
def test_png_and_tiff_keep_every_bit(opened: Callable[..., Photo], write: Callable, dtype: type) -> None:
    codes = random_codes(dtype=dtype)
    photo = opened(write(codes))
    assert photo.codes.dtype == dtype
    assert np.array_equal(photo.codes, codes)
    assert photo.curve.shape == (np.iinfo(dtype).max + 1, 3)


def test_a_jpeg_is_decoded_as_pillow_decodes_it(opened: Callable[..., Photo]) -> None:
    content = pillow_file(cv2.resize(random_codes(5, 6), (90, 70)), "JPEG", quality=92)
    theirs = np.asarray(Image.open(BytesIO(content)))
    assert np.abs(opened(content).codes.astype(int) - theirs).max() <= 1


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("write", [png_file, tiff_file])
def test_gray_becomes_three_equal_channels(opened: Callable[..., Photo], write: Callable, dtype: type) -> None:
    gray = random_codes(dtype=dtype)[..., 0].copy()
    assert np.array_equal(opened(write(gray)).codes, np.repeat(gray[..., np.newaxis], 3, axis=2))


def test_a_gray_jpeg_becomes_three_equal_channels(opened: Callable[..., Photo]) -> None:
    photo = opened(pillow_file(np.full((16, 24), 77, np.uint8), "JPEG"))
    assert photo.codes.shape == (16, 24, 3)
    assert (photo.codes == 77).all()


def test_a_palette_png_shows_its_colours(opened: Callable[..., Photo]) -> None:
    indices = random_codes()[..., 0] % 4
    palette = np.array([[10, 20, 30], [200, 100, 50], [0, 255, 7], [9, 9, 9]], np.uint8)
    assert np.array_equal(opened(png_file(indices, palette=palette.tobytes())).codes, palette[indices])


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("write", [png_file, tiff_file])
def test_an_opaque_alpha_channel_is_dropped(opened: Callable[..., Photo], write: Callable, dtype: type) -> None:
    codes = random_codes(dtype=dtype)
    opaque = np.full((*codes.shape[:2], 1), np.iinfo(dtype).max, dtype)
    assert np.array_equal(opened(write(np.concatenate([codes, opaque], axis=2))).codes, codes)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("write", [png_file, tiff_file])
def test_a_cut_out_picture_is_refused(opened: Callable[..., Photo], write: Callable, dtype: type) -> None:
    codes = np.concatenate([random_codes(dtype=dtype), np.full((6, 9, 1), np.iinfo(dtype).max, dtype)], axis=2)
    codes[:3, :, 3] = 0
    with pytest.raises(PhotoError, match=r"50\.0% of the picture is transparent"):
        opened(write(codes))


def test_a_transparent_palette_colour_counts_only_where_it_is_used(opened: Callable[..., Photo]) -> None:
    indices = np.zeros((6, 9), np.uint8)
    palette = bytes([90, 60, 30, 1, 2, 3])
    chunks = [(b"tRNS", bytes([255, 0]))]
    assert (opened(png_file(indices, chunks, palette=palette)).codes == [90, 60, 30]).all()
    indices[0, 0] = 1
    with pytest.raises(PhotoError, match="transparent"):
        opened(png_file(indices, chunks, palette=palette))


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "MPO"])
def test_of_several_pictures_the_first_is_read(opened: Callable[..., Photo], kind: str) -> None:
    pages = [Image.new("RGB", (16, 16), (40 * page, 90, 30)) for page in (1, 2, 3)]
    buffer = BytesIO()
    pages[0].save(buffer, kind, save_all=True, append_images=pages[1:])
    assert np.abs(opened(buffer.getvalue()).codes.astype(int) - (40, 90, 30)).max() <= 2  # MPO holds JPEG


def test_a_photo_cannot_be_changed_by_those_who_share_it(opened: Callable[..., Photo]) -> None:
    photo = opened(png_file(random_codes()))
    with pytest.raises(ValueError, match="read-only"):
        photo.codes[0, 0, 0] = 1


# --- orientation


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize(
    "write",
    [
        lambda codes, orientation: pillow_file(codes, "PNG", exif=exif_block(orientation)),
        lambda codes, orientation: png_file(codes.astype(np.uint16) * 257, exif_chunk(orientation)),
        lambda codes, orientation: tiff_file(codes, {274: [orientation]}),
        lambda codes, orientation: tiff_file(codes.astype(np.uint16) * 257, {274: [orientation]}, order=">"),
        lambda codes, orientation: tiff_file(codes[..., 0].astype(np.uint16) * 257, {274: [orientation]}),
        lambda codes, orientation: png_file(codes, late=png_chunk(*exif_chunk(orientation)[0])),
    ],
    ids=["PNG", "16-bit PNG", "TIFF", "16-bit TIFF", "16-bit gray TIFF", "PNG with EXIF behind the pixels"],
)
def test_every_orientation_comes_upright_once(opened: Callable[..., Photo], write: Callable, orientation: int) -> None:
    upright = random_codes()
    photo = opened(write(np.ascontiguousarray(STORED[orientation](upright)), orientation))
    codes = photo.codes if photo.codes.dtype == np.uint8 else photo.codes // 257
    expected = upright if (codes[..., 0] != codes[..., 1]).any() else np.repeat(upright[..., :1], 3, axis=2)
    assert np.array_equal(codes, expected)


def exif_chunk(orientation: int) -> list[tuple[bytes, bytes]]:
    return [(b"eXIf", exif_block(orientation).tobytes().removeprefix(b"Exif\0\0"))]


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_a_jpeg_of_every_orientation_comes_upright(opened: Callable[..., Photo], orientation: int) -> None:
    upright = np.kron(random_codes(3, 4) // 2 + 60, np.ones((16, 16, 1), np.uint8))  # blocks survive JPEG
    stored = np.ascontiguousarray(STORED[orientation](upright))
    photo = opened(pillow_file(stored, "JPEG", quality=95, subsampling=0, exif=exif_block(orientation)))
    assert photo.codes.shape == upright.shape
    assert np.abs(photo.codes.astype(int) - upright).max() <= 12


@pytest.mark.parametrize("number", ORIENTATIONS)
def test_a_photo_stored_in_eight_ways_by_others_comes_upright(number: int) -> None:
    """Each carries its number in its middle, so they are alike, not equal: no other turn comes as near to the first."""
    first = open_photo(DATA / "orientation" / "Landscape_1.jpg").codes[..., 1].astype(int)
    other = open_photo(DATA / "orientation" / f"Landscape_{number}.jpg").codes[..., 1].astype(int)
    turns = [STORED[turn](first) for turn in ORIENTATIONS]
    distance = [np.abs(turn - other).mean() if turn.shape == other.shape else 255 for turn in turns]
    assert np.argmin(distance) == 0
    assert distance[0] < 0.5 * sorted(distance)[1]


@pytest.mark.parametrize("nonsense", [0, 9, 300])
def test_an_orientation_that_makes_no_sense_turns_nothing(opened: Callable[..., Photo], nonsense: int) -> None:
    codes = random_codes()
    assert np.array_equal(opened(pillow_file(codes, "PNG", exif=exif_block(nonsense))).codes, codes)


# --- colour


def test_linear_light_of_srgb_codes(opened: Callable[..., Photo]) -> None:
    """IEC 61966-2-1: code 0, the knee between 10 and 11, the middle, the end. To 7 decimals, float32."""
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[np.newaxis, :, np.newaxis], 3, axis=2)
    photo = opened(png_file(ramp, [(b"sRGB", b"\0")]))
    linear = photo.linear_RGB()
    expected = {0: 0, 10: 10 / 255 / 12.92, 11: ((11 / 255 + 0.055) / 1.055) ** 2.4, 128: 0.2158605, 255: 1}
    assert linear[0, list(expected), 1] == pytest.approx(list(expected.values()), abs=1e-7)
    assert photo.profile == "sRGB (by PNG)"
    assert XYZ_to_Lab(photo.to_XYZ @ linear[0, 128])[1:] == pytest.approx([0, 0], abs=1e-4)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_an_embedded_P3_profile_is_honoured(opened: Callable[..., Photo], kind: str) -> None:
    photo = opened(gray_photo(120, kind, icc_profile=P3_ICC))
    assert photo.profile == "DisplayP3 color profile"
    assert photo.findings == ()
    assert photo.to_XYZ == pytest.approx(DISPLAY_P3.to_XYZ, abs=3e-5)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_profile_with_swapped_channels_makes_red_wood_green(opened: Callable[..., Photo], kind: str) -> None:
    brown = np.full((16, 16, 3), (150, 90, 60), np.uint8)
    swapped, plain = (
        opened(pillow_file(brown, kind, quality=95, **options)) for options in ({"icc_profile": SWAPPED_ICC}, {})
    )
    plain_XYZ = plain.to_XYZ @ plain.linear_RGB()[8, 8, [1, 0, 2]]
    assert swapped.to_XYZ @ swapped.linear_RGB()[8, 8] == pytest.approx(plain_XYZ, abs=1e-4)
    assert XYZ_to_Lab(swapped.to_XYZ @ swapped.linear_RGB()[8, 8])[1] < -10
    assert XYZ_to_Lab(plain_XYZ)[1] < -10


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_linear_light_of_a_region_is_the_region_of_linear_light(opened: Callable[..., Photo], dtype: type) -> None:
    icc = matrix_profile(SRGB.to_XYZ, [curve_gamma(gamma) for gamma in (1.8, 2.0, 2.2)])
    codes = random_codes(12, 17, dtype)
    photo = opened(png_file(codes, [(b"iCCP", b"x\0\0" + zlib.compress(icc))]))
    whole = photo.linear_RGB()
    assert whole.dtype == np.float32
    assert whole == pytest.approx((codes / np.iinfo(dtype).max) ** [461 / 256, 2.0, 563 / 256], abs=1e-6)
    for rows, columns in ((slice(3, 7), slice(5, 6)), (slice(None, None, 4), slice(-9, None)), (slice(2, 2), slice(3))):
        assert np.array_equal(photo.linear_RGB(rows, columns), whole[rows, columns])
        assert np.array_equal(photo.is_clipped(rows, columns), photo.is_clipped()[rows, columns])


def test_a_photo_without_a_profile_is_taken_as_srgb_and_says_so(opened: Callable[..., Photo]) -> None:
    photo = opened(gray_photo(90))
    assert photo.profile == "sRGB (assumed)"
    assert codes_of(photo) == ["no-profile"]
    assert photo.findings[0].severity is Severity.NOTE
    assert photo.to_XYZ == pytest.approx(SRGB.to_XYZ)


@pytest.mark.parametrize(
    ("tags", "profile", "meaning"),
    [
        ({"ColorSpace": 1}, "sRGB (by EXIF)", SRGB),
        ({"ColorSpace": 65535, "InteroperabilityIndex": "R03"}, "opRGB (by EXIF)", OPRGB),
    ],
)
def test_what_exif_says_of_the_colour_space_is_no_assumption(
    opened: Callable[..., Photo], tags: dict, profile: str, meaning: object
) -> None:
    photo = opened(gray_photo(90, exif=exif_block(**tags)))
    assert photo.profile == profile
    assert photo.findings == ()
    assert np.array_equal(photo.to_XYZ, meaning.to_XYZ)


def test_an_uncalibrated_colour_space_without_a_profile_is_still_unknown(opened: Callable[..., Photo]) -> None:
    assert codes_of(opened(gray_photo(90, exif=exif_block(ColorSpace=65535)))) == ["no-profile"]


def test_a_profile_outranks_what_exif_says(opened: Callable[..., Photo]) -> None:
    photo = opened(gray_photo(90, exif=exif_block(ColorSpace=1), icc_profile=P3_ICC))
    assert photo.profile == "DisplayP3 color profile"


P3_CHROMATICITIES = struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)


@pytest.mark.parametrize(
    ("chunks", "profile", "to_XYZ", "curve_of_half"),
    [
        ([(b"cICP", bytes([12, 13, 0, 1]))], "Display P3 (by PNG)", DISPLAY_P3.to_XYZ, 0.2140411),
        ([(b"cICP", bytes([1, 13, 0, 1]))], "sRGB (by PNG)", SRGB.to_XYZ, 0.2140411),
        ([(b"gAMA", struct.pack(">I", 100000))], "gamma 1.00 (by PNG)", SRGB.to_XYZ, 0.5),
        (
            [(b"gAMA", struct.pack(">I", 50000)), (b"cHRM", P3_CHROMATICITIES)],
            "gamma 2.00 (by PNG)",
            DISPLAY_P3.to_XYZ,
            0.25,
        ),
        ([(b"gAMA", struct.pack(">I", 45455))], "sRGB (assumed)", SRGB.to_XYZ, 0.2140411),
        ([(b"gAMA", struct.pack(">I", 50000)), (b"cHRM", bytes(32))], "gamma 2.00 (by PNG)", SRGB.to_XYZ, 0.25),
        (
            [(b"gAMA", struct.pack(">I", 50000)), (b"cHRM", struct.pack(">I", 30000) * 8)],
            "sRGB (assumed)",
            SRGB.to_XYZ,
            0.2140411,
        ),
        ([(b"cICP", bytes([99, 99, 0, 1]))], "sRGB (assumed)", SRGB.to_XYZ, 0.2140411),
    ],
)
def test_colour_chunks_of_png_are_honoured(
    opened: Callable[..., Photo],
    chunks: list[tuple[bytes, bytes]],
    profile: str,
    to_XYZ: np.ndarray,
    curve_of_half: float,
) -> None:
    """IEC 61966-2-1: 0.5 decodes to 0.2140411. In 16 bits, half is code 32767.5: the two beside it are averaged."""
    photo = opened(png_file(random_codes(dtype=np.uint16), chunks))
    assert photo.profile == profile
    assert photo.to_XYZ == pytest.approx(to_XYZ, abs=1e-9)
    assert photo.curve[32767:32769].mean(axis=0) == pytest.approx([curve_of_half] * 3, abs=1e-6)
    assert codes_of(photo) == (["no-profile"] if "assumed" in profile else [])


def test_a_png_for_high_dynamic_range_screens_is_refused(opened: Callable[..., Photo]) -> None:
    with pytest.raises(PhotoError, match="high-dynamic-range"):
        opened(png_file(random_codes(), [(b"cICP", bytes([9, 16, 0, 1]))]))


@pytest.mark.parametrize(
    "content",
    [
        gray_photo(90, icc_profile=b"not a profile"),
        gray_photo(90, icc_profile=P3_ICC[:600]),
        png_file(random_codes(), [(b"iCCP", b"broken\0\0not compressed")]),
        gray_photo(90, "TIFF", icc_profile=b"x" * 300),
    ],
)
def test_a_broken_profile_is_told_and_srgb_assumed(opened: Callable[..., Photo], content: bytes) -> None:
    photo = opened(content)
    assert photo.profile == "sRGB (assumed)"
    assert codes_of(photo) == ["profile-damaged"]
    assert photo.findings[0].severity is Severity.WARNING


def test_a_profile_whose_second_part_is_lost_is_told(opened: Callable[..., Photo]) -> None:
    """A long profile is spread over several segments, each saying how many there are."""
    content = bytearray(gray_photo(90, icc_profile=P3_ICC))
    at = content.index(b"ICC_PROFILE\0") + 12
    assert content[at : at + 2] == b"\x01\x01"
    content[at + 1] = 2
    assert codes_of(opened(bytes(content))) == ["profile-damaged"]


@pytest.mark.parametrize("space", [b"CMYK", b"Lab "])
def test_a_profile_of_another_colour_space_is_refused(opened: Callable[..., Photo], space: bytes) -> None:
    icc = matrix_profile(SRGB.to_XYZ, [curve_gamma(2.0)] * 3, space=space)
    with pytest.raises(PhotoError, match=f"profile is for {space.decode().strip()} pictures"):
        opened(gray_photo(90, icc_profile=icc))


def test_a_gray_photo_with_a_gray_profile_follows_its_curve(opened: Callable[..., Photo]) -> None:
    photo = opened(pillow_file(np.full((8, 8), 100, np.uint8), "JPEG", icc_profile=gray_profile(curve_gamma(2.0))))
    assert photo.linear_RGB() == pytest.approx(np.full((8, 8, 3), (100 / 255) ** 2), abs=1e-6)
    assert photo.findings == ()


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_table_profile_is_applied_in_8_bits_and_says_so(opened: Callable[..., Photo], dtype: type) -> None:
    """The table means exactly opRGB. One code of P3 is at most 0.9 in CIELAB here; rounding twice stays below it."""
    icc = table_profile(OPRGB.to_XYZ, OPRGB.curves[0](np.linspace(0, 1, 4096)))
    wood = np.array([[[170, 120, 80], [120, 70, 40], [200, 160, 110], [255, 130, 90]]], np.uint8)
    photo = opened(tiff_file(wood.astype(dtype) * (np.iinfo(dtype).max // 255), {34675: icc}))
    assert photo.codes.dtype == np.uint8
    assert codes_of(photo) == ["profile-8-bit"]
    exact = XYZ_to_Lab(OPRGB.table(256)[wood, [0, 1, 2]] @ OPRGB.to_XYZ.T)
    assert XYZ_to_Lab(photo.linear_RGB() @ photo.to_XYZ.T)[:, :3] == pytest.approx(exact[:, :3], abs=0.9)
    assert photo.is_clipped().tolist() == [[False, False, False, True]]


def test_unreadable_tables_leave_the_codes_alone(opened: Callable[..., Photo]) -> None:
    icc = bytearray(table_profile(SRGB.to_XYZ, np.linspace(0, 1, 16)))
    icc[icc.index(b"mft2") + 8] = 77  # input channels
    codes = random_codes()
    photo = opened(pillow_file(codes, "PNG", icc_profile=bytes(icc)))
    assert codes_of(photo) == ["profile-damaged"]
    assert np.array_equal(photo.codes, codes)


# --- clipping


@pytest.mark.parametrize(("dtype", "full_scale_from"), [(np.uint8, 254), (np.uint16, 65278)])
def test_a_pixel_is_clipped_when_one_channel_is_at_full_scale(
    opened: Callable[..., Photo], dtype: type, full_scale_from: int
) -> None:
    """254 of 255, and the same fraction of 65535."""
    codes = np.full((4, 3, 3), 100, dtype)
    for channel in range(3):
        codes[channel, 0, channel] = full_scale_from - 1
        codes[channel, 1, channel] = full_scale_from
        codes[channel, 2, channel] = np.iinfo(dtype).max
    clipped = opened(png_file(codes)).is_clipped()
    assert clipped.dtype == bool
    assert np.array_equal(clipped, [[False, True, True]] * 3 + [[False] * 3])


# --- what the camera says


def test_exif_tells_how_the_photo_was_taken(opened: Callable[..., Photo]) -> None:
    tags = exif_block(
        Make="Acme",
        Model="Acme 5",
        Software="7.1",
        ExposureTime=(1, 125),
        FNumber=(18, 10),
        PhotographicSensitivity=80,
        DateTimeOriginal="2026:03:14 15:09:26",
        OffsetTimeOriginal="+01:00",
        Flash=0x19,
        DigitalZoomRatio=(2, 1),
        LensModel="wide\0\0",
        CustomRendered=2,
        SceneCaptureType=3,
        CompositeImage=1,
        UserComment=b"ASCII\0\0\0board A, maple",
    )
    expected = Exif(
        camera="Acme 5",
        lens="wide",
        exposure_s=1 / 125,
        f_number=1.8,
        iso=80,
        taken="2026-03-14T15:09:26+01:00",
        software="7.1",
        flash_fired=True,
        digital_zoom=2.0,
        custom_rendered=2,
        scene_capture_type=3,
        composite_image=1,
        is_screenshot=False,
    )
    assert opened(gray_photo(90, exif=tags)).exif == expected
    assert opened(gray_photo(90, "PNG", exif=tags)).exif == expected


def test_tags_that_say_unknown_are_none(opened: Callable[..., Photo]) -> None:
    tags = exif_block(
        Model=" \0",
        ExposureTime=(0, 0),
        FNumber=(0, 1),
        DateTimeOriginal="0000:00:00 00:00:00",
        DigitalZoomRatio=(0, 1),
    )
    assert opened(gray_photo(90, exif=tags)).exif == Exif()


def test_exif_details(opened: Callable[..., Photo]) -> None:
    tags = exif_block(
        Make="Acme", Model="One", PhotographicSensitivity=65535, ISOSpeed=102400, Flash=0x10,
        DateTimeOriginal="2026:03:14 15:09:26",
    )  # fmt: skip
    exif = opened(gray_photo(90, exif=tags)).exif
    assert exif.camera == "Acme One"
    assert exif.iso == 102400
    assert exif.flash_fired is False
    assert exif.taken == "2026-03-14T15:09:26"


def test_a_photo_without_exif_says_nothing(opened: Callable[..., Photo]) -> None:
    assert opened(gray_photo(90)).exif == Exif()


@pytest.mark.parametrize(
    "block", [b"", b"Exif\0\0", b"Exif\0\0garbage", b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\x01" * 40]
)
def test_broken_exif_never_stops_a_photo(opened: Callable[..., Photo], block: bytes) -> None:
    content = gray_photo(90)
    segment = b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block
    photo = opened(content[:2] + segment + content[2:])
    assert np.abs(photo.codes.astype(int) - 90).max() <= 1
    assert photo.exif.exposure_s is None


def test_name_and_hash_are_those_of_the_file(tmp_path: Path) -> None:
    content = gray_photo(90)
    path = tmp_path / "Bank links, Größe 2.jpeg"
    path.write_bytes(content)
    photo = open_photo(path)
    assert photo.name == "Bank links, Größe 2.jpeg"
    assert photo.sha256 == hashlib.sha256(content).hexdigest()


# --- what is no photo

WHOLE = {
    "JPEG": pillow_file(random_codes(40, 60), "JPEG"),
    "progressive JPEG": pillow_file(random_codes(40, 60), "JPEG", progressive=True),
    "PNG": png_file(random_codes(40, 60)),
    "TIFF": tiff_file(random_codes(40, 60)),
    "16-bit TIFF": tiff_file(random_codes(40, 60, np.uint16)),
    "packed TIFF": pillow_file(random_codes(40, 60), "TIFF", compression="tiff_lzw"),
}


@pytest.mark.parametrize("kept", [0.02, 0.3, 0.6, 0.99])
@pytest.mark.parametrize("kind", WHOLE)
def test_a_file_that_was_cut_short_is_refused(opened: Callable[..., Photo], kind: str, kept: float) -> None:
    whole = WHOLE[kind]
    assert opened(whole).codes.shape == (40, 60, 3)
    with pytest.raises(PhotoError, match=r"cut short|damaged"):
        opened(whole[: int(kept * len(whole))])


@pytest.mark.parametrize("kind", ["JPEG", "progressive JPEG", "PNG"])
def test_a_copy_whose_end_is_only_zeros_is_refused(opened: Callable[..., Photo], kind: str) -> None:
    """What an interrupted copy leaves on many file systems: the right length, but no content."""
    whole = WHOLE[kind]
    kept = whole[: len(whole) // 2]
    with pytest.raises(PhotoError, match=r"cut short|damaged"):
        opened(kept + bytes(len(whole) - len(kept)))


def test_the_end_of_a_thumbnail_is_not_the_end_of_the_photo(opened: Callable[..., Photo]) -> None:
    thumbnail = gray_photo(50)
    block = b"Exif\0\0MM\0*\0\0\0\x08" + bytes(6) + thumbnail
    whole = WHOLE["JPEG"]
    content = whole[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + whole[2:]
    assert opened(content).codes.shape == (40, 60, 3)
    with pytest.raises(PhotoError, match="cut short"):
        opened(content[:-1000] + bytes(1000))


def test_what_follows_a_whole_jpeg_does_no_harm(opened: Callable[..., Photo]) -> None:
    """Phones append videos, depth maps and gain maps."""
    assert np.array_equal(opened(WHOLE["JPEG"] + b"a video" * 999).codes, opened(WHOLE["JPEG"]).codes)


def test_a_png_with_one_wrong_byte_is_refused(opened: Callable[..., Photo]) -> None:
    content = bytearray(WHOLE["PNG"])
    content[len(content) // 2] ^= 1
    with pytest.raises(PhotoError, match="checksum"):
        opened(bytes(content))


PHONE = "Export or share the photo as JPEG"


@pytest.mark.parametrize(
    ("content", "what", "remedy"),
    [
        (b"", "the file is empty", "Copy it again"),
        (b"board A, maple\nwashcoat 1 lb\n", "this is a text file", PHONE),
        (b"<!DOCTYPE html><p>not found", "this is a text file", PHONE),
        (bytes(range(200)), "a file of an unknown kind", PHONE),
        (b"\0\0\0\x18ftypavif" + bytes(99), "this is an AVIF picture", PHONE),
        (b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif" + bytes(99), "this is an AVIF picture", PHONE),
        (b"\0\0\0\x18ftypisom" + bytes(99), "this is a video", PHONE),
        (b"RIFF\x10\0\0\0WEBPVP8 " + bytes(99), "this is a WebP picture", PHONE),
        (b"%PDF-1.7\n", "this is a PDF document", PHONE),
        (gray_photo(9, "GIF"), "this is a GIF picture", PHONE),
        (gray_photo(9, "BMP"), "this is a BMP picture", PHONE),
        (pillow_file(random_codes(dtype=np.uint16)[..., 0], "TIFF")[:9], "header cannot be read", "Copy it again"),
        (WHOLE["JPEG"].replace(struct.pack(">HH", 40, 60), bytes(4)), "header cannot be read", "Copy it again"),
        (b"\xff\xd8\xff\xd9", "header cannot be read", "Copy it again"),
        (tiff_file(random_codes(), {256: b"\t\0\0\0"}), "header cannot be read", "Copy it again"),
        (b"\x89PNG\r\n\x1a\n" + png_chunk(b"IEND", b""), "header cannot be read", "Copy it again"),
        (WHOLE["PNG"][:33] + png_chunk(b"IEND", b""), "it holds no pixels", "Copy it again"),
    ],
)
def test_what_is_no_photo_is_named(opened: Callable[..., Photo], content: bytes, what: str, remedy: str) -> None:
    with pytest.raises(PhotoError) as refused:
        opened(content)
    assert what in refused.value.what
    assert remedy in refused.value.remedy
    assert refused.value.photo == "IMG_0001.JPG"
    assert refused.value.code == "photo-unreadable"
    assert str(refused.value).startswith("IMG_0001.JPG: ")


def test_a_jpeg_of_12_bits_is_refused(opened: Callable[..., Photo]) -> None:
    content = bytearray(WHOLE["JPEG"])
    content[content.index(b"\xff\xc0") + 4] = 12
    with pytest.raises(PhotoError, match="12 bits a channel"):
        opened(bytes(content))


def cmyk(kind: str) -> bytes:
    buffer = BytesIO()
    Image.new("CMYK", (16, 16), (10, 90, 80, 20)).save(buffer, kind)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (cmyk("JPEG"), "CMYK"),
        (cmyk("TIFF"), "CMYK"),
        (tiff_file(random_codes(), {262: [8]}), "CIELAB"),
        (tiff_file(random_codes(), {262: [4]}), "a mask"),
        (tiff_file(random_codes(), {262: [12345]}), "unusual kind (12345)"),
        (tiff_file(np.zeros((6, 9, 3), np.float32), {339: [3, 3, 3]}), "floating-point"),
        (tiff_file(np.zeros((6, 9, 3), np.int16), {339: [2, 2, 2]}), "signed"),
        (tiff_file(np.zeros((6, 9, 3), np.uint32)), "32 bits a channel"),
        (pillow_file(np.zeros((8, 8), bool), "TIFF"), "1 bits a channel"),
        (tiff_file(random_codes(dtype=np.uint16), {284: [2]}), "separate colour planes"),
        (tiff_file(random_codes(dtype=np.uint16)[..., 0], {262: [0]}), "stored inverted"),
        (tiff_file(random_codes()[..., :2].copy()), "second channel"),
    ],
)
def test_a_photo_that_holds_no_rgb_codes_is_refused(opened: Callable[..., Photo], content: bytes, what: str) -> None:
    with pytest.raises(PhotoError) as refused:
        opened(content)
    assert what in refused.value.what
    assert "Export it again as an RGB photo" in refused.value.remedy


def test_an_inverted_8_bit_gray_tiff_is_put_right(opened: Callable[..., Photo]) -> None:
    gray = random_codes()[..., 0].copy()
    assert np.array_equal(opened(tiff_file(gray, {262: [0]})).codes[..., 2], 255 - gray)


def test_paths_that_lead_to_no_photo_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PhotoError, match="no such file") as missing:
        open_photo(tmp_path / "gone.jpg")
    assert missing.value.photo == "gone.jpg"
    with pytest.raises(PhotoError, match="a folder"):
        open_photo(tmp_path)
    with pytest.raises(PhotoError, match="cannot be read"):
        open_photo(tmp_path / "null\0.jpg")
    locked = tmp_path / "locked.jpg"
    locked.write_bytes(gray_photo(90))

    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(locked))  # the tests may run as root, who is let in

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(PhotoError, match="may not be read"):
        open_photo(locked)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_no_photo_and_nothing_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(PhotoError, match="no ordinary file"):
        open_photo(tmp_path / "pipe.jpg")


@pytest.mark.parametrize("failure", [cv2.error("too large"), MemoryError()])
def test_a_decoder_that_gives_up_is_told(
    opened: Callable[..., Photo], monkeypatch: pytest.MonkeyPatch, failure: Exception
) -> None:
    def give_up(*_: object) -> None:
        raise failure

    monkeypatch.setattr(cv2, "imdecode", give_up)
    with pytest.raises(PhotoError, match="cannot be decoded"):
        opened(WHOLE["JPEG"])


# --- size


def huge(kind: str, width: int = 30_000, height: int = 20_000) -> bytes:
    """A small file whose header states a huge picture."""
    if kind == "PNG":
        header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
        return WHOLE["PNG"][:8] + header + WHOLE["PNG"][33:]
    if kind == "TIFF":
        return tiff_file(random_codes(), {256: [width], 257: [height]})
    content = bytearray(WHOLE["JPEG"])
    frame = content.index(b"\xff\xc0")
    content[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    return bytes(content)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_huge_picture_is_refused_before_it_is_decoded(
    opened: Callable[..., Photo], monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    def decode(*_: object) -> None:
        pytest.fail("decoded")

    monkeypatch.setattr(cv2, "imdecode", decode)
    limit = Image.MAX_IMAGE_PIXELS
    with pytest.raises(PhotoError, match=r"30000 x 20000 = 600\.0 million pixels \(limit 120\.0 million\)"):
        opened(huge(kind))
    assert limit == Image.MAX_IMAGE_PIXELS


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_pillows_own_limit_and_warning_do_not_apply(kind: str) -> None:
    """It warns above 89 million pixels: fewer than some phones take, and fewer than our cap."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        header = read_header(huge(kind, 12_000, 9_000))
    assert (header.width, header.height) == (12_000, 9_000)
    assert MAX_PIXELS > 12_000 * 9_000 > 89_000_000


def test_the_cap_is_the_callers(opened: Callable[..., Photo]) -> None:
    content = png_file(random_codes(10, 10))
    assert opened(content, max_pixels=100).codes.shape == (10, 10, 3)
    with pytest.raises(PhotoError, match="limit"):
        opened(content, max_pixels=99)


def test_a_file_far_larger_than_any_photo_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "disk.jpg"
    with path.open("wb") as sparse:
        sparse.truncate(2_000_000_000)
    with pytest.raises(PhotoError, match="2000 MB"):
        open_photo(path)


# --- damage of any kind


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_damage_to_a_file_escapes_as_another_error(opened: Callable[..., Photo], data: st.DataObject) -> None:
    """Bytes changed, lost, or cut off: a photo, or a PhotoError that says what to do."""
    content = bytearray(data.draw(st.sampled_from(sorted(WHOLE.values()))))
    for at in data.draw(st.lists(st.integers(0, 2000), max_size=4)):
        content[at % len(content)] = data.draw(st.integers(0, 255))
    at = data.draw(st.integers(0, 2000)) % len(content)
    del content[at : at + data.draw(st.integers(0, 5))]
    try:
        photo = opened(bytes(content))
    except PhotoError as refused:
        assert refused.remedy  # noqa: PT017 - either way out is right, and each has its own claim
    else:
        assert photo.codes.ndim == 3


# --- smaller copies, for previews and checks


@pytest.mark.parametrize("reduce", [2, 4])
@pytest.mark.parametrize(("orientation", "size"), [(1, (67, 101)), (6, (68, 100))])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_reduced_photo_is_the_mean_of_its_codes(
    opened: Callable[..., Photo], kind: str, orientation: int, size: tuple[int, int], reduce: int
) -> None:
    """At the edges of 67 x 101 pixels, blocks reach beyond. JPEG averages in its own transform: nearly the same."""
    codes = cv2.GaussianBlur(random_codes(*size), (0, 0), 3)
    options = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
    content = pillow_file(codes, kind, exif=exif_block(orientation), **options)
    whole, small = opened(content), opened(content, reduce=reduce)
    rows, columns = (length // reduce for length in whole.codes.shape[:2])
    assert small.reduced == reduce
    assert whole.reduced == 1
    assert small.codes.shape == (*(-(-length // reduce) for length in whole.codes.shape[:2]), 3)
    cut = whole.codes[: rows * reduce, : columns * reduce].astype(float)
    means = cut.reshape(rows, reduce, columns, reduce, 3).mean(axis=(1, 3))
    difference = small.codes[:rows, :columns] - means
    assert np.abs(difference).max() <= (4 if kind == "JPEG" else 0.51)
    assert np.abs(difference).mean() <= 0.5


def test_a_reduced_photo_is_too_dark_where_grain_is_fine_so_it_is_not_for_measuring(
    opened: Callable[..., Photo],
) -> None:
    """Closed form: lines of 60 and 180 are averaged to code 120, which stands for less light than they do."""
    lines = np.repeat(np.repeat(np.array([[60], [180]], np.uint8), 32, axis=0)[:, :, np.newaxis], 3, axis=2)
    codes = np.ascontiguousarray(np.broadcast_to(lines.reshape(2, 32, 1, 3)[:, 0], (2, 64, 3)))
    content = png_file(np.tile(codes, (32, 1, 1)))
    light = [opened(content, reduce=reduce).linear_RGB().mean() for reduce in (1, 2)]
    srgb = {code: ((code / 255 + 0.055) / 1.055) ** 2.4 for code in (60, 120, 180)}
    assert light == pytest.approx([(srgb[60] + srgb[180]) / 2, srgb[120]], rel=1e-5)


def test_other_reductions_are_our_own_mistake(opened: Callable[..., Photo]) -> None:
    with pytest.raises(ValueError, match="reduce must be 1, 2 or 4"):
        opened(WHOLE["PNG"], reduce=3)
