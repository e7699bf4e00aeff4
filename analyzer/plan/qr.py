"""What does the code on a label say, and which modules of it are black?

Plain text, so that any reader shows it: `evenboard:1:JOB:BOARD/ZONE:STAGE`. Board and zone are ids of job.toml; zone
and stage are left empty where a label is for the whole board. QR code: ISO/IEC 18004, error correction level M.
"""

from typing import Any, Final
from urllib.parse import quote, unquote

import numpy as np
from numpy.typing import NDArray
from reportlab.graphics.barcode.qrencoder import QR8bitByte, QRCode, QRErrorCorrectLevel

from analyzer.strip_sheets.pdf import outlines

MARK: Final = "evenboard"
FORMAT: Final = 1
QUIET_MODULES: Final = 4  # white all round, ISO/IEC 18004, 6.3.8
LONGEST_JOB: Final = 48  # letters of a coded job's name (chosen): a finer code would not be read from a printed label

_PLAIN = " ,.()"  # beside letters and digits: written as they are, so that people can read them


def code_text(job: str, board: str, zone: str = "", stage: str = "") -> str:
    """Text of a label's code.

    Parameters
    ----------
    job : str
        The job's name; the end of a very long one is left out.
    board, zone, stage : str
        "" for none.

    Returns
    -------
    str
        In letters of ASCII; what else stands in a name is written as in a web address.
    """
    name = quote(job, safe=_PLAIN)
    while len(name) > LONGEST_JOB:
        job = job[:-1]
        name = quote(job, safe=_PLAIN)
    place = "/".join(quote(part, safe=_PLAIN) for part in (board, zone))
    return f"{MARK}:{FORMAT}:{name}:{place}:{quote(stage, safe=_PLAIN)}"


def read_code(text: str) -> tuple[str, str, str, str] | None:
    """Read a label's code: job, board, zone and stage; None for any other text, or one of a newer format."""
    parts = text.split(":")
    if len(parts) != 5 or parts[:2] != [MARK, str(FORMAT)] or parts[3].count("/") != 1:
        return None
    board, zone = parts[3].split("/")
    return unquote(parts[2]), unquote(board), unquote(zone), unquote(parts[4])


def modules(text: str) -> NDArray[np.bool_]:
    """Modules of a QR code, True for black, without the quiet zone: square, in the smallest version that holds it."""
    code: Any = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(QR8bitByte(text))
    code.make()
    count = code.getModuleCount()
    return np.array([[code.isDark(row, column) for column in range(count)] for row in range(count)], np.bool_)


def code_loops(text: str, x: float, y: float, side: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Outlines of the black modules in a square with its upper left corner at (x, y), the quiet zone included."""
    black = modules(text)
    module = side / (len(black) + 2 * QUIET_MODULES)
    left, top = x + QUIET_MODULES * module, y + QUIET_MODULES * module
    return tuple(tuple((left + i * module, top + j * module) for i, j in loop) for loop in outlines(black))
