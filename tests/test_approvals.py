"""What an approval promises: written once, its own hash, every later change told in words, a target for a re-order."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from approval_examples import LAB, PHOTO, XYZ, edit, paper_approval, paper_sight, paper_zone, put
from board_jobs import write_job
from part_photos import approved_board, approved_job, photo_of_parts

from analyzer import (
    ApprovalError,
    ApprovalTerms,
    JobFileError,
    approvals_of,
    approve_zone,
    check_approvals,
    measure_job,
    read_job,
)
from analyzer.approval_changes import Change, changes_since, sha256_of, tables_of
from analyzer.approvals import Approval, ApprovedJob, approval_json, current_approvals, read_approval
from analyzer.approved_zone import difference_to_approved, zone_of_record
from analyzer.compare import difference
from analyzer.measure import METHOD
from analyzer.photos import measure_photo
from analyzer.pooling import MeasuredZone

DAY = date(2026, 3, 10)
NAME = "2026-03-02-A-washcoat-topcoated-shop"


def changes(folder: Path, approval: Approval, today: date = DAY, method: str = METHOD) -> tuple[Change, ...]:
    return changes_since(folder, approval, method=method, today=today)


def job_with_photo(folder: Path) -> Path:
    """A job file and the photo that the paper approval rests on."""
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "a.jpg").write_bytes(PHOTO)
    photos = [{"file": "photos/a.jpg", "board": "A", "light": "shop"}]
    return write_job(folder, [approved_board()], photos, target={"lab": [38, 14, 22]})


def of_job(folder: Path) -> ApprovedJob:
    """What the paper approval would have recorded of that job."""
    job = read_job(folder)
    (folder / "results.json").write_text(
        json.dumps({"zones": [{"id": "A/washcoat", "stage": "topcoated", "light": "shop", "lab": LAB}]}), "utf-8"
    )
    tables = tables_of(job.as_read, ["A/washcoat"], ["photos/a.jpg"])
    hashes = [sha256_of(folder / name) or "" for name in ("job.toml", "results.json")]
    return replace(paper_approval().job, job_toml_sha256=hashes[0], results_sha256=hashes[1], tables=tables)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return job_with_photo(tmp_path / "bench")


@pytest.fixture
def approval(folder: Path) -> Approval:
    return put(folder, paper_approval(job=of_job(folder)))


# --- the file --------------------------------------------------------------------------------------------------------


def test_an_approval_is_read_as_it_was_written(tmp_path: Path) -> None:
    written = paper_approval(range_boards=(paper_zone(id="L/light"), paper_zone(id="D/dark")), until="2027-01-01")
    read = put(tmp_path, written)
    assert read.is_whole
    assert replace(read, sha256="") == written
    assert approvals_of(tmp_path) == (read,)


@pytest.mark.parametrize(("key", "value"), [("by", "Somebody else"), ("until", "2099-01-01"), ("more", 1)])
def test_an_edit_by_hand_is_seen(tmp_path: Path, key: str, value: object) -> None:
    put(tmp_path, paper_approval())
    edit(tmp_path, NAME, key, value)
    (read,) = approvals_of(tmp_path)
    assert not read.is_whole
    assert "changed after it was written" in changes(tmp_path, read)[0].says


def test_other_spacing_and_another_order_of_keys_are_no_edit(tmp_path: Path) -> None:
    put(tmp_path, paper_approval())
    path = tmp_path / "approvals" / f"{NAME}.json"
    content = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(dict(reversed(content.items()))), encoding="utf-8")
    assert read_approval(path).is_whole


def test_a_newer_format_is_refused_by_name(tmp_path: Path) -> None:
    put(tmp_path, paper_approval())
    edit(tmp_path, NAME, "format", 2)
    with pytest.raises(ApprovalError, match="format 2, which a newer Evenboard wrote"):
        read_approval(tmp_path / "approvals" / f"{NAME}.json")


@pytest.mark.parametrize("content", [b"", b"{", b'{"kind": "evenboard approval"}', b"[1]", b"\xff\xfe"])
def test_a_damaged_file_is_told_and_does_no_harm_to_the_others(tmp_path: Path, content: bytes) -> None:
    good = put(tmp_path, paper_approval())
    (tmp_path / "approvals" / "bad.json").write_bytes(content)
    assert approvals_of(tmp_path) == (good,)
    bad = check_approvals(tmp_path, today=DAY)[-1]
    assert (bad.name, bad.approval, bad.in_force) == ("bad", None, False)
    assert bad.fault


def test_without_approvals_there_are_none(tmp_path: Path) -> None:
    assert approvals_of(tmp_path) == ()
    assert approvals_of(tmp_path / "nowhere") == ()


def test_a_later_approval_of_the_same_zone_supersedes_and_the_earlier_one_stays(tmp_path: Path) -> None:
    first = put(tmp_path, paper_approval())
    second = put(tmp_path, paper_approval(date="2026-04-01T09:00:00+00:00", supersedes=first.name), "second")
    other_light = put(tmp_path, paper_approval(zone=paper_zone(light="window")), "third")
    assert {one.name for one in approvals_of(tmp_path)} == {first.name, second.name, other_light.name}
    assert {one.name for one in current_approvals(approvals_of(tmp_path))} == {second.name, other_light.name}


# --- what has changed ------------------------------------------------------------------------------------------------


def test_where_nothing_changed_nothing_is_said(folder: Path, approval: Approval) -> None:
    assert changes(folder, approval) == ()


def test_a_changed_photo_is_named(folder: Path, approval: Approval) -> None:
    (folder / "photos" / "a.jpg").write_bytes(PHOTO + b"!")
    assert [change.says for change in changes(folder, approval)] == ["photo a.jpg was changed after approval"]
    (folder / "photos" / "a.jpg").unlink()
    assert [change.says for change in changes(folder, approval)] == ["photos/a.jpg is no longer there"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('stain = "walnut brown"', 'stain = "black"', 'zone A/washcoat, stain: "walnut brown" became "black"'),
        ("length = 160.0", "length = 170.0", "board A, length: 160.0 became 170.0"),
        ("reflectance = 0.18", "reflectance = 0.2", "[reference], reflectance: 0.18 became 0.2"),
        ('light = "shop"', 'light = "window"', 'photo photos/a.jpg, light: "shop" became "window"'),
    ],
)
def test_a_change_of_the_job_that_the_approval_rests_on_is_told(
    folder: Path, approval: Approval, old: str, new: str, said: str
) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "job.toml").write_text(text.replace(old, new), encoding="utf-8")
    (change,) = changes(folder, approval)
    assert change.says == f"job.toml was changed after approval: {said}"
    assert change.matters


def test_a_change_of_the_job_elsewhere_is_only_noted(folder: Path, approval: Approval) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(text.replace('name = "Test"', 'name = "Bench"'), encoding="utf-8")
    (change,) = changes(folder, approval)
    assert not change.matters
    assert "in nothing that this approval rests on" in change.says


@pytest.mark.parametrize(("shift", "matters"), [(0.01, False), (0.3, True)])
def test_results_made_anew_matter_when_they_give_another_colour(
    folder: Path, approval: Approval, shift: float, matters: bool
) -> None:
    lab = [LAB[0] + shift, *LAB[1:]]
    content = {"zones": [{"id": "A/washcoat", "stage": "topcoated", "light": "shop", "lab": lab}]}
    (folder / "results.json").write_text(json.dumps(content, indent=1), encoding="utf-8")
    (change,) = changes(folder, approval)
    assert (change.kind, change.matters) == ("results", matters)


def test_another_method_and_the_end_of_the_agreed_time_are_told(folder: Path, approval: Approval) -> None:
    assert [change.kind for change in changes(folder, approval, method="a better one")] == ["method"]
    ended = replace(approval, until="2026-03-09")
    assert [change.kind for change in changes(folder, ended)] == ["time"]
    assert changes(folder, ended, today=date(2026, 3, 9)) == ()


# --- comparing with the record ---------------------------------------------------------------------------------------


def test_a_zone_made_from_its_record_has_the_same_colour_and_the_same_doubts(tmp_path: Path) -> None:
    """The zone itself, measured from its photo, is the oracle."""
    approval = approved_job(tmp_path)
    job = read_job(tmp_path)
    (seen,) = measure_photo(job, "photos/a.jpg").boards
    measured = MeasuredZone(seen.board, seen.board.zones[0], "stained", "shop", (seen.sights["washcoat"],))
    recorded = zone_of_record(approval.zone)
    np.testing.assert_allclose(recorded.Lab, measured.Lab, atol=1e-5)
    np.testing.assert_allclose(recorded.Lab_u95, measured.Lab_u95, rtol=1e-5)
    np.testing.assert_allclose(recorded.blotch, measured.blotch, rtol=1e-6)
    other = zone_of_record(paper_zone(sights=(paper_sight(camera=None),)))
    from_record, from_photo = difference(recorded, other), difference(measured, other)
    np.testing.assert_allclose(from_record.covariance, from_photo.covariance, rtol=1e-5)


def test_the_same_card_and_camera_in_the_same_light_cancel_and_in_another_do_not() -> None:
    approval = paper_approval()
    again = zone_of_record(paper_zone(sights=(paper_sight(sha256="b" * 64),)))
    elsewhere = zone_of_record(paper_zone(light="window", sights=(paper_sight(sha256="b" * 64),)))
    near, far = difference_to_approved(approval, again), difference_to_approved(approval, elsewhere)
    assert near.de00 == far.de00 == pytest.approx(0, abs=1e-9)
    assert near.de00_u95 is not None
    assert far.de00_u95 is not None
    assert near.de00_u95 < 1.2
    assert far.de00_u95 > 3


def test_with_range_boards_the_line_between_them_is_what_counts() -> None:
    """A colour half way between light and dark lies on the line, wherever the approved zone is."""
    light, dark = (np.array(XYZ) * factor for factor in (1.2, 0.8))
    ends = tuple(
        paper_zone(id=name, sights=(paper_sight(xyz=tuple(colour)),))
        for name, colour in (("L/light", light), ("D/dark", dark))
    )
    approval = paper_approval(range_boards=ends)
    middle = zone_of_record(paper_zone(sights=(paper_sight(sha256="c" * 64),)))
    assert difference_to_approved(approval, middle).de00 < 0.15
    beyond = zone_of_record(paper_zone(sights=(paper_sight(xyz=tuple(light * 1.2)),)))
    assert difference_to_approved(approval, beyond).de00 > 2


# --- approving -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Approval]:
    folder = tmp_path_factory.mktemp("bench")
    return folder, approved_job(folder, not_covered="edges", until="2031-12-31")


def test_the_approval_holds_what_results_json_holds(bench: tuple[Path, Approval]) -> None:
    folder, approval = bench
    (zone,) = json.loads((folder / "results.json").read_text(encoding="utf-8"))["zones"]
    np.testing.assert_allclose(approval.zone.lab, zone["lab"], rtol=1e-5)
    np.testing.assert_allclose(approval.zone.lab_u95, zone["lab_u95"], rtol=1e-4)
    assert approval.zone.blotch == pytest.approx(zone["blotch"], rel=1e-4)
    assert approval.zone.recipe == {}
    assert (approval.limits.tolerance, approval.limits.blotch, approval.limits.wish) == (2.0, 1.0, "even")
    assert approval.job.files[0].sha256 == sha256_of(folder / "photos" / "a.jpg")
    assert changes_since(folder, approval, method=METHOD, today=DAY) == ()


def test_a_second_approval_gets_a_name_of_its_own(tmp_path: Path) -> None:
    first = approved_job(tmp_path, date="2026-03-02")
    before = (tmp_path / "approvals" / f"{first.name}.json").read_bytes()
    second = approve_zone(tmp_path, "A/washcoat", ApprovalTerms("C. Other", "a tighter run", date="2026-03-02"))
    assert second.name != first.name
    assert second.supersedes == first.name
    assert (tmp_path / "approvals" / f"{first.name}.json").read_bytes() == before
    assert [state.in_force for state in check_approvals(tmp_path, today=DAY)] == [False, True]


@pytest.mark.parametrize(
    ("zone", "terms", "said"),
    [
        ("A/washcoats", {}, "Did you mean A/washcoat"),
        ("A/washcoat", {"by": " "}, "who approves is not said"),
        ("A/washcoat", {"scope": ""}, "what the approval covers is not said"),
        ("A/washcoat", {"covers": ("smell",)}, "not smell"),
        ("A/washcoat", {"until": "soon"}, "soon is no date"),
        ("A/washcoat", {"date": "2026-03-02", "until": "2026-03-01"}, "ended before it began"),
    ],
)
def test_what_makes_no_sense_is_refused(
    bench: tuple[Path, Approval], zone: str, terms: dict[str, object], said: str
) -> None:
    with pytest.raises(ApprovalError, match=said):
        approve_zone(bench[0], zone, replace(ApprovalTerms("O. Brandvold", "all doors"), **terms))


def test_results_of_other_photos_are_refused(tmp_path: Path) -> None:
    approved_job(tmp_path)
    photo_of_parts(tmp_path / "photos" / "a.jpg", [approved_board(1.4)])
    with pytest.raises(ApprovalError, match="not of this job as it stands"):
        approve_zone(tmp_path, "A/washcoat", ApprovalTerms("O. Brandvold", "all doors"))
    (tmp_path / "results.json").unlink()
    with pytest.raises(ApprovalError, match="nothing was measured yet"):
        approve_zone(tmp_path, "A/washcoat", ApprovalTerms("O. Brandvold", "all doors"))


# --- a re-order ------------------------------------------------------------------------------------------------------


def reorder(folder: Path, target: dict[str, object]) -> Path:
    photo_of_parts(folder / "photos" / "b.jpg", [approved_board(1.0, seed=9)])
    photos = [{"file": "photos/b.jpg", "board": "A", "light": "shop", "stage": "stained"}]
    return write_job(folder, [approved_board(seed=9)], photos, target=target)


def test_a_new_job_is_judged_against_the_old_approval(bench: tuple[Path, Approval], tmp_path: Path) -> None:
    """Wherever the file lies; its tolerance and stage come along."""
    folder, approval = bench
    path = folder / "approvals" / f"{approval.name}.json"
    outside = reorder(tmp_path / "outside", {"approved": str(path)})
    assert read_job(outside).target.tolerance == 2.0
    (verdict,) = measure_job(outside).results.verdicts
    assert verdict.de00 is not None
    assert verdict.de00 < 1.5
    assert verdict.de00_u95 is not None
    assert verdict.de00_u95 < 2.5  # two values, each as unsure as a gray card leaves them, would be 10 and more
    inside = reorder(tmp_path / "inside", {"approved": "approved.json", "tolerance": 3.5})
    (inside / "approved.json").write_bytes(path.read_bytes())
    job = read_job(inside)
    assert (job.target.tolerance, job.target.stage, job.target.lab) == (3.5, "stained", approval.zone.lab)


def test_another_light_and_another_sheen_are_not_compared(bench: tuple[Path, Approval], tmp_path: Path) -> None:
    _, approval = bench
    for change, said in (({"light": "window"}, "another light"), ({"sheen": "gloss"}, "another sheen")):
        name = next(iter(change))
        folder = reorder(tmp_path / name, {"approved": "approved.json"})
        of_zone = replace(approval.zone, **change)
        (folder / "approved.json").write_bytes(approval_json(replace(approval, zone=of_zone)))
        text = (folder / "job.toml").read_text(encoding="utf-8")
        (folder / "job.toml").write_text(
            text.replace('stain = "walnut brown"', 'stain = "walnut brown"\nsheen = "satin"'), encoding="utf-8"
        )
        (verdict,) = measure_job(folder).results.verdicts
        assert verdict.colour == "cannot tell"
        assert said in verdict.advice


@pytest.mark.parametrize(
    ("target", "found"),
    [
        ({"approved": "gone.json"}, "cannot be read"),
        ({"approved": "edited.json"}, "changed after it was written"),
        ({"approved": "approved.json", "lab": [38, 14, 22]}, "exactly one"),
        ({"approved": "approved.json", "stage": "bare"}, "the stage that was approved"),
        ({"approved": 4}, "the path of an approval"),
    ],
)
def test_a_target_that_does_not_hold_is_told_with_its_line(
    bench: tuple[Path, Approval], tmp_path: Path, target: dict[str, object], found: str
) -> None:
    folder = reorder(tmp_path, target)
    text = approval_json(bench[1]).decode()
    (folder / "approved.json").write_text(text, encoding="utf-8")
    (folder / "edited.json").write_text(text.replace("all doors", "all windows"), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        read_job(folder)
    problem = next(one for one in caught.value.problems if found in str(one))
    assert problem.line is not None
    assert problem.key.startswith("target.")
