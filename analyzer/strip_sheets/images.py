"""How does a strip look when it is cut and laid?  The same artwork as a gray picture."""

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from analyzer.strip_sheets.artwork import Box, Marker, Shape, Text, Triangle, artwork, outline_mm
from analyzer.strip_sheets.pdf import CAPITAL_EM, font_file
from calibration.strips import HEIGHT_MM, Section, Side, sections

PX_PER_MM = 10
FINER = 4  # words and triangles are drawn this many times finer, then averaged
ANCHORS = {"left": "ls", "middle": "ms", "right": "rs"}


def strip_image(side: Side, length_mm: float) -> NDArray[np.uint8]:
    """A strip as cut, its sections laid end to end.

    Parameters
    ----------
    side : Side
    length_mm : float
        Length of the board.

    Returns
    -------
    ndarray of uint8, (rows, columns)
        `PX_PER_MM` pixels a millimetre; 0 is ink, 255 paper. The left edge is the left cut edge; the board lies against
        the lower edge of the top strip and the upper edge of the bottom strip.

    Raises
    ------
    ValueError
        If no strips are made for such a board.
    """
    pieces = sections(side, length_mm)
    left_mm = pieces[0].left_mm
    ink = np.zeros((round(HEIGHT_MM * PX_PER_MM), round((pieces[-1].right_mm - left_mm) * PX_PER_MM)), np.float32)
    top_mm = outline_mm(pieces[0]).top
    for section in pieces:
        _draw_section(ink, section, len(pieces), (left_mm, top_mm))
    return np.round(255 * (1 - np.clip(ink, 0, 1))).astype(np.uint8)


def _draw_section(ink: NDArray[np.float32], section: Section, count: int, origin_mm: tuple[float, float]) -> None:
    for shape in artwork(section, count):
        _draw(ink, shape, origin_mm)


def _draw(ink: NDArray[np.float32], shape: Shape, origin_mm: tuple[float, float]) -> None:
    x, y = origin_mm
    match shape:
        case Box(left, top, right, bottom):
            _fill_box(ink, *(PX_PER_MM * value for value in (left - x, top - y, right - x, bottom - y)))
        case Marker(left, top, side_mm, is_black):
            module = side_mm / len(is_black)
            for row, column in np.argwhere(is_black):
                corner = left - x + column * module, top - y + row * module
                _fill_box(ink, *(PX_PER_MM * value for value in (*corner, corner[0] + module, corner[1] + module)))
        case Triangle(corners):
            _fill_triangle(ink, (np.array(corners) - origin_mm) * PX_PER_MM)
        case Text():
            _write(ink, shape, origin_mm)


def _fill_box(ink: NDArray[np.float32], left: float, top: float, right: float, bottom: float) -> None:
    """Add the share of each pixel that the rectangle covers."""
    columns = np.arange(max(0, int(left)), min(ink.shape[1], int(np.ceil(right))))
    rows = np.arange(max(0, int(top)), min(ink.shape[0], int(np.ceil(bottom))))
    if not len(columns) or not len(rows):
        return
    across = np.minimum(columns + 1, right) - np.maximum(columns, left)
    down = np.minimum(rows + 1, bottom) - np.maximum(rows, top)
    ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] += np.outer(down, across).astype(np.float32)


def _fill_triangle(ink: NDArray[np.float32], corners_px: NDArray[np.float64]) -> None:
    low = np.floor(corners_px.min(axis=0)).astype(int)
    size = np.ceil(corners_px.max(axis=0)).astype(int) - low
    x, y = np.meshgrid(*((np.arange(n * FINER) + 0.5) / FINER for n in size))
    corners = corners_px - low
    sides = [
        (x - start[0]) * (end[1] - start[1]) - (y - start[1]) * (end[0] - start[0])
        for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    inside = (np.min(sides, axis=0) >= 0) | (np.max(sides, axis=0) <= 0)  # whichever way round the corners come
    _add(ink, np.where(inside, 255, 0).astype(np.uint8), low, size)


def _write(ink: NDArray[np.float32], text: Text, origin_mm: tuple[float, float]) -> None:
    scale = PX_PER_MM * FINER
    font = ImageFont.truetype(str(font_file(bold=text.bold)), text.em_mm * scale)
    reach = font.getlength(text.words) / FINER + 2 * PX_PER_MM
    at = np.array([text.x - origin_mm[0], text.middle_y + text.em_mm * CAPITAL_EM / 2 - origin_mm[1]]) * PX_PER_MM
    low = np.floor(at - [reach, 1.5 * text.em_mm * PX_PER_MM]).astype(int)
    size = np.array([2 * reach, 2.5 * text.em_mm * PX_PER_MM]).astype(int)
    fine = Image.new("L", (int(size[0] * FINER), int(size[1] * FINER)))
    place = tuple(((at - low) * FINER).tolist())
    ImageDraw.Draw(fine).text(place, text.words, fill=255, font=font, anchor=ANCHORS[text.align])
    _add(ink, np.asarray(fine), low, size)


def _add(
    ink: NDArray[np.float32], fine: NDArray[np.uint8], low: NDArray[np.signedinteger], size: NDArray[np.signedinteger]
) -> None:
    """Add a finer picture, averaged to pixels, whose top-left pixel comes to `low` (x, y)."""
    drawn = cv2.resize(fine, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA) / np.float32(255)
    start, end = np.maximum(low, 0), np.minimum(low + size, ink.shape[::-1])
    if (end <= start).any():
        return
    ink[start[1] : end[1], start[0] : end[0]] += drawn[
        start[1] - low[1] : end[1] - low[1], start[0] - low[0] : end[0] - low[0]
    ]
