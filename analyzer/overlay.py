"""What was seen in a photo in which the board or the card was not found?  Outlines over a small copy."""

import cv2
import numpy as np
from numpy.typing import NDArray

from analyzer.measurement import Overlay
from calibration.place import Place

# Apart in lightness as well as in hue, so that they can be told without colour vision; drawn over a dark line.
BOARD_RGB, CARD_RGB, OTHER_RGB = (255, 190, 60), (90, 200, 255), (235, 235, 235)


def overlay_of(photo: str, place: Place, caption: str) -> Overlay:
    """Draw what was found: board, card, and other patches that might have been the card.

    Parameters
    ----------
    photo : str
        As named in job.toml.
    place : Place
        What `locate` found.
    caption : str
        What went wrong, in words.
    """
    RGB = place.preview.codes.copy()
    for quad in place.card_rivals:
        _draw(RGB, place.preview.to_preview(quad), OTHER_RGB, 1)
    if place.card is not None:
        _draw(RGB, place.preview.to_preview(place.card), CARD_RGB, 2)
    if place.board is not None:
        _draw(RGB, place.preview.to_preview(place.board), BOARD_RGB, 2)
    seen = [
        "board outlined in amber" if place.board is not None else "no board found",
        "card outlined in blue" if place.card is not None else "no card found",
    ]
    return Overlay(photo, f"{caption[:1].upper()}{caption[1:]} Seen: {', '.join(seen)}.", RGB)


def _draw(RGB: NDArray[np.uint8], quad: NDArray[np.float64], colour: tuple[int, int, int], width: int) -> None:
    points = [np.round(np.clip(quad, -10_000, 10_000)).astype(np.int32)]
    cv2.polylines(RGB, points, isClosed=True, color=(0, 0, 0), thickness=width + 2, lineType=cv2.LINE_AA)
    cv2.polylines(RGB, points, isClosed=True, color=colour, thickness=width, lineType=cv2.LINE_AA)
