"""How does a picture get into a PDF just as it is?  A JPEG's or PNG's compressed bytes are what a PDF holds, too.

Nothing is decoded: no sharpness and no time is lost. PDF 1.7 (ISO 32000-1), 7.4.4 (predictors), 8.6.6.3 (indexed
colours) and 8.9.6.4 (colour key masking); PNG (ISO/IEC 15948).
"""

import hashlib
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final, cast

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFImageXObject, PDFName, PDFStream
from reportlab.pdfbase.pdfutils import readJPEGInfo
from reportlab.pdfgen.canvas import Canvas

PNG_SIGNATURE: Final = b"\x89PNG\r\n\x1a\n"
GRAY, RGB, PALETTE = 0, 2, 3  # colour types of PNG without an alpha channel


@dataclass(frozen=True, slots=True)
class Image:
    """A picture's compressed bytes, and how they are to be read."""

    width_px: int
    height_px: int
    data: bytes
    filter: str
    channels: int
    bits: int = 8  # of a channel
    palette: bytes = b""  # RGB triples of a palette; b"" without one
    clear: int | None = None  # the entry of the palette that is not drawn

    @property
    def name(self) -> str:
        """The same for the same picture, so that a file holds it once."""
        about = f"{self.width_px} {self.height_px} {self.clear}".encode()
        return hashlib.sha256(about + self.palette + self.data).hexdigest()[:32]


def image(data: bytes) -> Image:
    """Read what a picture file says of itself.

    Parameters
    ----------
    data : bytes
        A JPEG, gray or colour; or a PNG of up to 8 bits: gray, colour or palette, neither interlaced nor with alpha.

    Raises
    ------
    ValueError
        If it is none of these.
    """
    return _png(data) if data.startswith(PNG_SIGNATURE) else _jpeg(data)


def draw_image(canvas: Canvas, picture: Image, box_pt: tuple[float, float, float, float]) -> None:
    """Draw a picture into a box: x and y of its lower left corner, width, height. A file holds each picture once."""
    # reportlab's own way in decodes every picture and swells it by a quarter
    document: Any = cast("Any", canvas)._doc  # noqa: SLF001 - as above
    name = picture.name
    if document.getXObjectName(name) not in document.idToObject:
        document.addForm(name, _AsItIs(picture))
    canvas.saveState()
    canvas.transform(box_pt[2], 0, 0, box_pt[3], box_pt[0], box_pt[1])
    canvas.doForm(name)
    canvas.restoreState()


class _AsItIs(PDFImageXObject):
    """An image object of a PDF around compressed bytes."""

    def __init__(self, picture: Image) -> None:
        super().__init__(picture.name)
        self._picture = picture

    def format(self, document: object) -> bytes:
        picture = self._picture
        stream: Any = PDFStream(content=picture.data)
        entries = stream.dictionary
        entries["Type"], entries["Subtype"] = PDFName("XObject"), PDFName("Image")
        entries["Width"], entries["Height"] = picture.width_px, picture.height_px
        entries["BitsPerComponent"] = picture.bits
        entries["Filter"] = PDFName(picture.filter)
        entries["ColorSpace"] = PDFName({1: "DeviceGray", 3: "DeviceRGB"}[picture.channels])
        if picture.palette:
            last = len(picture.palette) // 3 - 1
            entries["ColorSpace"] = f"[/Indexed /DeviceRGB {last} <{picture.palette.hex()}>]"
        if picture.filter == "FlateDecode":  # PNG's rows each begin with the number of their predictor
            entries["DecodeParms"] = PDFDictionary(
                {
                    "Predictor": 15,
                    "Colors": picture.channels,
                    "BitsPerComponent": picture.bits,
                    "Columns": picture.width_px,
                }
            )
        if picture.clear is not None:
            entries["Mask"] = PDFArray([picture.clear, picture.clear])
        return bytes(stream.format(document))


def _jpeg(data: bytes) -> Image:
    try:
        width_px, height_px, channels, *_ = cast("Any", readJPEGInfo)(BytesIO(data))
    except Exception as failed:  # reportlab raises its own, bare exceptions
        raise ValueError("a picture for the page is neither JPEG nor PNG") from failed
    if channels not in (1, 3):
        raise ValueError(f"a JPEG for the page has {channels} channels; 1 or 3 were expected")
    return Image(width_px, height_px, data, "DCTDecode", channels)


def _png(data: bytes) -> Image:
    parts: dict[bytes, bytes] = {}
    for kind, content in _chunks(data):
        parts[kind] = parts.get(kind, b"") + content  # IDAT may come in several
    if b"IEND" not in parts:
        raise ValueError("a PNG for the page ends too early")
    width_px, height_px, bits, colour, _, _, interlaced = struct.unpack(">IIBBBBB", parts[b"IHDR"])
    if bits > 8 or colour not in (GRAY, RGB, PALETTE) or interlaced:
        raise ValueError(f"a PNG for the page has {bits} bits, colour type {colour}, interlacing {interlaced}")
    palette = parts[b"PLTE"] if colour == PALETTE else b""
    opacity = parts.get(b"tRNS", b"") if palette else b""
    clear = opacity.index(0) if 0 in opacity else None
    return Image(width_px, height_px, parts[b"IDAT"], "FlateDecode", 3 if colour == RGB else 1, bits, palette, clear)


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = len(PNG_SIGNATURE)
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length
