"""Production parts held against an approved zone: any form, any scale, in a run; what cannot be done is told."""

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from approval_examples import paper_approval
from board_photos import corners
from part_photos import approved_board, approved_job, part_board, photo_of_parts
from PIL import Image
from simulator import Background, Board, PaintedZone
from strip_photos import photograph

from analyzer import (
    ApprovalError,
    JobFileError,
    PartFlags,
    VerifyRequest,
    photos_by_flags,
    read_job,
    verification_summary,
    verify_parts,
)
from analyzer.approval.first_article import first_article
from analyzer.approval.part_photo import see_parts
from analyzer.approval.results import PartResult, Verification
from analyzer.approval.run import run_of
from analyzer.approval.verify_file import read_verify_file
from analyzer.approval.wanted import PartWanted, PhotoWanted
from analyzer.approval.write import CSV, JSON, PAGE, read_verification, write_verification
from analyzer.cli import main
from analyzer.correction_choice import NOT_ASKED_FOR
from calibration.difference import delta_E_00

NOW = datetime(2026, 3, 6, 12, 0, tzinfo=UTC)
SIZE = (180.0, 120.0)
Truth = tuple[float, float, float]


def truth(rendered: Any, board: str, zone: str) -> Truth:  # noqa: ANN401 - a rendered photo
    return tuple(rendered.truth.board(board).zone(zone).Lab)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Truth]:
    """An approved job, and the truth of its zone."""
    folder = tmp_path_factory.mktemp("bench")
    approved_job(folder)
    again = photo_of_parts(folder / "photos" / "a.jpg", [approved_board()])  # the same photo, byte for byte
    return folder, truth(again, "A", "washcoat")


@pytest.fixture(scope="module")
def door(bench: tuple[Path, Truth]) -> tuple[Path, Truth, list[Any]]:
    """A part much like the approved zone: its photo, its truth, its corners."""
    path = bench[0] / "photos" / "door.jpg"
    rendered = photo_of_parts(path, [part_board(1.02)], minute=1, seed=4)
    return path, truth(rendered, "P", "face"), corners(rendered, "P").tolist()


@pytest.fixture(scope="module")
def dark_door(bench: tuple[Path, Truth]) -> Path:
    path = bench[0] / "photos" / "dark.jpg"
    photo_of_parts(path, [part_board(1.6)], minute=2, seed=5)
    return path


def verified(folder: Path, paths: Path | Sequence[Path], mode: Any = "run", **flags: Any) -> Verification:  # noqa: ANN401 - as verify takes them
    named = [paths] if isinstance(paths, Path) else paths
    request = VerifyRequest(photos_by_flags(named, PartFlags(**({"light": "shop"} | flags))), mode=mode)
    return verify_parts(folder, request, now=NOW).verification


def only(found: Verification) -> PartResult:
    (part,) = found.parts
    return part


# --- one part, any form ----------------------------------------------------------------------------------------------

FORMS: dict[str, Callable[[list[Any]], dict[str, Any]]] = {
    "outline": lambda _: {},
    "outline, size": lambda _: {"size_mm": SIZE},
    "corners": lambda quad: {"corners": (quad,)},
    "corners, size": lambda quad: {"corners": (quad,), "size_mm": SIZE},
    "polygon": lambda quad: {"polygons": (tuple(cut(quad)),)},
    "polygon, size": lambda quad: {"polygons": (tuple(cut(quad)),), "size_mm": SIZE},
}


def cut(quad: list[Any]) -> list[tuple[float, float]]:
    """The same part with its top-right corner cut off, as a polygon."""
    a, b, c, d = (np.array(corner) for corner in quad)
    return [(float(x), float(y)) for x, y in (a, a + 0.7 * (b - a), b + 0.3 * (c - b), c, d)]


@pytest.mark.parametrize("form", FORMS)
def test_a_part_is_measured_however_it_is_given(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], form: str
) -> None:
    """Colour against the painted truth; evenness only where the scale is known."""
    folder, approved = bench
    path, true, quad = door
    part = only(verified(folder, path, **FORMS[form](quad)))
    assert part.de00 is not None
    assert part.de00_u95 is not None
    assert abs(part.de00 - float(delta_E_00(approved, true))) < part.de00_u95
    assert part.de00_u95 < 2
    assert part.colour == "within"
    assert part.located_by == form.split(",", maxsplit=1)[0]
    if "size" in form:
        assert part.scale == "size given"
        assert part.evenness == "within"
        assert part.overall == "within"
    else:
        assert part.scale is None
        assert part.blotch is None
        assert part.evenness == "not judged"
        assert "the scale is not known" in part.says
        assert "scale-unknown" in [found.code for found in part.findings]


def test_blotch_is_the_same_by_outline_polygon_and_corners(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]
) -> None:
    forms = [only(verified(bench[0], door[0], **FORMS[f"{form}, size"](door[2]))) for form in ("outline", "corners")]
    assert forms[0].blotch == pytest.approx(forms[1].blotch, rel=0.05)


def test_edge_strips_give_the_scale_of_a_part_whose_size_nobody_said(tmp_path: Path) -> None:
    """Seen at 3 px/mm by strips: the corners' distance in mm is the board's, and its blotch is measured."""
    scene = photograph(300, 150, px_per_mm=3.0, falloff=0.1)
    card = np.array(
        [[10.0, 10.0], [60.0, 10.0], [60.0, 50.0], [10.0, 50.0]]
    )  # no card in the scene: given on the board
    path = tmp_path / "part.png"
    Image.fromarray(scene.photo.codes).save(path)
    quad = tuple(map(tuple, scene.true_px([[0, 0], [300, 0], [300, 150], [0, 150]]).tolist()))
    job_folder = tmp_path / "job"
    approved_job(job_folder)
    wanted = PhotoWanted(
        path, "part.png", "stained", "shop", (PartWanted("p", corners=quad),), card=tuple(scene.true_px(card).tolist())
    )
    (part,) = see_parts(read_job(job_folder), wanted, NOT_ASKED_FOR, None).parts
    assert part.scale == "edge strips"
    assert part.zone is not None
    assert part.zone.board.length_mm == pytest.approx(300, abs=3)
    assert part.zone.board.width_mm == pytest.approx(150, abs=2)
    assert part.zone.blotch is not None
    assert "light-not-mapped" not in [found.code for found in part.findings]


def test_several_parts_of_one_photo_by_corners(bench: tuple[Path, Truth]) -> None:
    """The second is darker, and is told so."""
    path = bench[0] / "photos" / "two.jpg"
    second = replace(part_board(1.7, seed=60, size_mm=(180, 100)), id="Q", top_left_mm=(0, 215))
    rendered = photo_of_parts(path, [part_board(1.0), second])
    quads = tuple(tuple(map(tuple, corners(rendered, board).tolist())) for board in ("P", "Q"))
    found = verified(bench[0], path, corners=quads)
    assert [part.id for part in found.parts] == ["two 1", "two 2"]
    assert [part.colour for part in found.parts] == ["within", "outside"]
    assert "dark" in found.parts[1].directions
    assert found.run is not None
    assert len(found.run.points) == 1  # one photo, one point of the chart


def test_on_a_cluttered_bench_the_outline_is_not_guessed_and_corners_do(bench: tuple[Path, Truth]) -> None:
    folder, approved = bench
    path = folder / "photos" / "clutter.png"
    rendered = photo_of_parts(folder / "photos" / "plain.png", [part_board(1.02)], seed=4)
    picture = cv2.cvtColor(cv2.imread(str(folder / "photos" / "plain.png")), cv2.COLOR_BGR2RGB)
    quad, card = corners(rendered, "P"), np.array(rendered.truth.card_corners_px)
    keep = np.zeros(picture.shape[:2], np.uint8)
    for shape in (quad, card):
        cv2.fillConvexPoly(keep, np.round(shape).astype(np.int32), 1)
    rng = np.random.default_rng(2)
    for _ in range(250):
        x, y = rng.integers(0, picture.shape[1]), rng.integers(0, picture.shape[0])
        w, h = rng.integers(15, 90, 2)
        block = picture[y : y + h, x : x + w]
        block[keep[y : y + h, x : x + w] == 0] = rng.integers(20, 230, 3)
    Image.fromarray(picture).save(path)
    lost = only(verified(folder, path))
    by_hand = only(verified(folder, path, corners=(quad.tolist(),)))
    if lost.is_measured:  # whatever was taken for the part must be the part
        assert lost.de00 == pytest.approx(by_hand.de00, abs=0.5)
    else:
        assert any("corners" in found.remedy for found in lost.findings)
    assert by_hand.de00 is not None
    assert by_hand.de00_u95 is not None
    true = float(delta_E_00(approved, truth(rendered, "P", "face")))
    assert abs(by_hand.de00 - true) < by_hand.de00_u95


# --- what cannot be measured -----------------------------------------------------------------------------------------


def test_a_cat_a_missing_card_and_a_missing_file_are_told_and_the_others_are_done(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]
) -> None:
    folder = bench[0]
    cat, bare, gone = (folder / "photos" / name for name in ("cat.png", "no-card.jpg", "gone.jpg"))
    Image.fromarray(skimage.data.chelsea()).save(cat)
    photo_of_parts(bare, [part_board()], card=False)
    found = verified(folder, [cat, bare, gone, door[0]], size_mm=SIZE)
    said = {part.id: [one.message for one in part.findings if one.severity == "unusable"] for part in found.parts}
    assert "does not look like a photo of a board" in said["cat"][0] or "card was not found" in said["cat"][0]
    assert "card was not found" in said["no-card"][0]
    assert said["gone"]
    assert [part.is_measured for part in found.parts] == [False, False, False, True]
    assert found.parts[3].overall == "within"
    assert [photo.usable for photo in found.photos] == [False, False, False, True]
    assert found.run is not None
    assert found.run.parts == 1


def test_two_parts_without_corners_or_sizes_are_not_guessed_apart(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]
) -> None:
    wanted = PhotoWanted(door[0], "door.jpg", "stained", "shop", (PartWanted("one"), PartWanted("two")))
    found = verify_parts(bench[0], VerifyRequest((wanted,)), now=NOW).verification
    assert not any(part.is_measured for part in found.parts)
    assert "not all of their sizes are known" in found.parts[0].findings[0].message


# --- what is compared ------------------------------------------------------------------------------------------------


def test_with_the_approved_board_beside_the_part_the_doubt_is_smaller(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]
) -> None:
    """And the board itself is held against its approval."""
    folder, _ = bench
    path = folder / "photos" / "beside.jpg"
    board = replace(approved_board(), top_left_mm=(10, 215))
    rendered = photo_of_parts(path, [part_board(1.3), board])
    wanted = PhotoWanted(
        path,
        "beside.jpg",
        "stained",
        None,
        (PartWanted("p", corners=tuple(map(tuple, corners(rendered, "P").tolist()))),),
        board="A",
        board_corners=tuple(map(tuple, corners(rendered, "A").tolist())),
    )
    found = verify_parts(folder, VerifyRequest((wanted,)), now=NOW).verification
    part = only(found)
    assert part.compared == "same photo"
    true = float(delta_E_00(truth(rendered, "A", "washcoat"), truth(rendered, "P", "face")))
    assert part.de00 is not None
    assert part.de00_u95 is not None
    assert abs(part.de00 - true) < part.de00_u95 < 1.5
    alone = only(verified(folder, door[0], light=None))
    assert alone.compared == "across photos"
    assert alone.de00_u95 is not None
    assert alone.de00_u95 > 4  # a light without a name is another light
    assert "--light shop" in alone.settles
    (words,) = found.boards
    assert "no change that can be told" in words


@pytest.mark.parametrize(
    ("flags", "said"),
    [({"light": "window"}, "in the light “shop”"), ({"stage": "bare"}, "nothing was approved bare")],
)
def test_another_light_or_stage_is_not_compared(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], flags: dict[str, Any], said: str
) -> None:
    if "stage" in flags:
        with pytest.raises(ApprovalError, match=said):
            verified(bench[0], door[0], **flags)
        return
    part = only(verified(bench[0], door[0], **flags))
    assert (part.colour, part.de00) == ("cannot tell", None)
    assert said in part.says


def test_another_wood_is_judged_and_said(bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]) -> None:
    part = only(verified(bench[0], door[0], species="cherry"))
    assert part.other_species
    assert part.colour == "within"
    assert "another wood: cherry, approved on hard maple" in part.says


def test_what_the_approval_does_not_cover_is_not_judged(tmp_path: Path, door: tuple[Path, Truth, list[Any]]) -> None:
    approved_job(tmp_path, covers=("sheen",))
    part = only(verified(tmp_path, door[0], size_mm=SIZE))
    assert (part.colour, part.evenness, part.overall) == ("not judged", "not judged", "not judged")
    assert part.de00 is not None
    assert "does not cover colour" in part.says
    told = verification_summary(verified(tmp_path, door[0]), 200)
    assert "Sheen not judged here: compare by eye with the approved board." in told


def test_a_change_after_approval_is_said_at_every_verification(
    tmp_path: Path, door: tuple[Path, Truth, list[Any]]
) -> None:
    approval = approved_job(tmp_path)
    Image.open(tmp_path / "photos" / "a.jpg").save(tmp_path / "photos" / "a.jpg", quality=60)
    (against,) = verified(tmp_path, door[0]).approvals
    assert against.changes == ("photo a.jpg was changed after approval",)
    path = tmp_path / "approvals" / f"{approval.name}.json"
    path.write_text(path.read_text(encoding="utf-8").replace("all doors", "everything"), encoding="utf-8")
    with pytest.raises(ApprovalError, match="was changed after it was written"):
        verified(tmp_path, door[0])


def test_without_an_approval_nothing_is_verified(tmp_path: Path, door: tuple[Path, Truth, list[Any]]) -> None:
    approved_job(tmp_path)
    shutil.rmtree(tmp_path / "approvals")
    with pytest.raises(ApprovalError, match="nothing was approved in this job yet"):
        verified(tmp_path, door[0])


# --- a run, a first part, an old piece -------------------------------------------------------------------------------


def part_of_run(place: int, dL: float, overall: str = "within", photo: str = "") -> PartResult:
    """A part as a run sees it."""
    part = PartResult(
        *(f"door-{place}", photo or f"{place}.jpg", None, place, None, False, None, "x", None, None, None),
        *((40.0 + dL, 14.0, 22.0), None, abs(dL), 0.5, abs(dL), dL, 0.0, 0.0, 0.0, 0.0, {}, ()),
        *("within", None, None, None, "not judged", overall, "", "", None, ()),
    )
    return replace(part, colour=overall)


def test_a_run_counts_and_names_the_first_that_is_outside() -> None:
    shifts = [0.1, -0.2, 0.2, -0.1, 0.0, -0.3, 0.2, -3.0]
    parts = [part_of_run(k + 1, dL, "outside" if dL < -2 else "within") for k, dL in enumerate(shifts)]
    run = run_of(parts, by_time=True)
    assert run is not None
    assert (run.parts, run.within, run.outside, run.cannot_tell) == (8, 7, 1, 0)
    assert run.share_within == pytest.approx(7 / 8)
    assert run.mean is not None
    assert run.mean[0] == pytest.approx(np.mean(shifts))
    assert run.spread is not None
    assert run.spread[0] == pytest.approx(np.std(shifts, ddof=1))
    assert run.left_at == "door-8"
    assert run.series[0].beyond == (7,)
    assert "the first that is outside is door-8" in run.says


def test_a_drifting_run_is_told_with_its_direction_and_amount() -> None:
    rng = np.random.default_rng(6)
    run = run_of([part_of_run(k, -0.15 * k + rng.normal(0, 0.1)) for k in range(1, 11)], by_time=False)
    assert run is not None
    assert run.ordered_by == "order given"
    assert "from the first to the last they drifted: 1." in run.says
    assert "darker" in run.says


def test_parts_of_one_photo_make_one_point() -> None:
    parts = [part_of_run(k, 0.1 * k, photo=f"{k // 2}.jpg") for k in range(12)]
    run = run_of(parts, by_time=False)
    assert run is not None
    assert run.points == tuple(f"{k}.jpg" for k in range(6))
    assert run.series[0].points == pytest.approx([0.05 + 0.2 * k for k in range(6)])


def test_parts_stand_in_the_order_in_which_they_were_photographed(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], dark_door: Path
) -> None:
    """By the camera's clock, whatever the order of naming."""
    found = verified(bench[0], [dark_door, door[0]])
    assert [part.id for part in found.parts] == ["door", "dark"]
    assert found.run is not None
    assert found.run.ordered_by == "time taken"
    assert found.run.left_at == "dark"


def test_a_good_first_part_goes_and_a_dark_one_stops_with_what_to_check(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], dark_door: Path
) -> None:
    good = verified(bench[0], door[0], "first article", size_mm=SIZE).first_article
    assert good is not None
    assert (good.decision, good.reasons, good.check_first) == ("go", (), ())
    bad = verified(bench[0], dark_door, "first article", size_mm=SIZE).first_article
    assert bad is not None
    assert bad.decision == "stop"
    assert any("wiped late" in check.what for check in bad.check_first)
    assert all(check.source for check in bad.check_first)


def test_a_first_part_of_unknown_scale_or_in_a_doubtful_photo_is_neither_go_nor_stop(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], dark_door: Path
) -> None:
    """Evenness is covered, and was not judged; a warning is enough."""
    unknown = verified(bench[0], door[0], "first article").first_article
    assert unknown is not None
    assert unknown.decision == "cannot tell"
    assert any("evenness" in reason for reason in unknown.reasons)
    part = only(verified(bench[0], dark_door, size_mm=SIZE))
    warned = replace(part, findings=(replace(_any_finding(bench, door), severity="warning"),))
    assert first_article(part, paper_approval()).decision == "stop"
    assert first_article(warned, paper_approval()).decision == "cannot tell"


def _any_finding(bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]) -> Any:  # noqa: ANN401 - a finding
    return only(verified(bench[0], door[0])).findings[0]


def test_an_old_piece_is_told_apart_and_not_judged(tmp_path: Path) -> None:
    """The days between are those of the cameras' clocks; no word on what will be."""
    approval = approved_job(tmp_path)
    path = tmp_path / "old.jpg"
    photo_of_parts(path, [part_board(1.6)], minute=5)
    part = only(verified(tmp_path, path, "aged"))
    assert (part.colour, part.overall) == ("not judged", "not judged")
    assert "darker" in part.says
    assert "not foretold" in part.says
    approved_on = datetime.fromisoformat(approval.date)
    assert part.days == (datetime(2026, 3, 5, 10, 5, tzinfo=UTC) - approved_on).days
    assert only(verified(tmp_path, tmp_path / "photos" / "a.jpg", "aged")).says.startswith(
        "since the approval: no change"
    )


# --- files and commands ----------------------------------------------------------------------------------------------


def test_each_run_gets_a_folder_of_its_own_and_reads_back(
    tmp_path: Path, bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]
) -> None:
    request = VerifyRequest(photos_by_flags([door[0]], PartFlags(light="shop", size_mm=SIZE)))
    seen = verify_parts(bench[0], request, now=NOW)
    first, second = write_verification(seen, tmp_path), write_verification(seen, tmp_path)
    assert [path.name for path in (first, second)] == ["2026-03-06-120000", "2026-03-06-120000-2"]
    assert sorted(path.name for path in first.iterdir()) == sorted([JSON, CSV, PAGE])
    assert [path.name for path in (tmp_path / "verify").iterdir() if path.name.startswith(".")] == []
    read = read_verification((first / JSON).read_bytes())
    assert [part.id for part in read.parts] == ["door"]
    assert read.parts[0].de00 == pytest.approx(only(seen.verification).de00, rel=1e-5)
    page = (first / PAGE).read_text(encoding="utf-8")
    assert "<script" not in page
    assert "http" not in page.replace("http://www.w3.org", "").replace("https://www.w3.org", "")
    assert "A/washcoat" in page
    rows = (first / CSV).read_text(encoding="utf-8-sig").splitlines()
    assert rows[0].startswith("place,part,photo")
    assert len(rows) == 2


VERIFY_TOML = """format = 1
zone = "A/washcoat"
[[photo]]
file = "photos/door.jpg"
stage = "stained"
light = "shop"
  [[photo.part]]
  id = "door 1"
  size = [180, 120]
"""


def test_verify_toml_says_the_same_as_flags(bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]]) -> None:
    (bench[0] / "verify.toml").write_text(VERIFY_TOML, encoding="utf-8")
    by_file = only(verify_parts(bench[0], read_verify_file(read_job(bench[0])), now=NOW).verification)
    by_flags = only(verified(bench[0], door[0], size_mm=SIZE))
    assert by_file.id == "door 1"
    assert replace(by_file, id="door") == by_flags


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("format = 1", "format = 2", "format", "written for a newer Evenboard"),
        ("stage", "stag", "photo[1].stag", "Did you mean stage?"),
        ("photos/door.jpg", "photos/dor.jpg", "photo[1].file", "which is not there"),
        ("A/washcoat", "A/wash", "zone", "a zone of this job"),
        ("[180, 120]", "[180]", "photo[1].part[1].size", "length along the grain and width"),
        ("size = [180, 120]", "polygon = [[0, 0], [9, 9]]", "photo[1].part[1].polygon", "three or more points"),
        ('id = "door 1"', "", "photo[1].part[1].id", "missing"),
    ],
)
def test_what_does_not_hold_in_verify_toml_is_told_with_its_line(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], old: str, new: str, key: str, said: str
) -> None:
    assert door[0].is_file()
    (bench[0] / "verify.toml").write_text(VERIFY_TOML.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(JobFileError) as caught:
        read_verify_file(read_job(bench[0]))
    problem = next(one for one in caught.value.problems if one.key == key)
    assert problem.line
    assert said in str(problem)


def test_the_commands_say_and_write_it(
    bench: tuple[Path, Truth], door: tuple[Path, Truth, list[Any]], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder, photo = str(bench[0]), str(door[0])
    assert main(["verify", folder, photo, "--light", "shop", "--size", "180x120"]) == 0
    told = capsys.readouterr().out
    assert "WITHIN" in told
    assert Path(told.strip().rpartition("Page: ")[2]).is_file()
    assert main(["verify", folder, photo, "--light", "shop", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["parts"][0]["colour"] == "within"
    (tmp_path / "no.jpg").write_bytes(b"not a photo")
    assert main(["verify", folder, str(tmp_path / "no.jpg"), photo, "--light", "shop"]) == 1
    assert "Of 1 part" in capsys.readouterr().out
    assert main(["verify", folder, photo, "--size", "wide"]) == 2
    assert main(["verify", folder, photo, "--first-article", "--aged"]) == 2
    assert main(["verify", folder, photo, "--corners", "1,2 3,4"]) == 2
    assert main(["approve", folder, "--list"]) == 0
    assert "in force" in capsys.readouterr().out
    assert main(["approve", folder, "--list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["approvals"][0]["in_force"] is True
    assert main(["approve", folder, "A/washcoat"]) == 2
    assert main(["approve", str(tmp_path), "--list"]) == 2


# --- truth -----------------------------------------------------------------------------------------------------------


def test_painted_parts_of_known_shift_are_told_within_and_outside_rightly(tmp_path: Path) -> None:
    """Flat surfaces of exact CIELAB; none that is truly outside may be called within, or the other way round.

    The study with hundreds of simulated boards, cameras and lamps is tests/studies/parts_study.py.
    """
    at = np.array([45.0, 14.0, 24.0])
    board = Board("A", 160, 110, (PaintedZone("washcoat", (0, 160), tuple(at)),))
    approved_job(tmp_path, board)
    for k, shift in enumerate(([0, 0, 0], [-0.8, 0, 0], [-4.5, 0, 0], [0, 4.0, 0], [3.5, 0, 4.0])):
        path = tmp_path / f"{k}.jpg"
        face = Board("P", 180, 120, (PaintedZone("face", (0, 180), tuple(at + shift)),))
        photo_of_parts(path, [face], background=Background((34, 0, -1)), seed=20 + k)
        part = only(verified(tmp_path, path, size_mm=SIZE))
        true = float(delta_E_00(at, at + shift))
        assert part.de00 is not None
        assert part.de00_u95 is not None
        assert abs(part.de00 - true) < part.de00_u95
        assert part.colour == ("within" if true < 2 else "outside")
