"""What can stop a measurement, told so that a finisher can act on it.

A doubtful photo is measured and carries a finding (see findings.py); an impossible one raises.
There is one subclass for each reaction that a caller can have.
"""


class CalibrationError(Exception):
    """A photo cannot be turned into trustworthy colour.

    Parameters
    ----------
    what : str
        What happened, with the value found and the limit.
    photo : str
        File name of the photo, empty if no single photo is to blame.
    remedy : str
        What the finisher can do about it.
    code : str
        The finding (findings.py) that says the same in results and reports.
    """

    def __init__(self, what: str, *, photo: str = "", remedy: str = "", code: str = "photo-unreadable") -> None:
        super().__init__(what)
        self.what = what
        self.photo = photo
        self.remedy = remedy
        self.code = code

    def __str__(self) -> str:
        where = f"{self.photo}: " if self.photo else ""
        return f"{where}{self.what} {self.remedy}".strip()


class PhotoError(CalibrationError):
    """The file is missing, is no photo, or is one that cannot be measured: take or export it again."""


class PlaceError(CalibrationError):
    """The board's face was not found: give its corners."""


class ReferenceCardError(CalibrationError):
    """The gray card was not found or cannot serve: give its corners, or retake."""
