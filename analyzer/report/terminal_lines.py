"""How does text become lines on a terminal?"""

import textwrap


def plain(text: str) -> str:
    """Take out what could steer the terminal: names may come from anybody."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def wrapped(text: str, width: int, indent: str = "", further: str | None = None) -> list[str]:
    """Break a text between words.

    Parameters
    ----------
    text : str
    width : int
        Columns; a word that is longer stands out.
    indent : str
        Of the first line, and of the rest unless `further` says otherwise.
    further : str, optional
        Indent of all lines but the first.
    """
    return textwrap.wrap(
        plain(text),
        max(width, len(indent) + 1),
        initial_indent=indent,
        subsequent_indent=indent if further is None else further,
        break_long_words=False,
        break_on_hyphens=False,
    )
