"""Several photos, unusual photos, impossible places: each is told, and none stops the others."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from board_jobs import GRAY_SHEET, SHOP_BOARD, SHOP_SCENE, ZONES, codes, write_job, zone_of
from board_photos import corners, taken
from numpy.typing import NDArray
from simulator import (
    Board,
    GrayCard,
    PaintedZone,
    RenderedPhoto,
    Scene,
    WoodZone,
    save_photo,
)

from analyzer import measure_job
from analyzer.cli import main
from calibration.difference import delta_E_00


def test_repeats_are_pooled_and_copies_count_once(tmp_path: Path, shop: RenderedPhoto) -> None:
    save_photo(tmp_path / "a.jpg", shop)
    save_photo(tmp_path / "b.jpg", taken(SHOP_SCENE, 8, size_px=(1100, 825), roll_deg=4))
    (tmp_path / "copy.jpg").write_bytes((tmp_path / "a.jpg").read_bytes())
    photos = [{"file": f"{name}.jpg", "board": "A"} for name in ("a", "b", "copy")]
    results = measure_job(write_job(tmp_path, [SHOP_BOARD], photos)).results
    assert [zone.photos for zone in results.zones] == [("a.jpg", "b.jpg")] * 3
    assert "same-photo" in codes(results, "copy.jpg")
    alone = measure_job(write_job(tmp_path, [SHOP_BOARD], photos[:1])).results
    assert zone_of(results, "A/control").lab == pytest.approx(zone_of(alone, "A/control").lab, abs=0.3)


def test_two_boards_in_one_photo_are_measured_by_the_same_card(tmp_path: Path) -> None:
    sample = Board(
        "S", 120, 80, (WoodZone("sample", (0, 120), "glue size", "walnut brown"),), seed=9, top_left_mm=(0, 150)
    )
    scene = Scene((SHOP_BOARD, sample), GrayCard((80, 55), (160, 155)), background=GRAY_SHEET)
    rendered = taken(scene, 3, size_px=(1200, 900))
    save_photo(tmp_path / "both.jpg", rendered)
    quads = [np.round(corners(rendered, name), 1).tolist() for name in ("A", "S")]
    photo = {"file": "both.jpg", "boards": ["A", "S"], "corners": quads}
    results = measure_job(write_job(tmp_path, [SHOP_BOARD, sample], [photo], target={"zone": "S/sample"})).results
    for board_id, zone_id in (("A", "control"), ("A", "glue"), ("S", "sample")):
        truth = rendered.truth.board(board_id).zone(zone_id).Lab
        assert float(delta_E_00(zone_of(results, f"{board_id}/{zone_id}").lab, truth)) < 3
    pairs = {pair.b: pair for pair in results.differences if pair.a == "S/sample"}
    truths = [rendered.truth.board(*args).zone(zone).Lab for args, zone in ((("S",), "sample"), (("A",), "glue"))]
    assert pairs["A/glue"].de00 == pytest.approx(float(delta_E_00(*truths)), abs=pairs["A/glue"].de00_u95)


def test_one_unusable_photo_leaves_the_others_measured(
    tmp_path: Path, shop: RenderedPhoto, capsys: pytest.CaptureFixture[str]
) -> None:
    """A cat among the boards: told with a remedy, drawn for the report, exit code 1."""
    save_photo(tmp_path / "a.jpg", shop)
    cat = cv2.resize(skimage.data.chelsea(), None, fx=2, fy=2)
    cv2.imwrite(str(tmp_path / "cat.jpg"), cat[..., ::-1])
    photos = [{"file": "a.jpg", "board": "A"}, {"file": "cat.jpg", "board": "A", "light": "sofa"}]
    write_job(tmp_path, [SHOP_BOARD], photos)
    before = {path.name: path.read_bytes() for path in tmp_path.glob("*.jpg")}
    assert main(["measure", str(tmp_path), "--json"]) == 1
    results = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert json.loads(capsys.readouterr().out) == results
    by_file = {photo["file"]: photo for photo in results["photos"]}
    assert by_file["a.jpg"]["usable"]
    assert not by_file["cat.jpg"]["usable"]
    unusable = [finding for finding in by_file["cat.jpg"]["findings"] if finding["severity"] == "unusable"]
    assert [finding["code"] for finding in unusable] == ["nothing-seen"]
    assert "corners" in unusable[0]["remedy"]
    assert len(results["zones"]) == 3
    assert (tmp_path / "zones.csv").is_file()
    assert b"cat.jpg" in (tmp_path / "report.html").read_bytes()
    assert {path.name: path.read_bytes() for path in tmp_path.glob("*.jpg")} == before


def test_an_overlay_shows_what_was_seen(tmp_path: Path) -> None:
    """The board is there, the card is missing: the board is outlined in the picture."""
    save_photo(tmp_path / "a.jpg", taken(replace(SHOP_SCENE, card=None), 3, size_px=(1100, 825)))
    measurement = measure_job(write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}]))
    (overlay,) = measurement.overlays
    assert overlay.photo == "a.jpg"
    assert "card" in overlay.caption
    assert "board outlined in amber" in overlay.caption
    amber = (np.abs(overlay.RGB.astype(int) - [255, 190, 60]).sum(axis=2) < 30).sum()
    assert amber > 200
    assert measurement.results.zones == ()
    assert measurement.results.answer.treatment is None
    assert codes(measurement.results, "a.jpg")[-1] == "card-missing"


def files_of(folder: Path, pictures: dict[str, NDArray[Any]]) -> None:
    for name, picture in pictures.items():
        cv2.imwrite(str(folder / name), picture if picture.ndim == 2 else picture[..., ::-1])


def test_unusual_photos_are_told_and_stop_nothing(tmp_path: Path, shop: RenderedPhoto) -> None:
    """A pixel, gray in 16 bits, a panorama, black, white, noise, bytes of no picture: each with a finding."""
    rng = np.random.default_rng(1)
    files_of(
        tmp_path,
        {
            "pixel.png": np.full((1, 1, 3), 100, np.uint8),
            "gray16.png": rng.integers(0, 65535, (300, 400)).astype(np.uint16),
            "panorama.png": cv2.resize(skimage.data.coffee(), (4000, 160)),
            "black.png": np.zeros((300, 400, 3), np.uint8),
            "white.png": np.full((300, 400, 3), 255, np.uint8),
            "noise.png": rng.integers(0, 255, (300, 400, 3)).astype(np.uint8),
        },
    )
    (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more than a beginning")
    save_photo(tmp_path / "good.png", shop)
    names = ["pixel.png", "gray16.png", "panorama.png", "black.png", "white.png", "noise.png", "broken.jpg", "good.png"]
    photos = [{"file": name, "board": "A", "light": name} for name in names]
    results = measure_job(write_job(tmp_path, [SHOP_BOARD], photos)).results
    for photo in results.photos:
        assert photo.usable == (photo.file == "good.png")
        if not photo.usable:
            (unusable,) = [finding for finding in photo.findings if finding.severity == "unusable"]
            assert unusable.remedy
    assert len(results.zones) == 3


QUADS = np.array([[100.0, 100.0], [900.0, 100.0], [900.0, 420.0], [100.0, 420.0]])


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"corners": (QUADS + 5000).tolist()}, "board-not-found"),
        ({"corners": (QUADS - 2000).tolist()}, "board-not-found"),
        ({"corners": (QUADS * 900 - 400_000).tolist()}, "board-not-found"),
        ({"corners": (QUADS.mean(axis=0) + 0.05 * (QUADS - QUADS.mean(axis=0))).tolist()}, "far-too-few-pixels"),
        ({"card": (QUADS + 5000).tolist()}, "card-missing"),
        ({"card": (QUADS * 0.01).tolist()}, "card-missing"),
    ],
)
def test_impossible_places_are_told(shop_job: Path, given: dict[str, Any], code: str) -> None:
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", **given}])
    measurement = measure_job(shop_job)
    (photo,) = measurement.results.photos
    assert not photo.usable
    assert [finding.code for finding in photo.findings if finding.severity == "unusable"] == [code]
    assert measurement.overlays


def test_corners_that_start_at_the_wrong_corner_are_told(shop_job: Path, shop: RenderedPhoto) -> None:
    turned = np.roll(np.round(corners(shop), 1), -1, axis=0).tolist()
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "corners": turned}])
    assert "corners-misfit" in codes(measure_job(shop_job).results, "a.jpg")


def test_a_card_that_covers_the_whole_board_leaves_nothing_to_measure(tmp_path: Path) -> None:
    """The board is as even as a card; one that is not would be refused as the card."""
    board = replace(SHOP_BOARD, zones=(PaintedZone("all", (0, 300), (50, 1, 3)),))
    rendered = taken(replace(SHOP_SCENE, boards=(board,)), 3, size_px=(900, 675))
    save_photo(tmp_path / "a.jpg", rendered)
    quad = np.round(corners(rendered), 1).tolist()
    write_job(tmp_path, [board], [{"file": "a.jpg", "board": "A", "corners": quad, "card": quad}])
    results = measure_job(tmp_path).results
    assert not results.photos[0].usable
    assert codes(results, "a.jpg")[-1] == "nothing-measured"
    assert results.zones == ()


def test_a_card_on_a_zone_is_told_and_its_rest_is_measured(tmp_path: Path) -> None:
    """60 x 45 mm and its rim of 90 x 110 mm."""
    scene = replace(SHOP_SCENE, card=GrayCard((60, 45), (20, 40), 0.0))
    rendered = taken(scene, 3, size_px=(1100, 600))
    save_photo(tmp_path / "a.jpg", rendered)
    results = measure_job(write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])).results
    (covered,) = [f for f in results.photos[0].findings if f.code == "zone-covered"]
    assert "zone control" in covered.message
    zone = zone_of(results, "A/control")
    assert zone.masked == pytest.approx(66 * 51 / (90 * 110), abs=0.03)
    assert float(delta_E_00(zone.lab, rendered.truth.board("A").zone("control").Lab)) < 2.5


def test_a_damaged_plain_sheet_is_told_and_the_board_is_measured_without(shop_job: Path) -> None:
    (shop_job / "sheet.jpg").write_bytes(b"no picture")
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "flat": "sheet.jpg"}])
    results = measure_job(shop_job).results
    assert results.photos[0].usable
    assert "flat-unusable" in codes(results, "a.jpg")
    assert results.photos[0].light_range is None


@pytest.mark.parametrize("kind", ["step-card", "chart-24"])
def test_a_reference_that_does_not_lie_in_the_photo_is_told(shop_job: Path, kind: str) -> None:
    """A gray card lies there instead."""
    reference: dict[str, Any] = {"kind": kind} | (
        {"reflectance": [0.9, 0.18, 0.03]} if kind == "step-card" else {"edition": "from-2015"}
    )
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], reference=reference)
    results = measure_job(shop_job).results
    assert not results.photos[0].usable
    assert codes(results, "a.jpg")[-1] == {"step-card": "step-card-missing", "chart-24": "chart-missing"}[kind]


def small_zone(span: Sequence[float]) -> Board:
    return replace(SHOP_BOARD, zones=(WoodZone("narrow", (float(span[0]), float(span[1]))), *ZONES[1:]))


@pytest.mark.parametrize("length", [11.0, 13.0, 24.0])
def test_narrow_zones_stop_nothing(shop_job: Path, length: float) -> None:
    """1 to 14 mm are left between the margins: not measured, or with a colour and no blotch index."""
    write_job(shop_job, [small_zone((40, 40 + length))], [{"file": "a.jpg", "board": "A"}])
    results = measure_job(shop_job).results
    narrow = [zone for zone in results.zones if zone.zone == "narrow"]
    assert all(zone.blotch is None and zone.blotch_u95 is None for zone in narrow)
    assert len(results.zones) == 2 + len(narrow)
    if not narrow:
        assert "zone-covered" in codes(results, "a.jpg")
