"""What a photo's file alone says against it: for each finding a file that triggers it, and one that just does not."""

import struct
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from photo_files import DATA, exif_block, pillow_file, png_file
from PIL import Image

from calibration.file_checks import COPY_QUALITY, LEAST_QUALITY, jpeg_quality
from calibration.findings import REGISTRY, Severity
from calibration.photo import Photo, open_photo
from calibration.photo_header import read_header

P3_ICC = (DATA / "icc" / "DisplayP3.icm").read_bytes()
CAMERA = {"Make": "Acme", "Model": "Acme 5"}
OURS = (
    "flash-fired",
    "digital-zoom",
    "screenshot",
    "app-copy",
    "compressed",
    "gain-map",
    "exposures-merged",
    "composite",
    "portrait-mode",
    "panorama",
)


@pytest.fixture
def codes_of(tmp_path: Path) -> Callable[[bytes], list[str]]:
    """Codes of what is found in a file."""

    def found_in(content: bytes) -> list[str]:
        path = tmp_path / "board.jpg"
        path.write_bytes(content)
        photo: Photo = open_photo(path)
        return [finding.code for finding in photo.findings]

    return found_in


def jpeg(width: int = 64, height: int = 48, quality: int = 90, **tags: object) -> bytes:
    """A gray photo with a profile, and with these EXIF tags if there are any."""
    options = {"exif": exif_block(**tags)} if tags else {}
    gray = np.full((height, width, 3), 90, np.uint8)
    return pillow_file(gray, "JPEG", quality=quality, icc_profile=P3_ICC, **options)


def png(width: int, height: int, dtype: type = np.uint8, **tags: object) -> bytes:
    chunks = [(b"sRGB", b"\0")]
    if tags:
        chunks.append((b"eXIf", exif_block(**tags).tobytes().removeprefix(b"Exif\0\0")))
    return png_file(np.full((height, width, 3), 90, dtype), chunks)


@pytest.mark.parametrize(
    ("code", "triggers", "just_does_not"),
    [
        ("flash-fired", {"Flash": 0x19}, {"Flash": 0x18}),  # bit 0: fired; the rest says how it was set
        ("digital-zoom", {"DigitalZoomRatio": (106, 100)}, {"DigitalZoomRatio": (105, 100)}),
        ("exposures-merged", {"CustomRendered": 3}, {"CustomRendered": 4}),  # 4: one of those that were not merged
        ("exposures-merged", {"CustomRendered": 2}, {"CustomRendered": 1}),
        ("exposures-merged", {"SceneCaptureType": 3}, {"SceneCaptureType": 2}),
        ("composite", {"CompositeImage": 2}, {"CompositeImage": 1}),
        ("composite", {"CompositeImage": 3}, {"CompositeImage": 0}),
        ("portrait-mode", {"CustomRendered": 8}, {"CustomRendered": 5}),
        ("panorama", {"CustomRendered": 6}, {"CustomRendered": 5}),
    ],
)
def test_what_the_camera_did_is_told(
    codes_of: Callable[[bytes], list[str]], code: str, triggers: dict, just_does_not: dict
) -> None:
    assert codes_of(jpeg(**CAMERA, **triggers)) == [code]
    assert codes_of(jpeg(**CAMERA, **just_does_not)) == []


def test_merged_exposures_are_told_once(codes_of: Callable[[bytes], list[str]]) -> None:
    assert codes_of(jpeg(**CAMERA, CustomRendered=7, CompositeImage=3)) == ["exposures-merged", "portrait-mode"]


@pytest.mark.parametrize(
    ("triggers", "just_does_not"),
    [
        (jpeg(1600, 1200), jpeg(1601, 1200)),  # a size that apps give
        (jpeg(1600, 1200), jpeg(1600, 1200, **CAMERA)),  # the camera is named
        (jpeg(1600, 1200), jpeg(1600, 1200, ExposureTime=(1, 60))),  # or what it did
        (jpeg(1536, 2048, 95), jpeg(1536, 2047, 95)),
        (jpeg(1000, 700, COPY_QUALITY), jpeg(1000, 700, COPY_QUALITY + 2)),  # small and strongly compressed
        (jpeg(1000, 700, 75), jpeg(1000, 700, 75, **CAMERA)),
        (jpeg(3000, 1999, 80), jpeg(3000, 2001, 80)),  # 6 million pixels
        (jpeg(481, 300, 75), jpeg(479, 300, 75)),  # thumbnails are not judged
    ],
)
def test_a_copy_from_an_app_is_told(
    codes_of: Callable[[bytes], list[str]], triggers: bytes, just_does_not: bytes
) -> None:
    assert codes_of(triggers) == ["app-copy"]
    assert codes_of(just_does_not) == []


def test_a_copy_is_described(tmp_path: Path) -> None:
    path = tmp_path / "board.jpg"
    path.write_bytes(jpeg(1600, 1200, 75))
    (found,) = open_photo(path).findings
    assert "1600 x 1200 pixels, JPEG quality about 75" in found.message
    assert found.severity is Severity.WARNING


def test_strong_compression_is_told_even_of_a_camera_s_own_file(codes_of: Callable[[bytes], list[str]]) -> None:
    assert codes_of(jpeg(1000, 700, LEAST_QUALITY - 1, **CAMERA)) == ["compressed"]
    assert codes_of(jpeg(1000, 700, LEAST_QUALITY, **CAMERA)) == []


@pytest.mark.parametrize(
    ("triggers", "just_does_not"),
    [
        (png(1080, 2060), png(1090, 2060)),  # longer than 1.9
        (png(750, 1334), png(750, 1330)),  # a screen's size
        (png(1920, 1080), png(1920, 1080, **CAMERA)),
        (png(1080, 2400), png(1080, 2400, np.uint16)),  # no screen is copied in 16 bits
        (png(480, 920), png(478, 920)),  # a strip, not a screen
        (
            jpeg(**CAMERA, UserComment=b"ASCII\0\0\0Screenshot"),
            jpeg(**CAMERA, UserComment=b"ASCII\0\0\0Screenshot of A"),
        ),
    ],
)
def test_a_screenshot_is_told(codes_of: Callable[[bytes], list[str]], triggers: bytes, just_does_not: bytes) -> None:
    assert codes_of(triggers) == ["screenshot"]
    assert codes_of(just_does_not) == []


# --- gain maps


def with_segment(content: bytes, marker: int, body: bytes) -> bytes:
    """A JPEG with one more segment, behind its first two bytes."""
    return content[:2] + bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body + content[2:]


XMP = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:%s='%s'/>"
MAP_IN_XMP = XMP % (b"hdrgm", b"http://ns.adobe.com/hdr-gain-map/1.0/")
OTHER_XMP = XMP % (b"tiff", b"http://ns.adobe.com/tiff/1.0/")
SECOND = with_segment(jpeg(32, 24), 0xE1, XMP % (b"HDRGainMap", b"urn:com:x:photo:2020:aux:hdrgainmap"))


@pytest.mark.parametrize(
    ("triggers", "just_does_not"),
    [
        (with_segment(jpeg(**CAMERA), 0xE1, MAP_IN_XMP), with_segment(jpeg(**CAMERA), 0xE1, OTHER_XMP)),
        (
            with_segment(jpeg(**CAMERA), 0xE2, b"urn:iso:std:iso:ts:21496:-1\0\0\0\0\0"),
            with_segment(jpeg(**CAMERA), 0xE2, b"urn:iso:std:iso:ts:21496:-2\0\0\0\0\0"),
        ),
        (
            with_segment(jpeg(**CAMERA), 0xE2, b"MPF\0MM\0*") + SECOND,
            with_segment(jpeg(**CAMERA), 0xE2, b"MPF\0MM\0*") + jpeg(32, 24),  # a second picture of another kind
        ),
    ],
)
def test_a_gain_map_is_told_and_left_alone(
    codes_of: Callable[[bytes], list[str]], triggers: bytes, just_does_not: bytes, tmp_path: Path
) -> None:
    assert codes_of(triggers) == ["gain-map"]
    assert codes_of(just_does_not) == []
    (tmp_path / "plain.jpg").write_bytes(jpeg(**CAMERA))
    (tmp_path / "mapped.jpg").write_bytes(triggers)
    plain, mapped = (open_photo(tmp_path / name) for name in ("plain.jpg", "mapped.jpg"))
    assert np.array_equal(plain.codes, mapped.codes)
    assert REGISTRY["gain-map"].severity is Severity.NOTE


# --- quality


@pytest.mark.parametrize("quality", [25, 50, 63, 75, 82, 90, 95, 100])
def test_jpeg_quality_is_what_the_file_was_written_with(quality: int) -> None:
    """Pillow's encoder scales the tables of T.81 annex K; below 25 it cuts them off at 255."""
    table = read_header(jpeg(quality=quality)).luminance_table
    assert table is not None
    assert jpeg_quality(table) == pytest.approx(quality, abs=1)


def test_tables_of_two_bytes_are_read() -> None:
    content = jpeg(quality=50)
    at = content.index(b"\xff\xdb")
    length = int.from_bytes(content[at + 2 : at + 4], "big")
    eight = content[at + 4 : at + 2 + length][1:65]
    sixteen = b"\x10" + struct.pack(">64H", *(300 * value for value in eight))
    changed = content[:at] + b"\xff\xdb" + struct.pack(">H", len(sixteen) + 2) + sixteen + content[at:]
    table = read_header(changed).luminance_table
    assert table == tuple(300 * value for value in eight)
    assert jpeg_quality(table) == 1


# --- all of them


@pytest.mark.parametrize("code", OURS)
def test_what_is_told_is_plain_and_says_what_to_do(code: str) -> None:
    kind = REGISTRY[code]
    assert kind.severity is not Severity.UNUSABLE  # a file's tags alone never stop a measurement
    assert kind.line.endswith(".")
    assert kind.remedy.endswith(".")
    assert len(kind.explanation) > 60


def test_a_phone_s_ordinary_photo_has_no_finding(codes_of: Callable[[bytes], list[str]]) -> None:
    tags = {**CAMERA, "Flash": 16, "DigitalZoomRatio": (1, 1), "CustomRendered": 0, "SceneCaptureType": 0}
    assert codes_of(jpeg(4032 // 8, 3024 // 8, 93, **tags)) == []
    buffer = BytesIO()
    Image.new("RGB", (4032, 3024), (90, 80, 70)).save(buffer, "JPEG", quality=85, icc_profile=P3_ICC)
    assert codes_of(buffer.getvalue()) == []  # not even without tags, when it is large
