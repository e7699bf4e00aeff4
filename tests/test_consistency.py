"""Do the photos of a job go together?  One rendered photo, saved with what different cameras would write beside it.

Each finding has a photo that just brings it and one that just does not, measured through a job folder.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from board_jobs import SHOP_BOARD, codes, write_job, zone_of
from PIL.ExifTags import Base
from simulator import RenderedPhoto, save_photo

from analyzer import measure_job
from analyzer.consistency import PhotoFacts, consistency_findings
from analyzer.results import Results
from calibration.exif import Exif
from calibration.findings import Finding
from calibration.photo import open_photo

TAGS: dict[Base, object] = {
    Base.Make: "Acme",
    Base.Model: "Five",
    Base.ExposureTime: 1 / 60,
    Base.FNumber: 2.0,
    Base.ISOSpeedRatings: 100,
    Base.WhiteBalance: 1,
}
Shot = tuple[Mapping[str, Any], Mapping[Base, object], float]  # keys of [[photo]], EXIF tags, factor on the red light


@pytest.fixture(scope="module")
def small(shop: RenderedPhoto) -> RenderedPhoto:
    """Every second pixel: quicker, and still enough."""
    board, card = shop.truth.board("A"), shop.truth.card_corners_px
    assert card
    corners, card = (tuple((x / 2, y / 2) for x, y in quad) for quad in (board.corners_px, card))
    truth = replace(shop.truth, boards=(replace(board, corners_px=corners),), card_corners_px=card)
    return replace(shop, codes=shop.codes[::2, ::2], truth=truth)


def with_red(photo: RenderedPhoto, factor: float) -> RenderedPhoto:
    """The same photo with the red light multiplied, through the curve of IEC 61966-2-1."""
    V = photo.codes / 255
    linear = np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4) * [factor, 1, 1]
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return replace(photo, codes=np.round(255 * np.clip(encoded, 0, 1)).astype(np.uint8))


def measured(folder: Path, photo: RenderedPhoto, *shots: Shot) -> Results:
    """Measure a job of board A: p0.jpg, p1.jpg, ..."""
    entries = []
    assert photo.truth.card_corners_px  # given: a card that is far from neutral is not found
    quads = {"corners": photo.truth.board("A").corners_px, "card": photo.truth.card_corners_px}
    for number, (keys, tags, red) in enumerate(shots):
        save_photo(folder / f"p{number}.jpg", with_red(photo, red) if red != 1 else photo, exif={**TAGS, **tags})
        entries.append({"file": f"p{number}.jpg", "board": "A", **quads, **keys})
    write_job(folder, [SHOP_BOARD], entries)
    return measure_job(folder).results


def odd(results: Results, code: str) -> list[str]:
    return [photo.file for photo in results.photos if code in codes(results, photo.file)]


def message(results: Results, file: str, code: str) -> str:
    (photo,) = [photo for photo in results.photos if photo.file == file]
    (found,) = [finding for finding in photo.findings if finding.code == code]
    return found.message


def test_another_camera_is_told_with_both_names_and_widens_the_comparison(tmp_path: Path, small: RenderedPhoto) -> None:
    """The odd one of three is named, not the first; across cameras both cameras' whole uncertainty counts."""
    shots: list[Shot] = [({}, {Base.Model: "Six"}, 1), ({}, {}, 1), ({}, {Base.ISOSpeedRatings: 101}, 1)]
    results = measured(tmp_path, small, *shots)
    assert odd(results, "camera-differs") == ["p0.jpg"]
    assert message(results, "p0.jpg", "camera-differs") == "p0.jpg was taken with Acme Six, p1.jpg with Acme Five."
    assert all(photo.usable for photo in results.photos)
    lab_u95 = zone_of(results, "A/control").lab_u95
    assert lab_u95 is not None
    assert np.all(np.array(lab_u95) > 1.9)  # the whole error of a camera of which only a gray card tells


def test_another_camera_at_another_stage_is_no_matter(tmp_path: Path, small: RenderedPhoto) -> None:
    """Colours of different stages are not compared."""
    results = measured(tmp_path, small, ({"stage": "bare"}, {Base.Model: "Six"}, 1), ({}, {}, 1))
    assert odd(results, "camera-differs") == []


# Exposure time of the second photo as a multiple of the first one's, with the same pixels: that much less light.
@pytest.mark.parametrize(("times", "found"), [(4.1, ["p1.jpg"]), (1 / 4.1, ["p1.jpg"]), (3.9, []), (1 / 3.9, [])])
def test_four_times_the_light_is_another_light(
    tmp_path: Path, small: RenderedPhoto, times: float, found: list[str]
) -> None:
    shots: list[Shot] = [({"light": "shop"}, {}, 1), ({"light": "shop"}, {Base.ExposureTime: times / 60}, 1)]
    results = measured(tmp_path, small, *shots)
    assert odd(results, "light-differs") == found
    if found:
        words = "4.1 times weaker" if times > 1 else "4.1 times as strong"
        said = message(results, "p1.jpg", "light-differs")
        assert words in said
        assert "p0.jpg" in said


# Factor on the red light between the photos, and how the white balance was set.
@pytest.mark.parametrize(
    ("red", "white_balance", "found"),
    [(1.18, 1, ["p1.jpg"]), (1.12, 1, []), (0.84, 1, ["p1.jpg"]), (1.18, 0, []), (0.62, 0, ["p1.jpg"]), (0.72, 0, [])],
)
def test_another_colour_on_the_card_is_another_light_as_far_as_white_balance_lets_it_be_seen(
    tmp_path: Path, small: RenderedPhoto, red: float, white_balance: int, found: list[str]
) -> None:
    tags = {Base.WhiteBalance: white_balance}
    results = measured(tmp_path, small, ({}, tags, 1), ({}, {**tags, Base.ExposureTime: 1 / 61}, red))
    assert odd(results, "light-differs") == found
    if found:
        said = message(results, "p1.jpg", "light-differs")
        assert ("set by hand" in said) == bool(white_balance)
        assert "%" in said


def test_lights_with_different_names_are_not_compared(tmp_path: Path, small: RenderedPhoto) -> None:
    shots: list[Shot] = [({"light": "shop"}, {}, 1), ({"light": "window"}, {Base.ExposureTime: 1.0}, 1.4)]
    assert odd(measured(tmp_path, small, *shots), "light-differs") == []


@pytest.mark.parametrize(("second", "found"), [("10:14:00", ["p1.jpg"]), ("10:16:00", []), ("09:50:00", [])])
def test_a_dry_stage_shortly_after_an_earlier_one_is_too_soon(
    tmp_path: Path, small: RenderedPhoto, second: str, found: list[str]
) -> None:
    """A clock that runs backwards tells nothing."""
    first = {Base.DateTimeOriginal: "2026:03:14 10:00:00"}
    then = {Base.DateTimeOriginal: f"2026:03:14 {second}"}
    results = measured(tmp_path, small, ({"stage": "wet"}, first, 1), ({"stage": "stained"}, then, 1))
    assert odd(results, "stage-too-soon") == found
    if found:
        assert message(results, "p1.jpg", "stage-too-soon").startswith("p1.jpg was taken 14 minutes after p0.jpg")


# --- what is compared, and who is the odd one


FIVE = Exif(camera="Acme Five", exposure_s=1 / 60, f_number=2.0, iso=100, white_balance="manual")


def facts(file: str, exif: Exif = FIVE, **of_photo: Any) -> PhotoFacts:  # noqa: ANN401 - fields of PhotoFacts
    return PhotoFacts(file, exif, **{"card_linear_RGB": np.full(3, 0.18), **of_photo})


def found_in(photos: Sequence[PhotoFacts]) -> list[list[str]]:
    return [[finding.code for finding in of_photo] for of_photo in consistency_findings(photos)]


def test_no_photo_and_one_photo_and_photos_without_exif_say_nothing() -> None:
    assert consistency_findings([]) == []
    assert found_in([facts("a")]) == [[]]
    silent = facts("b", Exif(), card_linear_RGB=np.array([0.4, 0.1, 0.02]), board="A", stage="stained")
    assert found_in([facts("a", board="A", stage="bare"), silent, silent]) == [[], [], []]


def test_a_lens_that_is_not_named_is_no_other_lens() -> None:
    wide, long = replace(FIVE, lens="wide"), replace(FIVE, lens="long")
    assert found_in([facts("a", wide), facts("b"), facts("c", wide)]) == [[], [], []]
    said = consistency_findings([facts("a", wide), facts("b", wide), facts("c", long)])
    assert said[:2] == [(), ()]
    assert said[2][0].message == "c was taken with Acme Five (long), a with Acme Five (wide)."


def test_three_boards_in_one_photo_are_one_witness() -> None:
    """Two photos of one board each outvote it."""
    six = replace(FIVE, camera="Acme Six")
    boards = [facts("a", six, board=board) for board in "ABC"]
    assert found_in([*boards, facts("b"), facts("c")]) == [["camera-differs"]] * 3 + [[], []]


def test_a_setting_that_makes_up_for_the_light_hides_nothing() -> None:
    """One quarter of the sensitivity, the same card: four times the light. Twice the f-number: four times as well."""
    for other in (replace(FIVE, iso=24), replace(FIVE, f_number=4.1), replace(FIVE, exposure_s=1 / 250)):
        assert found_in([facts("a"), facts("b", other)]) == [[], ["light-differs"]]
    longer = facts("b", replace(FIVE, exposure_s=1 / 12), card_linear_RGB=np.full(3, 0.9))
    assert found_in([facts("a"), longer]) == [[], []]


@pytest.mark.parametrize(
    ("RGB", "tint"),
    [((0.23, 0.18, 0.15), "warmer"), ((0.15, 0.18, 0.23), "cooler"), ((0.23, 0.18, 0.2), "pinker"),
     ((0.15, 0.18, 0.17), "greener")],
)  # fmt: skip
def test_the_tint_is_said_in_words(RGB: tuple[float, float, float], tint: str) -> None:
    (finding,) = consistency_findings([facts("a"), facts("b", card_linear_RGB=np.array(RGB))])[1]
    assert f"% {tint} with white balance set by hand" in finding.message


def test_white_balance_that_was_set_differently_is_not_compared() -> None:
    red = np.array([0.3, 0.18, 0.15])
    for other in (replace(FIVE, white_balance="auto"), replace(FIVE, light_source=3)):
        assert found_in([facts("a"), facts("b", other, card_linear_RGB=red)]) == [[], []]


def test_times_are_compared_on_one_clock_only() -> None:
    def soon(**exif: Any) -> list[Finding]:  # noqa: ANN401 - fields of Exif
        first = facts("a", replace(FIVE, taken="2026-03-14T10:00:00+01:00"), board="A", stage="treated")
        then = facts("b", replace(FIVE, **exif), board="A", stage="stained")
        return [found for found in consistency_findings([first, then])[1] if found.code == "stage-too-soon"]

    assert len(soon(taken="2026-03-14T10:05:00+01:00")) == 1
    assert len(soon(taken="2026-03-14T09:05:00+00:00")) == 1
    assert soon(taken="2026-03-14T10:05:00") == []
    assert soon(taken="2026-03-14T10:05:00+01:00", camera="Acme Six") == []


# --- the tags behind it


def test_white_balance_and_kind_of_light_are_read(tmp_path: Path, small: RenderedPhoto) -> None:
    """Exif 2.32, tables 8 and 9; 0 as kind of light says "unknown", 7 as white balance says nothing."""
    for number, (balance, source, expected) in enumerate(
        [(0, 0, ("auto", None)), (1, 3, ("manual", 3)), (7, 255, (None, 255))]
    ):
        path = tmp_path / f"{number}.jpg"
        save_photo(path, small, exif={**TAGS, Base.WhiteBalance: balance, Base.LightSource: source})
        exif = open_photo(path).exif
        assert (exif.white_balance, exif.light_source) == expected
