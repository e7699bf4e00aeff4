"""What `new_job` promises: a job file that explains itself and holds, and nothing overwritten."""

import os
import re
import tomllib
from pathlib import Path

import pytest
from approval_examples import paper_approval, put

from analyzer import FolderError, JobExistsError, JobFileError, new_job, read_job
from analyzer.jobfile import TABLES, TOP_KEYS
from analyzer.results import STAGES
from calibration.published import published_file

TEMPLATE = published_file("job_template.toml").read_text(encoding="utf-8")


def with_photos(folder: Path) -> Path:
    """Put an empty file wherever the job names a photo."""
    for photo in tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))["photo"]:
        (folder / photo["file"]).touch()
    return folder


def test_a_new_job_holds_as_soon_as_its_photos_are_there(tmp_path: Path) -> None:
    job = read_job(with_photos(new_job(tmp_path / "jobs" / "kitchen island").parent))
    assert job.name == "kitchen island"
    assert job.target.zone == "S/sample"


def test_without_its_photos_a_new_job_lacks_just_them(tmp_path: Path) -> None:
    new_job(tmp_path)
    with pytest.raises(JobFileError) as caught:
        read_job(tmp_path)
    assert {re.sub(r"\d+", "n", problem.key) for problem in caught.value.problems} == {"photo[n].file"}


def test_the_new_job_is_the_published_template_but_for_its_name(tmp_path: Path) -> None:
    text = new_job(tmp_path / "desk").read_text(encoding="utf-8")
    assert text.replace('name = "desk"', 'name = "Hall bench"') == TEMPLATE
    assert text != TEMPLATE


@pytest.mark.parametrize("name", ['a "quoted" desk', "back\\slash", "Küche"])
def test_any_folder_name_that_can_be_shown_becomes_the_jobs_name(tmp_path: Path, name: str) -> None:
    assert read_job(with_photos(new_job(tmp_path / name).parent)).name == name


def test_a_folder_name_that_cannot_be_shown_gives_way_to_a_plain_one(tmp_path: Path) -> None:
    assert read_job(with_photos(new_job(tmp_path / "line\nend").parent)).name == "New job"


def test_the_template_tells_of_every_key_and_every_stage() -> None:
    """A key that the reader knows but the template does not teach would stay a secret."""
    for key in {*TOP_KEYS, *(key for keys in TABLES.values() for key in keys)}:
        assert re.search(rf"\b{key}\b", TEMPLATE), key
    for stage in STAGES:
        assert re.search(rf"\b{stage}\b", TEMPLATE), stage


LINES = TEMPLATE.split("\n")
NOTES = [n for n in range(LINES.index("# [[photo]]")) if re.match(r"\s*# \w+ = ", LINES[n])]
EXCLUDES = {
    "lab": ("zone", "reflectance"),
    "between": ("zone",),
    "approved": ("zone",),
    "like": ("limit",),
    "polygon": ("span",),
}


@pytest.mark.parametrize("note", NOTES, ids=[LINES[n].strip() for n in NOTES])
def test_a_key_in_a_note_holds_when_the_hash_is_taken_away(tmp_path: Path, note: int) -> None:
    """As the template's head tells people to do; what the key excludes goes."""
    folder = with_photos(new_job(tmp_path).parent)
    (folder / "photos" / "sheet.jpg").touch()
    (folder / "photos" / "a-dark.jpg").touch()
    put(folder, paper_approval(), "2025-11-04-A-washcoat-topcoated")
    lines = list(LINES)
    lines[note] = lines[note].replace("# ", "", 1).replace("L/light", "A/control").replace("D/dark", "A/size")
    before = note - 1
    while not lines[before].lstrip().startswith("["):  # up to the header
        if _key(lines[before]) in EXCLUDES.get(_key(lines[note]), ()):
            lines[before] = ""
        before -= 1
    (folder / "job.toml").write_text("\n".join(lines), encoding="utf-8")
    assert _key(lines[note]) in str(read_job(folder).as_read)


def _key(line: str) -> str:
    return line.split(" = ", maxsplit=1)[0].strip()


def test_the_template_for_several_boards_in_one_photo_holds(tmp_path: Path) -> None:
    folder = with_photos(new_job(tmp_path).parent)
    (folder / "photos" / "a-and-s.jpg").touch()
    text, several = TEMPLATE.split("# [[photo]]\n")
    (folder / "job.toml").write_text(text + "[[photo]]\n" + several.replace("# ", ""), encoding="utf-8")
    both = read_job(folder).photos[-2:]
    assert [(photo.file, photo.board) for photo in both] == [("photos/a-and-s.jpg", "A"), ("photos/a-and-s.jpg", "S")]
    assert both[0].corners != both[1].corners


def test_a_job_that_is_there_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(JobExistsError, match="is there already"):
        new_job(tmp_path)
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [tmp_path / "job.toml"]


def test_a_job_that_appears_meanwhile_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two runs at once: the slower one finds the faster one's file only when it puts its own in place."""
    link = os.link

    def late(aside: Path, target: Path) -> None:
        Path(target).write_text("faster", encoding="utf-8")
        link(aside, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(JobExistsError):
        new_job(tmp_path)
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == "faster"
    assert {path.name for path in tmp_path.iterdir()} == {"job.toml", "photos"}


def test_a_disk_without_links_gets_its_job_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(aside: Path, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted", str(aside), None, str(target))

    monkeypatch.setattr(os, "link", no_links)
    read_job(with_photos(new_job(tmp_path).parent))
    assert {path.name for path in tmp_path.iterdir()} == {"job.toml", "photos"}


def test_a_full_disk_leaves_no_half_written_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> int:
        path.open("wb").close()
        raise OSError(28, "No space left on device", str(path), None, str(content[:1]))

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(FolderError, match="No space left on device") as caught:
        new_job(tmp_path)
    assert not isinstance(caught.value, JobExistsError)
    assert [path.name for path in tmp_path.iterdir()] == ["photos"]


def test_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "photos").touch()
    with pytest.raises(JobExistsError, match="photos is there already"):
        new_job(tmp_path)
    (tmp_path / "desk").touch()
    with pytest.raises(FolderError, match="cannot be made"):
        new_job(tmp_path / "desk")
    assert {path.name for path in tmp_path.iterdir()} == {"photos", "desk"}


def test_what_a_folder_holds_already_stays(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a.jpg").write_bytes(b"a photo")
    new_job(tmp_path)
    assert (tmp_path / "photos" / "a.jpg").read_bytes() == b"a photo"
