"""Which letters can be printed, and what stands for the others?

DejaVu Sans and DejaVu Serif come with Matplotlib, hold Latin, Greek and Cyrillic letters and the signs of this field,
and may be embedded (Bitstream Vera licence). They are: a printer or viewer substitutes others. Matplotlib itself
is not loaded, only found.
"""

import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

SANS, SANS_BOLD, SANS_ITALIC, SERIF_BOLD = "Evenboard", "Evenboard-Bold", "Evenboard-Italic", "Evenboard-Serif"
FILES: Final[Mapping[str, str]] = MappingProxyType(
    {
        SANS: "DejaVuSans.ttf",
        SANS_BOLD: "DejaVuSans-Bold.ttf",
        SANS_ITALIC: "DejaVuSans-Oblique.ttf",
        SERIF_BOLD: "DejaVuSerif-Bold.ttf",
    }
)
MISSING: Final = "\u25a1"  # an empty box: a letter was here that no font of ours has, or that ours would set wrongly
# Scripts that run from right to left or whose letters change beside others: set letter by letter they would read
# wrong, and a wrong name is worse than an honest box.
UNSHAPED: Final = (("\u0590", "\u08ff"), ("\u0900", "\u0dff"), ("\ufb1d", "\ufdff"), ("\ufe70", "\ufefe"))


@cache
def load_fonts() -> None:
    """Make the fonts known to reportlab; a bold or slanted part of a paragraph finds its own."""
    for name, file in FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(_folder() / file)))
    pdfmetrics.registerFontFamily(SANS, normal=SANS, bold=SANS_BOLD, italic=SANS_ITALIC, boldItalic=SANS_BOLD)
    pdfmetrics.registerFontFamily(
        SERIF_BOLD, normal=SERIF_BOLD, bold=SERIF_BOLD, italic=SERIF_BOLD, boldItalic=SERIF_BOLD
    )


def printable(text: str) -> str:
    """Text of which every letter can be printed, in any of the fonts.

    Accents are joined to their letters. A control character, a line break too, becomes a space, and a letter that a
    font lacks an empty box each (`MISSING`): visible, so that nobody takes a name with a hole for the name.
    """
    composed = unicodedata.normalize("NFC", text)
    return "".join(letter if letter in _letters() else _instead(letter) for letter in composed)


def width_pt(text: str, font: str, size_pt: float) -> float:
    """Width of a line of printable text."""
    load_fonts()
    return pdfmetrics.stringWidth(text, font, size_pt)


def fitted(text: str, font: str, size_pt: float, most_pt: float) -> str:
    """The text, cut short with an ellipsis where it is wider than `most_pt`."""
    if width_pt(text, font, size_pt) <= most_pt:
        return text
    end = len(text)
    while end and width_pt(f"{text[:end].rstrip()}…", font, size_pt) > most_pt:
        end -= 1
    return f"{text[:end].rstrip()}…"


@cache
def _letters() -> frozenset[str]:
    """Letters that all fonts have, and that can be set one by one."""
    load_fonts()
    fonts: list[Any] = [pdfmetrics.getFont(name) for name in FILES]
    common = set.intersection(*(set(font.face.charToGlyph) for font in fonts))
    return frozenset(letter for letter in map(chr, common) if letter.isprintable() and not _is_unshaped(letter))


def _is_unshaped(letter: str) -> bool:
    return any(first <= letter <= last for first, last in UNSHAPED)


def _instead(letter: str) -> str:
    if unicodedata.category(letter) in ("Cf", "Mn", "Me"):
        return MISSING if unicodedata.category(letter) != "Cf" else ""  # format characters have no shape of their own
    return " " if letter.isspace() or unicodedata.category(letter) == "Cc" else MISSING


def _folder() -> Path:
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("Matplotlib, which brings the fonts of the printed pages, is not installed.")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
