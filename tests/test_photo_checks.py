"""A colour outside the photo's colour space is told."""

import numpy as np
from numpy.typing import NDArray

from calibration.photo_checks import MAX_CUT_OFF, exposure_findings


def board(share: float, pixel: tuple[float, float, float]) -> NDArray[np.float32]:
    """A brown board of 10 000 pixels, of which a share has another colour."""
    pixels = np.tile(np.array([0.3, 0.15, 0.06], np.float32), (10_000, 1))
    pixels[: round(share * len(pixels))] = pixel
    return pixels


def codes(pixels: NDArray[np.float32]) -> list[str]:
    return [finding.code for finding in exposure_findings(pixels, 0.0)]


def test_a_channel_at_zero_beside_a_bright_one_is_told() -> None:
    assert codes(board(MAX_CUT_OFF + 0.01, (0.3, 0.12, 0.0))) == ["colour-cut-off"]


def test_a_little_of_it_is_not() -> None:
    assert codes(board(MAX_CUT_OFF - 0.01, (0.3, 0.12, 0.0))) == []


def test_a_dark_stain_is_not_taken_for_it() -> None:
    assert "colour-cut-off" not in codes(board(1.0, (0.02, 0.004, 0.0003)))
