"""What is this file, by its first bytes, and what should be sent instead?  Phones and messengers give wrong names."""

from calibration.errors import PhotoError

EXPORT_REMEDY = (
    "Export or share the photo as JPEG at full size; many phones can be set to take JPEG at once (the setting is often "
    'called "most compatible").'
)
RGB_REMEDY = "Export it again as an RGB photo (JPEG, PNG, or TIFF of 8 or 16 bits), with its colour profile embedded."
CUT_SHORT = "the file is cut short: the end of the picture is missing."
NO_HEADER = "its header cannot be read: the file is damaged, or of an unusual kind."
DAMAGED_REMEDY = "Copy it again from the phone or camera, and check that the copy is complete."

JPEG_START, PNG_START, TIFF_STARTS = (
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),  # the last two: files beyond 4 GB
)
# First bytes (at an offset) of what people send instead; the words complete "this is ...".
_OTHER_KINDS = (
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (8, b"WEBP", "a WebP picture"),
    (0, b"%PDF", "a PDF document"),
    (0, b"8BPS", "a layered editor file"),
    (0, b"\xff\x0a", "a JPEG XL picture"),
    (4, b"JXL ", "a JPEG XL picture"),
    (4, b"jP  ", "a JPEG 2000 picture"),
    (4, b"ftypavi", "an AVIF picture"),
    (4, b"ftypmif1", "an AVIF picture"),  # with HEVC inside it is a HEIC photo: heif.py
    (4, b"ftypmsf1", "an AVIF picture"),
    (4, b"ftyp", "a video"),
    (0, b"PK\x03\x04", "a zip archive"),
)
# Camera raw files: those that are no TIFF, and the mark that one kind of TIFF has behind its start.
RAW_STARTS = ((4, b"ftypcrx"), (0, b"IIRO"), (0, b"IIRS"), (0, b"MMOR"), (0, b"IIU\0"), (8, b"CR\2"))

_UNKNOWN_KIND = "a file of an unknown kind"


def other_kind(content: bytes) -> str:
    """What a file is that is none of the photos known here; the words complete "this is ..."."""
    for at, start, words in _OTHER_KINDS:
        if content.startswith(start, at):
            return words
    text = content[:512]
    if not any(byte < 9 or 13 < byte < 32 for byte in text):
        return "a text file"
    return _UNKNOWN_KIND


def is_of_unknown_kind(content: bytes) -> bool:
    """Whether nothing here knows the file's first bytes: no photo, no text, nothing that people send instead."""
    known = (JPEG_START, PNG_START, *TIFF_STARTS)
    return bool(content) and not content.startswith(known) and other_kind(content) == _UNKNOWN_KIND


def missing_extra(what: str, extra: str) -> PhotoError:
    """The error for a photo that an optional package would read."""
    return PhotoError(
        f"this is {what}, and the package that reads such files is not installed.",
        remedy=f"Install it: pip install 'evenboard[{extra}]'. Or: {EXPORT_REMEDY}",
    )


def see_through_error(share: float) -> PhotoError:
    """The error for a cut-out picture."""
    # Not flattened: that would invent a background, and the cut edges would mix with it.
    return PhotoError(
        f"{share:.1%} of the picture is transparent: it was cut out or edited.",
        remedy="Send the original photo, with its background.",
    )
