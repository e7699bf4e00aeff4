"""The index of all jobs: finds just what the folders hold, stays up to date, and is never trusted beyond them."""

import os
import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recorded_jobs import Recorded, shop_zones, write_recorded

from analyzer.errors import RecordError
from analyzer.record import job_entry
from analyzer.record.colour_box import colour_box
from analyzer.record.index import RecordIndex, job_folders, open_index
from analyzer.record.query import Query
from analyzer.report import write
from calibration.difference import delta_E_00

ROOT = Path(__file__).parent.parent
TARGET = (40.0, 14.0, 23.0)


@pytest.fixture
def index(tmp_path: Path) -> RecordIndex:
    return open_index(tmp_path / "data" / "index.sqlite")


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    """Two jobs, one below another folder."""
    root = tmp_path / "jobs"
    write_recorded(
        root / "bench",
        [
            Recorded((38.0, 14.5, 22.0), "A/washcoat", overall="use", blotch=0.6),
            Recorded((30.0, 12.0, 16.0), "A/control", treatment="none", overall="do not use", blotch=2.1),
        ],
    )
    write_recorded(
        root / "older" / "desk",
        [Recorded((40.5, 14.2, 23.4), "D/size", "white oak", "glue size", None, "stained", None, None, None)],
        name="Läsarens desk",
        customer=None,
    )
    return root


def ids(index: RecordIndex, query: Query) -> list[str]:
    return [zone.id for zone in index.search(query)]


# --- the box in which nearest colours are looked for -----------------------------------------------------------------

coordinates = st.floats(-128, 128)
colours = st.tuples(st.floats(0, 100), coordinates, coordinates)


@settings(max_examples=600)
@given(colours, st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)), st.floats(0, 1))
def test_the_box_holds_every_colour_within_the_difference(
    Lab: tuple[float, float, float], way: tuple[float, float, float], far: float
) -> None:
    """Any colour lies in the box for its own difference, near ones and far ones, blue ones too."""
    other = np.add(Lab, np.multiply(way, 60 * far * far))
    box = colour_box(Lab, float(delta_E_00(Lab, other)))
    assert all(least <= value <= most for value, (least, most) in zip(other, box, strict=True))


@settings(max_examples=200)
@given(st.floats(200, 340), st.floats(1, 100), st.floats(-12, 12), st.floats(-12, 12))
def test_the_box_holds_where_the_formula_turns_in_the_blue(hue_deg: float, chroma: float, da: float, db: float) -> None:
    """There the rotation term makes some distances two and a half times as short."""
    Lab = (50.0, chroma * np.cos(np.radians(hue_deg)), chroma * np.sin(np.radians(hue_deg)))
    other = np.add(Lab, (0, da, db))
    box = colour_box(Lab, float(delta_E_00(Lab, other)))
    assert all(least <= value <= most for value, (least, most) in zip(other, box, strict=True))


def test_the_box_is_narrow_for_wood() -> None:
    """Within 3 of a medium brown: a few units each way, so that an index has little to look through."""
    assert all(most - least < 16 for least, most in colour_box(TARGET, 3))
    with pytest.raises(ValueError, match="0 or more"):
        colour_box(TARGET, float("nan"))


# --- searching -------------------------------------------------------------------------------------------------------


def test_the_nearest_are_those_that_the_published_formula_names(index: RecordIndex, tmp_path: Path) -> None:
    """Against another library's formula over all zones."""
    zones = shop_zones(3000)
    write_recorded(tmp_path / "jobs" / "a", zones)
    index.update([tmp_path / "jobs"])
    labs = np.array([zone.lab for zone in zones])
    for near in [TARGET, (80.0, 4.0, 12.0), (20.0, 20.0, 5.0)]:
        truth = colour.delta_E(labs, np.array(near), method="CIE 2000")
        for within in (None, 3.0):
            found = index.search(Query(near=near, within=within, limit=25))
            expected = [value for value in np.sort(truth)[:25] if within is None or value <= within]
            # results.json keeps six digits of each value
            assert [zone.de00 for zone in found] == pytest.approx(expected, abs=2e-4)
        assert index.count(Query(near=near, within=3.0)) == np.count_nonzero(truth <= 3.0)


def test_each_condition_leaves_out_what_does_not_answer_it(index: RecordIndex, jobs: Path) -> None:
    index.update([jobs])
    everything = {"A/washcoat", "A/control", "D/size"}
    for query, expected in [
        (Query(), everything),
        (Query(species="MAPLE"), {"A/washcoat", "A/control"}),
        (Query(species="oak", is_exact=True), set()),
        (Query(species="White Oak", is_exact=True), {"D/size"}),
        (Query(treatment="size"), {"D/size"}),
        (Query(stain="oil"), {"A/washcoat", "A/control"}),
        (Query(stage="stained"), {"D/size"}),
        (Query(light="Shop"), {"A/washcoat", "A/control"}),
        (Query(customer="brand"), {"A/washcoat", "A/control"}),
        (Query(words="LÄSARENS glue"), {"D/size"}),
        (Query(words="läsarens shellac"), set()),
        (Query(words="%"), set()),
        (Query(verdict="do not use"), {"A/control"}),
        (Query(blotch=1.0), {"A/washcoat"}),
        (Query(is_approved=True), set()),
        (Query(near=TARGET, within=3, verdict="use"), {"A/washcoat"}),
        (Query(folders=(jobs / "older",)), {"D/size"}),
        (Query(folders=(jobs / "old",)), set()),
        (Query(not_in=jobs / "bench"), {"D/size"}),
        (Query(since="2000-01-01", until="2001-01-01"), set()),
    ]:
        assert set(ids(index, query)) == expected, query
        assert index.count(query) == len(expected)


def test_the_order_is_the_one_asked_for(index: RecordIndex, jobs: Path) -> None:
    index.update([jobs])
    assert ids(index, Query(near=TARGET)) == ["D/size", "A/washcoat", "A/control"]
    assert ids(index, Query(order="most even")) == ["A/washcoat", "A/control", "D/size"]
    assert ids(index, Query(near=TARGET, order="most even", limit=1)) == ["A/washcoat"]
    assert ids(index, Query(order="job"))[-1] == "D/size"
    with pytest.raises(ValueError, match="no colour"):
        index.search(Query(order="nearest"))


def test_a_difference_is_as_doubtful_as_both_sides_make_it(index: RecordIndex, jobs: Path) -> None:
    """Along L* at L* 50 CIEDE2000 is the plain difference: both half-widths join there as the root of their squares."""
    write_recorded(jobs / "gray", [Recorded((52.0, 0.0, 0.0), "G/g", lab_u95=(0.6, 0.001, 0.001))])
    index.update([jobs])
    near = Query(near=(48.0, 0.0, 0.0), limit=1)
    exact = index.search(near)[0]
    assert exact.id == "G/g"
    assert exact.de00_u95 == pytest.approx(0.6, rel=0.05)
    both = replace(near, near_is_measured=True, near_u95=(0.8, 0.001, 0.001))
    assert index.search(both)[0].de00_u95 == pytest.approx(1.0, rel=0.05)
    assert index.search(replace(near, near_is_measured=True))[0].de00_u95 is None
    assert index.search(Query(near=TARGET, species="oak"))[0].de00_u95 is None


def test_what_a_board_says_holds_for_its_zones_unless_they_say_otherwise(index: RecordIndex, tmp_path: Path) -> None:
    zones = [Recorded(TARGET, "A/one", recipe={"batch": "7b"}), Recorded(TARGET, "A/two", recipe={"wait": "2 h"})]
    write_recorded(tmp_path / "j", zones, board_facts='lot = "M-14"\nbatch = "7a"\ndate = 2026-03-04')
    index.update([tmp_path])
    one, two = sorted(index.search(Query(words="m-14")), key=lambda zone: zone.id)
    assert one.recipe == {"lot": "M-14", "batch": "7b", "date": "2026-03-04"}
    assert two.recipe == {"wait": "2 h", "lot": "M-14", "batch": "7a", "date": "2026-03-04"}
    assert (two.date, two.date_from) == ("2026-03-04", "recipe")


# --- staying up to date ----------------------------------------------------------------------------------------------


def test_what_changes_in_the_folders_changes_in_the_index(index: RecordIndex, jobs: Path) -> None:
    first = index.update([jobs])
    assert (first.jobs, first.zones, first.added, first.unchanged) == (2, 3, 2, 0)
    assert index.update([jobs]).unchanged == 2
    write_recorded(jobs / "bench", [Recorded((39.0, 14.5, 22.0), "A/washcoat")])
    second = index.update([jobs])
    assert (second.changed, second.unchanged, second.zones) == (1, 1, 2)
    shutil.rmtree(jobs / "older")
    third = index.update([jobs])
    assert (third.dropped, third.jobs) == (1, 1)
    assert ids(index, Query()) == ["A/washcoat"]
    (jobs / "bench" / "results.json").unlink()
    last = index.update([jobs])
    assert (last.dropped, last.unmeasured) == (1, (jobs / "bench",))


def test_a_change_is_seen_even_if_time_and_size_stay_the_same(index: RecordIndex, jobs: Path) -> None:
    """A file that was written just before it was read is read again the next time."""
    index.update([jobs])
    path = jobs / "bench" / "results.json"
    status = path.stat()
    path.write_bytes(path.read_bytes().replace(b"38.0", b"39.0"))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    index.update([jobs])
    assert [zone.lab[0] for zone in index.search(Query(verdict="use"))] == [39.0]


def test_a_job_that_is_being_written_waits_for_the_next_time(index: RecordIndex, jobs: Path) -> None:
    index.update([jobs])
    staging = jobs / "bench" / ".evenboard-writing"
    staging.mkdir()
    (staging / "swap").write_text("", encoding="utf-8")
    (jobs / "bench" / "results.json").unlink()  # set aside while the new one comes
    assert len(ids(index, Query())) == 3
    index.update([jobs])
    assert len(ids(index, Query())) == 3
    fresh = write_recorded(jobs / "fresh", [Recorded(TARGET)])
    (fresh / ".evenboard-writing").mkdir()
    (fresh / ".evenboard-writing" / "swap").write_text("", encoding="utf-8")
    assert index.update([jobs]).being_written == (fresh,)


@pytest.mark.parametrize("content", [b"", b"{", b'{"format": 2}', b"[" * 100_000, b"\xff\xfe", b'{"format": 1}'])
def test_broken_results_are_told_and_left_out(index: RecordIndex, jobs: Path, content: bytes) -> None:
    index.update([jobs])
    (jobs / "bench" / "results.json").write_bytes(content)
    report = index.update([jobs])
    ((folder, reason),) = report.broken
    assert folder == jobs / "bench"
    assert reason
    assert ids(index, Query()) == ["D/size"]


def test_a_job_file_that_is_just_being_edited_costs_nothing(index: RecordIndex, jobs: Path) -> None:
    (jobs / "bench" / "job.toml").write_text("format = ", encoding="utf-8")
    index.update([jobs])
    assert len(ids(index, Query(customer="Ottilie"))) == 2


def test_a_folder_that_is_not_there_is_told(index: RecordIndex, jobs: Path) -> None:
    report = index.update([jobs, jobs / "nowhere"])
    assert report.missing == (jobs / "nowhere",)
    assert report.jobs == 2


def test_hidden_folders_and_those_of_a_job_are_not_looked_through(tmp_path: Path) -> None:
    for name in ("a", "a/photos/b", "a/within", ".trash/c"):
        write_recorded(tmp_path / name, [])
    assert list(job_folders(tmp_path)) == [tmp_path / "a", tmp_path / "a" / "within"]


# --- never trusted ---------------------------------------------------------------------------------------------------


def test_a_damaged_an_older_and_a_foreign_index_are_made_anew(index: RecordIndex, jobs: Path) -> None:
    index.remember([jobs])
    index.update()
    index.close()
    content = index.path.read_bytes()
    for damage, why in [
        (b"not a database at all" * 100, "damaged"),
        (content[:4096] + b"\x00" * 200, "damaged"),
        (content[:60] + (0).to_bytes(4, "big") + content[64:], "older version 0"),
        (content[:68] + (7).to_bytes(4, "big") + content[72:], "no index"),
    ]:
        index.path.write_bytes(damage)
        with open_index(index.path) as again:
            assert why in again.why_new
            assert again.update().why_new == again.why_new
            assert len(again.search(Query())) == 3


def test_damage_that_shows_late_is_mended_by_the_way(index: RecordIndex, jobs: Path) -> None:
    """The head is whole, the pages with the zones are not."""
    for k in range(20):
        write_recorded(jobs / f"more{k}", shop_zones(50, seed=k))
    index.remember([jobs])
    index.update()
    index.close()
    size = index.path.stat().st_size
    with index.path.open("r+b") as file:
        file.seek(size // 3)
        file.write(os.urandom(size // 3))
    with open_index(index.path) as again:
        assert again.why_new == ""
        assert len(again.search(Query(near=TARGET, limit=None))) == 1003
        assert "damaged" in again.why_new


def test_the_index_of_a_newer_version_is_left_alone(index: RecordIndex) -> None:
    index.close()
    database = sqlite3.connect(index.path)
    database.execute("PRAGMA user_version = 99")
    database.close()
    before = index.path.read_bytes()
    with pytest.raises(RecordError, match="newer Evenboard"):
        open_index(index.path)
    assert index.path.read_bytes() == before


def test_folders_are_remembered_and_forgotten(index: RecordIndex, jobs: Path) -> None:
    index.remember([jobs / "bench", jobs / "older"])
    index.update()
    assert len(ids(index, Query())) == 3
    index.forget([jobs / "bench"])
    assert index.folders == (jobs / "older",)
    assert ids(index, Query()) == ["D/size"]
    assert (jobs / "bench" / "results.json").is_file()


def test_an_index_in_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(RecordError, match="cannot be used"):
        open_index(tmp_path / "file" / "index.sqlite")


def test_two_programs_may_update_and_search_at_once(tmp_path: Path) -> None:
    """Three at once, on one index that none of them finds made; each sees all, and none fails."""
    for k in range(4):
        write_recorded(tmp_path / "jobs" / f"j{k}", shop_zones(60, seed=k))
    code = (
        "import sys; from pathlib import Path; from analyzer.record.index import open_index; "
        "from analyzer.record.query import Query\n"
        "with open_index(Path(sys.argv[1])) as index:\n"
        "    for _ in range(3):\n"
        "        index.update([Path(sys.argv[2])])\n"
        "        print(len(index.search(Query(near=(40, 14, 23), limit=None))))"
    )
    line = [sys.executable, "-c", code, str(tmp_path / "index.sqlite"), str(tmp_path / "jobs")]
    running = [subprocess.Popen(line, cwd=ROOT, stdout=-1, stderr=-1, encoding="utf-8") for _ in range(3)]
    for process in running:
        out, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) == (0, "")
        assert out.split() == ["240"] * 3


def test_the_names_of_files_are_those_that_are_written() -> None:
    assert job_entry.RESULTS == write.RESULTS
