"""Topcoats foretold, earlier jobs found, `match.json` written, and what `evenboard match` says when it cannot."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from mix_jobs import Lab_of, measured_job, stained, wood
from test_match import board, sample

import analyzer
from analyzer.cli import NOT_MEASURED, main
from analyzer.errors import FolderError, MatchError
from analyzer.match.files import MATCH, match_json, read_match, write_match
from analyzer.match.match import Wanted, match_job, match_of
from analyzer.match.terminal import match_summary
from analyzer.match.under_coat import KnownShift, under_coats
from analyzer.record.index import open_index
from analyzer.report.jsonfile import read_results, results_json
from analyzer.results import DosePointResult, DoseResult, Results, StageShiftResult
from calibration.difference import delta_E_00

COAT = np.array([-6.0, 2.0, 5.0])  # what the topcoat does
FOUND = StageShiftResult(
    "stained", "topcoated", None, "hard maple", "brown", "clear lacquer", "satin", ("B/brown",), 2,
    float(COAT[0]), float(COAT[1]), float(COAT[2]), (0.4, 0.3, 0.4), (0.5, 0.2, 0.3), 6.0,
)  # fmt: skip
COATED = {"topcoat": "clear lacquer", "sheen": "satin"}


def results_of(folder: Path) -> Results:
    return read_results((folder / "results.json").read_bytes())


def with_shifts(folder: Path, *shifts: StageShiftResult) -> Results:
    """Put shifts into a job's results, as `evenboard measure` would have found them."""
    results = replace(results_of(folder), stage_shifts=shifts)
    (folder / "results.json").write_bytes(results_json(results))
    return results


def one_zone(folder: Path, **keys: Any) -> Path:  # noqa: ANN401 - keys of the zone
    """A stained zone that still gets its coat; the target was agreed on coated wood."""
    zones = {"A/brown": {"Lab": (48.0, 12.0, 20.0), "stain": "brown", **COATED, **keys}}
    coated_target = {"lab": [42.0, 14.0, 26.0], "stage": "topcoated"}
    return measured_job(folder, zones, target=coated_target)


# ---- under the coat


def test_a_zone_is_foretold_under_the_coat_that_others_got(tmp_path: Path) -> None:
    folder = one_zone(tmp_path)
    results = with_shifts(folder, FOUND)
    (coat,), missing = under_coats(analyzer.read_job(folder), results, ())
    assert missing == ()
    assert coat.lab == pytest.approx((42.0, 14.0, 25.0))
    assert coat.de00 == pytest.approx(float(delta_E_00((42.0, 14.0, 26.0), (42.0, 14.0, 25.0))))
    assert coat.lab_u95 is not None
    own, mean, single = 0.4, 0.4, 1.96 * 0.5  # of L*: the zone's own, the mean vector's, that of a single zone
    assert coat.lab_u95[0] == pytest.approx(np.sqrt(own**2 + mean**2 + single**2), rel=1e-3)
    assert coat.learnt_from == "this job"
    assert coat.says.startswith("A/brown will look like L* 42.0, a* 14.0, b* 25.0 (± ")
    assert "from the target then 0." in coat.says


@pytest.mark.parametrize(
    ("of_shift", "of_zone", "fits"),
    [
        ({"species": "cherry"}, {}, False),
        ({"stain": "red"}, {}, False),
        ({"sheen": "gloss"}, {}, False),
        ({"topcoat": "shellac"}, {}, False),
        ({"stage_from": "sealed"}, {}, False),
        ({"stain": "Brown "}, {}, True),
        ({"sheen": None, "topcoat": None}, {}, True),  # nothing is known to differ
    ],
)
def test_a_vector_holds_for_the_same_wood_stain_coat_and_sheen_only(
    tmp_path: Path, of_shift: dict[str, Any], of_zone: dict[str, Any], fits: bool
) -> None:
    folder = one_zone(tmp_path, **of_zone)
    results = with_shifts(folder, replace(FOUND, **of_shift))
    coats, missing = under_coats(analyzer.read_job(folder), results, ())
    assert bool(coats) is fits
    assert bool(missing) is not fits
    if not fits:
        assert "photograph a board of it stained, coat it, and photograph it again" in missing[0]
        assert "brown on hard maple" in missing[0]


def test_stains_of_one_kind_lend_each_other_their_vector(tmp_path: Path) -> None:
    """As recorded: an oil dye of another name, but not a stain of unknown kind."""
    folder = one_zone(tmp_path, stain_kind="oil dye")
    results, job = results_of(folder), analyzer.read_job(folder)
    other = replace(FOUND, stain="walnut")
    lent = KnownShift(other, frozenset({"oil dye"}), "jobs/last year")
    (coat,), _ = under_coats(job, results, [lent])
    assert coat.learnt_from == "jobs/last year"
    assert under_coats(job, results, [replace(lent, stain_kinds=frozenset())])[0] == ()
    assert under_coats(job, results, [replace(lent, stain_kinds=frozenset({"oil dye", "gel"}))])[0] == ()


def test_the_vector_of_this_job_is_preferred(tmp_path: Path) -> None:
    folder = one_zone(tmp_path)
    results = with_shifts(folder, FOUND)
    elsewhere = KnownShift(replace(FOUND, dl=-20.0), frozenset(), "elsewhere")
    (coat,), _ = under_coats(analyzer.read_job(folder), results, [elsewhere])
    assert coat.lab[0] == pytest.approx(42.0)


# ---- earlier jobs


@pytest.fixture
def shop(tmp_path: Path) -> tuple[Path, Path]:
    """A record of two earlier jobs, one of another wood, and the index that knows them."""
    for name, species, Lab, dwell in (
        ("bench", "hard maple", (58.0, 16.0, 28.0), "10 min"),
        ("chair", "cherry", (59.0, 16.6, 28.2), "3 min"),
    ):
        (tmp_path / "jobs" / name).mkdir(parents=True)
        keys = {"Lab": Lab, "stain": "amber", "dwell": dwell}
        measured_job(tmp_path / "jobs" / name, {"Q/amber": keys}, species=species, target={"lab": [50, 10, 20]})
    index = tmp_path / "index.sqlite"
    with open_index(index) as opened:
        opened.remember([tmp_path / "jobs"])
    folder = tmp_path / "now"
    folder.mkdir()
    target = stained(wood(), walnut_brown=0.45, red_mahogany=0.15)
    return measured_job(folder, {**board("A", dwell="3 min"), **sample(target)}), index


def test_earlier_zones_of_the_same_wood_are_found_with_what_differs(shop: tuple[Path, Path]) -> None:
    folder, index = shop
    found = match_job(folder, Wanted(index=index))
    (earlier,) = found.earlier
    assert (earlier.zone, earlier.species, earlier.stain) == ("Q/amber", "hard maple", "amber")
    target = np.array(found.settings[0].target_lab)
    assert earlier.de00 == pytest.approx(float(delta_E_00(target, (58.0, 16.0, 28.0))), abs=1e-4)
    assert "dwell 10 min (here 3 min)" in earlier.differs
    assert any(words.startswith("stain amber (here ") for words in earlier.differs)


def test_topcoats_are_learnt_from_earlier_jobs(shop: tuple[Path, Path], tmp_path: Path) -> None:
    _, index = shop
    with_shifts(tmp_path / "jobs" / "bench", FOUND)
    folder = tmp_path / "coat"
    folder.mkdir()
    zones = {"A/brown": {"Lab": (48.0, 12.0, 20.0), "stain": "brown", **COATED}}
    found = match_job(measured_job(folder, zones, target={"lab": [48, 12, 20]}), Wanted(index=index))
    (coat,) = found.coats
    assert coat.learnt_from.endswith("bench")
    assert coat.lab == pytest.approx((42.0, 14.0, 25.0))
    assert coat.de00 is None  # the target was agreed at no stage that is known


def test_a_record_that_cannot_be_opened_is_said_and_does_no_harm(shop: tuple[Path, Path], tmp_path: Path) -> None:
    folder, _ = shop
    (tmp_path / "file").write_text("no folder")
    found = match_job(folder, Wanted(index=tmp_path / "file" / "index.sqlite"))
    assert found.earlier == ()
    assert "could not be looked through" in found.notes[-1]
    assert found.settings[0].mixes


# ---- the dose


def test_the_best_dose_is_taken_over_with_what_was_tried(folder: Path) -> None:
    points = tuple(
        DosePointResult(dose, f"{dose:g} % solids", boards, de00, 0.4, de00, 0.0, 0.0, None, "match", 0.3, 0.1, "even")
        for dose, boards, de00 in ((3.0, 2, 2.0), (8.0, 2, 3.0), (5.0, 0, 0.8))
    )
    found = DoseResult(
        "washcoat", "brown", "hard maple", "stained", None, "solids", points[:2], 5.0, (4.0, 6.0), points[2],
        "5 % solids meets the limits",
    )  # fmt: skip
    other = replace(found, species="cherry")
    results = replace(results_of(folder), doses=(found, other))
    (setting,) = match_of(analyzer.read_job(folder), results)
    (dose,) = setting.doses
    assert (dose.dose, dose.words, dose.tried, dose.is_between) == (5.0, "5 % solids", (3.0, 8.0), True)
    assert (dose.de00, dose.de00_u95, dose.colour) == (0.8, 0.4, "match")


# ---- the file and the command


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    target = stained(wood(), walnut_brown=0.45, red_mahogany=0.15)
    return measured_job(tmp_path, {**board("A", 0.9), **board("B", 1.1), **sample(target)})


def test_the_file_says_what_the_answer_says(folder: Path) -> None:
    found = match_job(folder, Wanted(with_record=False))
    path = write_match(found, folder)
    again = read_match(path.read_bytes())
    parts, kept = ([(part.stain, part.parts) for part in one.settings[0].mixes[0].stains] for one in (found, again))
    assert parts == kept
    assert again.settings[0].mixes[0].lab == pytest.approx(found.settings[0].mixes[0].lab, rel=1e-5)
    assert again.settings[0].mixes[0].trial_board == found.settings[0].mixes[0].trial_board
    assert match_json(again) == match_json(found)
    assert sorted(file.name for file in folder.iterdir()) == sorted(
        ["A-stained.jpg", "B-stained.jpg", "S-stained.jpg", "job.toml", MATCH, "results.json"]
    )


def test_a_file_of_a_later_format_is_refused(folder: Path) -> None:
    text = match_json(match_job(folder, Wanted(with_record=False)))
    later = msgspec.json.encode({**msgspec.json.decode(text), "format": 2})
    with pytest.raises(ValueError, match=r"format 2; this version reads format 1"):
        read_match(later)
    with pytest.raises(ValueError, match="not a match file"):
        read_match(b"{}")


def test_the_command_prints_a_summary_or_the_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["match", "--no-record", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "Mix\n" in told
    assert "parts brown" in told
    assert "[[board]]" in told
    assert main(["match", "--no-record", "--json", str(folder)]) == 0
    printed = capsys.readouterr().out
    assert printed.encode() == (folder / MATCH).read_bytes()
    assert json.loads(printed)["settings"][0]["mixes"][0]["boards"] == 2


@pytest.mark.parametrize("width", [40, 72, 100])
def test_no_line_of_the_summary_is_wider_than_the_terminal(folder: Path, width: int) -> None:
    found = match_job(folder, Wanted(with_record=False))
    prose = match_summary(found, width).split("[[board]]")[0]
    assert max(len(line) for line in prose.splitlines()) <= width


def test_names_from_another_job_do_not_steer_the_terminal(folder: Path) -> None:
    found = match_job(folder, Wanted(with_record=False))
    told = match_summary(replace(found, job="Be\x1b[2Jnch", notes=("an \x1b[2J earlier folder",)))
    assert "\x1b" not in told
    assert "Be" in told


def test_a_job_that_was_not_measured_is_sent_to_be(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "results.json").unlink()
    assert main(["match", "--no-record", str(folder)]) == NOT_MEASURED
    assert f"Run: evenboard measure {folder}" in capsys.readouterr().err
    assert not (folder / MATCH).exists()


def test_results_of_another_job_file_are_not_used(folder: Path) -> None:
    job_file = folder / "job.toml"
    job_file.write_text(job_file.read_text(encoding="utf-8").replace("Painted", "Repainted"), encoding="utf-8")
    with pytest.raises(MatchError, match=r"job.toml has changed since results.json was written"):
        match_job(folder, Wanted(with_record=False))
    (folder / "results.json").write_text("{}")
    with pytest.raises(MatchError, match="cannot be read"):
        match_job(folder, Wanted(with_record=False))


def test_a_target_of_another_stage_cannot_be_told(tmp_path: Path) -> None:
    """The reason is the verdicts' own."""
    folder = measured_job(tmp_path, board("A"), target={"lab": [40, 14, 22], "stage": "topcoated"})
    with pytest.raises(MatchError, match=r"could be held against the target.*agreed on topcoated wood"):
        match_job(folder, Wanted(with_record=False))


def test_zones_of_another_sheen_than_the_sample_take_no_part(tmp_path: Path) -> None:
    zones = {**board("A", sheen="gloss"), **board("B", sheen="satin")}
    zones |= {"S/sample": {"Lab": Lab_of(wood() + 0.2), "treatment": "unknown", "sheen": "satin"}}
    (setting,) = match_job(measured_job(tmp_path, zones), Wanted(with_record=False)).settings
    assert setting.mixes[0].boards == 1


def test_a_folder_that_cannot_be_written_to_is_said(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = match_job(folder, Wanted(with_record=False))

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("analyzer.match.files.swap_in", full)
    with pytest.raises(FolderError, match=r"match.json could not be written.*No space left"):
        write_match(found, folder)
