"""Where are the published values that the code reads?

A checkout keeps them in its top-level `shared` folder; an installed package carries a copy inside.
"""

from pathlib import Path

INSTALLED = Path(__file__).parent / "_shared"
CHECKOUT = Path(__file__).parent.parent / "shared"


def published_file(name: str) -> Path:
    """Path of one file of published values.

    Parameters
    ----------
    name : str
        File name inside `shared`, for example ``"cautions.toml"``.

    Raises
    ------
    FileNotFoundError
        If the installation is incomplete.
    """
    for folder in (INSTALLED, CHECKOUT):
        if (folder / name).is_file():
            return folder / name
    raise FileNotFoundError(f"evenboard is not installed completely: {name} is in neither {INSTALLED} nor {CHECKOUT}.")
