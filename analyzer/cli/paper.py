"""On which paper does a command print?"""

from enum import StrEnum


class Paper(StrEnum):
    """Papers that PDFs are laid out for."""

    A4 = "a4"
    LETTER = "letter"
