"""HEIC photos in, upright codes out: all bits, the profile, the turns of the container once, and nothing of a part.

Files of real phones and cameras are not part of this repository. Where the environment variable EVENBOARD_HEIF_IMAGES
names the folder tests/images of pillow-heif's source archive (BSD-3-Clause), they are checked too.
"""

import os
import sys
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from photo_files import DATA, STORED, exif_block
from PIL import Image

from calibration.errors import PhotoError
from calibration.heif import is_heif
from calibration.photo import Photo, open_photo
from calibration.profiles import DISPLAY_P3, SRGB

pillow_heif = pytest.importorskip("pillow_heif")

P3_ICC = (DATA / "icc" / "DisplayP3.icm").read_bytes()
P3_PRIMARIES, BT709_PRIMARIES, BT2020_PRIMARIES = 12, 1, 9  # ITU-T H.273 table 2
SRGB_TRANSFER, BT709_TRANSFER, PQ, HLG = 13, 1, 16, 18  # table 3


@pytest.fixture
def opened(tmp_path: Path) -> Callable[..., Photo]:
    """Open bytes as a photo file; the name says nothing about the content."""

    def open_bytes(content: bytes, **options: int) -> Photo:
        path = tmp_path / "IMG_0001.JPG"
        path.write_bytes(content)
        return open_photo(path, **options)

    return open_bytes


def blocks(dtype: type = np.uint8) -> np.ndarray:
    """Calm blocks of 16 pixels, all different: they survive compression, and no turn of them is like another."""
    few = np.random.default_rng(1).integers(40, 216, (4, 6, 3))
    return np.kron(few * (np.iinfo(dtype).max // 255), np.ones((16, 16, 1), int)).astype(dtype)


def heic_file(codes: np.ndarray, **options: object) -> bytes:
    """Write as pillow_heif does: lossless but for the way to luma and chroma and back, at full chroma."""
    mode = {2: "L", 3: "RGB", 4: "RGBA"}[codes.shape[2] if codes.ndim == 3 else 2]
    if codes.dtype == np.uint16:
        mode = {"L": "I;16", "RGB": "RGB;16", "RGBA": "RGBA;16"}[mode]
    picture = pillow_heif.from_bytes(mode, codes.shape[1::-1], np.ascontiguousarray(codes).tobytes())
    buffer = BytesIO()
    picture.save(buffer, quality=-1, chroma=444, **options)
    return buffer.getvalue()


WHOLE = heic_file(blocks())


def codes_of(photo: Photo) -> list[str]:
    return [finding.code for finding in photo.findings]


# --- pixels


def test_eight_bits_stay_eight(opened: Callable[..., Photo]) -> None:
    photo = opened(WHOLE)
    assert photo.codes.dtype == np.uint8
    assert np.abs(photo.codes.astype(int) - blocks()).max() <= 2


def test_ten_bits_are_kept_and_full_scale_is_full_scale(opened: Callable[..., Photo]) -> None:
    """Steps of 1/1023: a ramp of as many levels does not fall together to 256."""
    ramp = np.repeat(np.linspace(0, 65535, 1024).astype(np.uint16)[np.newaxis, :, np.newaxis], 3, axis=2)
    photo = opened(heic_file(np.repeat(ramp, 64, axis=0)))
    assert photo.codes.dtype == np.uint16
    assert photo.curve.shape == (65536, 3)
    assert len(np.unique(photo.codes[32, :, 1])) > 900
    assert np.abs(photo.codes[32].astype(int) - ramp[0]).max() <= 2 * 64
    assert (photo.codes.min(), photo.codes.max()) == (0, 65535)
    assert photo.is_clipped()[32].sum() == pytest.approx(5, abs=2)  # 65278 of 65535: 1019 of 1023


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_gray_becomes_three_equal_channels(opened: Callable[..., Photo], dtype: type) -> None:
    gray = blocks(dtype)[..., 0]
    photo = opened(heic_file(gray))
    assert photo.codes.shape == (*gray.shape, 3)
    assert np.ptp(photo.codes, axis=2).max() == 0
    assert np.abs(photo.codes[..., 0].astype(int) - gray).max() <= 64


def test_an_opaque_alpha_channel_is_dropped_and_a_hole_refused(opened: Callable[..., Photo]) -> None:
    codes = np.dstack([blocks(), np.full(blocks().shape[:2], 255, np.uint8)])
    assert opened(heic_file(codes)).codes.shape == blocks().shape
    codes[:32, :, 3] = 0
    with pytest.raises(PhotoError, match=r"50\.0% of the picture is transparent"):
        opened(heic_file(codes))


def test_a_reduced_copy_is_the_mean_of_its_pixels(opened: Callable[..., Photo]) -> None:
    whole = opened(WHOLE)
    half = opened(WHOLE, reduce=2)
    assert half.reduced == 2
    assert half.codes.shape == (32, 48, 3)
    means = whole.codes.reshape(32, 2, 48, 2, 3).mean(axis=(1, 3))
    assert np.abs(half.codes - means).max() <= 0.5


# --- orientation


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turn_stored_in_the_container_is_applied_once(opened: Callable[..., Photo], orientation: int) -> None:
    """The writer turns EXIF's orientation into the container's own properties and, as phones do, leaves it in EXIF."""
    stored = np.ascontiguousarray(STORED[orientation](blocks()))
    content = heic_file(stored, exif=exif_block(orientation).tobytes())
    assert (b"irot" in content or b"imir" in content) == (orientation != 1)
    photo = opened(content)
    assert photo.codes.shape == blocks().shape
    assert np.abs(photo.codes.astype(int) - blocks()).max() <= 2


# --- colour


def test_an_embedded_P3_profile_is_honoured(opened: Callable[..., Photo]) -> None:
    buffer = BytesIO()
    pillow_heif.from_pillow(Image.fromarray(blocks())).save(buffer, quality=90, icc_profile=P3_ICC)
    photo = opened(buffer.getvalue())
    assert photo.profile == "DisplayP3 color profile"
    assert codes_of(photo) == []
    assert photo.to_XYZ == pytest.approx(DISPLAY_P3.to_XYZ, abs=3e-5)


def marked(primaries: int, transfer: int) -> bytes:
    """A file whose colour box names code points, as numbers; the box is written by hand over the writer's own."""
    content = heic_file(blocks())
    at = content.index(b"nclx") + 4
    return content[:at] + primaries.to_bytes(2, "big") + transfer.to_bytes(2, "big") + content[at + 4 :]


@pytest.mark.parametrize(
    ("primaries", "transfer", "profile", "to_XYZ", "codes"),
    [
        (P3_PRIMARIES, SRGB_TRANSFER, "Display P3 (by HEIF)", DISPLAY_P3.to_XYZ, []),
        (BT709_PRIMARIES, SRGB_TRANSFER, "sRGB (by HEIF)", SRGB.to_XYZ, []),
        (P3_PRIMARIES, BT709_TRANSFER, "Display P3 (by HEIF)", DISPLAY_P3.to_XYZ, ["curve-assumed"]),
        (BT709_PRIMARIES, BT709_TRANSFER, "sRGB (assumed)", SRGB.to_XYZ, ["no-profile"]),
        (2, 2, "sRGB (assumed)", SRGB.to_XYZ, ["no-profile"]),
    ],
)
def test_code_points_of_the_container_are_honoured(
    opened: Callable[..., Photo], primaries: int, transfer: int, profile: str, to_XYZ: np.ndarray, codes: list[str]
) -> None:
    photo = opened(marked(primaries, transfer))
    assert photo.profile == profile
    assert photo.to_XYZ == pytest.approx(to_XYZ)
    assert codes_of(photo) == codes
    assert photo.curve[128] == pytest.approx([0.2158605] * 3, abs=1e-6)  # IEC 61966-2-1


def test_the_widest_primaries_are_believed(opened: Callable[..., Photo]) -> None:
    """ITU-R BT.2020: their green lies far outside sRGB, so linear sRGB of it is negative in red and blue."""
    photo = opened(marked(BT2020_PRIMARIES, SRGB_TRANSFER))
    assert photo.profile == "BT.2020 primaries (by HEIF)"
    in_sRGB = np.linalg.solve(SRGB.to_XYZ, photo.to_XYZ)
    assert in_sRGB[:, 1] == pytest.approx([-0.5876, 1.1329, -0.1006], abs=5e-5)  # BT.2087-0, table of M2 inverse


@pytest.mark.parametrize("transfer", [PQ, HLG])
def test_a_photo_for_high_dynamic_range_screens_is_refused(opened: Callable[..., Photo], transfer: int) -> None:
    with pytest.raises(PhotoError, match="high-dynamic-range"):
        opened(marked(BT2020_PRIMARIES, transfer))


def test_exif_is_read(opened: Callable[..., Photo]) -> None:
    photo = opened(heic_file(blocks(), exif=exif_block(Make="Acme", Model="Five", Flash=1).tobytes()))
    assert photo.exif.camera == "Acme Five"
    assert codes_of(photo)[-1] == "flash-fired"


def test_a_gain_map_is_told_and_left_alone(opened: Callable[..., Photo]) -> None:
    """ISO/IEC 23008-12: a file with a picture derived by a gain map lists the brand tmap."""
    mapped = WHOLE.replace(b"miaf", b"tmap", 1)
    assert mapped.index(b"tmap") < 40
    photo = opened(mapped)
    assert codes_of(photo) == [*codes_of(opened(WHOLE)), "gain-map"]
    assert np.array_equal(photo.codes, opened(WHOLE).codes)


# --- damage


@pytest.mark.parametrize("kept", [0.05, 0.3, 0.6, 0.9, 0.999])
@pytest.mark.parametrize("filled", [False, True])
def test_a_copy_that_was_cut_short_is_refused(opened: Callable[..., Photo], kept: float, filled: bool) -> None:
    """The decoder itself would paint the missing part, and not tell."""
    part = WHOLE[: int(kept * len(WHOLE))]
    with pytest.raises(PhotoError, match=r"cut short|damaged"):
        opened(part + bytes(len(WHOLE) - len(part)) if filled else part)


def test_a_tile_lost_from_the_middle_is_noticed(opened: Callable[..., Photo]) -> None:
    codes = np.random.default_rng(2).integers(0, 255, (192, 256, 3), dtype=np.uint8)
    whole = heic_file(codes, tile_size=64)
    assert whole.count(b"infe") > 12
    middle = len(whole) // 2
    lost = whole[:middle] + bytes(3000) + whole[middle + 3000 :]
    assert opened(whole).codes.shape == codes.shape
    with pytest.raises(PhotoError, match="a part of the picture is missing"):
        opened(lost)


def test_a_header_that_states_a_huge_picture_is_refused_before_decoding(opened: Callable[..., Photo]) -> None:
    with pytest.raises(PhotoError, match=r"96 x 64 = 0\.0 million pixels \(limit"):
        opened(WHOLE, max_pixels=96 * 64 - 1)
    assert opened(WHOLE, max_pixels=96 * 64).codes.shape == (64, 96, 3)


@pytest.mark.parametrize(
    ("content", "heif"),
    [
        (WHOLE, True),
        (b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic", True),
        (b"\0\0\0\x18ftypmsf1\0\0\0\0msf1hevc", True),
        (b"\0\0\0\x18ftypmif1\0\0\0\0mif1avif", False),
        (b"\0\0\0\x18ftypavif\0\0\0\0mif1avif", False),
        (b"\0\0\0\x18ftypisom\0\0\0\0isommp42", False),
        (b"\0\0\0\x18ftypcrx \0\0\0\0crx isom", False),
        (b"", False),
    ],
)
def test_heic_is_told_by_its_brands(content: bytes, heif: bool) -> None:
    assert is_heif(content) == heif


def test_without_the_extra_the_message_says_what_to_install(
    opened: Callable[..., Photo], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(PhotoError, match="HEIC photo") as refused:
        opened(WHOLE)
    assert "pip install 'evenboard[heic]'" in refused.value.remedy


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_damage_to_a_heic_escapes_as_another_error(opened: Callable[..., Photo], data: st.DataObject) -> None:
    content = bytearray(WHOLE)
    for at in data.draw(st.lists(st.integers(0, len(content) - 1), max_size=4)):
        content[at] = data.draw(st.integers(0, 255))
    at = data.draw(st.integers(0, len(content) - 1))
    del content[at : at + data.draw(st.integers(0, 5))]
    try:
        photo = opened(bytes(content))
    except PhotoError as refused:
        assert refused.remedy  # noqa: PT017 - either way out is right, and each has its own claim
    else:
        assert photo.codes.ndim == 3


# --- files of real phones and cameras

REAL = Path(os.environ.get("EVENBOARD_HEIF_IMAGES", ""))
with_real_files = pytest.mark.skipif(
    not (REAL / "heif_other" / "arrow.heic").is_file(), reason="EVENBOARD_HEIF_IMAGES names no folder of HEIC files"
)


@with_real_files
@pytest.mark.parametrize(
    ("file", "shape", "bits", "profile", "codes"),
    [
        ("heif_other/arrow.heic", (4032, 3024), 8, "Display P3", []),
        ("heif_other/pug.heic", (3024, 4032), 8, "Display P3", ["composite", "portrait-mode", "gain-map"]),
        ("heif_other/spatial_photo.heic", (2560, 2560), 8, "Display P3", []),
        ("heif_other/cat.hif", (2832, 4240), 16, "sRGB (by HEIF)", []),
        ("heif_special/xiaomi.heic", (1944, 2592), 8, "sRGB (by EXIF)", ["digital-zoom"]),
        ("heif_special/aux_YCbCr.heic", (1848, 4000), 8, "DCI-P3 D65 Gamut with sRGB Transfer", ["gain-map"]),
        ("heif_special/broken_thumbnail.heic", (128, 128), 8, "sRGB (by HEIF)", []),
    ],
)
def test_photos_of_real_phones_and_cameras(
    file: str, shape: tuple[int, int], bits: int, profile: str, codes: list[str]
) -> None:
    photo = open_photo(REAL / file)
    assert photo.codes.shape == (*shape, 3)
    assert photo.codes.dtype.itemsize * 8 == bits
    assert photo.profile == profile
    assert codes_of(photo) == codes


@with_real_files
def test_a_phone_s_photo_of_an_arrow_points_upwards() -> None:
    """Black on white paper, turned by the container: above is a tip, below a shaft, in the middle the wide head."""
    dark = open_photo(REAL / "heif_other" / "arrow.heic", reduce=4).codes[..., 1] < 60
    rows = np.flatnonzero(dark.any(axis=1))
    width = [np.ptp(np.flatnonzero(row)) for row in dark[rows]]
    tip, head, shaft = (width[int(share * len(rows))] for share in (0.05, 0.5, 0.8))
    assert tip < 0.2 * max(width)
    assert head > 0.8 * max(width)
    assert 0.3 * max(width) < shaft < 0.6 * max(width)


@with_real_files
@pytest.mark.parametrize(
    ("file", "what"),
    [
        ("heif_corrupted/corrupted.heic", "header cannot be read"),
        ("heif_corrupted/corrupted.hif", "cut short"),
        ("heif_corrupted/empty.heic", "empty"),
        ("heif_truncated/truncated.heic", "cut short"),
        ("heif_special/200MP.heic", "199.8 million pixels"),
    ],
)
def test_real_files_that_cannot_be_used_are_refused(file: str, what: str) -> None:
    with pytest.raises(PhotoError) as refused:
        open_photo(REAL / file)
    assert what in refused.value.what


@with_real_files
@pytest.mark.parametrize("kept", [0.2, 0.6, 0.95])
@pytest.mark.parametrize("file", ["heif_special/xiaomi.heic", "heif_other/pug.heic"])
def test_a_phone_s_photo_that_was_cut_short_is_refused(opened: Callable[..., Photo], file: str, kept: float) -> None:
    whole = (REAL / file).read_bytes()
    part = whole[: int(kept * len(whole))]
    with pytest.raises(PhotoError, match="cut short"):
        opened(part)
    if kept < 0.9:  # beyond it, only the gain map of one of the two would be missing
        with pytest.raises(PhotoError, match=r"missing|cut short"):
            opened(part + bytes(len(whole) - len(part)))
