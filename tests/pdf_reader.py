"""What does a PDF say, where, and in which fonts?  Read with pypdf, which shares no code with the writer."""

import io
import re
from dataclasses import dataclass
from typing import Any

from pypdf import PageObject, PdfReader

from analyzer.paper.fonts import FILES, width_pt

NAMES = {file.removesuffix(".ttf"): name for name, file in FILES.items()}


@dataclass(frozen=True)
class Line:
    """Words on a page: where they begin and end, in points from its left edge."""

    words: str
    left: float
    right: float


def opened(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def said(reader: PdfReader) -> str:
    """All words, spaced plainly."""
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def squeezed(text: str) -> str:
    """Without any space: a PDF breaks lines where the page does."""
    return re.sub(r"\s+", "", text)


def lines(page: PageObject) -> list[Line]:
    """Every run of words with the room that it takes, by the widths of our own fonts."""
    found = []

    def visit(words: str, at: list[float], text_at: list[float], font: dict[str, str] | None, size: float) -> None:
        if not words.strip() or font is None:
            return
        name = NAMES[font["/BaseFont"].partition("+")[2]]
        scale = abs(at[0]) or abs(at[1])  # words may be turned
        left = at[0] * text_at[4] + at[2] * text_at[5] + at[4]
        wide = width_pt(words.strip(), name, size) * scale if at[0] else 0.0
        found.append(Line(words.strip(), left, left + wide))

    page.extract_text(visitor_text=visit)
    return found


def fonts(reader: PdfReader) -> dict[str, bool]:
    """Name of every font that a page or a form on it may use, and whether it is embedded."""
    found = {}
    for page in reader.pages:
        resources: Any = page["/Resources"]
        forms = [form.get_object() for form in resources.get("/XObject", {}).values()]
        for place in (resources, *(form["/Resources"] for form in forms if "/Resources" in form)):
            for font in place["/Font"].values():
                described = font.get_object().get("/FontDescriptor")
                found[font.get_object()["/BaseFont"]] = described is not None and "/FontFile2" in described.get_object()
    return found
