"""Zones of a flat board: what is averaged, what is left out, and what is said of it. Surfaces painted in XYZ."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from board_photos import Floats, photo_of_light
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from simulator import gaussian_field

from analyzer.job import Board, Zone
from analyzer.zone_shape import zone_window
from analyzer.zones import ZoneReading, read_zone
from calibration.colorspace import D50, Lab_to_XYZ, XYZ_to_Lab
from calibration.flatboard import FlatBoard, flat_board
from calibration.place import locate

MM = 0.4
LENGTH, WIDTH = 200.0, 120.0
BROWN = (40.0, 14.0, 22.0)


def zone(**of_zone: Any) -> Zone:  # noqa: ANN401 - fields of Zone
    return Zone(**{"id": "a", "treatment": "none", "span_mm": (0.0, 100.0), "across_mm": (0.0, WIDTH), **of_zone})


def board(*zones: Zone, length: float = LENGTH, width: float = WIDTH) -> Board:
    return Board("A", "maple", length, width, zones or (zone(),))


def face(Lab: tuple[float, float, float] = BROWN) -> NDArray[np.float32]:
    XYZ = np.empty((round(WIDTH / MM), round(LENGTH / MM), 3), np.float32)
    XYZ[:] = Lab_to_XYZ(np.array(Lab))
    return XYZ


def flat_of(XYZ: NDArray[np.float32], measurable: NDArray[np.bool_] | None = None, mm_per_px: float = MM) -> FlatBoard:
    """A flat board as if measured, around a painted surface."""
    pixels = np.array([[20.0, 20.0], [420.0, 20.0], [420.0, 260.0], [20.0, 260.0]])
    photo = photo_of_light(np.full((300, 450, 3), 0.18))
    place = locate(photo, (LENGTH, WIDTH), corners=pixels, card=pixels)
    whole = flat_board(photo, place, (LENGTH, WIDTH))
    return FlatBoard(
        XYZ=XYZ,
        measurable=np.ones(XYZ.shape[:2], bool) if measurable is None else measurable,
        full_scale=np.zeros(XYZ.shape[:2], bool),
        mm_per_px=mm_per_px,
        photo_px_per_mm=whole.photo_px_per_mm,
        located_by="corners",
        plane=whole.plane,
        card_px=pixels,
        correction=whole.correction,
        light=whole.light,
        findings=(),
    )


@pytest.fixture(scope="module")
def read() -> Callable[..., ZoneReading]:
    template = flat_of(face())

    def reading(
        XYZ: NDArray[np.float32],
        measurable: NDArray[np.bool_] | None = None,
        full_scale: NDArray[np.bool_] | None = None,
        **of_zone: Any,  # noqa: ANN401 - fields of Zone
    ) -> ZoneReading:
        seen = np.ones(XYZ.shape[:2], bool) if measurable is None else measurable
        clipped = np.zeros(XYZ.shape[:2], bool) if full_scale is None else full_scale
        flat = replace(template, XYZ=XYZ, measurable=seen & ~clipped, full_scale=clipped)
        found = read_zone(flat, board(zone(**of_zone)), zone(**of_zone))
        assert found is not None
        return found

    return reading


def px(mm: float) -> int:
    return round(mm / MM)


def test_a_plain_zone_is_its_colour(read: Callable[..., ZoneReading]) -> None:
    reading = read(face())
    assert reading.Lab == pytest.approx(BROWN, abs=1e-3)
    assert reading.masked == reading.glare == reading.covered == 0
    assert reading.evenness.blotch == pytest.approx(0, abs=0.01)


def test_the_mean_is_taken_over_light_not_over_Lab(read: Callable[..., ZoneReading]) -> None:
    """Half L* 30, half L* 60: the mean light is that of L* 48.5, not 45 (ISO/CIE 11664-4)."""
    XYZ = face((30.0, 0.0, 0.0))
    XYZ[: px(60)] = Lab_to_XYZ(np.array([60.0, 0.0, 0.0]))
    expected = XYZ_to_Lab((Lab_to_XYZ(np.array([30.0, 0, 0])) + Lab_to_XYZ(np.array([60.0, 0, 0]))) / 2)
    assert expected[0] == pytest.approx(48.49, abs=0.01)
    assert read(XYZ).Lab == pytest.approx(expected, abs=2e-3)


@given(
    st.floats(0, 80),
    st.floats(30, 120),
    st.floats(0, 60),
    st.floats(30, 60),
    st.floats(0, 12),
    st.sampled_from([0.25, 0.4, 0.5]),
)
def test_a_window_holds_the_pixels_wholly_inside_the_margin(
    left: float, length: float, top: float, width: float, margin: float, mm_per_px: float
) -> None:
    of_zone = zone(span_mm=(left, left + length), across_mm=(top, top + width), margin_mm=margin)
    rows, columns = zone_window(of_zone, board(of_zone), mm_per_px)
    for window, low, high, size in (
        (columns, left + margin, left + length - margin, LENGTH),
        (rows, top + margin, top + width - margin, WIDTH),
    ):
        assert window.start * mm_per_px >= low - 1e-6
        assert (window.start - 1) * mm_per_px < low
        assert window.stop * mm_per_px <= high + 1e-6
        assert (window.stop + 1) * mm_per_px > high
        assert window.stop * mm_per_px <= size + 1e-6


def test_what_lies_in_the_margin_counts_for_nothing(read: Callable[..., ZoneReading]) -> None:
    """Black all around, up to the margin of 8 mm."""
    XYZ = face((1.0, 0.0, 0.0))
    XYZ[px(8) : -px(8), px(8) : px(92)] = Lab_to_XYZ(np.array(BROWN))
    reading = read(XYZ, margin_mm=8.0)
    assert reading.Lab == pytest.approx(BROWN, abs=1e-3)
    assert reading.masked == 0
    assert reading.area_mm2 == pytest.approx(84 * 104, rel=1e-6)


def test_a_zone_that_is_no_full_width_is_read_where_it_lies(read: Callable[..., ZoneReading]) -> None:
    XYZ = face((70.0, 0.0, 0.0))
    XYZ[px(30) : px(90), px(120) : px(180)] = Lab_to_XYZ(np.array(BROWN))
    reading = read(XYZ, span_mm=(120.0, 180.0), across_mm=(30.0, 90.0))
    assert reading.Lab == pytest.approx(BROWN, abs=1e-3)
    assert reading.across_mm == pytest.approx((35.2, 84.8), abs=0.41)


def blotchy(sd: float = 1.0, start: int = 1) -> NDArray[np.float32]:
    XYZ = face()
    L = 40 + sd * gaussian_field(XYZ.shape[:2], MM, seed=start)
    return (XYZ * (((L + 16) / 116) ** 3 / ((40 + 16) / 116) ** 3)[..., None]).astype(np.float32)


def with_disc(XYZ: NDArray[np.float32], centre_mm: tuple[float, float], radius_mm: float, times: float) -> Floats:
    y, x = np.mgrid[0 : XYZ.shape[0], 0 : XYZ.shape[1]]
    inside = np.hypot((x + 0.5) * MM - centre_mm[0], (y + 0.5) * MM - centre_mm[1]) < radius_mm
    return np.where(inside[..., None], XYZ * np.float32(times), XYZ)


@pytest.mark.parametrize("times", [1.8, 4.0, 20.0])
def test_glare_is_masked_and_told(read: Callable[..., ZoneReading], times: float) -> None:
    """A highlight of 10 mm on a blotchy zone: left out with its rim, and the colour stays."""
    clean = read(blotchy())
    reading = read(with_disc(blotchy(), (50, 60), 5, times))
    share = np.pi * (5 + 1.2) ** 2 / (90 * 110)
    assert reading.glare == pytest.approx(share, rel=0.15)
    assert reading.masked == pytest.approx(reading.glare)
    assert reading.covered == 0
    assert reading.Lab == pytest.approx(clean.Lab, abs=0.05)
    assert reading.evenness.blotch == pytest.approx(clean.evenness.blotch, rel=0.05)


def test_what_is_clipped_is_glare_not_hidden(read: Callable[..., ZoneReading]) -> None:
    """A highlight at full scale, its faint rim just beside it: both go, and nobody is told to move the card."""
    clean = read(blotchy())
    XYZ = with_disc(blotchy(), (50, 60), 5.8, 1.3)
    clipped = with_disc(np.zeros_like(XYZ) + 1, (50, 60), 5, 2.0)[..., 0] > 1
    reading = read(XYZ, full_scale=clipped)
    assert reading.covered == 0
    assert reading.glare == pytest.approx(np.pi * (5 + 1.2) ** 2 / (90 * 110), rel=0.15)
    assert reading.masked == pytest.approx(reading.glare)
    assert reading.evenness.blotch == pytest.approx(clean.evenness.blotch, rel=0.05)


def test_a_knot_is_masked_but_pores_are_wood(read: Callable[..., ZoneReading]) -> None:
    knot = read(with_disc(blotchy(), (50, 60), 6, 0.3))
    assert knot.glare == pytest.approx(np.pi * (6 + 1.2) ** 2 / (90 * 110), rel=0.2)
    XYZ = blotchy()
    rng = np.random.default_rng(2)
    for row, column in zip(rng.integers(20, 280, 200), rng.integers(20, 230, 200), strict=True):
        XYZ[row : row + 1, column : column + 9] *= 0.3  # 0.4 x 3.6 mm
    assert read(XYZ).glare == 0


@settings(max_examples=15, deadline=None)
@given(st.floats(0.2, 4.0), st.integers(0, 1000))
def test_no_blotch_is_taken_for_glare(sd: float, start: int) -> None:
    """Up to a standard deviation of 4 L*, far more than any stain leaves."""
    flat = flat_of(blotchy(sd, start))
    reading = read_zone(flat, board(), zone())
    assert reading is not None
    assert reading.glare == 0


def test_what_is_hidden_is_left_out_and_told(read: Callable[..., ZoneReading]) -> None:
    """The card lies over the lower quarter; under it the colour would be wrong."""
    XYZ = blotchy()
    measurable = np.ones(XYZ.shape[:2], bool)
    measurable[px(90) :] = False
    XYZ[px(90) :] = 0.18
    reading = read(XYZ, measurable)
    assert reading.covered == pytest.approx(25 / 110, abs=0.01)
    assert reading.masked == pytest.approx(reading.covered)
    assert reading.Lab == pytest.approx(read(blotchy(), across_mm=(0.0, 95.0)).Lab, abs=0.02)
    assert not reading.measured[px(85) :].any()


def test_a_zone_of_which_hardly_anything_is_seen_is_not_measured() -> None:
    """A third, a twentieth, nothing."""
    for seen_mm, expected in ((33.0, True), (6.0, False), (0.0, False)):
        measurable = np.zeros(face().shape[:2], bool)
        measurable[: px(5 + seen_mm)] = True
        assert (read_zone(flat_of(face(), measurable), board(), zone()) is not None) == expected


def test_a_zone_that_is_specks_all_over_is_not_measured() -> None:
    """Glitter every 2.4 mm: with the rim around each nothing is left."""
    XYZ = face()
    XYZ[::6, ::6] *= 3
    assert read_zone(flat_of(XYZ), board(), zone()) is None


@pytest.mark.parametrize(("span", "across"), [((0.0, 12.0), (0.0, 120.0)), ((0.0, 30.0), (0.0, 16.0))])
def test_a_small_zone_has_a_colour_but_no_blotch_index(
    read: Callable[..., ZoneReading], span: tuple[float, float], across: tuple[float, float]
) -> None:
    reading = read(face(), span_mm=span, across_mm=across)
    assert reading.Lab == pytest.approx(BROWN, abs=1e-3)
    assert reading.evenness.blotch is None
    assert reading.evenness.blotch_u95 is None


@pytest.mark.parametrize("length", [0.5, 9.0, 10.0, 11.0])
def test_a_zone_that_its_margin_eats_up_is_not_measured(length: float) -> None:
    """At most 1 mm is left between the margins: fewer than four pixels."""
    nothing = zone(span_mm=(0.0, length))
    assert read_zone(flat_of(face()), board(nothing), nothing) is None


def test_one_row_of_blocks_alone_says_nothing_of_the_woods_spread_and_is_not_measured() -> None:
    """A card covers all but a strip of 15 mm: its uncertainty would be unknown, and must not pass for none."""
    measurable = np.zeros(face().shape[:2], bool)
    measurable[px(5) : px(21)] = True
    assert read_zone(flat_of(face(), measurable), board(), zone()) is None


def test_block_means_are_the_means_of_blocks(read: Callable[..., ZoneReading]) -> None:
    """Rows across the grain, columns along it; their mean, weighted, is the zone's."""
    XYZ = face()
    rows = np.linspace(0.8, 1.2, XYZ.shape[0], dtype=np.float32)[:, None, None]
    reading = read(XYZ * rows)
    blocks = reading.block_XYZ[..., 1]
    assert blocks.shape == (7, 6)  # 110 x 90 mm in blocks of about 15 mm
    assert np.ptp(blocks, axis=1) == pytest.approx(0, abs=1e-6)
    assert (np.diff(blocks.mean(axis=1)) > 0).all()
    assert blocks.mean() == pytest.approx(reading.XYZ[1], rel=1e-3)


def test_a_block_that_is_mostly_hidden_is_no_witness(read: Callable[..., ZoneReading]) -> None:
    measurable = np.ones(face().shape[:2], bool)
    measurable[px(5) : px(5 + 110 / 7 * 0.7), px(5) : px(5 + 15 * 0.9)] = False  # 63 % of the first block
    blocks = read(face(), measurable).block_XYZ
    assert np.isnan(blocks[0, 0]).all()
    assert np.isfinite(blocks).all(axis=2).sum() == blocks.shape[0] * blocks.shape[1] - 1


def test_noise_below_black_does_not_stop_a_reading(read: Callable[..., ZoneReading]) -> None:
    XYZ = face((2.0, 0.0, 0.0))
    noise = np.random.default_rng(1).normal(0, 0.003, XYZ.shape).astype(np.float32)
    reading = read(XYZ + noise)
    expected = Lab_to_XYZ(np.array([2.0, 0.0, 0.0]))
    assert np.abs(reading.XYZ - expected).max() < 2e-4


def test_the_centre_is_told_in_pixels_of_the_photo(read: Callable[..., ZoneReading]) -> None:
    """The template lies at 2 px/mm, its corner at pixel 20, 20."""
    assert read(face(), span_mm=(40.0, 100.0)).centre_px == pytest.approx([20 + 2 * 70, 20 + 2 * 60], abs=0.01)


def test_the_white_of_the_picture_is_D50(read: Callable[..., ZoneReading]) -> None:
    XYZ = np.empty_like(face())
    XYZ[:] = 0.5 * D50
    assert read(XYZ).Lab[1:] == pytest.approx([0, 0], abs=1e-3)
