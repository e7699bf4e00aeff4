"""Can a photo be used, and what should be changed if not?  Simulated photos, checked without measuring them."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from board_jobs import GRAY_SHEET, SHOP_BOARD, SHOP_SCENE, write_job
from board_photos import FAULTLESS, card_corners, corners, taken
from numpy.typing import NDArray
from PIL.ExifTags import Base
from simulator import Background, Chart, GrayCard, Light, RenderedPhoto, Scene, StepCard, save_photo
from simulator.strips_in_scene import Laid, strips_beside
from strip_photos import printed

import analyzer.check as check_module
import calibration.photo as photo_module
from analyzer import JobFileError, measure_job
from analyzer.check import PhotoCheck, check_photo, check_photos
from calibration.photo import Photo

SIZE_px = (1100, 825)


def codes(check: PhotoCheck) -> list[str]:
    return [finding.code for finding in check.findings]


def saved(folder: Path, rendered: RenderedPhoto, name: str = "a.jpg") -> Path:
    save_photo(folder / name, rendered)
    return folder / name


@pytest.fixture
def good(tmp_path: Path, shop: RenderedPhoto) -> Path:
    return saved(tmp_path, shop)


def test_a_good_photo_can_be_used_without_any_job(good: Path) -> None:
    check = check_photo(good)
    assert check.usable
    assert check.file == str(good)
    assert {finding.severity for finding in check.findings} <= {"note", "warning"}
    assert not {"too-dark", "clipped", "card-dark", "card-uneven", "light-uneven", "board-turned"} & set(codes(check))


NO_BOARD = replace(SHOP_SCENE, boards=(), light=Light(over_mm=(0, 0, 300, 200)))

# What is wrong with the photo, and what the check must say of it.
FAULTS = {
    "card-missing": (replace(SHOP_SCENE, card=None), {}),
    "board-not-found": (NO_BOARD, {"px_per_mm": 3.0, "look_at_mm": (150.0, 90.0)}),
    "nothing-seen": (replace(NO_BOARD, card=None), {"px_per_mm": 3.0, "look_at_mm": (150.0, 90.0)}),
    "card-dark": (SHOP_SCENE, {"exposure_EV": -3.0}),
    "card-clipped": (SHOP_SCENE, {"exposure_EV": 3.0}),
    "blurred": (SHOP_SCENE, {"blur_sigma_px": 3.5}),
    "too-few-pixels": (SHOP_SCENE, {"size_px": (600, 450)}),
    "light-uneven": (replace(SHOP_SCENE, light=Light("D50", gradient=0.25)), {}),
    "card-uneven": (replace(SHOP_SCENE, light=Light("D50", gradient=0.45)), {}),
    "board-turned": (SHOP_SCENE, {"roll_deg": 90.0, "size_px": (825, 1100)}),
}


@pytest.mark.parametrize("code", FAULTS)
def test_a_fault_is_told_with_what_to_change(tmp_path: Path, code: str) -> None:
    """For a job's photo, so that the board's size is known. What stops measuring makes it unusable."""
    scene, camera = FAULTS[code]
    path = saved(tmp_path, taken(scene, 3, **{"size_px": SIZE_px, **camera}))
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
    check = check_photo(path)
    (finding,) = [finding for finding in check.findings if finding.code == code]
    assert finding.remedy
    assert check.usable == (finding.severity != "unusable")


# --- photos large enough to be decoded smaller -----------------------------------------------------------------------

LARGE_px = (1920, 1440)  # twice what `small_copies` asks for
# One photo each, of 12 that differ in light, exposure, sharpness, place and scale.
VARIED: dict[str, tuple[Scene, dict[str, Any]]] = {
    "good": (SHOP_SCENE, {}),
    "dark": (SHOP_SCENE, {"exposure_EV": -3.0}),
    "overexposed": (SHOP_SCENE, {"exposure_EV": 3.0}),
    "some of it clipped": (replace(SHOP_SCENE, light=Light("D50", gradient=0.2)), {"exposure_EV": 1.2}),
    "out of focus": (SHOP_SCENE, {"blur_sigma_px": 3.2}),
    "sharp enough": (SHOP_SCENE, {"blur_sigma_px": 1.6}),
    "uneven light": (replace(SHOP_SCENE, light=Light("D50", gradient=0.3)), {"roll_deg": 12.0}),
    "upright": (SHOP_SCENE, {"roll_deg": 90.0, "size_px": LARGE_px[::-1]}),
    "cut off": (SHOP_SCENE, {"px_per_mm": 5.6, "look_at_mm": (210.0, 90.0)}),
    "from afar": (SHOP_SCENE, {"px_per_mm": 2.0}),
    "from a little afar": (SHOP_SCENE, {"px_per_mm": 4.0}),
    "without a card": (replace(SHOP_SCENE, card=None), {}),
    "tilted": (SHOP_SCENE, {"tilt_deg": (12.0, -8.0), "roll_deg": -30.0}),
}
# Told by measuring only: the note on unmapped light, and what the zones show.
OF_MEASURING = {"light-not-mapped", "glare", "zone-covered", "nothing-measured", "wet-shine"}


@pytest.fixture
def small_copies(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let photos of 3 megapixels pass for large ones: they are simulated in a quarter of the time."""
    monkeypatch.setattr(check_module, "CHECK_PX", LARGE_px[0] // 2)


@pytest.mark.usefixtures("small_copies")
@pytest.mark.parametrize("name", VARIED)
def test_the_check_and_the_measurement_say_the_same(tmp_path: Path, name: str) -> None:
    """The same findings in the same words, though the photo is checked on a smaller copy where that is enough.

    Of clipped and of dark boards the share differs: measuring averages light before it looks.
    """
    scene, camera = VARIED[name]
    saved(tmp_path, taken(scene, 3, **{"size_px": LARGE_px, **camera}))
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
    (measured,) = measure_job(tmp_path).results.photos
    check = check_photo(tmp_path / "a.jpg")
    wanted = [finding for finding in measured.findings if finding.code not in OF_MEASURING]
    assert codes(check) == [finding.code for finding in wanted]
    assert check.usable == measured.usable
    for found, other in zip(check.findings, wanted, strict=True):
        if found.code not in ("clipped", "too-dark", "colour-cut-off"):
            assert found == other


def test_of_edge_strips_a_smaller_copy_says_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Zero arrows 5 mm off; the light is mapped by their paper."""
    monkeypatch.setattr(check_module, "CHECK_PX", 1300)
    off = (Laid((5.0, 0.0)),)
    scene = replace(
        SHOP_SCENE,
        papers=strips_beside(SHOP_BOARD, printed(SHOP_BOARD.length_mm), top=off, bottom=off),
        background=Background((62, 0, 1)),
        card=GrayCard((80, 55), (340, 40), 4.0),
        light=Light("D50", gradient=0.3),
    )
    path = saved(tmp_path, taken(scene, 3, size_px=(2600, 1950)))
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
    (measured,) = measure_job(tmp_path).results.photos
    assert codes(check_photo(path)) == ["zero-arrow-off", "zero-arrow-off"]
    assert check_photo(path).findings == measured.findings
    assert opened_sizes(monkeypatch, path) == [2]


def opened_sizes(monkeypatch: pytest.MonkeyPatch, path: Path) -> list[int]:
    """By how much a photo is reduced each time that it is opened for a check."""
    reduced = []

    def open_photo(path: Path) -> Photo:
        reduced.append(1)
        return photo_module.open_photo(path)

    def open_reduced(path: Path, least_px: int) -> Photo:
        photo = photo_module.open_reduced(path, least_px)
        reduced.append(photo.reduced)
        return photo

    monkeypatch.setattr(check_module, "open_photo", open_photo)
    monkeypatch.setattr(check_module, "open_reduced", open_reduced)
    check_photo(path)
    return reduced


def test_a_good_photo_of_12_megapixels_is_decoded_once_at_half_its_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = taken(SHOP_SCENE, 3, size_px=(1000, 750))  # each of its pixels becomes 4 by 4: as sharp, and sooner drawn
    path = saved(tmp_path, replace(small, codes=small.codes.repeat(4, axis=0).repeat(4, axis=1)))
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
    assert opened_sizes(monkeypatch, path) == [2]


@pytest.mark.usefixtures("small_copies")
@pytest.mark.parametrize(
    "camera", [{"blur_sigma_px": 3.2}, {"px_per_mm": 4.0}, {"exposure_EV": 1.5}], ids=["blurred", "far", "bright"]
)
def test_what_a_smaller_copy_cannot_tell_is_looked_at_in_full_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, camera: dict[str, Any]
) -> None:
    path = saved(tmp_path, taken(SHOP_SCENE, 3, size_px=LARGE_px, **camera))
    assert opened_sizes(monkeypatch, path) == [2, 1]


@pytest.mark.parametrize(
    ("name", "size_px"), [("a.jpg", (1160, 870)), ("a.png", (1200, 900))], ids=["small", "nothing gained"]
)
def test_a_small_photo_or_one_that_is_no_jpeg_is_decoded_whole_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, size_px: tuple[int, int]
) -> None:
    monkeypatch.setattr(check_module, "CHECK_PX", 600)
    path = saved(tmp_path, taken(SHOP_SCENE, 3, size_px=size_px), name)
    assert opened_sizes(monkeypatch, path) == [1]


@pytest.mark.usefixtures("small_copies")
def test_corners_of_the_job_lie_in_the_same_place_on_a_smaller_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Were they read in pixels of the copy, both would lie outside it."""
    rendered = taken(SHOP_SCENE, 3, size_px=LARGE_px)
    path = saved(tmp_path, rendered)
    given = {"corners": np.round(corners(rendered), 1).tolist(), "card": np.round(card_corners(rendered), 1).tolist()}
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", **given}])
    assert opened_sizes(monkeypatch, path) == [2]
    assert check_photo(path).usable


# --- with a job ------------------------------------------------------------------------------------------------------


def test_corners_of_the_job_are_used(tmp_path: Path, shop: RenderedPhoto) -> None:
    """Clutter all around: no outline could be found."""
    clutter = (
        np.random.default_rng(2).integers(20, 250, (14, 19, 3)).astype(np.uint8).repeat(60, axis=0).repeat(60, axis=1)
    )
    codes_around = clutter[: SIZE_px[1], : SIZE_px[0]]
    keep = np.zeros(SIZE_px[::-1], np.uint8)
    for quad in (corners(shop), np.array(shop.truth.card_corners_px)):
        cv2.fillConvexPoly(keep, np.round(quad).astype(np.int32), 1)
    path = saved(tmp_path, replace(shop, codes=np.where(keep[..., None] > 0, shop.codes, codes_around)), "a.png")
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.png", "board": "A"}])
    assert not check_photo(path).usable
    given = {
        "corners": np.round(corners(shop), 1).tolist(),
        "card": np.round(np.array(shop.truth.card_corners_px), 1).tolist(),
    }
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.png", "board": "A", **given}])
    assert check_photo(path).usable


def test_the_job_of_the_folder_above_is_found(tmp_path: Path, shop: RenderedPhoto) -> None:
    """Photos usually lie in photos/. The job says that the board is 300 x 120 mm: 3 px/mm."""
    (tmp_path / "photos").mkdir()
    path = saved(tmp_path / "photos", shop)
    write_job(tmp_path, [replace(SHOP_BOARD, length_mm=600, width_mm=240)], [{"file": "photos/a.jpg", "board": "A"}])
    assert "too-few-pixels" in codes(check_photo(path))


@pytest.mark.parametrize("toml", ["", "format = 7", "not toml at [all", "format = 1\n[job]\nname = 3\n"])
def test_a_job_file_that_does_not_hold_is_no_reason_to_stop(good: Path, toml: str) -> None:
    (good.parent / "job.toml").write_text(toml, encoding="utf-8")
    assert check_photo(good).usable


def test_a_photo_that_the_job_does_not_name_is_checked_by_itself(good: Path) -> None:
    (good.parent / "b.jpg").write_bytes(good.read_bytes())
    write_job(good.parent, [replace(SHOP_BOARD, length_mm=900, width_mm=40)], [{"file": "b.jpg", "board": "A"}])
    assert check_photo(good).usable


def test_a_plain_sheet_of_the_job_is_checked_as_a_sheet(tmp_path: Path) -> None:
    """It shows neither board nor card, and need not."""
    camera = {"px_per_mm": 3.0, "look_at_mm": (150.0, 90.0)}
    light = Light("D50", gradient=0.1, over_mm=(0, 0, 300, 200))
    saved(tmp_path, taken(replace(SHOP_SCENE, light=light), 3, size_px=SIZE_px, **camera))
    sheet = Scene(background=Background((85, 0, 1), texture=0.004), light=light)
    saved(tmp_path, taken(sheet, 4, size_px=SIZE_px, **camera), "sheet.jpg")
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "flat": "sheet.jpg"}])
    assert check_photo(tmp_path / "sheet.jpg").usable
    saved(tmp_path, taken(sheet, 4, size_px=SIZE_px, **{**camera, "exposure_EV": -5.0}), "sheet.jpg")
    dark = check_photo(tmp_path / "sheet.jpg")
    assert not dark.usable
    assert "flat-unusable" in codes(dark)


def odd_picture(name: str) -> NDArray[np.integer]:
    rng = np.random.default_rng(1)
    if name == "noise":
        return rng.integers(0, 255, (300, 400, 3)).astype(np.uint8)
    if name == "gray in 16 bits":
        return rng.integers(0, 65535, (300, 400)).astype(np.uint16)
    if name == "panorama":
        return np.asarray(cv2.resize(skimage.data.coffee(), (4000, 160)))
    plain = {"pixel": ((1, 1, 3), 100), "black": ((300, 400, 3), 0), "white": ((300, 400, 3), 255)}
    if name in plain:
        return np.full(*plain[name], np.uint8)
    return np.asarray(cv2.resize(getattr(skimage.data, name)(), None, fx=2, fy=2))


ODD = ["pixel", "gray in 16 bits", "panorama", "black", "white", "noise", "chelsea", "coffee", "rocket", "astronaut"]


@pytest.mark.parametrize("name", ODD)
def test_photos_of_something_else_cannot_be_used(tmp_path: Path, name: str) -> None:
    path, picture = tmp_path / "odd.png", odd_picture(name)
    cv2.imwrite(str(path), picture if picture.ndim == 2 else picture[..., ::-1])
    check = check_photo(path)
    assert not check.usable
    (unusable,) = [finding for finding in check.findings if finding.severity == "unusable"]
    assert unusable.remedy


@pytest.mark.parametrize("content", [b"", b"no picture", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n"])
def test_files_that_are_no_photo_cannot_be_used(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    check = check_photo(path)
    assert not check.usable
    assert codes(check) == ["photo-unreadable"]


def test_a_photo_that_cannot_be_read_does_not_stop_the_others(good: Path) -> None:
    (good.parent / "b.jpg").write_bytes(good.read_bytes()[:2000])
    (good.parent / "c.jpg").write_bytes(good.read_bytes())
    told: list[str] = []
    checks = check_photos([good, good.parent / "b.jpg", good.parent / "c.jpg", good.parent], progress=told.append)
    assert [check.usable for check in checks] == [True, False, True, False]
    assert [Path(check.file).name for check in checks] == ["a.jpg", "b.jpg", "c.jpg", good.parent.name]
    assert [line.split(":")[0] for line in told] == [f"photo {k} of 4" for k in (1, 2, 3, 4)]


def test_a_finding_is_told_once_though_two_boards_lie_in_the_photo(tmp_path: Path) -> None:
    other = replace(SHOP_BOARD, id="B", length_mm=180, zones=SHOP_BOARD.zones[:1], top_left_mm=(0.0, 215.0))
    rendered = taken(replace(SHOP_SCENE, boards=(SHOP_BOARD, other), background=GRAY_SHEET), 3, size_px=SIZE_px)
    path = saved(tmp_path, rendered)
    quads = [np.round(corners(rendered, board), 1).tolist() for board in "AB"]
    write_job(tmp_path, [SHOP_BOARD, other], [{"file": "a.jpg", "boards": ["A", "B"], "corners": quads}])
    check = check_photo(path)
    assert check.usable
    assert len(codes(check)) == len(set(codes(check)))


def test_checking_twice_says_the_same_and_changes_no_file(good: Path) -> None:
    before = good.read_bytes()
    assert check_photo(good) == check_photo(good)
    assert good.read_bytes() == before
    assert [path.name for path in good.parent.iterdir()] == [good.name]


def test_a_faultless_camera_brings_no_warning(tmp_path: Path) -> None:
    scene = replace(SHOP_SCENE, background=Background((34, 0, -1), texture=0.01))
    path = saved(tmp_path, taken(scene, 3, size_px=(1500, 1125), **FAULTLESS), "a.png")
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.png", "board": "A"}])
    check = check_photo(path)
    assert check.usable
    assert [finding for finding in check.findings if finding.severity == "warning"] == []


# --- references of a job ---------------------------------------------------------------------------------------------

STEPS = (0.90, 0.59, 0.36, 0.198, 0.09, 0.031)
REFERENCES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "step-card": (
        {"kind": "step-card", "reflectance": list(STEPS)},
        {"step_card": StepCard(STEPS, top_left_mm=(20, 145))},
    ),
    "chart-24": ({"kind": "chart-24", "edition": "from-2015"}, {"chart": Chart((340.0, -10.0), scale=0.6)}),
}
WIDE = Light("D50", over_mm=(-20, -20, 530, 220))


@pytest.fixture(scope="module")
def beside() -> dict[str, RenderedPhoto]:
    """The board beside each reference, no gray card anywhere."""
    scene = replace(SHOP_SCENE, card=None, light=WIDE)
    return {kind: taken(replace(scene, **lies), 3, size_px=(1600, 1200)) for kind, (_, lies) in REFERENCES.items()}


@pytest.mark.parametrize("kind", REFERENCES)
def test_a_photo_is_checked_with_the_reference_that_its_job_names(
    tmp_path: Path, beside: dict[str, RenderedPhoto], kind: str
) -> None:
    path = saved(tmp_path, beside[kind])
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], reference=REFERENCES[kind][0])
    check = check_photo(path)
    assert check.usable, check.findings
    (measured,) = measure_job(tmp_path).results.photos
    assert measured.usable


def test_without_a_job_a_chart_serves_where_there_is_no_gray_card(
    tmp_path: Path, beside: dict[str, RenderedPhoto]
) -> None:
    """With one, it is not taken for a gray card, though each of its gray patches looks like one."""
    path = saved(tmp_path, beside["chart-24"])
    check = check_photo(path)
    assert check.usable, check.findings
    assert "chart-seen" in codes(check)
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])
    check = check_photo(path)
    assert not check.usable
    assert codes(check)[-1] == "card-is-chart"
    (measured,) = measure_job(tmp_path).results.photos
    assert measured.findings[-1] == check.findings[-1]


def test_a_gray_card_beside_a_chart_is_the_gray_card(tmp_path: Path) -> None:
    scene = replace(SHOP_SCENE, chart=REFERENCES["chart-24"][1]["chart"], light=WIDE)
    check = check_photo(saved(tmp_path, taken(scene, 3, size_px=(1600, 1200))))
    assert check.usable
    assert not {"chart-seen", "card-is-chart"} & set(codes(check))


def test_a_chart_in_a_mirror_is_told(tmp_path: Path, beside: dict[str, RenderedPhoto]) -> None:
    rendered = beside["chart-24"]
    path = saved(tmp_path, replace(rendered, codes=np.ascontiguousarray(rendered.codes[:, ::-1])))
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], reference=REFERENCES["chart-24"][0])
    assert codes(check_photo(path))[-1] == "chart-mirrored"
    (measured,) = measure_job(tmp_path).results.photos
    assert measured.findings[-1].code == "chart-mirrored"


# --- while shooting --------------------------------------------------------------------------------------------------


def test_photos_of_the_job_that_are_not_taken_yet_stop_nothing(tmp_path: Path, shop: RenderedPhoto) -> None:
    """Only that the board is 600 mm long can be known from the job: 3 px/mm."""
    path = saved(tmp_path, shop)
    board = replace(SHOP_BOARD, length_mm=600, width_mm=240)
    later = [{"file": "later.jpg", "board": "A", "stage": "topcoated"}, {"file": "photos/b.jpg", "board": "A"}]
    write_job(tmp_path, [board], [{"file": "a.jpg", "board": "A", "flat": "sheet.jpg"}, *later])
    assert "too-few-pixels" in codes(check_photo(path))
    assert [check.file for check in check_photos([tmp_path])] == [str(path)]
    with pytest.raises(JobFileError, match=r"later\.jpg"):
        measure_job(tmp_path)
    path.unlink()
    with pytest.raises(JobFileError, match=r"a\.jpg"):
        check_photos([tmp_path])


def test_a_plain_sheet_is_checked_by_itself_before_its_board_is_photographed(tmp_path: Path) -> None:
    sheet = Scene(background=Background((85, 0, 1), texture=0.004), light=Light("D50", over_mm=(0, 0, 300, 200)))
    path = saved(tmp_path, taken(sheet, 4, size_px=SIZE_px, px_per_mm=3.0, look_at_mm=(150.0, 90.0)), "sheet.jpg")
    write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "flat": "sheet.jpg"}])
    assert check_photo(path).usable


# --- photos of one job compared --------------------------------------------------------------------------------------


def test_photos_of_one_job_are_compared(tmp_path: Path, shop: RenderedPhoto) -> None:
    """By camera here. Photos that no job names are not: nobody says that they belong together."""
    paths = [tmp_path / f"{name}.jpg" for name in "abc"]
    for path, model in zip(paths, ("One", "One", "Two"), strict=True):
        save_photo(path, shop, exif={Base.Make: "Maker", Base.Model: model})
    assert all("camera-differs" not in codes(check) for check in check_photos(paths))
    write_job(tmp_path, [SHOP_BOARD], [{"file": path.name, "board": "A"} for path in paths])
    alone = codes(check_photo(paths[2]))
    assert "camera-differs" not in alone
    assert [codes(check) for check in check_photos([tmp_path])] == [alone, alone, [*alone, "camera-differs"]]
