"""Which files does `evenboard strips` leave?"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2

from analyzer.errors import AnalyzerError, FolderError
from analyzer.report.swap import swap_in
from analyzer.strip_sheets.images import PX_PER_MM, strip_image
from analyzer.strip_sheets.pdf import sheets, strips_pdf
from calibration.strips import MAX_LENGTH_MM, MIN_LENGTH_MM, ZERO_MM, Side, sections

DESCRIPTION = "strips.json"


@dataclass(frozen=True, slots=True)
class StripsWritten:
    """What was written."""

    length_mm: float
    paper: str
    sections: int  # of each strip
    sheets: int
    px_per_mm: int  # of the pictures
    zero_mm: float  # from the left cut edge to the zero arrow
    files: tuple[Path, ...]


class StripLengthError(AnalyzerError):
    """No strips are made for a board of this length: give another one."""


def write_strips(pdf: Path, length_mm: float, *, paper: str = "a4", pictures: Path | None = None) -> StripsWritten:
    """Write printable edge strips for a board.

    Everything is made beforehand; each file is written whole or not at all.

    Parameters
    ----------
    pdf : Path
        The PDF to write. Its folder is made if it is not there; an older PDF is replaced.
    length_mm : float
        Length of the board, `MIN_LENGTH_MM` to `MAX_LENGTH_MM`.
    paper : str
        A key of `PAPERS_MM`: "a4" or "letter".
    pictures : Path, optional
        A folder for the strips as pictures: top.png, bottom.png, and strips.json with their scale.

    Returns
    -------
    StripsWritten

    Raises
    ------
    StripLengthError
        If no strips are made for such a board.
    FolderError
        If a folder cannot be made or written, or a file that is none of ours stands where one would go.
    """
    if not (math.isfinite(length_mm) and MIN_LENGTH_MM <= length_mm <= MAX_LENGTH_MM):
        raise StripLengthError(
            f"a board of {length_mm:g} mm is out of range.",
            remedy=f"Give a length from {MIN_LENGTH_MM:g} to {MAX_LENGTH_MM:g} mm.",
        )
    _refuse_to_replace(pdf, pictures)
    printed = strips_pdf(length_mm, paper)
    pictured = {} if pictures is None else _pictures(length_mm)
    _write({pdf.name: printed}, pdf.parent)
    files = [pdf]
    if pictures is not None:
        _write(pictured, pictures)
        files += [pictures / name for name in pictured]
    return StripsWritten(
        length_mm=length_mm,
        paper=paper,
        sections=len(sections(Side.TOP, length_mm)),
        sheets=len(sheets(length_mm)),
        px_per_mm=PX_PER_MM,
        zero_mm=ZERO_MM,
        files=tuple(files),
    )


def _pictures(length_mm: float) -> dict[str, bytes]:
    described = json.dumps({"px_per_mm": PX_PER_MM, "zero_mm": ZERO_MM}) + "\n"
    files = {f"{side}.png": cv2.imencode(".png", strip_image(side, length_mm))[1].tobytes() for side in Side}
    return {**files, DESCRIPTION: described.encode()}


def _refuse_to_replace(pdf: Path, pictures: Path | None) -> None:
    """Replace strips only: a photo whose name was given by mistake stays."""
    if pdf.is_dir():
        raise FolderError(f"{pdf} is a folder.", remedy="Name the PDF file to write.")
    if pdf.is_file() and pdf.stat().st_size and not _begins_like_a_pdf(pdf):
        raise FolderError(
            f"{pdf} is there already, and is no PDF.", remedy="It was left as it is; choose another name."
        )
    if pictures is not None and not (pictures / DESCRIPTION).exists():
        for name in (f"{side}.png" for side in Side):
            if (pictures / name).exists():
                raise FolderError(
                    f"{pictures / name} is there already, and no {DESCRIPTION} beside it says that it shows a strip.",
                    remedy="It was left as it is; choose another folder.",
                )


def _begins_like_a_pdf(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(5) == b"%PDF-"
    except OSError as refused:
        raise _folder_error(path, refused) from refused


def _write(files: Mapping[str, bytes], folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        swap_in(files, folder)
    except OSError as refused:
        raise _folder_error(folder, refused) from refused


def _folder_error(path: Path, refused: OSError) -> FolderError:
    return FolderError(
        f"{path} cannot be made or written: {refused.strerror or refused}.", remedy="Choose another place."
    )
