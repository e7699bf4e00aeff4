"""Which version of Evenboard is this?"""

import re
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

_PROJECT = Path(__file__).parent.parent / "pyproject.toml"


def tool_version() -> str:
    """Version of the installed distribution, or of the checkout that is run without installing it.

    Raises
    ------
    FileNotFoundError
        If the package was copied here without either.
    """
    if _PROJECT.is_file():  # first: an older installed copy would speak for code that is not its own
        stated = re.search(
            r'^name = "evenboard"\nversion = "(.+)"$', _PROJECT.read_text(encoding="utf-8"), re.MULTILINE
        )
        if stated:  # some other project's file may lie beside installed packages
            return stated[1]
    try:
        return version("evenboard")
    except PackageNotFoundError as error:
        raise FileNotFoundError(f"evenboard is not installed, and {_PROJECT} is not there either") from error
