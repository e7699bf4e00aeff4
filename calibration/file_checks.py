"""What does a photo's file alone say against it, before a pixel is looked at?  From its header, to findings.

A phone writes into the file what it did: fired the flash, enlarged the middle, merged exposures, blurred a background.
What an app did with the photo afterwards shows in what is missing. Tags: Exif 2.32 (CIPA DC-008-2019).
"""

from collections.abc import Iterator
from typing import Final

from calibration.exif import Exif
from calibration.findings import Finding, finding
from calibration.photo_header import PhotoHeader

MOST_ZOOM: Final = 1.05  # chosen: some phones write 1.00 to 1.04 where they only straighten the frame

# Exif 2.32 gives CustomRendered 0 and 1; the rest is what phones write (common practice, no standard).
_MERGED_EXPOSURES, _PANORAMA, _PORTRAIT = (2, 3, 7), 6, (7, 8)
_NIGHT = 3  # SceneCaptureType
_COMPOSITE = (2, 3)  # CompositeImage

# Longest sides to which messaging apps and web pages shrink photos (common practice, no published source).
COPY_SIDES: Final = (960, 1024, 1280, 1600, 2048)
COPY_QUALITY: Final = 82  # chosen: cameras and phones start at about 85, apps use 60 to 80
COPY_MOST_PIXELS: Final = 6_000_000  # chosen: phones have taken more than this for ten years
SMALLEST_COPY_PX: Final = 480  # chosen: smaller pictures are thumbnails, and fail on their scale anyway
LEAST_QUALITY: Final = 70  # chosen: below it 8 x 8 blocks show on wood at arm's length

# Chosen: cameras make 4:3, 3:2 and 16:9; whole screens of phones are longer than that.
SCREEN_ASPECT: Final = 1.9
# Screens of 16:9 and 16:10, short and long side; no camera makes photos of just these sizes.
_SCREENS: Final = frozenset(
    {(750, 1334), (1080, 1920), (1440, 2560), (768, 1366), (800, 1280), (900, 1440), (1050, 1680), (1200, 1920)}
)

# Sum of the luminance table of ITU-T T.81 annex K (table K.1), which encoders scale by quality.
_TABLE_K1_SUM = 3688


def file_findings(header: PhotoHeader) -> tuple[Finding, ...]:
    """What the checks notice in a file's header.

    Parameters
    ----------
    header : PhotoHeader

    Returns
    -------
    tuple of Finding
        Without what concerns the colour profile (photo_colour.py).
    """
    exif = header.tags.exif
    return (*_origin(header), *_capture(exif), *([finding("gain-map")] if header.gain_map else ()))


def jpeg_quality(luminance_table: tuple[int, ...]) -> int:
    """Quality 1 to 100 of the widely used scale, from the table that a JPEG was quantised with.

    The scale of the Independent JPEG Group: 50 is the table of T.81 annex K, 100 divides by one; others scale that
    table by 50/q below, and by 2 - q/50 above. Encoders with tables of their own are put where theirs are as coarse.
    """
    scale = 100 * sum(luminance_table) / _TABLE_K1_SUM
    quality = 100 - scale / 2 if scale <= 100 else 5000 / scale
    return round(min(max(quality, 1), 100))


def _origin(header: PhotoHeader) -> Iterator[Finding]:
    """Whether the file is the camera's own."""
    quality = None if header.luminance_table is None else jpeg_quality(header.luminance_table)
    if _is_screenshot(header):
        yield finding("screenshot")
    elif _is_copy(header, quality):
        compressed = "" if quality is None else f", JPEG quality about {quality}"
        yield finding("app-copy", width=header.width, height=header.height, compressed=compressed)
    elif quality is not None and quality < LEAST_QUALITY:
        yield finding("compressed", quality=quality, limit=LEAST_QUALITY)


def _is_screenshot(header: PhotoHeader) -> bool:
    if header.tags.exif.is_screenshot:
        return True
    if header.kind != "PNG" or header.bits != 8 or _names_camera(header.tags.exif):
        return False
    short, long = sorted((header.width, header.height))
    return short >= SMALLEST_COPY_PX and (long >= SCREEN_ASPECT * short or (short, long) in _SCREENS)


def _is_copy(header: PhotoHeader, quality: int | None) -> bool:
    """A JPEG that lost its camera's tags, and has the size or the compression that apps give."""
    longest = max(header.width, header.height)
    if quality is None or longest < SMALLEST_COPY_PX or _names_camera(header.tags.exif):
        return False
    is_small = header.width * header.height < COPY_MOST_PIXELS
    return longest in COPY_SIDES or (is_small and quality <= COPY_QUALITY)


def _names_camera(exif: Exif) -> bool:
    return exif.camera is not None or exif.exposure_s is not None


def _capture(exif: Exif) -> Iterator[Finding]:
    """What the camera did while it took the photo."""
    if exif.flash_fired:
        yield finding("flash-fired")
    if exif.digital_zoom is not None and exif.digital_zoom > MOST_ZOOM:
        yield finding("digital-zoom", ratio=exif.digital_zoom)
    if exif.custom_rendered in _MERGED_EXPOSURES or exif.scene_capture_type == _NIGHT:
        yield finding("exposures-merged")
    elif exif.composite_image in _COMPOSITE:
        yield finding("composite")
    if exif.custom_rendered in _PORTRAIT:
        yield finding("portrait-mode")
    if exif.custom_rendered == _PANORAMA:
        yield finding("panorama")
