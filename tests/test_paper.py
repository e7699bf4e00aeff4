"""The frame of every PDF: what reportlab wrote is read back with pypdf, and pictures with Pillow."""

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from pdf_reader import fonts
from PIL import Image
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, PageBreak

from analyzer.paper.blocks import (
    Drawing,
    Lab_colour,
    Picture,
    bullets,
    caution,
    checklist,
    swatch,
    table,
    text,
    words_at,
)
from analyzer.paper.document import (
    MARGIN_MM,
    PaperName,
    content_width_pt,
    draw_pdf,
    make_pdf,
    page_size_pt,
    paper_for,
)
from analyzer.paper.fonts import FILES, MISSING, SANS, fitted, printable, width_pt
from analyzer.paper.images import image
from analyzer.paper.styles import HEADING, MM, SUBHEADING, TEXT, TITLE

PAPERS: tuple[PaperName, ...] = ("a4", "letter")


def read(
    story: Sequence[Flowable], paper: PaperName = "a4", running: str | None = None, *, lying: bool = False
) -> PdfReader:
    data = make_pdf(story, paper=paper, title="Trial plan", running=running, lying=lying)
    return PdfReader(io.BytesIO(data))


def words(reader: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.mark.parametrize(("paper", "mm"), [("a4", (210, 297)), ("letter", (8.5 * 25.4, 11 * 25.4))])
def test_a_page_has_the_size_of_its_paper(paper: PaperName, mm: tuple[float, float]) -> None:
    """ISO 216; ANSI/ASME Y14.1 size A. A PDF's unit is 1/72 inch."""
    for lying in (False, True):
        box = read([text("x")], paper, lying=lying).pages[0].mediabox
        sides = (float(box.width), float(box.height))
        assert sides == pytest.approx([side * 72 / 25.4 for side in (mm[::-1] if lying else mm)], abs=0.01)
    assert paper_for("in") == "letter"
    assert paper_for("mm") == "a4"


def test_every_page_says_which_of_how_many_it_is() -> None:
    reader = read([text("one"), PageBreak(), text("two"), PageBreak(), text("three")], running="Hall bench")
    assert len(reader.pages) == 3
    for number, page in enumerate(reader.pages, start=1):
        assert f"page {number} of 3" in page.extract_text()
        assert "Hall bench" in page.extract_text()


def test_the_same_blocks_give_the_same_bytes() -> None:
    def story() -> list[Flowable]:
        return [text("Trial", TITLE), table([("zone", 40, "bold")], [["A"]]), caution("Dust", "Wear a mask.")]

    assert make_pdf(story(), paper="a4", title="x") == make_pdf(story(), paper="a4", title="x")


def test_a_file_says_its_title_and_its_language_and_shows_its_headings_beside_the_pages() -> None:
    reader = read([text("Amounts", HEADING), text("Stain", SUBHEADING), PageBreak(), text("Labels", HEADING)])
    assert reader.metadata is not None
    assert reader.metadata.title == "Trial plan"
    root: Any = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    first, below, second = reader.outline
    assert [entry["/Title"] for entry in (first, below[0], second)] == ["Amounts", "Stain", "Labels"]  # type: ignore[index,call-overload] # pypdf's outline is a list in lists
    assert reader.get_destination_page_number(second) == 1  # type: ignore[arg-type] # as above


def test_every_font_is_embedded() -> None:
    blocks = [text("T", TITLE), *bullets(["dot"]), caution("C", "w", "s"), checklist([("Mon", "sand", "P150")], 150)]
    found = fonts(read([*blocks, table([("a", 20, "right")], [["1"]]), Drawing(9, 9, a_word)]))
    assert len(found) >= 3
    assert all(found.values()), found


def a_word(canvas: Canvas) -> None:
    words_at(canvas, "Board A", 1, 5, font=SANS, size_pt=8, align="middle")


SIGNS = "Δ ± * ° µ μ ² ³ “ ” ‘ ’ „ « » – — … × − → ≤ ≥ ½ € · ₂"


def test_signs_of_the_field_and_letters_of_europe_are_printed() -> None:
    said = f"{SIGNS} Größe Müßig, déjà-vu œuvre, Ωμέγα λούστρο, őŁ, Дуб"
    assert printable(said) == said
    assert said in words(read([text(said)]))
    assert "lack" not in words(read([text(said)]))


def test_accents_that_stand_apart_are_joined_to_their_letters() -> None:
    assert printable("u\u0308") == "ü"


def test_a_letter_that_the_fonts_lack_leaves_a_box_and_the_foot_says_so() -> None:
    assert printable("源氏 oak") == f"{MISSING * 2} oak"
    assert printable("שלום") == MISSING * 4  # would be set from left to right
    assert printable("a\nb\x07c") == "a b c"
    told = words(read([text("oak"), PageBreak(), text("源")]))
    assert told.count(f"{MISSING}: a letter that these fonts lack") == 2
    assert told.endswith(f"Trial plan {MISSING}")


def test_what_looks_like_markup_is_printed_as_it_stands() -> None:
    assert "<b>5 & 6</b> &amp;" in words(read([text("<b>5 & 6</b> &amp;"), *bullets(["<i>"])]))


def rightmost_pt(reader: PdfReader) -> float:
    """Right end of the widest line on all pages, from where pypdf finds it and how wide its letters are."""
    ends = []

    def visit(line: str, _: object, matrix: list[float], font: dict[str, str] | None, size: float) -> None:
        if line.strip() and font is not None:
            name = next(name for name, file in FILES.items() if font["/BaseFont"].endswith(file.removesuffix(".ttf")))
            ends.append(matrix[4] + width_pt(line.strip(), name, size))

    for page in reader.pages:
        page.extract_text(visitor_text=visit)
    return max(ends)


@pytest.mark.parametrize("paper", PAPERS)
def test_long_names_are_broken_within_the_margins(paper: PaperName) -> None:
    name = "Shellac-washcoat-over-" * 12
    width = content_width_pt(paper) / MM
    cells = table([("zone", width / 2, "bold"), ("says", width / 2, "right")], [[name, name]])
    row = checklist([("Monday", name, name)], width)
    reader = read([text(name, TITLE), cells, caution(name, name, name), row, *bullets([name])], paper, running=name)
    right = page_size_pt(paper)[0] - MARGIN_MM * MM
    assert 0.9 * right < rightmost_pt(reader) <= right + 0.1


def test_a_line_is_cut_short_where_there_is_no_room() -> None:
    short = fitted("Shellac washcoat over dye", SANS, 8, 60)
    assert short.endswith("…")
    assert 40 < width_pt(short, SANS, 8) <= 60
    assert fitted("dye", SANS, 8, 60) == "dye"


def test_a_tables_head_stands_on_every_page_and_a_cell_taller_than_a_page_goes_on() -> None:
    rows = [["A", "word " * 1500]]
    reader = read([table([("zone", 30, "bold"), ("what was done", 100, "left")], rows)])
    assert len(reader.pages) >= 2
    assert all("what was done" in page.extract_text() for page in reader.pages)
    assert words(reader).count("word") == 1500


def picture_file(kind: str, mode: str) -> tuple[bytes, Image.Image]:
    ramp = np.indices((40, 60)).sum(axis=0)
    RGB = np.stack([ramp * 2, 255 - ramp * 2, ramp], axis=-1).astype(np.uint8)
    picture = Image.fromarray(RGB).convert(mode)
    file = io.BytesIO()
    picture.save(file, kind)
    return file.getvalue(), picture


@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_a_jpeg_goes_into_the_file_byte_for_byte(mode: str) -> None:
    data, _ = picture_file("JPEG", mode)
    assert data in make_pdf([Picture(data, 60), Picture(data, 30)], paper="a4", title="x")
    again = read([Picture(data, 60), text("and"), Picture(data, 30)])
    assert len(again.pages[0].images) == 1  # held once


@pytest.mark.parametrize("mode", ["L", "RGB", "P"])
def test_a_png_goes_into_the_file_pixel_for_pixel(mode: str) -> None:
    data, picture = picture_file("PNG", mode)
    (found,) = read([Picture(data, 60)]).pages[0].images
    assert found.image is not None
    assert np.array_equal(np.asarray(found.image.convert("RGB")), np.asarray(picture.convert("RGB")))


def test_the_clear_entry_of_a_palette_stays_clear() -> None:
    picture = Image.frombytes("P", (2, 1), b"\x00\x03")
    picture.putpalette(bytes(range(12)))
    file = io.BytesIO()
    picture.save(file, "PNG", transparency=3)
    resources: Any = read([Picture(file.getvalue(), 20)]).pages[0]["/Resources"]
    masks = [form.get_object().get("/Mask") for form in resources["/XObject"].values()]
    assert [3, 3] in masks


def test_other_pictures_are_refused() -> None:
    cut = picture_file("PNG", "RGB")[0][:60]
    for data in (b"GIF89a", picture_file("PNG", "RGBA")[0], cut):
        with pytest.raises(ValueError, match="for the page"):
            image(data)


def test_a_swatch_has_the_colour_that_a_screen_shows_for_that_Lab() -> None:
    """CIELAB 50, 0, 0 is sRGB 119, 119, 119 (IEC 61966-2-1: Y = 0.1842, code 118.9)."""
    assert Lab_colour((50, 0, 0)).bitmap_rgb() == (119, 119, 119)
    page = read([swatch([[Lab_colour((50, 0, 0))], ["#102030", "#405060"]], 40, 20)]).pages[0]
    contents = page.get_contents()
    assert contents is not None
    drawn = contents.get_data().decode("latin-1")
    assert drawn.count(" re ") >= 4  # gray mat and three colours
    assert ".062745 .12549 .188235 rg" in drawn


def test_labels_are_drawn_at_exact_size_on_pages_of_their_own() -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setFont(SANS, 9)
        canvas.drawString(72, 72, printable("Board A"))

    reader = PdfReader(io.BytesIO(draw_pdf([draw, draw], paper="letter", title="Labels")))
    assert len(reader.pages) == 2
    assert reader.pages[0].extract_text().strip() == "Board A"  # no foot
    root: Any = reader.trailer["/Root"]
    assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert TEXT.fontName in FILES
