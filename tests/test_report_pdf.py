"""report.pdf says what report.html says, on both papers, within its margins, and shows its pictures as they are."""

import re
from dataclasses import replace
from typing import get_args

import pytest
from pdf_reader import fonts, lines, opened, said, squeezed
from pypdf import PdfReader
from report_example import example_measurement, without_answer

from analyzer.measurement import Measurement
from analyzer.paper.document import MARGIN_MM, PaperName
from analyzer.paper.fonts import MISSING, printable
from analyzer.paper.styles import MM
from analyzer.report.approved import ApprovalRow
from analyzer.report.boards import shown_boards
from analyzer.report.content import Content, content_of
from analyzer.report.html import report_html
from analyzer.report.pdf import report_pdf
from analyzer.report.pictures import map_limit

PAPERS: tuple[PaperName, ...] = get_args(PaperName)


def content(measurement: Measurement, approvals: tuple[ApprovalRow, ...] = ()) -> Content:
    boards = shown_boards(measurement)
    return content_of(measurement, boards, map_limit(shown.rasters.deviation for shown in boards), approvals)


@pytest.fixture(scope="module")
def example() -> Content:
    return content(example_measurement())


@pytest.fixture(scope="module", params=PAPERS)
def paper(request: pytest.FixtureRequest) -> PaperName:
    name: PaperName = request.param
    return name


@pytest.fixture(scope="module")
def reader(example: Content, paper: PaperName) -> PdfReader:
    return opened(report_pdf(example, paper))


@pytest.fixture(scope="module")
def told(reader: PdfReader) -> str:
    return squeezed(said(reader))


def test_every_page_has_the_paper_and_its_number(reader: PdfReader, paper: PaperName) -> None:
    """ISO 216, and 8.5 by 11 inches."""
    wanted = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}[paper]
    for number, page in enumerate(reader.pages, start=1):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.01)
        assert f"page {number} of {len(reader.pages)}" in page.extract_text()
    assert len(reader.pages) >= 5


def test_the_first_page_is_the_customers_and_nothing_of_it_runs_over(reader: PdfReader) -> None:
    first, second = (squeezed(reader.pages[i].extract_text()) for i in (0, 1))
    for words in ("forthecustomer", "Werecommend", "Woodvariesbynature", "Thesignedboardisthestandard", "Signature"):
        assert words in first
    assert "Test-boardreport" in second
    assert all(word in first for word in ("colour", "evenness", "sheen", "figure", "date", "signature"))


def words_of(html: str) -> list[str]:
    """The runs of words between a page's tags, without its style and drawings."""
    body = re.sub(r"<(style|svg|head)\b.*?</\1>", " ", html[html.index("<body>") :], flags=re.DOTALL)
    runs = re.split(r"<[^>]+>", body)
    return [re.sub(r"\s+", " ", run).strip() for run in runs if run.strip()]


# What is said on a screen only: how the page works, and what a drawing says by its shape.
ON_SCREEN = re.compile(
    r"one page for the customer|^Bay window seat, for|colours: this one|^colour$|this treatment|^target$"
    r"|beside this page|in millimetres|\(\d+\)$|^limit|^darker$|lighter, L\*|^light $"
)


def test_what_stands_on_the_page_stands_on_paper(example: Content, told: str) -> None:
    runs = words_of(report_html(example).decode())
    long = [run for run in runs if len(run) > 24 and not ON_SCREEN.search(run)]
    assert len(long) > 60
    missing = [run for run in long if squeezed(unescaped(run)).strip(".:;·()") not in told]
    assert missing == []


def unescaped(text: str) -> str:
    for entity, letter in (("&#39;", "'"), ("&lt;", "<"), ("&gt;", ">"), ("&#34;", '"'), ("&amp;", "&")):
        text = text.replace(entity, letter)
    return text


def test_verdicts_numbers_and_hashes_stand_on_paper(example: Content, told: str) -> None:
    page = example.page
    wanted = [text for group in page.groups for row in group.rows for text in (row.name, row.colour, row.blotch)]
    wanted += [row.overall_mark.word for group in page.groups for row in group.rows]
    wanted += [row.de00 for row in (*page.against_control, *page.other_differences)]
    wanted += [value for zone in page.zones for value in (zone.id, *zone.lab, zone.blotch)]
    wanted += [photo.sha256 for photo in page.photos]
    wanted += [source for caution in page.cautions for source in caution.sources]
    assert len(wanted) > 60
    assert [text for text in wanted if squeezed(text) not in told] == []


def test_every_font_is_embedded(reader: PdfReader) -> None:
    found = fonts(reader)
    assert len(found) >= 3
    assert all(found.values()), found


def test_boards_and_maps_are_in_the_file_as_they_were_drawn(example: Content) -> None:
    data = report_pdf(example, "a4")
    assert len(example.boards) == 3
    for board in example.boards:
        assert board.board_jpeg in data  # byte for byte: not decoded, not made coarser
    sizes = {image.image.size for page in opened(data).pages for image in page.images if image.image is not None}
    assert len(sizes) >= 2
    assert len(data) < 3_000_000


@pytest.mark.parametrize("name", PAPERS)
def test_long_names_stay_within_the_margins(name: PaperName) -> None:
    measurement = example_measurement(boards=("S",))
    long = "dewaxed-shellac-washcoat-cut-with-alcohol-" * 6
    verdicts = tuple(
        replace(item, treatment=long, advice=f"{long} {item.advice}") for item in measurement.results.verdicts
    )
    job = replace(measurement.job, name=long, customer=long)
    reader = opened(
        report_pdf(
            content(replace(measurement, job=job, results=replace(measurement.results, verdicts=verdicts))), name
        )
    )
    ends = [line.right for page in reader.pages for line in lines(page)]
    right = float(reader.pages[0].mediabox.width) - MARGIN_MM * MM
    assert 0.95 * right < max(ends) <= right + 0.1


def test_names_in_other_letters_are_printed_or_leave_a_box() -> None:
    names = "Möbel Groß, Café Œuvre, Ξύλο, 木工"
    measurement = example_measurement(boards=())
    reader = opened(report_pdf(content(replace(measurement, job=replace(measurement.job, name=names))), "a4"))
    told = squeezed(said(reader))
    assert squeezed("Möbel Groß, Café Œuvre, Ξύλο, " + MISSING * 2) in told
    assert squeezed("a letter that these fonts lack") in told
    assert printable(names) != names


def test_a_job_without_an_answer_or_without_a_usable_photo_still_makes_a_report() -> None:
    undecided = squeezed(said(opened(report_pdf(content(without_answer(example_measurement(boards=()))), "a4"))))
    assert "Notdecidedyet" in undecided
    assert "Whatwouldsettleit" in undecided
    measurement = example_measurement(boards=())
    empty = replace(measurement.results, zones=(), differences=(), verdicts=(), photos=measurement.results.photos[-1:])
    nothing = squeezed(said(opened(report_pdf(content(replace(measurement, results=empty)), "letter"))))
    assert "Thegraycardwasnotfound" in nothing
    assert "Signature" in nothing


def test_lengths_are_in_the_units_of_the_job() -> None:
    measurement = example_measurement(boards=("A",))
    inches = replace(measurement, job=replace(measurement.job, units="in"))
    told = squeezed(said(opened(report_pdf(content(inches), "letter"))))
    assert squeezed("11.8 × 5.91 in") in told  # 300 by 150 mm over 25.4
    assert squeezed("0.16–2 in") in told  # 4 to 50 mm
    assert not re.search(r"\dmm|cm²", told.replace(squeezed(measurement.results.tool.method), ""))


def test_an_approval_stands_on_the_first_page_with_what_has_changed_since() -> None:
    row = ApprovalRow(
        "A/shellac (stained, light “shop”)",
        (40.9, 14.9, 23.6),
        "approved by Ms. Example on 2026-11-20, until 2027-06-30",
        "colour of the seat; covers colour and evenness",
        ("photo a-stained.jpg was changed after approval",),
    )
    made = content(example_measurement(boards=()), (row, replace(row, zone="R/shellac", changed=())))
    first = squeezed(opened(report_pdf(made, "a4")).pages[0].extract_text())
    for words in (row.zone, row.says, row.scope, row.changed[0], "Nothing that it rests on has changed since"):
        assert squeezed(words) in first
        assert words in report_html(made).decode()


def test_the_same_content_gives_the_same_bytes(example: Content) -> None:
    assert report_pdf(example, "a4") == report_pdf(content(example_measurement()), "a4")
