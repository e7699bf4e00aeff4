"""Corrections kept for later jobs: their files, their command, their place in job.toml, what a job does with them."""

import json
import re
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from board_jobs import GRAY_SHEET, SHOP_BOARD, codes, write_job, zone_of
from PIL.ExifTags import Base
from readings import GRAY_CARD, blocks_of, reading_of, sight_of
from report_example import example_measurement
from simulator import (
    Camera,
    Chart,
    GrayCard,
    Light,
    RenderedPhoto,
    Scene,
    Tone,
    chart_Lab,
    render,
    save_photo,
)

from analyzer import read_job
from analyzer.cli import main
from analyzer.correction_choice import available_corrections
from analyzer.corrections import (
    correction_json,
    corrections_folder,
    keep_correction,
    kept_corrections,
    read_correction,
)
from analyzer.errors import JobFileError
from analyzer.keeping import keep_corrections
from analyzer.measure import measure_job
from analyzer.measurement import Measurement
from analyzer.report.jsonfile import read_results, results_json
from analyzer.uncertainty import covariance_of, pair_budget
from analyzer.user_data import DATA_VARIABLE
from calibration.difference import delta_E_00
from calibration.known import colour_chart
from calibration.photo import open_photo
from calibration.published import published_file
from calibration.reference_photo import read_reference_photo
from calibration.stored_correction import StoredCorrection, stored_correction

TAGS = {
    Base.Make: "Bench",
    Base.Model: "One",
    Base.LensModel: "main",
    Base.DateTimeOriginal: "2026:03:02 09:00:00",
}
LIT_MM = (-400.0, -300.0, 700.0, 500.0)
CHART, BOARD, OTHER = "photos/chart.jpg", "photos/board.jpg", "photos/other.jpg"
SENSOR = "three"  # one whose colours a profile misses by several Delta E


def camera(EV: float, balance: tuple[float, float]) -> Camera:
    """The shop's camera; its veil is a share of the light, and grows with it."""
    tone = Tone(flare=0.01 * 2**EV, s_curve=0.3)
    return Camera(sensor=SENSOR, size_px=(1200, 900), exposure_EV=EV, white_balance_error=balance, tone=tone)


@pytest.fixture(scope="module")
def photographed() -> Mapping[str, RenderedPhoto]:
    """A chart, later the shop's board with a gray card, and the board with a chart instead."""
    scene = Scene((SHOP_BOARD,), GrayCard((80, 55), (100, 145), 4.0), background=GRAY_SHEET)
    beside = Chart(top_left_mm=(30, 150), scale=0.75)
    return {
        CHART: render(Scene(chart=Chart(scale=0.8), light=Light(over_mm=LIT_MM)), camera(-0.1, (0.02, -0.015)), 1),
        BOARD: render(scene, camera(-0.6, (0.04, 0.0)), 2),
        "with chart": render(replace(scene, card=None, chart=beside), camera(-0.1, (0.02, -0.015)), 3),
    }


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user's data folder of its own."""
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture(scope="module")
def stored(photographed: Mapping[str, RenderedPhoto], tmp_path_factory: pytest.TempPathFactory) -> StoredCorrection:
    folder = tmp_path_factory.mktemp("stored")
    save_photo(folder / "chart.jpg", photographed[CHART], exif=TAGS)
    photo = open_photo(folder / "chart.jpg")
    found = read_reference_photo(photo, colour_chart(values=values_file(folder)))
    return stored_correction(found.correction, photo, "shop", "24-patch colour chart")


def values_file(folder: Path) -> Path:
    """The chart's own values."""
    path = folder / "chart.csv"
    rows = [",".join(f"{value:.3f}" for value in Lab) for Lab in chart_Lab()]
    path.write_text("\n".join(["L,a,b", *rows]) + "\n", encoding="utf-8")
    return path


# --- files -----------------------------------------------------------------------------------------------------------


def test_a_file_gives_back_every_number_and_word(stored: StoredCorrection) -> None:
    """To nine digits, as they are written."""
    again, kept = read_correction(correction_json(stored, "2026-03-04"))
    assert kept == "2026-03-04"
    assert (again.setup, again.source, again.made_by) == (stored.setup, stored.source, stored.made_by)
    assert again.residual.mean == pytest.approx(stored.residual.mean, rel=1e-8)
    assert again.tone.told == stored.tone.told
    for value, other in zip(numbers(again), numbers(stored), strict=True):
        assert value == pytest.approx(other, rel=1e-8, abs=1e-15)
    assert correction_json(again, kept) == correction_json(stored, kept)


def numbers(stored: StoredCorrection) -> Iterator[Any]:
    curve = stored.tone.curve
    yield from (
        stored.profile_to_XYZ,
        stored.tone.covariance,
        stored.primaries,
        stored.white_ratios,
        stored.residual.wood,
    )
    yield from (curve.flare, curve.gamma, curve.s_curve, curve.s_middle, curve.bends)
    yield from (curve.mid_level, curve.darkest, curve.lightest)
    assert stored.error is not None
    yield from (stored.error.modes, stored.error.unseen, stored.error.widening)


def test_a_file_is_plain_json_that_says_where_it_comes_from(stored: StoredCorrection) -> None:
    content = json.loads(correction_json(stored, "2026-03-04"))
    assert content["made_for"] == {"camera": "Bench One", "lens": "main", "light": "shop", "profile": "sRGB, simulated"}
    assert content["photo"]["taken"] == "2026-03-02T09:00:00"
    assert re.fullmatch("[0-9a-f]{64}", content["photo"]["sha256"])
    assert content["by"].startswith("evenboard ")
    assert len(correction_json(stored, "")) < 100_000


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: text[: len(text) // 2], "damaged"),
        (lambda _: b"", "damaged"),
        (lambda _: b"\xff\xfe", "damaged"),
        (lambda _: b"[" * 10_000, "damaged"),
        (lambda _: b'{"kind": "something else"}', "no correction"),
        (lambda _: b"[1, 2]", "no correction"),
        (lambda text: text.replace(b'"format": 1', b'"format": 2'), "newer Evenboard"),
        (lambda text: text.replace(b'"format": 1', b'"format": 0'), "damaged"),
        (lambda text: text.replace(b'"gamma"', b'"beta"'), "gamma"),
        (lambda text: text.replace(b'"camera": "Bench One"', b'"camera": 1'), "camera"),
        (lambda text: text.replace(b'"flare"', b'"haze"'), "other parameters"),
        (lambda text: re.sub(rb'"gamma": [^,]*', b'"gamma": 1e999', text), "damaged"),
        (lambda text: re.sub(rb'"bends": \[[^,]*', b'"bends": [', text), "damaged"),
        (lambda text: re.sub(rb'"profile_to_XYZ_D50": \[\s*\[[^,]*,', b'"profile_to_XYZ_D50": [[', text), "damaged"),
    ],
)
def test_a_file_that_does_not_hold_is_told_in_words(stored: StoredCorrection, change: Any, words: str) -> None:  # noqa: ANN401 - a function on bytes
    text = correction_json(stored, "2026-03-04")
    with pytest.raises(ValueError, match=words):
        read_correction(change(text))


@pytest.mark.usefixtures("data")
def test_one_is_kept_for_each_camera_lens_light_and_profile(stored: StoredCorrection) -> None:
    others = [{"camera": "Bench Two"}, {"lens": None}, {"light": "Küche"}, {"light": "../../etc"}, {"profile": "P3"}]
    setups = [stored.setup, *(replace(stored.setup, **other) for other in others)]
    kept = [keep_correction(replace(stored, setup=setup)) for setup in setups]
    assert len({one.path for one in kept}) == len(setups)
    assert {one.path.parent for one in kept} == {corrections_folder()}
    keep_correction(stored)
    assert [one.stored.setup for one in kept_corrections() if one.stored] == [
        one.stored.setup for one in sorted(kept, key=lambda one: one.path) if one.stored
    ]
    assert kept[0].name.startswith("bench-one-main-shop-")


@pytest.mark.usefixtures("data")
def test_many_programs_at_once_leave_one_whole_file(stored: StoredCorrection) -> None:
    with ThreadPoolExecutor(8) as pool:
        for _ in pool.map(lambda _: keep_correction(stored), range(40)):
            assert all(not one.fault for one in kept_corrections())
    assert [path.suffix for path in corrections_folder().iterdir()] == [".json"]


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_command_lists_shows_and_removes(
    data: Path, stored: StoredCorrection, capsys: pytest.CaptureFixture[str]
) -> None:
    name = keep_correction(stored).name
    assert main(["corrections"]) == 0
    told = capsys.readouterr()
    assert told.out.startswith(f"{name}: Bench One (main), light shop, taken 2026-03-02; ")
    assert str(data) in told.err
    assert main(["corrections", "show", name]) == 0
    shown = capsys.readouterr().out
    for words in ("Bench One", "chart.jpg", stored.source.sha256, "24-patch colour chart", "veil"):
        assert words in shown
    assert main(["corrections", "remove", name]) == 0
    assert capsys.readouterr().out.startswith(f"Removed: {name}")
    assert main(["corrections"]) == 0
    told = capsys.readouterr()
    assert told.out == ""
    assert "None is kept yet" in told.err


@pytest.mark.usefixtures("data")
def test_the_commands_json_has_one_shape(stored: StoredCorrection, capsys: pytest.CaptureFixture[str]) -> None:
    name = keep_correction(stored).name
    told = []
    for words in (["list"], ["show", name], ["remove", name]):
        assert main(["corrections", *words, "--json"]) == 0
        told.append(json.loads(capsys.readouterr().out))
    listed, shown, removed = told
    assert listed["corrections"] == [shown] == [removed]
    assert shown["residual"]["mean"] == pytest.approx(stored.residual.mean, rel=1e-8)
    assert (shown["camera"], shown["lens"], shown["light"]) == ("Bench One", "main", "shop")


@pytest.mark.usefixtures("data")
def test_a_name_that_is_not_there_is_told_with_the_nearest(
    stored: StoredCorrection, capsys: pytest.CaptureFixture[str]
) -> None:
    name = keep_correction(stored).name
    for action in ("show", "remove"):
        assert main(["corrections", action, name[:-1]]) == 1
        assert f"Did you mean {name}?" in capsys.readouterr().err
    assert main(["corrections", "show", "../../../etc/passwd"]) == 1
    assert "no correction is called" in capsys.readouterr().err


@pytest.mark.usefixtures("data")
@pytest.mark.parametrize("words", [["show"], ["remove"], ["list", "x"], ["burn", "x"]])
def test_half_a_command_is_wrong_usage(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["corrections", *words]) == 2
    assert capsys.readouterr().out == ""


@pytest.mark.usefixtures("data")
def test_a_damaged_file_is_listed_with_its_fault_and_can_be_removed(capsys: pytest.CaptureFixture[str]) -> None:
    corrections_folder().mkdir(parents=True)
    (corrections_folder() / "old.json").write_text('{"kind": "evenb', encoding="utf-8")
    assert main(["corrections"]) == 0
    assert "old: cannot be used, it is damaged" in capsys.readouterr().out
    assert main(["corrections", "show", "old", "--json"]) == 0
    assert "damaged" in json.loads(capsys.readouterr().out)["fault"]
    assert main(["corrections", "remove", "old"]) == 0
    assert list(corrections_folder().iterdir()) == []


@pytest.mark.usefixtures("data")
def test_a_file_from_anybody_does_not_steer_the_terminal(
    stored: StoredCorrection, capsys: pytest.CaptureFixture[str]
) -> None:
    name = keep_correction(replace(stored, source=replace(stored.source, reference="\x1b[2Jgone"))).name
    assert main(["corrections", "show", name]) == 0
    assert "\x1b" not in capsys.readouterr().out


def test_a_folder_that_cannot_be_made_is_told_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stored: StoredCorrection
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "file"))
    measurement = replace(paper_measurement(tmp_path), corrections=(stored,))
    with pytest.raises(Exception, match=f"cannot be kept in .*{DATA_VARIABLE}=FOLDER"):
        keep_corrections(measurement)


def paper_measurement(folder: Path) -> Measurement:
    return replace(example_measurement(boards=(), folder=folder), overlays=())


@pytest.mark.usefixtures("data")
def test_what_was_kept_and_what_not_is_said(tmp_path: Path, stored: StoredCorrection) -> None:
    nothing = paper_measurement(tmp_path)
    (said,) = keep_corrections(nothing)
    assert said.startswith("No correction is kept: no photo was measured by a chart or step card.")
    kept, not_kept = keep_corrections(replace(nothing, corrections=(stored,), not_kept=("b.jpg: it has no name",)))
    assert kept.startswith("Kept for later jobs: bench-one-main-shop-")
    assert not_kept == "No correction is kept of b.jpg: it has no name."


# --- job.toml --------------------------------------------------------------------------------------------------------

FROM = {"from": CHART, "edition": "from-2015"}


def job_with(folder: Path, correction: Mapping[str, Any], *photos: Mapping[str, Any], **job: Any) -> Path:  # noqa: ANN401 - those of write_job
    write_job(folder, (SHOP_BOARD,), photos or ({"file": BOARD, "board": "A", "light": "shop"},), **job)
    lines = ["", "[correction]", *(f"{key} = {json.dumps(value)}" for key, value in correction.items())]
    if correction:
        with (folder / "job.toml").open("a", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
    (folder / "photos").mkdir(exist_ok=True)
    for name in (CHART, BOARD, OTHER):
        (folder / name).touch()
    return folder


def test_a_correction_by_a_photo_holds_and_takes_the_light_of_all_photos(tmp_path: Path) -> None:
    wish = read_job(job_with(tmp_path, FROM)).correction
    assert wish is not None
    assert wish.reference is not None
    assert (wish.photo, wish.reference.kind, wish.reference.edition, wish.light) == (
        CHART, "chart-24", "from-2015", "shop"
    )  # fmt: skip


def test_the_template_teaches_a_correction_that_holds(tmp_path: Path) -> None:
    """Once by a photo, once by what is stored."""
    template = published_file("job_template.toml").read_text(encoding="utf-8")
    (tmp_path / "photos").mkdir()
    for name in re.findall(r'"(photos/[\w-]+\.jpg)"', template):
        (tmp_path / name).touch()
    for keys in (("from", "edition", "light", "card"), ("stored",)):
        lines = template.replace("# [correction]", "[correction]").split("\n")
        taught = [re.sub(rf"^#   (?=({'|'.join(keys)}) = )", "", line) for line in lines]
        (tmp_path / "job.toml").write_text("\n".join(taught), encoding="utf-8")
        wish = read_job(tmp_path).correction
        assert wish is not None
        assert (wish.photo is None) is (keys == ("stored",))


@pytest.mark.parametrize(
    ("correction", "words"),
    [
        ({}, ""),
        ({"stored": True}, ""),
        (FROM | {"kind": "chart-24", "light": "shop", "card": [[1, 1], [9, 1], [9, 9], [1, 9]]}, ""),
        ({"from": CHART, "kind": "step-card", "reflectance": [0.9, 0.18, 0.03]}, ""),
        ({"edition": "from-2015"}, 'correction.from: missing; expected either from = "photos/chart.jpg"'),
        (FROM | {"stored": True}, "correction.stored: found true; expected either from"),
        ({"stored": False}, "correction.stored: found false; expected true"),
        ({"stored": True, "edition": "from-2015"}, "correction.edition: found"),
        ({"from": CHART}, "correction.edition: missing"),
        ({"from": "photos/none.jpg", "edition": "from-2015"}, "which is not there"),
        (FROM | {"kind": "gray-card"}, 'expected "chart-24" or "step-card"'),
        (FROM | {"kind": "step-card"}, "correction.edition: found edition, which does not go with it"),
        (FROM | {"light": "shp"}, 'Did you mean "shop"?'),
        (FROM | {"card": [1, 2]}, "correction.card"),
        (FROM | {"edtion": "x"}, "Did you mean edition?"),
    ],
)
def test_every_key_of_the_correction_is_checked(tmp_path: Path, correction: Mapping[str, Any], words: str) -> None:
    folder = job_with(tmp_path, correction)
    if not words:
        assert (read_job(folder).correction is not None) is bool(correction)
        return
    with pytest.raises(JobFileError) as refused:
        read_job(folder)
    assert words in str(refused.value)
    assert all(problem.line for problem in refused.value.problems)


def test_a_correction_stands_beside_gray_cards_only(tmp_path: Path) -> None:
    reference = {"kind": "chart-24", "edition": "from-2015"}
    with pytest.raises(JobFileError, match=r"correction: found a table; expected no \[correction\] beside a chart-24"):
        read_job(job_with(tmp_path, FROM, reference=reference))


def test_where_photos_have_several_lights_the_charts_own_must_be_said(tmp_path: Path) -> None:
    photos = [{"file": BOARD, "board": "A", "light": "shop"}, {"file": OTHER, "board": "A", "light": "window"}]
    with pytest.raises(JobFileError, match=r'correction\.light: missing; expected .* "shop" or "window"'):
        read_job(job_with(tmp_path, FROM, *photos))


# --- a job -----------------------------------------------------------------------------------------------------------


def shot(folder: Path, photographed: Mapping[str, RenderedPhoto], **tags: Any) -> Path:  # noqa: ANN401 - values of EXIF tags
    """Put the chart's photo and the board's into a job, and the board's once more with other tags."""
    values_file(folder)
    save_photo(folder / CHART, photographed[CHART], exif=TAGS)
    save_photo(folder / BOARD, photographed[BOARD], exif=TAGS)
    save_photo(folder / OTHER, photographed[BOARD], exif=TAGS | {Base[tag]: value for tag, value in tags.items()})
    return folder


BY_CHART = {"from": CHART, "values": "chart.csv", "light": "shop"}


def test_a_job_measures_later_photos_by_its_chart_and_others_as_without(
    tmp_path: Path, photographed: Mapping[str, RenderedPhoto]
) -> None:
    """The other photo differs in one tag only: another camera. Its zone is what it is without any correction."""
    photos = [{"file": BOARD, "board": "A", "light": "shop"}, {"file": OTHER, "board": "A", "stage": "sealed"}]
    photos[1]["light"] = "shop"
    found = measure_job(shot(job_with(tmp_path / "a", BY_CHART, *photos), photographed, Model="Two")).results
    alone = measure_job(shot(job_with(tmp_path / "b", {}, *photos), photographed, Model="Two")).results
    assert [photo.correction for photo in found.photos] == ["stored", "gray card"]
    assert [photo.correction for photo in alone.photos] == ["gray card", "gray card"]
    assert "correction-used" in codes(found, BOARD)
    (said,) = [one for one in found.photos[1].findings if one.code == "correction-not-fitting"]
    assert "its camera is Bench One, the photo's Bench Two" in said.message
    truth = {f"A/{zone.id}": zone.Lab for zone in photographed[BOARD].truth.board("A").zones}
    off, gray_off = [], []
    for zone, other in zip(found.zones, alone.zones, strict=True):
        if zone.stage == "sealed":
            assert zone == other
            continue
        off.append(float(delta_E_00(np.array(zone.lab), np.array(truth[zone.id]))))
        gray_off.append(float(delta_E_00(np.array(other.lab), np.array(truth[zone.id]))))
        assert zone.lab_u95 is not None
        assert other.lab_u95 is not None
        assert sum(zone.lab_u95) < 0.6 * sum(other.lab_u95)
    assert np.mean(off) < 0.8
    assert np.mean(gray_off) > 2.0
    again = read_results(results_json(found))
    assert [photo.correction for photo in again.photos] == ["stored", "gray card"]


@pytest.mark.parametrize(
    ("correction", "light", "words"),
    [
        (BY_CHART, "window", "its light is shop, the photo's window"),
        ({**BY_CHART, "from": BOARD}, "shop", "cannot be used: the colour chart was not found"),
        ({"stored": True}, "shop", "none is kept yet"),
    ],
)
@pytest.mark.usefixtures("data")
def test_without_a_fitting_correction_the_reason_is_told_and_the_gray_card_counts(
    tmp_path: Path, photographed: Mapping[str, RenderedPhoto], correction: Mapping[str, Any], light: str, words: str
) -> None:
    second = {"file": OTHER, "board": "A", "light": "shop", "stage": "bare"}
    photo = {"file": BOARD, "board": "A", "light": light}
    folder = shot(job_with(tmp_path, correction, photo, second), photographed)
    found = measure_job(folder).results
    (said,) = [one for one in found.photos[0].findings if one.code == "correction-not-fitting"]
    assert words in said.message
    assert found.photos[0].correction == "gray card"


@pytest.mark.usefixtures("data")
def test_damaged_files_stop_no_job_and_are_named(tmp_path: Path) -> None:
    corrections_folder().mkdir(parents=True)
    (corrections_folder() / "old.json").write_bytes(b"{")
    available = available_corrections(read_job(job_with(tmp_path, {"stored": True})))
    assert available.corrections == ()
    assert available.faults[0].startswith("old.json cannot be used, it is damaged")


@pytest.mark.usefixtures("data")
def test_a_job_with_a_chart_keeps_what_a_later_job_uses(
    tmp_path: Path, photographed: Mapping[str, RenderedPhoto], capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the command: the first job has a chart in its photo, the second a gray card."""
    first = job_with(tmp_path / "first", {}, reference={"kind": "chart-24", "values": "chart.csv"})
    values_file(first)
    save_photo(first / BOARD, photographed["with chart"], exif=TAGS)
    assert main(["measure", str(first), "--keep-correction"]) == 0
    assert "Kept for later jobs: bench-one-main-shop-" in capsys.readouterr().err
    second = shot(job_with(tmp_path / "second", {"stored": True}), photographed)
    found = measure_job(second).results
    assert [photo.correction for photo in found.photos] == ["stored"]
    truth = photographed[BOARD].truth.board("A").zones
    off = [
        float(delta_E_00(np.array(zone_of(found, f"A/{zone.id}", "shop").lab), np.array(zone.Lab))) for zone in truth
    ]
    assert np.mean(off) < 1.0


def test_only_errors_of_one_correction_cancel_across_photos() -> None:
    """Two photos, one camera, one light: by one stored correction, each by its own chart, or by the card alone."""

    def width(first: str, second: str) -> float:
        sights = [
            sight_of(
                reading_of(blocks_of((45.0, 14.0, 22.0 + k))),
                photo=f"{k}.jpg",
                light_name="shop",
                correction=replace(GRAY_CARD, tone_from=source, camera_from=source),
            )
            for k, source in enumerate((first, second))
        ]
        return float(np.trace(covariance_of(pair_budget(sights[:1], sights[1:]))))

    assert width("c", "c") == pytest.approx(width("", ""))
    assert width("c", "c") < 0.5 * width("c", "d")
    assert width("c", "d") == pytest.approx(width("", "d"))
