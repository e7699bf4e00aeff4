"""A zone is approved and frozen; whatever is changed afterwards is seen and said."""

import shutil
from pathlib import Path

import pytest

from analyzer import measure_job, write_results
from analyzer.approval.approve import ApprovalTerms, approve_zone
from analyzer.approval.check import check_approvals
from analyzer.approvals import approvals_of
from analyzer.results import Results

DEMO = Path(__file__).parent.parent / "sample_images" / "hall-bench"
ZONE = "A/washcoat"


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Results]:
    """The demo, measured in a folder of its own."""
    folder = tmp_path_factory.mktemp("jobs") / "hall-bench"
    shutil.copytree(DEMO / "photos", folder / "photos")
    shutil.copy(DEMO / "job.toml", folder)
    measurement = measure_job(folder)
    write_results(measurement, folder)
    approve_zone(folder, ZONE, ApprovalTerms(by="O. Brandvold", scope="colour of the bench", date="2026-11-20"))
    return folder, measurement.results


@pytest.fixture
def job(measured: tuple[Path, Results], tmp_path: Path) -> Path:
    """A copy of it, to be changed."""
    return Path(shutil.copytree(measured[0], tmp_path / "job"))


def test_an_approval_holds_what_was_measured_and_agreed(measured: tuple[Path, Results]) -> None:
    folder, results = measured
    (approval,) = approvals_of(folder)
    zone = next(one for one in results.zones if one.id == ZONE and one.stage == "topcoated")
    assert approval.zone.lab == pytest.approx(zone.lab, abs=0.02)
    assert (approval.by, approval.scope) == ("O. Brandvold", "colour of the bench")
    assert [state.changes for state in check_approvals(folder)] == [()]


def test_a_changed_tolerance_is_said(job: Path) -> None:
    text = (job / "job.toml").read_text(encoding="utf-8")
    assert "tolerance = 2.0" in text
    (job / "job.toml").write_text(text.replace("tolerance = 2.0", "tolerance = 1.5"), encoding="utf-8")
    (state,) = check_approvals(job)
    assert any("tolerance: 2.0 became 1.5" in change.says for change in state.changes)


def test_a_changed_photo_is_said_by_its_name(job: Path) -> None:
    with (job / "photos" / "a-topcoated.jpg").open("ab") as photo:
        photo.write(b"\0")
    (state,) = check_approvals(job)
    assert any("a-topcoated.jpg" in change.says for change in state.changes)


def test_an_edited_approval_is_not_taken_for_what_was_signed(job: Path) -> None:
    (file,) = (job / "approvals").glob("*.json")
    text = file.read_text(encoding="utf-8")
    file.chmod(0o644)
    file.write_text(text.replace("O. Brandvold", "O. Somebody"), encoding="utf-8")
    (state,) = check_approvals(job)
    assert state.changes
