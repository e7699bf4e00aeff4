"""How do words fit into a given room?  They are set smaller, then broken into lines, and cut short only at the last."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analyzer.paper.fonts import SANS, SANS_BOLD, fitted, printable, width_pt

MM_PER_POINT: Final = 25.4 / 72
LINE_HEIGHT: Final = 1.22  # baseline to baseline, in sizes of the type
ASCENT: Final = 0.76  # of DejaVu's capitals and most letters above the baseline, in sizes; accents reach 0.93
DESCENT: Final = 0.24


@dataclass(frozen=True, slots=True)
class SetText:
    """Lines that fit, and the size that they are set in."""

    lines: tuple[str, ...]
    size_pt: float
    is_bold: bool

    @property
    def height_mm(self) -> float:
        """From the top of the first line to the foot of the last."""
        return len(self.lines) * self.size_pt * LINE_HEIGHT * MM_PER_POINT

    @property
    def width_mm(self) -> float:
        """Of the widest line."""
        font = SANS_BOLD if self.is_bold else SANS
        return max((width_pt(line, font, self.size_pt) for line in self.lines), default=0.0) * MM_PER_POINT


def set_text(
    words: str,
    width_mm: float,
    *,
    most_lines: int = 1,
    sizes_pt: Sequence[float] = (8.0, 7.0, 6.0),
    is_bold: bool = False,
) -> SetText:
    """Fit words into a width.

    Parameters
    ----------
    words : str
        Anything; what cannot be printed is shown as such.
    width_mm : float
        Of the room, above 0.
    most_lines : int
        1 or more.
    sizes_pt : sequence of float
        Sizes to try, the largest first. At the last size what is too much is cut short with an ellipsis.

    Returns
    -------
    SetText
        No line is wider than `width_mm`.
    """
    font = SANS_BOLD if is_bold else SANS
    most_pt = width_mm / MM_PER_POINT
    plain = " ".join(printable(words).split())
    lines: list[str] = []
    for may_break in (False, True):  # smaller type is read more easily than a broken word
        for size in sizes_pt:
            lines = _wrapped(plain, font, size, most_pt)
            is_broken = any(not _is_whole(word, font, size, most_pt) for word in re.split(" (?!%)", plain))
            if len(lines) <= most_lines and (may_break or not is_broken):
                return SetText(tuple(lines), size, is_bold)
    kept, cut_off = lines[: most_lines - 1], lines[most_lines - 1 :]
    rest = "".join(line if line.endswith(("-", "/")) else f"{line} " for line in cut_off).strip()
    cut = fitted(rest, font, sizes_pt[-1], most_pt)
    return SetText((*kept, cut), sizes_pt[-1], is_bold)


def _wrapped(words: str, font: str, size_pt: float, most_pt: float) -> list[str]:
    """Break into lines at spaces; a word wider than a line is broken within."""
    lines: list[str] = []
    line = ""
    for word in re.split(" (?!%)", words):  # a per cent sign stays with its number
        longer = f"{line} {word}" if line else word
        if width_pt(longer, font, size_pt) <= most_pt:
            line = longer
            continue
        if line:
            lines.append(line)
        *whole, line = _pieces(word, font, size_pt, most_pt)
        lines += whole
    return [*lines, line] if line else lines


def _is_whole(word: str, font: str, size_pt: float, most_pt: float) -> bool:
    """Whether a word stays in one piece, or is broken where it has a hyphen or slash."""
    return all(piece.endswith(("-", "/")) for piece in _pieces(word, font, size_pt, most_pt)[:-1])


def _pieces(word: str, font: str, size_pt: float, most_pt: float) -> list[str]:
    """Break a word that is wider than a line, after a hyphen or slash where there is one."""
    pieces = []
    while width_pt(word, font, size_pt) > most_pt and len(word) > 1:
        end = next((n for n in range(len(word) - 1, 0, -1) if width_pt(word[:n], font, size_pt) <= most_pt), 1)
        natural = max(word.rfind(mark, 0, end) for mark in "-/") + 1
        end = natural or end
        pieces.append(word[:end])
        word = word[end:]
    return [*pieces, word]
