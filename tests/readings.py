"""Zone readings made by hand for the tests of uncertainty and comparison: colours and blocks as wanted, no photo."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from board_photos import Floats, photo_of_light
from numpy.typing import ArrayLike
from simulator.spectra import L_to_Y

from analyzer.evenness import Evenness
from analyzer.job import Board, Zone
from analyzer.pooling import MeasuredZone
from analyzer.uncertainty import Sight
from analyzer.zones import ZoneReading
from calibration.colorspace import Lab_to_XYZ
from calibration.correction import by_gray_card
from calibration.known import gray_card
from calibration.reference import GrayReading

if TYPE_CHECKING:
    from calibration.light import Light

NO_EVENNESS = Evenness(None, None, None, None, (), np.empty((0, 0), np.float32))
ROWS, COLUMNS = 7, 5  # blocks of a zone of 110 x 80 mm


GRAY_CARD = by_gray_card(
    photo_of_light(np.full((8, 8, 3), 0.18)),
    GrayReading(np.full(3, 0.18), np.full(3, 5e-4), 0.0, 64, 0.0, 0.0),
    gray_card(),
)


class SteadyLight:
    """Light whose doubt between any two places is one number, and of its colour (L*, a*, b*) another."""

    mapped = False

    def __init__(self, u_relative: float, u_Lab: ArrayLike = (0.0, 0.0, 0.0)) -> None:
        self.u_relative = u_relative
        self.u_Lab = np.asarray(u_Lab, dtype=np.float64)

    def u_between(self, first_px: ArrayLike, second_px: ArrayLike) -> float:
        del first_px, second_px
        return self.u_relative

    def u_Lab_between(self, first_px: ArrayLike, second_px: ArrayLike) -> Floats:
        del first_px, second_px
        return self.u_Lab


def blocks_of(Lab: ArrayLike, L_added: ArrayLike = 0.0) -> Floats:
    """Block means (ROWS, COLUMNS, 3) of a colour to whose lightness something is added; chromaticity stays."""
    L = float(np.asarray(Lab)[0])
    added = np.broadcast_to(np.asarray(L_added, dtype=np.float64), (ROWS, COLUMNS))
    return (L_to_Y(L + added) / L_to_Y(L))[..., None] * Lab_to_XYZ(np.asarray(Lab, dtype=np.float64))


def reading_of(block_XYZ: Floats, *, across_mm: tuple[float, float] = (5.0, 115.0), x_px: float = 100.0) -> ZoneReading:
    return ZoneReading(
        XYZ=np.nanmean(block_XYZ, axis=(0, 1)),
        block_XYZ=block_XYZ,
        across_mm=across_mm,
        centre_px=np.array([x_px, 200.0]),
        area_mm2=8800.0,
        masked=0.0,
        covered=0.0,
        glare=0.0,
        evenness=NO_EVENNESS,
        window=(slice(0, 1), slice(0, 1)),
        measured=np.ones((1, 1), bool),
    )


def sight_of(
    reading: ZoneReading,
    *,
    u_light: float = 0.004,
    u_light_Lab: ArrayLike = (0.0, 0.0, 0.0),
    u_read: float = 5e-4,
    **of_sight: Any,  # noqa: ANN401 - fields of Sight
) -> Sight:
    usual: dict[str, Any] = {
        "photo": "a.jpg",
        "board": "A",
        "camera": "one",
        "light_name": None,
        "card_px": np.array([400.0, 500.0]),
        "correction": replace(GRAY_CARD, read=np.diag(np.full(3, u_read))),
    }
    return Sight(reading=reading, light=cast("Light", SteadyLight(u_light, u_light_Lab)), **(usual | of_sight))


def zone_of(*sights: Sight, zone_id: str = "a", board_id: str = "A", **of_zone: Any) -> MeasuredZone:  # noqa: ANN401 - fields of Zone
    zone = Zone(zone_id, **{"treatment": "none", "span_mm": (0.0, 90.0), "across_mm": (0.0, 120.0), **of_zone})
    return MeasuredZone(Board(board_id, "maple", 300.0, 120.0, (zone,)), zone, "stained", None, sights)
