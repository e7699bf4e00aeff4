"""A job folder in, the answer out: simulated wood through the whole way, against its truth.

The simulator knows nothing of the measuring code. The photos are taken and measured once for all tests.
"""

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from board_jobs import write_job, zone_of
from board_photos import Floats, taken
from simulator import (
    Background,
    Board,
    GrayCard,
    Light,
    RenderedPhoto,
    Scene,
    WoodZone,
    save_photo,
)

from analyzer import measure_job, results_json
from analyzer.measurement import Measurement
from analyzer.results import DifferenceResult, Results
from calibration.difference import delta_E_00, delta_E_ab


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
