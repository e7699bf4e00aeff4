"""A job folder in, the answer out: simulated boards through the whole way, against their truth.

The simulator knows nothing of the measuring code. Each group of photos is taken and measured once for all tests.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from board_jobs import write_job
from board_photos import Floats, card_corners, corners, taken
from numpy.typing import NDArray
from simulator import (
    Background,
    Board,
    Camera,
    GrayCard,
    Light,
    PaintedZone,
    RenderedPhoto,
    Scene,
    WoodZone,
    drift,
    fine_texture,
    gaussian_field,
    render,
    save_photo,
    streaks,
)

from analyzer import JobFileError, measure_job, results_json
from analyzer.cli import main
from analyzer.measurement import Measurement
from analyzer.results import DifferenceResult, Results, ZoneResult
from calibration.difference import delta_E_00, delta_E_ab

GRAY_SHEET = Background((34, 0, -1))


def zone_of(results: Results, zone_id: str, light: str | None = None) -> ZoneResult:
    (found,) = [zone for zone in results.zones if zone.id == zone_id and zone.light == light]
    return found


def codes(results: Results, photo: str) -> list[str]:
    return [finding.code for result in results.photos if result.file == photo for finding in result.findings]


# --- wood in daylight, near-even light --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Measured:
    """A job, and what is really there."""

    folder: Path
    measurement: Measurement
    truth: dict[str, Floats]  # zone id -> CIELAB
    blotch: dict[str, float]  # L*, what uneven uptake adds
    figure: dict[str, float]  # L*, the wood's own pattern
    photos: dict[str, RenderedPhoto]

    @property
    def results(self) -> Results:
        return self.measurement.results


TREATMENTS = ("none", "shellac washcoat", "glue size", "stain conditioner")
WOODS = (
    ("hard maple", "walnut brown", "D50", "one", "srgb", (34, 0, -1)),
    ("cherry", "red mahogany", "D55", "two", "p3", (70, 0, 2)),
    ("pine", "golden oak", "D65", "three", "srgb", (34, 0, -1)),
    ("walnut", "walnut brown", "D55", "three", "p3", (70, 0, 2)),
    ("oak", "old brown", "D65", "one", "p3", (30, 2, 5)),
    ("cherry", "walnut brown", "D50", "three", "srgb", (80, 0, 1)),
)


@pytest.fixture(scope="module")
def wood(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """Six boards of four zones, each in one hand-held photo, by three cameras in three daylights, up to 4 % uneven."""
    folder = tmp_path_factory.mktemp("wood")
    boards, photos, entries = [], {}, []
    for k, (species, stain, light, sensor, profile, table) in enumerate(WOODS):
        rng = np.random.default_rng(k)
        order = ["none", *rng.permutation(TREATMENTS[1:])]
        zones = tuple(WoodZone(f"z{i}", (75.0 * i, 75.0 * i + 75), order[i], stain) for i in range(4))
        board = Board(f"B{k}", 300, 130, zones, species=species, seed=60 + k)
        scene = Scene(
            (board,),
            GrayCard((90, 60), (110, 155), float(rng.uniform(-10, 10))),
            background=Background(table),
            light=Light(light, gradient=float(rng.uniform(0, 0.04)), direction_deg=float(rng.uniform(0, 360))),
        )
        pose = {"tilt_deg": tuple(rng.uniform(-10, 10, 2)), "roll_deg": float(rng.uniform(-10, 10))}
        exposure = float(rng.uniform(-0.5, 0.2))
        rendered = taken(scene, k, size_px=(1300, 975), sensor=sensor, profile=profile, exposure_EV=exposure, **pose)
        save_photo(folder / f"{k}.jpg", rendered)
        boards.append(board)
        photos[board.id] = rendered
        entries.append({"file": f"{k}.jpg", "board": board.id})
    write_job(folder, boards, entries)
    truths = {f"{b.id}/{zone.id}": zone for b in boards for zone in photos[b.id].truth.board(b.id).zones}
    return Measured(
        folder,
        measure_job(folder),
        {name: np.array(zone.Lab) for name, zone in truths.items()},
        {name: zone.blotch_sd for name, zone in truths.items()},
        {name: zone.figure_sd for name, zone in truths.items()},
        photos,
    )


def true_de00(wood: Measured, pair: DifferenceResult) -> float:
    return float(delta_E_00(wood.truth[pair.a], wood.truth[pair.b]))


def test_every_zone_of_every_photo_is_measured(wood: Measured) -> None:
    assert all(photo.usable for photo in wood.results.photos)
    assert [zone.id for zone in wood.results.zones] == list(wood.truth)
    assert all(photo.located_by == "outline" for photo in wood.results.photos)


def test_differences_within_a_photo_are_true_to_0_3_on_average(wood: Measured) -> None:
    errors = [abs(pair.de00 - true_de00(wood, pair)) for pair in wood.results.differences]
    assert len(errors) == 6 * 6
    assert np.mean(errors) < 0.3
    assert np.quantile(errors, 0.95) < 0.8


def test_the_intervals_of_differences_hold_the_truth(wood: Measured) -> None:
    inside = [abs(pair.de00 - true_de00(wood, pair)) <= (pair.de00_u95 or 0) for pair in wood.results.differences]
    assert np.mean(inside) >= 0.9


def test_the_intervals_of_absolute_colours_hold_the_truth_and_are_wider(wood: Measured) -> None:
    inside = [np.abs(np.array(z.lab) - wood.truth[z.id]) <= np.array(z.lab_u95) for z in wood.results.zones]
    assert np.mean(inside) >= 0.9
    absolute = np.median([z.lab_u95[0] for z in wood.results.zones if z.lab_u95])
    assert absolute > 2 * np.median([pair.de00_u95 for pair in wood.results.differences if pair.de00_u95])


def test_no_blotch_is_hidden_by_the_woods_figure(wood: Measured) -> None:
    """What uneven uptake adds is at least what the index says, within its interval."""
    for zone in wood.results.zones:
        assert zone.blotch is not None
        assert zone.blotch_u95 is not None
        assert zone.blotch > wood.blotch[zone.id] - zone.blotch_u95 - 0.03


def test_fine_figure_adds_little_to_the_blotch(wood: Measured) -> None:
    """Maple and cherry; flat-sawn pine and walnut have broad arches, no straight streaks, and part of them stays."""
    for zone in wood.results.zones:
        if zone.species in {"hard maple", "cherry"}:
            assert zone.blotch is not None
            assert zone.blotch_u95 is not None
            remnant = 0.4 * wood.figure[zone.id]
            assert zone.blotch < np.hypot(wood.blotch[zone.id], remnant) + zone.blotch_u95 + 0.03


def test_the_blotchiest_zone_of_each_board_is_its_control(wood: Measured) -> None:
    """Of the blotch-prone woods; walnut and oak take stain evenly, and show their figure."""
    for k, (species, *_) in enumerate(WOODS):
        if species in {"walnut", "oak"}:
            continue
        zones = [zone for zone in wood.results.zones if zone.board == f"B{k}"]
        assert max(zones, key=lambda zone: zone.blotch or 0).treatment == "none"


def test_differences_pair_zones_of_one_board_the_control_first(wood: Measured) -> None:
    for pair in wood.results.differences:
        assert pair.a.split("/")[0] == pair.b.split("/")[0]
        if "none" in {zone_of(wood.results, pair.a).treatment, zone_of(wood.results, pair.b).treatment}:
            assert zone_of(wood.results, pair.a).treatment == "none"


def test_the_parts_of_a_difference_agree_with_the_zones(wood: Measured) -> None:
    """All of one photo each, so a pair's colours are the zones' own; ISO/CIE 11664-4 and -6."""
    for pair in wood.results.differences:
        a, b = (np.array(zone_of(wood.results, name).lab) for name in (pair.a, pair.b))
        assert (pair.dl, pair.da, pair.db) == pytest.approx(tuple(b - a), abs=1e-9)
        assert pair.dc == pytest.approx(np.hypot(*b[1:]) - np.hypot(*a[1:]), abs=1e-9)
        assert pair.dl**2 + pair.dc**2 + pair.dh**2 == pytest.approx(pair.de76**2, abs=1e-9)
        assert pair.de76 == pytest.approx(float(delta_E_ab(a, b)), abs=1e-9)
        assert pair.de00 == pytest.approx(float(delta_E_00(a, b)), abs=1e-9)


def test_measuring_again_gives_the_same_bytes(wood: Measured) -> None:
    assert results_json(measure_job(wood.folder).results) == results_json(wood.results)


def test_measuring_writes_nothing_and_touches_no_photo(wood: Measured) -> None:
    assert sorted(path.name for path in wood.folder.iterdir()) == sorted([*(f"{k}.jpg" for k in range(6)), "job.toml"])
    for photo in wood.results.photos:
        assert hashlib.sha256((wood.folder / photo.file).read_bytes()).hexdigest() == photo.sha256


def test_pictures_show_each_board_upright_with_its_zones(wood: Measured) -> None:
    pictures = wood.measurement.pictures
    assert [picture.board.id for picture in pictures] == [f"B{k}" for k in range(6)]
    for picture in pictures:
        rows, columns = round(130 / picture.mm_per_px), round(300 / picture.mm_per_px)
        assert picture.Lab.shape == (rows, columns, 3)
        assert np.isfinite(picture.deviation[picture.measured]).all()
        assert np.isnan(picture.deviation[~picture.measured]).all()
        for zone in (zone for zone in wood.results.zones if zone.board == picture.board.id):
            span = picture.board.zones[int(zone.zone[1])].span_mm
            middle = picture.Lab[
                rows // 4 : -rows // 4, slice(*(round((mm) / picture.mm_per_px) for mm in (span[0] + 10, span[1] - 10)))
            ]
            assert np.median(middle, axis=(0, 1)) == pytest.approx(zone.lab, abs=2.5)


def test_progress_is_told_photo_by_photo(wood: Measured) -> None:
    told: list[str] = []
    measure_job(wood.folder, progress=told.append)
    assert told == [f"photo {k + 1} of 6: {k}.jpg" for k in range(6)]


# --- painted patterns under many cameras ------------------------------------------------------------------------------

PATTERNS = {"flat": None, "patchy": gaussian_field, "fine": fine_texture, "drift": drift, "streaks": streaks}
SD = 1.5
BROWN = (45.0, 14.0, 25.0)


def painted_zone(name: str, left: float) -> PaintedZone:
    field = PATTERNS[name]

    def L_field(shape: tuple[int, int], mm_per_px: float) -> NDArray[np.floating]:
        return np.zeros(shape) if field is None else SD * field(shape, mm_per_px, seed=len(name))

    return PaintedZone(name, (left, left + 90), BROWN, L_field)


VIEWS: dict[str, dict[str, Any]] = {
    "square on": {},
    "tilted by 15 degrees": {"tilt_deg": (15.0, 0.0)},
    "turned": {"roll_deg": 33.0, "size_px": (2100, 1750)},
    "darker": {"exposure_EV": -0.7},
    "brighter": {"exposure_EV": 0.7},
    "from further away": {"size_px": (1500, 750)},
    "uneven light, with a plain sheet": {},
}
UNEVEN = Light("D50", gradient=0.3, direction_deg=15, over_mm=(0, 0, 450, 200))


@pytest.fixture(scope="module")
def patterns(tmp_path_factory: pytest.TempPathFactory) -> Results:
    """One board of five patterns, 4 px/mm where nothing else is said. Each view is kept apart as a light of its own."""
    folder = tmp_path_factory.mktemp("patterns")
    board = Board("P", 450, 130, tuple(painted_zone(name, 90.0 * k) for k, name in enumerate(PATTERNS)))
    scene = Scene((board,), GrayCard((90, 50), (180, 145)), background=GRAY_SHEET)
    entries = []
    for seed, (name, view) in enumerate(VIEWS.items()):
        camera = Camera(**{"size_px": (2050, 1000), **view})
        lit = replace(scene, light=UNEVEN) if "uneven" in name else scene
        save_photo(folder / f"{seed}.jpg", render(lit, camera, seed))
        entry = {"file": f"{seed}.jpg", "board": "P", "light": name}
        if "uneven" in name:
            sheet = Scene(background=Background((85, 0, 1), texture=0.004), light=UNEVEN)
            stand = replace(
                camera, look_at_mm=tuple((scene.all_corners_mm.min(axis=0) + scene.all_corners_mm.max(axis=0)) / 2)
            )
            save_photo(folder / "sheet.jpg", render(sheet, replace(stand, px_per_mm=_scale(scene, camera)), 90))
            entry["flat"] = "sheet.jpg"
        entries.append(entry)
    return measure_job(write_job(folder, [board], entries)).results


def _scale(scene: Scene, camera: Camera) -> float:
    """Scale at which the simulator fits a scene into the frame, px/mm."""
    whole = render(replace(scene, boards=scene.boards), replace(camera, full_well_e=None), 0).truth.boards[0]
    return float(np.hypot(*(np.array(whole.corners_px[1]) - whole.corners_px[0])) / 450)


def blotch(results: Results, zone: str, view: str) -> float:
    value = zone_of(results, f"P/{zone}", view).blotch
    assert value is not None
    return value


@pytest.mark.parametrize("view", VIEWS)
def test_painted_blotch_keeps_its_size_in_every_view(patterns: Results, view: str) -> None:
    """A Gaussian field of wavelengths 6 to 35 mm and standard deviation s = 1.5: within 10 %."""
    assert blotch(patterns, "patchy", view) == pytest.approx(SD, rel=0.10)


@pytest.mark.parametrize("view", VIEWS)
def test_the_same_blotch_in_another_view_is_the_same_within_7_percent(patterns: Results, view: str) -> None:
    assert blotch(patterns, "patchy", view) == pytest.approx(blotch(patterns, "patchy", "square on"), rel=0.07)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize(("zone", "share"), [("fine", 0.10), ("drift", 0.15), ("streaks", 0.15)])
def test_what_is_no_blotch_hardly_counts_in_any_view(patterns: Results, zone: str, share: float, view: str) -> None:
    """Texture finer than 2 mm, slow drift, streaks along the grain, each of standard deviation s."""
    assert blotch(patterns, zone, view) < share * SD


@pytest.mark.parametrize("view", [view for view in VIEWS if view not in {"darker", "from further away"}])
def test_a_plain_zone_is_even(patterns: Results, view: str) -> None:
    assert blotch(patterns, "flat", view) < 0.05


@pytest.mark.parametrize("view", ["darker", "from further away"])
def test_jpeg_of_a_dark_or_coarse_photo_leaves_a_plain_zone_nearly_even(patterns: Results, view: str) -> None:
    """Steps of its 8 x 8 blocks are some millimetres wide there, and lie in the blotch band."""
    assert blotch(patterns, "flat", view) < 0.10


@pytest.mark.parametrize("view", VIEWS)
def test_streaks_are_told_as_figure(patterns: Results, view: str) -> None:
    figure = zone_of(patterns, "P/streaks", view).figure
    assert figure is not None
    assert figure > 0.5 * SD
    assert (zone_of(patterns, "P/patchy", view).figure or 0) < 0.15 * SD


@pytest.mark.parametrize("zone", PATTERNS)
def test_exposure_leaves_the_colours_to_the_steps_of_jpeg(patterns: Results, zone: str) -> None:
    """Even colours are all rounded alike, by up to half a code of chroma; without JPEG 0.3 holds (test_flatboard)."""
    reference = np.array(zone_of(patterns, f"P/{zone}", "square on").lab)
    for view in ("darker", "brighter"):
        assert np.abs(np.array(zone_of(patterns, f"P/{zone}", view).lab) - reference).max() < 0.6


def test_mapped_light_is_told_and_evens_the_colours(patterns: Results) -> None:
    by_view = {photo.light: photo for photo in patterns.photos}
    assert by_view["uneven light, with a plain sheet"].light_range == pytest.approx(0.3, abs=0.04)
    assert by_view["square on"].light_range is None
    even = [zone_of(patterns, f"P/{name}", "uneven light, with a plain sheet").lab for name in PATTERNS]
    assert np.ptp(np.array(even), axis=0).max() < 0.3  # 30 % of light would be 6.7 L*


# --- one board, one photo, many job files -----------------------------------------------------------------------------

ZONES = (
    WoodZone("control", (0, 100), stain="walnut brown"),
    WoodZone("washcoat", (100, 200), "shellac washcoat", "walnut brown"),
    WoodZone("glue", (200, 300), "glue size", "walnut brown"),
)
SHOP_BOARD = Board("A", 300, 120, ZONES, seed=5)
SHOP_SCENE = Scene((SHOP_BOARD,), GrayCard((80, 55), (100, 145), 4.0), background=GRAY_SHEET)


@pytest.fixture(scope="module")
def shop() -> RenderedPhoto:
    return taken(SHOP_SCENE, 3, size_px=(1100, 825), tilt_deg=(5, -4))


@pytest.fixture
def shop_job(tmp_path: Path, shop: RenderedPhoto) -> Path:
    save_photo(tmp_path / "a.jpg", shop)
    return write_job(tmp_path, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}])


def test_a_job_in_inches_is_the_same_job(shop_job: Path) -> None:
    in_mm = measure_job(shop_job).results
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], inch=True)
    in_inches = measure_job(shop_job).results
    for zone in in_mm.zones:
        other = zone_of(in_inches, zone.id)
        assert other.lab == pytest.approx(zone.lab, abs=1e-4)
        assert other.blotch == pytest.approx(zone.blotch, rel=1e-3)
        assert other.area_mm2 == pytest.approx(zone.area_mm2, rel=1e-6)


def test_the_eight_orientations_of_a_file_give_one_result(tmp_path: Path) -> None:
    """The same upright picture, stored turned and mirrored; PNG, so that the pixels are the same."""
    rendered = taken(SHOP_SCENE, 3, size_px=(820, 615))
    for orientation in range(1, 9):
        save_photo(tmp_path / f"{orientation}.png", rendered, orientation=orientation)
    photos = [{"file": f"{k}.png", "board": "A", "light": f"light {k}"} for k in range(1, 9)]
    results = measure_job(write_job(tmp_path, [SHOP_BOARD], photos)).results
    for zone in ZONES:
        readings = {(found.lab, found.blotch) for found in results.zones if found.zone == zone.id}
        assert len(readings) == 1
    assert len(results.zones) == 8 * 3


def test_a_display_p3_photo_gives_the_colours_of_the_srgb_photo(tmp_path: Path, shop: RenderedPhoto) -> None:
    save_photo(tmp_path / "srgb.png", shop)
    save_photo(tmp_path / "p3.png", taken(SHOP_SCENE, 3, size_px=(1100, 825), tilt_deg=(5, -4), profile="p3"))
    photos = [{"file": f"{name}.png", "board": "A", "light": name} for name in ("srgb", "p3")]
    results = measure_job(write_job(tmp_path, [SHOP_BOARD], photos)).results
    for zone in ZONES:
        first, second = (zone_of(results, f"A/{zone.id}", light).lab for light in ("srgb", "p3"))
        assert float(delta_E_00(first, second)) < 0.3


def test_a_mirrored_photo_keeps_colour_and_blotch(tmp_path: Path, shop: RenderedPhoto) -> None:
    """Its zones run from the right, so the job of the mirror image counts them from there."""
    mirrored = replace(shop, codes=np.ascontiguousarray(shop.codes[:, ::-1]))
    save_photo(tmp_path / "a.png", shop)
    save_photo(tmp_path / "b.png", mirrored)
    turned = tuple(replace(zone, span_mm=(300 - zone.span_mm[1], 300 - zone.span_mm[0])) for zone in ZONES)
    boards = [SHOP_BOARD, replace(SHOP_BOARD, id="M", zones=turned)]
    photos = [{"file": "a.png", "board": "A"}, {"file": "b.png", "board": "M"}]
    results = measure_job(write_job(tmp_path, boards, photos)).results
    for zone in ZONES:
        straight, mirror = zone_of(results, f"A/{zone.id}"), zone_of(results, f"M/{zone.id}")
        assert mirror.lab == pytest.approx(straight.lab, abs=0.05)
        assert mirror.blotch == pytest.approx(straight.blotch, rel=0.03)


def test_given_corners_and_card_serve_like_found_ones(shop_job: Path, shop: RenderedPhoto) -> None:
    found = measure_job(shop_job).results
    given = {"corners": np.round(corners(shop), 1).tolist(), "card": np.round(card_corners(shop), 1).tolist()}
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", **given}])
    by_hand = measure_job(shop_job).results
    assert by_hand.photos[0].located_by == "corners"
    for zone in found.zones:
        assert zone_of(by_hand, zone.id).lab == pytest.approx(zone.lab, abs=0.1)


def test_a_card_of_another_reflectance_shifts_all_colours_and_hardly_the_differences(shop_job: Path) -> None:
    """0.19 for 0.18: 51.200 for L* 50 (closed form, test_camera); differences change by a sixtieth."""
    first = measure_job(shop_job).results
    photos = [{"file": "a.jpg", "board": "A"}]
    write_job(shop_job, [SHOP_BOARD], photos, reference={"kind": "gray-card", "reflectance": 0.19})
    second = measure_job(shop_job).results
    for zone in first.zones:
        L = (zone.lab[0] + 16) * (19 / 18) ** (1 / 3) - 16
        assert zone_of(second, zone.id).lab[0] == pytest.approx(L, abs=1e-3)
    for before, after in zip(first.differences, second.differences, strict=True):
        assert after.dl == pytest.approx(before.dl * (19 / 18) ** (1 / 3), abs=1e-3)


def test_a_card_told_as_Lab_serves_like_its_reflectance(shop_job: Path) -> None:
    first = measure_job(shop_job).results
    L = 116 * 0.18 ** (1 / 3) - 16
    write_job(
        shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], reference={"kind": "gray-card", "lab": [L, 0.0, 0.0]}
    )
    second = measure_job(shop_job).results
    for zone in first.zones:
        assert zone_of(second, zone.id).lab == pytest.approx(zone.lab, abs=1e-6)


# --- targets ----------------------------------------------------------------------------------------------------------


def verdict(results: Results, treatment: str, stage: str = "stained") -> Any:  # noqa: ANN401 - VerdictResult
    (found,) = [v for v in results.verdicts if v.treatment == treatment and v.stage == stage]
    return found


def with_target(folder: Path, target: dict[str, Any], **keys: Any) -> Results:  # noqa: ANN401 - those of write_job
    write_job(folder, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], target=target, **keys)
    return measure_job(folder).results


def test_a_target_that_is_a_zones_own_colour_is_met_by_it_within_the_wide_interval(shop_job: Path) -> None:
    washcoat = zone_of(measure_job(shop_job).results, "A/washcoat")
    results = with_target(shop_job, {"lab": list(washcoat.lab), "tolerance": 2.0})
    found = verdict(results, "shellac washcoat")
    assert found.de00 == pytest.approx(0, abs=1e-6)
    assert found.colour == "cannot tell"  # a gray card alone does not give an absolute colour to 2.0
    assert found.de00_u95 > 2
    assert verdict(results, "none").de00 == pytest.approx(
        float(delta_E_00(washcoat.lab, zone_of(results, "A/control").lab)), abs=1e-9
    )


def test_a_target_that_is_a_zone_is_compared_within_the_photo(shop_job: Path, shop: RenderedPhoto) -> None:
    results = with_target(shop_job, {"zone": "A/washcoat", "tolerance": 3.0})
    truth = {zone.id: zone.Lab for zone in shop.truth.board("A").zones}
    for treatment, zone in (("none", "control"), ("glue size", "glue")):
        found = verdict(results, treatment)
        assert found.de00 == pytest.approx(float(delta_E_00(truth["washcoat"], truth[zone])), abs=found.de00_u95)
        assert found.colour == "no match"
        assert found.de00_u95 < 2
    assert {pair.a for pair in results.differences if pair.b == "A/control"} == {"A/washcoat"}


def test_a_target_between_two_zones_is_met_by_what_lies_between(shop_job: Path) -> None:
    """Control dark, glue light: the washcoat lies between, nearly on their line."""
    between = verdict(with_target(shop_job, {"between": ["A/glue", "A/control"], "tolerance": 3.5}), "shellac washcoat")
    beside = verdict(with_target(shop_job, {"zone": "A/glue", "tolerance": 3.5}), "shellac washcoat")
    assert between.de00 < 0.5 * beside.de00
    assert between.colour != "no match"
    assert beside.colour == "no match"


def test_a_target_of_another_stage_cannot_be_told(shop_job: Path) -> None:
    results = with_target(shop_job, {"lab": [40.0, 14.0, 22.0], "stage": "topcoated"})
    for found in results.verdicts:
        assert found.colour == "cannot tell"
        assert found.overall != "use"
        assert found.de00 is None
        assert "topcoated" in found.advice
    assert results.answer.treatment is None


def test_a_target_zone_of_another_sheen_cannot_be_told(shop_job: Path) -> None:
    sheens = {f"A/{zone.id}": {"sheen": "gloss" if zone.id == "washcoat" else "satin"} for zone in ZONES}
    results = with_target(shop_job, {"zone": "A/washcoat"}, of_zones=sheens)
    assert verdict(results, "none").colour == "cannot tell"
    assert verdict(results, "none").de00 is None


# --- several photos ---------------------------------------------------------------------------------------------------


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
    assert [finding["code"] for finding in unusable] == ["board-not-found"]
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


def test_a_card_that_covers_the_whole_board_leaves_nothing_to_measure(shop_job: Path, shop: RenderedPhoto) -> None:
    quad = np.round(corners(shop), 1).tolist()
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A", "corners": quad, "card": quad}])
    results = measure_job(shop_job).results
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
def test_a_reference_that_cannot_be_measured_with_yet_is_refused_as_a_whole(shop_job: Path, kind: str) -> None:
    reference: dict[str, Any] = {"kind": kind} | (
        {"reflectance": [0.9, 0.18, 0.03]} if kind == "step-card" else {"edition": "from-2015"}
    )
    write_job(shop_job, [SHOP_BOARD], [{"file": "a.jpg", "board": "A"}], reference=reference)
    with pytest.raises(JobFileError, match="gray-card"):
        measure_job(shop_job)


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
