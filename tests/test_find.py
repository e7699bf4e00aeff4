"""`evenboard find`: what is meant by a colour, where it looks, and what it says when nothing is found."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from photo_files import pillow_file
from PIL import Image
from recorded_jobs import Recorded, write_recorded
from simulator import RenderedPhoto

from analyzer import FindRequest, Query, find_records, measure_job, results_json
from analyzer.cli import main
from analyzer.errors import RecordError
from analyzer.record import job_entry
from analyzer.record.near import near_colour
from analyzer.record.photo_colour import photo_colour
from analyzer.record.photo_date import taken_on, zone_date
from analyzer.results import DifferenceResult
from analyzer.user_data import DATA_VARIABLE
from calibration.colorspace import Lab_to_XYZ, XYZ_to_Lab
from calibration.difference import delta_E_00
from calibration.errors import CalibrationError


@pytest.fixture(autouse=True)
def own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "data"


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    root = tmp_path / "jobs"
    write_recorded(
        root / "hall",
        [
            Recorded((48.0, 0.0, 0.0), "A/sample"),
            Recorded((50.0, 0.0, 0.0), "A/near", treatment="glue size"),
            Recorded((47.0, 0.0, 0.0), "A/stained", stage="stained"),
        ],
    )
    write_recorded(root / "desk", [Recorded((51.0, 0.0, 0.0), "D/far", species="white oak")], name="Desk")
    return root


def found(jobs: Path, query: Query = Query(), near: str | None = None) -> list[str]:  # noqa: B008 - it is frozen
    return [zone.id for zone in find_records(FindRequest(query, near, folders=(jobs,))).zones]


# --- where it looks --------------------------------------------------------------------------------------------------


def test_folders_are_remembered_and_else_it_is_the_current_one(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert find_records(FindRequest(Query())).recorded == 4  # the current folder holds the jobs
    monkeypatch.chdir(jobs / "desk")
    assert find_records(FindRequest(Query())).recorded == 1
    assert find_records(FindRequest(Query(), folders=(jobs,))).recorded == 4
    again = find_records(FindRequest(Query()))
    assert (again.recorded, again.looked_in) == (4, (jobs,))
    assert find_records(FindRequest(Query(), forget=(jobs,))).recorded == 1
    with pytest.raises(RecordError, match="no folder"):
        find_records(FindRequest(Query(), folders=(jobs / "nowhere",)))


def test_a_rebuilt_index_finds_the_same(jobs: Path, own_data: Path) -> None:
    before = found(jobs, Query(), "48,0,0")
    index = own_data / "record" / "index.sqlite"
    index.write_bytes(b"damaged" * 1000)
    answer = find_records(FindRequest(Query(), "48,0,0"))
    assert [zone.id for zone in answer.zones] == before
    assert any("made anew" in note for note in answer.notes)
    assert [zone.id for zone in find_records(FindRequest(Query(), "48,0,0", rebuild=True)).zones] == before


# --- which colour is meant -------------------------------------------------------------------------------------------


def test_a_value_a_zone_and_nothing_are_told_apart(jobs: Path) -> None:
    assert near_colour("38, 14.5 22").lab == (38.0, 14.5, 22.0)
    assert near_colour(f"{jobs}/hall:A/sample").lab == (48.0, 0.0, 0.0)
    for wrong, told in [
        ("38,14", "no colour, zone or photo"),
        ("138,14,22", "L.* lies in 0 to 100"),
        ("1.2.3,4,5", "no CIELAB value"),
        (f"{jobs}/hall:A/sampel", "Did you mean A/sample"),
        (f"{jobs}/hallo:A/sample", "cannot be read"),
    ]:
        with pytest.raises(RecordError, match=told):
            near_colour(wrong)


def test_the_latest_stage_of_a_zone_is_meant_unless_another_is_named(jobs: Path) -> None:
    zones = [
        Recorded((40.0, 0.0, 0.0), "A/z", stage="topcoated", light="shop"),
        Recorded((41.0, 0.0, 0.0), "A/z", stage="stained"),
        Recorded((42.0, 0.0, 0.0), "A/z", stage="topcoated", light="Window"),
    ]
    write_recorded(jobs / "stages", zones)
    named = f"{jobs}/stages:A/z"
    assert near_colour(named).lab[0] == 40.0
    assert near_colour(named, stage="stained").lab[0] == 41.0
    assert near_colour(named, light="window").lab[0] == 42.0
    with pytest.raises(RecordError, match="It was measured topcoated in light shop"):
        near_colour(named, stage="bare")


def test_colours_are_compared_at_the_stage_of_the_zone_that_is_named(jobs: Path) -> None:
    """The zone itself is no answer; of two zones apart along L* at 50, CIEDE2000 is the difference in L*."""
    near = f"{jobs}/hall:A/sample"
    answer = find_records(FindRequest(Query(), near, folders=(jobs,)))
    assert [zone.id for zone in answer.zones] == ["A/near", "D/far"]
    assert answer.zones[0].de00 == pytest.approx(2.0, abs=0.05)
    assert answer.total == 2
    assert any("--stage any" in note for note in answer.notes)
    assert found(jobs, Query(stage="any"), near) == ["A/stained", "A/near", "D/far"]
    assert found(jobs, Query(limit=1), near) == ["A/near"]


def test_within_one_job_its_own_paired_difference_counts(jobs: Path) -> None:
    """Its photos show both zones; across jobs the doubt of both values joins: sqrt(1 + 1) in L*, near L* 50."""
    path = jobs / "hall" / "results.json"
    results = job_entry.read_results(path.read_bytes())
    pair = DifferenceResult("A/sample", "A/near", "topcoated", "shop", 1.9, 0.2, 2.0, 2.0, 0.0, 0.0, 0.0, 0.0)
    path.write_bytes(results_json(replace(results, differences=(pair,))))
    answer = find_records(FindRequest(Query(), f"{jobs}/hall:A/sample", folders=(jobs,)))
    near, far = answer.zones
    assert (near.de00, near.de00_u95) == (1.9, 0.2)
    assert far.de00_u95 == pytest.approx(np.sqrt(2), rel=0.1)


def test_a_photo_outside_any_job_is_measured_by_its_gray_card(shop_job: Path) -> None:
    """Against what the same photo gives as a job, zone by zone: three zones of one size make the board's mean."""
    zones = measure_job(shop_job).results.zones
    mean = XYZ_to_Lab(np.mean([Lab_to_XYZ(np.array(zone.lab)) for zone in zones], axis=0))
    read = photo_colour(shop_job / "a.jpg")
    assert float(delta_E_00(read.lab, mean)) < 0.6  # rims between zones count here, not there
    assert min(read.lab_u95) > 0
    assert {"far-too-few-pixels", "too-few-pixels"}.isdisjoint(finding.code for finding in read.findings)


def test_a_region_of_a_photo_is_read_alone(shop_job: Path, shop: RenderedPhoto) -> None:
    """A square within the middle zone, by the board's corners in the photo."""
    (washcoat,) = [zone for zone in measure_job(shop_job).results.zones if zone.id == "A/washcoat"]
    x, y = np.mean(shop.truth.board("A").corners_px, axis=0)
    read = photo_colour(shop_job / "a.jpg", (x - 60, y - 60, x + 60, y + 60))
    assert float(delta_E_00(read.lab, washcoat.lab)) < 1.0
    for region, told in [
        ((0, 0, 50, 50), "at least 100"),
        ((0, 0, 5000, 400), "not inside"),
        ((9, 9, 5, 5), "not inside"),
    ]:
        with pytest.raises(RecordError, match=told):
            photo_colour(shop_job / "a.jpg", region)


def test_a_photo_without_a_card_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "plain.jpg").write_bytes(pillow_file(np.full((600, 800, 3), 90, np.uint8), "JPEG"))
    with pytest.raises(CalibrationError):
        near_colour("plain.jpg")


# --- what it says ----------------------------------------------------------------------------------------------------


def test_a_miss_says_what_to_loosen(jobs: Path) -> None:
    query = Query(species="maple", treatment="size", stage="topcoated", verdict="use", within=3)
    answer = find_records(FindRequest(query, "50,0,0", folders=(jobs,)))
    assert answer.zones == ()
    assert answer.loosen == ("Without --verdict: 1 zone.",)
    far = find_records(FindRequest(Query(species="oak", within=0.5), "50,0,0", folders=(jobs,)))
    assert far.loosen[0].startswith("The nearest is 1.0 away: --within ")
    assert float(far.loosen[0].split()[-1].rstrip(".")) >= 1.0
    assert "Without --species: 1 zone." in far.loosen
    (jobs.parent / "empty").mkdir()
    nothing = find_records(FindRequest(Query(), folders=(jobs.parent / "empty",)))
    assert nothing.loosen == ("No measured job lies in these folders: name others, --in FOLDER.",)


@pytest.mark.parametrize(
    ("query", "told"),
    [
        (Query(since="last year"), "no day"),
        (Query(until="2026-3"), "no day"),
        (Query(stage="dry"), "no stage dry"),
        (Query(within=2), "needs a colour"),
    ],
)
def test_what_makes_no_sense_is_told(jobs: Path, query: Query, told: str) -> None:
    with pytest.raises(RecordError, match=told):
        found(jobs, query)


def test_a_month_means_all_its_days(jobs: Path) -> None:
    write_recorded(jobs / "dated", [Recorded((50.0, 0.0, 0.0), "A/dated")], board_facts="date = 2026-03-31")
    assert found(jobs, Query(since="2026-03", until="2026-03")) == ["A/dated"]
    assert found(jobs, Query(since="2026-03-31", until="2026-03-31")) == ["A/dated"]
    assert "A/dated" not in found(jobs, Query(since="2026-04"))
    assert found(jobs, Query(until="2026-02")) == []


def test_broken_and_unmeasured_jobs_are_told(jobs: Path) -> None:
    (jobs / "desk" / "results.json").write_text("{", encoding="utf-8")
    (jobs / "hall" / "results.json").unlink()
    notes = find_records(FindRequest(Query(), folders=(jobs,))).notes
    assert any("desk: results.json cannot be read" in note for note in notes)
    assert any(note == "Not measured yet: hall." for note in notes)


def test_an_approved_zone_is_found_as_such(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One approval that was changed by hand afterwards does not count."""

    def approvals(folder: Path) -> tuple[SimpleNamespace, ...]:
        name = "A/near" if folder.name == "hall" else "D/far"
        same_as = (name, "topcoated", "shop")
        return (SimpleNamespace(same_as=same_as, name="1", supersedes=None, is_whole=name == "A/near"),)

    monkeypatch.setattr(job_entry, "approvals_of", approvals)
    assert found(jobs, Query(is_approved=True)) == ["A/near"]


def test_an_approval_that_is_only_the_target_approves_no_zone_of_this_job(
    jobs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A re-order keeps a copy of the earlier job's approval; its zones may well have the same names."""
    old = SimpleNamespace(same_as=("A/near", "topcoated", "shop"), name="2025-A-near", supersedes=None, is_whole=True)
    monkeypatch.setattr(job_entry, "approvals_of", lambda folder: (old,) if folder.name == "hall" else ())
    text = (jobs / "hall" / "job.toml").read_text(encoding="utf-8")
    again = text.replace("lab = [40, 15, 25]", 'approved = "approvals/2025-A-near.json"')
    (jobs / "hall" / "job.toml").write_text(again, encoding="utf-8")
    assert found(jobs, Query(is_approved=True)) == []


def test_the_day_is_the_cameras_then_the_recipes_then_the_files(tmp_path: Path) -> None:
    assert zone_date(["2026-02-02", None, "2026-01-01"], {"date": "2025-01-01"}, 0) == ("2026-01-01", "photo")
    assert zone_date([None], {"date": "2025-01-01"}, 0) == ("2025-01-01", "recipe")
    assert zone_date([], {"date": "2025-02-31"}, 1_700_000_000 * 10**9)[1] == "file"
    assert taken_on(tmp_path / "nowhere.jpg") is None
    (tmp_path / "short.jpg").write_bytes(b"\xff\xd8Exif\0\0II*\0")
    assert taken_on(tmp_path / "short.jpg") is None


def test_the_day_of_a_photo_is_read_from_its_beginning(tmp_path: Path) -> None:
    """As Pillow wrote it."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2024:05:01 12:30:00"
    for kind in ("jpg", "png", "tif"):
        Image.new("RGB", (64, 64)).save(tmp_path / f"a.{kind}", exif=exif.tobytes())
        assert taken_on(tmp_path / f"a.{kind}") == "2024-05-01"


def test_the_command_prints_a_table_and_json(jobs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = ["find", "--in", str(jobs), "--near", f"{jobs}/hall:A/sample"]
    assert main(line) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "2.0 ± 1.4 0.8 ± 0.2 cannot tell Hall bench for Ottilie Brandvold: A/near, topcoated, shop" in printed
    assert "jobs/hall" in printed
    assert "2 of 2 zones." in printed
    assert main([*line, "--json", "--limit", "1"]) == 0
    content = json.loads(capsys.readouterr().out)
    assert [zone["id"] for zone in content["zones"]] == ["A/near"]
    assert content["total"] == 2
    assert main(["find", "Desk", "shellac", "--json"]) == 0
    assert [zone["id"] for zone in json.loads(capsys.readouterr().out)["zones"]] == ["D/far"]
    assert main(["find", "--species", "ebony"]) == 0
    output = capsys.readouterr()
    assert output.out == ""
    assert "Nothing found among 4 zones of 2 jobs." in output.err
    assert "Without --species: 4 zones." in output.err
    assert main(["find", "--region", "1,2"]) == 2
    assert main(["find", "--order", "nearest"]) == 2


def test_what_comes_from_a_job_file_does_not_steer_the_terminal(jobs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.rmtree(jobs / "hall")
    path = jobs / "desk" / "results.json"
    path.write_bytes(path.read_bytes().replace(b"white oak", b"white \\u001b[31moak"))
    assert main(["find", "--in", str(jobs)]) == 0
    assert "\x1b" not in capsys.readouterr().out
