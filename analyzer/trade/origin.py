"""Whose row is it, and what comes before every row?"""

from typing import Literal

Origin = Literal["shop", "evenboard"]  # from the shop's own table, or from those that come with Evenboard

SHEET_FIRST = (
    "The sheet and label of the product itself come before every time, strength, spread and temperature given here; "
    "where they differ, the sheet counts."
)


def with_origin(source: str, origin: Origin) -> str:
    """Say where a value is from, for people."""
    return f"the shop's own table: {source}" if origin == "shop" else source
