"""An archive of a job: whole, the same each time, proved on both ways, and harmless whoever made it."""

import errno
import json
import os
import shutil
import stat
import struct
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from recorded_jobs import Recorded, write_recorded

from analyzer import corrections, pack_job, read_job, read_results, unpack_job, verify_archive
from analyzer.cli import main
from analyzer.errors import ArchiveError
from analyzer.record import archive_reading, pack
from analyzer.record.archive_manifest import MANIFEST, check_names
from analyzer.record.index import open_index
from analyzer.record.query import Query

DATA = Path(__file__).parent / "data"
GRAY = (50.0, 0.0, 0.0)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = write_recorded(tmp_path / "hall", [Recorded(GRAY)])
    (folder / "photos").mkdir()
    (folder / "photos" / "a.jpg").write_bytes(os.urandom(5000))
    (folder / "approvals").mkdir()
    (folder / "approvals" / "one.json").write_text("{}", encoding="utf-8")
    (folder / "empty.txt").touch()
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def nothing_else(folder: Path, *names: str) -> bool:
    return sorted(path.name for path in folder.iterdir()) == sorted(names)


# --- there and back --------------------------------------------------------------------------------------------------


def test_what_comes_out_is_what_went_in(job: Path, tmp_path: Path) -> None:
    before = contents(job)
    packed = pack_job(job, tmp_path / "hall.zip")
    assert (packed.files, packed.job, packed.missing) == (5, "Hall bench", ())
    assert contents(job) == before
    unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert contents(tmp_path / "again") == before
    assert verify_archive(tmp_path / "hall.zip").files[0].path == "approvals/one.json"
    assert nothing_else(tmp_path, "hall", "hall.zip", "again")


def test_the_same_content_gives_the_same_bytes(job: Path, tmp_path: Path) -> None:
    """Whatever the times, permissions and order of the files, and whatever the folder is called."""
    pack_job(job, tmp_path / "one.zip")
    other = tmp_path / "elsewhere"
    for name, content in reversed(contents(job).items()):
        (other / name).parent.mkdir(parents=True, exist_ok=True)
        (other / name).write_bytes(content)
        (other / name).chmod(0o600)
        os.utime(other / name, (1, 1))
    pack_job(other, tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_photos_are_stored_as_they_are_and_text_is_packed(job: Path, tmp_path: Path) -> None:
    """Another program reads it too; a photo lies in it byte for byte."""
    pack_job(job, tmp_path / "hall.zip")
    with zipfile.ZipFile(tmp_path / "hall.zip") as archive:
        assert archive.testzip() is None
        methods = {entry.filename: entry.compress_type for entry in archive.infolist()}
    assert methods["photos/a.jpg"] == zipfile.ZIP_STORED
    assert methods["results.json"] == zipfile.ZIP_DEFLATED
    assert (job / "photos" / "a.jpg").read_bytes() in (tmp_path / "hall.zip").read_bytes()


def test_large_files_take_the_long_form(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both limits of the format set low, so that 5 kB are "large": the 64-bit records are written and read."""
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 1000)
    monkeypatch.setattr(pack, "_ZIP64_FROM", 900)
    pack_job(job, tmp_path / "hall.zip")
    assert struct.pack("<L", 0x06064B50) in (tmp_path / "hall.zip").read_bytes()  # its end of directory, APPNOTE 4.3.14
    unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert contents(tmp_path / "again") == contents(job)


def test_what_is_hidden_or_linked_is_left_out_and_told(job: Path, tmp_path: Path) -> None:
    """A link could lead to anything; a photo that the job names comes along all the same."""
    secret = tmp_path / "secret"
    secret.mkdir()
    (secret / "key.txt").write_text("private", encoding="utf-8")
    (job / "key.txt").symlink_to(secret / "key.txt")
    (job / "more").symlink_to(secret)
    (job / ".hidden").mkdir()
    (job / ".hidden" / "x").touch()
    (job / "photos" / "a.jpg").rename(secret / "a.jpg")
    (job / "photos" / "a.jpg").symlink_to(secret / "a.jpg")
    packed = pack_job(job, tmp_path / "hall.zip")
    assert packed.left_out == (".hidden", "key.txt", "more")
    assert b"private" not in (tmp_path / "hall.zip").read_bytes()
    unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert (tmp_path / "again" / "photos" / "a.jpg").read_bytes() == (secret / "a.jpg").read_bytes()
    assert not (tmp_path / "again" / "photos" / "a.jpg").is_symlink()


def test_what_the_job_names_and_lacks_is_told(job: Path, tmp_path: Path) -> None:
    (job / "photos" / "a.jpg").unlink()
    assert pack_job(job, tmp_path / "hall.zip").missing == ("photos/a.jpg",)
    assert unpack_job(tmp_path / "hall.zip", tmp_path / "again").missing == ("photos/a.jpg",)


def test_kept_corrections_for_its_lights_come_along(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only where the job asks for stored ones; those of other lights stay at home."""
    setups = {"shop": "shop", "hall": "hall"}

    def kept() -> list[object]:
        found = []
        for name, light in setups.items():
            path = tmp_path / "data" / f"{name}.json"
            path.parent.mkdir(exist_ok=True)
            path.write_text(f'{{"light": "{light}"}}', encoding="utf-8")
            setup = type("Setup", (), {"light": light})
            found.append(corrections.KeptCorrection(name, path, type("Stored", (), {"setup": setup})))  # type: ignore[arg-type] # its light is all that is asked for
        return found

    monkeypatch.setattr(pack, "kept_corrections", kept)
    assert pack_job(job, tmp_path / "without.zip").corrections == ()
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text + 'light = "shop"\n[correction]\nstored = true\n', encoding="utf-8")
    assert pack_job(job, tmp_path / "with.zip").corrections == ("corrections/shop.json",)
    again = unpack_job(tmp_path / "with.zip", tmp_path / "again")
    assert again.corrections == ("corrections/shop.json",)
    assert json.loads((tmp_path / "again" / "corrections" / "shop.json").read_bytes()) == {"light": "shop"}
    monkeypatch.setattr(pack, "kept_corrections", list)  # at a machine that has none, its own are kept
    assert pack_job(tmp_path / "again", tmp_path / "third.zip").files == again.files


def test_a_target_that_was_approved_in_another_job_comes_along(job: Path, tmp_path: Path) -> None:
    """As a copy, which the unpacked job can be pointed to."""
    (tmp_path / "old" / "approvals").mkdir(parents=True)
    (tmp_path / "old" / "approvals" / "A-wash.json").write_text('{"x": 1}', encoding="utf-8")
    text = (job / "job.toml").read_text(encoding="utf-8")
    here = text.replace("lab = [40, 15, 25]", 'approved = "../old/approvals/A-wash.json"')
    (job / "job.toml").write_text(here, encoding="utf-8")
    assert pack_job(job, tmp_path / "hall.zip").target == "approved/A-wash.json"
    (tmp_path / "far").mkdir()
    unpacked = unpack_job(tmp_path / "hall.zip", tmp_path / "far" / "again")
    assert unpacked.target == "approved/A-wash.json"
    assert (tmp_path / "far" / "again" / unpacked.target).read_text(encoding="utf-8") == '{"x": 1}'
    (job / "job.toml").write_text(
        text.replace("lab = [40, 15, 25]", 'approved = "approvals/one.json"'), encoding="utf-8"
    )
    assert pack_job(job, tmp_path / "own.zip").target is None


# --- nothing is overwritten, nothing is left behind ------------------------------------------------------------------


def test_nothing_that_is_there_is_overwritten(job: Path, tmp_path: Path) -> None:
    (tmp_path / "hall.zip").write_bytes(b"mine")
    with pytest.raises(ArchiveError, match="is there already"):
        pack_job(job, tmp_path / "hall.zip")
    assert (tmp_path / "hall.zip").read_bytes() == b"mine"
    pack_job(job, tmp_path / "b.zip")
    with pytest.raises(ArchiveError, match="is there already"):
        unpack_job(tmp_path / "b.zip", job)
    (tmp_path / "empty").mkdir()
    assert unpack_job(tmp_path / "b.zip", tmp_path / "empty").files == 5


def test_an_archive_that_comes_meanwhile_is_not_overwritten(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = os.link

    def late(aside: Path, target: Path) -> None:
        Path(target).write_bytes(b"faster")
        link(aside, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(ArchiveError, match=r"hall\.zip"):
        pack_job(job, tmp_path / "hall.zip")
    assert (tmp_path / "hall.zip").read_bytes() == b"faster"
    assert nothing_else(tmp_path, "hall", "hall.zip")


@pytest.mark.parametrize("step", ["writing", "proving"])
def test_a_full_disk_is_told_and_leaves_nothing(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(pack, "_added" if step == "writing" else "_put", full)
    with pytest.raises(ArchiveError, match=r"the disk is full.*Free some space"):
        pack_job(job, tmp_path / "hall.zip")
    assert nothing_else(tmp_path, "hall")


def test_a_disk_that_fills_while_unpacking_is_told_and_leaves_nothing(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack_job(job, tmp_path / "hall.zip")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(pack, "_flush", full)
        with pytest.raises(ArchiveError, match="the disk is full"):
            unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert nothing_else(tmp_path, "hall", "hall.zip")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 9, 9))  # type: ignore[attr-defined] # the type that it gives
    with pytest.raises(ArchiveError, match="MB free"):
        unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert nothing_else(tmp_path, "hall", "hall.zip")


def test_an_archive_that_comes_out_wrong_is_not_kept(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that returns other bytes than were written."""
    written = pack._written

    def rotten(draft: Path, *rest: object) -> object:
        manifest = written(draft, *rest)  # type: ignore[arg-type] # handed on as they came
        content = bytearray(draft.read_bytes())
        content[content.index((job / "photos" / "a.jpg").read_bytes()) + 7] ^= 1
        draft.write_bytes(content)
        return manifest

    monkeypatch.setattr(pack, "_written", rotten)
    with pytest.raises(ArchiveError, match=r"photos/a\.jpg is damaged"):
        pack_job(job, tmp_path / "hall.zip")
    assert nothing_else(tmp_path, "hall")


@pytest.mark.parametrize("place", ["hall/in.zip", "hall/photos/in.zip"])
def test_an_archive_does_not_lie_in_its_own_job(job: Path, tmp_path: Path, place: str) -> None:
    with pytest.raises(ArchiveError, match="own folder"):
        pack_job(job, tmp_path / place)


def test_what_is_no_job_or_is_being_written_is_refused(job: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=r"no job.toml"):
        pack_job(job / "photos", tmp_path / "x.zip")
    (job / ".evenboard-writing").mkdir()
    (job / ".evenboard-writing" / "swap").touch()
    with pytest.raises(ArchiveError, match="being written"):
        pack_job(job, tmp_path / "x.zip")


# --- whoever made it -------------------------------------------------------------------------------------------------


@dataclass
class Parts:
    """An archive, taken apart."""

    files: dict[str, bytes]
    entries: dict[str, zipfile.ZipInfo]


def forged(path: Path, change: Callable[[Parts], None]) -> Path:
    """A sound archive, taken apart, changed and put together again by another program."""
    with zipfile.ZipFile(path) as archive:
        parts = Parts(
            {entry.filename: archive.read(entry) for entry in archive.infolist()},
            {entry.filename: zipfile.ZipInfo(entry.filename) for entry in archive.infolist()},
        )
    change(parts)
    out = path.with_name("forged.zip")
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.files.items():
            archive.writestr(parts.entries[name], content)
    return out


def renamed(to: str) -> Callable[[Parts], None]:
    """The empty file under another name, in the manifest too."""

    def change(parts: Parts) -> None:
        manifest = json.loads(parts.files[MANIFEST])
        next(file for file in manifest["files"] if file["path"] == "empty.txt")["path"] = to
        parts.files[MANIFEST] = json.dumps(manifest).encode()
        parts.files[to] = parts.files.pop("empty.txt")
        parts.entries[to] = zipfile.ZipInfo(to)
        parts.entries[to].filename = to

    return change


BAD_NAMES = [
    "../out.txt", "photos/../../out.txt", "/etc/out.txt", "C:/out.txt", "..\\out.txt", "a//b", "./a", "a/.", "photos/",
    "con", "aux.txt", "NUL.json", "out.txt.", "out ", "line\nend", "bell\x07", "a\u202eb", "JOB.toml", "Photos/b.jpg",
    "photos", "job.toml/x", "x" * 300, "stream:x", "what?", "a*",
]  # fmt: skip


@pytest.mark.parametrize("name", BAD_NAMES, ids=ascii)
def test_a_name_that_leads_elsewhere_or_clashes_is_refused_whole(job: Path, tmp_path: Path, name: str) -> None:
    pack_job(job, tmp_path / "hall.zip")
    bad = forged(tmp_path / "hall.zip", renamed(name))
    with pytest.raises(ArchiveError):
        unpack_job(bad, tmp_path / "again")
    assert nothing_else(tmp_path, "hall", "hall.zip", "forged.zip")


def test_the_forger_itself_makes_archives_that_hold(job: Path, tmp_path: Path) -> None:
    """Else the refusals below would prove nothing."""
    pack_job(job, tmp_path / "hall.zip")
    unpack_job(forged(tmp_path / "hall.zip", renamed("photos/b.txt")), tmp_path / "again")
    assert (tmp_path / "again" / "photos" / "b.txt").read_bytes() == b""


def _link(parts: Parts) -> None:
    parts.entries["empty.txt"].external_attr = (stat.S_IFLNK | 0o777) << 16


def _folder(parts: Parts) -> None:
    parts.entries["empty.txt"].external_attr = (stat.S_IFDIR | 0o755) << 16


def _changed(parts: Parts) -> None:
    parts.files["photos/a.jpg"] = parts.files["photos/a.jpg"][::-1]


def _longer(parts: Parts) -> None:
    parts.files["photos/a.jpg"] += b"x"


def _more(parts: Parts) -> None:
    parts.files["more.txt"], parts.entries["more.txt"] = b"", zipfile.ZipInfo("more.txt")


def _less(parts: Parts) -> None:
    del parts.files["photos/a.jpg"]


def _other_packing(parts: Parts) -> None:
    parts.entries["results.json"].compress_type = zipfile.ZIP_LZMA


def _no_manifest(parts: Parts) -> None:
    del parts.files[MANIFEST]


def _manifest(key: str, value: object) -> Callable[[Parts], None]:
    def change(parts: Parts) -> None:
        parts.files[MANIFEST] = json.dumps(json.loads(parts.files[MANIFEST]) | {key: value}).encode()

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_link, "a link or a folder"),
        (_folder, "a link or a folder"),
        (_changed, "SHA-256 differs"),
        (_longer, "not as the manifest lists it"),
        (_more, "not as the manifest lists it"),
        (_less, "not as the manifest lists it"),
        (_other_packing, "not used here"),
        (_no_manifest, "no manifest"),
        (_manifest("format", 2), "newer Evenboard"),
        (_manifest("format", 0), "which there is not"),
        (_manifest("format", "1"), "damaged"),
        (_manifest("kind", "other"), "no archive of a job"),
        (_manifest("files", [{"path": "x"}]), "damaged"),
        (_manifest("files", None), "damaged"),
    ],
)
def test_what_is_not_as_it_says_is_refused_whole(
    job: Path,
    tmp_path: Path,
    change: Callable[[Parts], None],
    told: str,
) -> None:
    pack_job(job, tmp_path / "hall.zip")
    bad = forged(tmp_path / "hall.zip", change)
    with pytest.raises(ArchiveError, match=told):
        unpack_job(bad, tmp_path / "again")
    assert nothing_else(tmp_path, "hall", "hall.zip", "forged.zip")


def test_a_name_that_stands_twice_is_refused(job: Path, tmp_path: Path) -> None:
    pack_job(job, tmp_path / "hall.zip")
    with (
        zipfile.ZipFile(tmp_path / "hall.zip", "a") as archive,
        pytest.warns(UserWarning, match="Duplicate name"),
    ):
        archive.writestr("job.toml", "other")
    with pytest.raises(ArchiveError, match="twice"):
        unpack_job(tmp_path / "hall.zip", tmp_path / "again")


def test_what_would_swell_is_refused(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before a byte of it is unpacked: one file, and many together."""
    (job / "long.txt").write_bytes(b"0" * 3_000_000)
    pack_job(job, tmp_path / "hall.zip")
    for limit in ("LARGEST_PACKED_BYTES", "LARGEST_PACKED_SUM"):
        with monkeypatch.context() as patched:
            patched.setattr(archive_reading, limit, 2_999_999)
            with pytest.raises(ArchiveError, match="would swell"):
                unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    assert unpack_job(tmp_path / "hall.zip", tmp_path / "again").files == 6


def test_files_that_share_their_bytes_are_refused(job: Path, tmp_path: Path) -> None:
    """An old trick: a thousand entries of the directory point at one packed file."""
    pack_job(job, tmp_path / "hall.zip")
    content = bytearray((tmp_path / "hall.zip").read_bytes())
    with zipfile.ZipFile(tmp_path / "hall.zip") as archive:
        first = archive.getinfo("job.toml").header_offset
        second = archive.getinfo("photos/a.jpg").header_offset
    record = content.rindex(b"photos/a.jpg") - 46  # its directory entry; the offset stands 42 bytes in, APPNOTE 4.3.12
    assert struct.unpack_from("<L", content, record + 42) == (second,)
    struct.pack_into("<L", content, record + 42, first)
    (tmp_path / "hall.zip").write_bytes(content)
    with pytest.raises(ArchiveError, match="lies over another"):
        unpack_job(tmp_path / "hall.zip", tmp_path / "again")


def test_an_archive_that_is_cut_short_anywhere_is_refused(job: Path, tmp_path: Path) -> None:
    pack_job(job, tmp_path / "hall.zip")
    content = (tmp_path / "hall.zip").read_bytes()
    for keep in (0, 10, 1000, len(content) // 2, len(content) - 30, len(content) - 1):
        (tmp_path / "hall.zip").write_bytes(content[:keep])
        with pytest.raises(ArchiveError):
            unpack_job(tmp_path / "hall.zip", tmp_path / "again")
    with pytest.raises(ArchiveError, match="no file"):
        unpack_job(tmp_path / "nowhere.zip", tmp_path / "again")
    assert nothing_else(tmp_path, "hall", "hall.zip")


def test_a_changed_byte_is_never_unpacked_as_if_it_were_sound(tmp_path: Path) -> None:
    """Every 97th byte of a real archive: refused, or what comes out is what was packed."""
    whole = (DATA / "packed_job_format_1.zip").read_bytes()
    unpack_job(DATA / "packed_job_format_1.zip", tmp_path / "sound")
    sound = contents(tmp_path / "sound")
    refused = 0
    for at in range(0, len(whole), 97):
        changed = bytearray(whole)
        changed[at] ^= 0x10
        (tmp_path / "x.zip").write_bytes(changed)
        try:
            unpack_job(tmp_path / "x.zip", tmp_path / "out")
        except ArchiveError:
            refused += 1
        else:
            assert contents(tmp_path / "out") == sound
            shutil.rmtree(tmp_path / "out")
    assert refused > 0.9 * len(whole) / 97


@given(st.lists(st.text(st.characters(codec="utf-8"), min_size=1, max_size=12), max_size=6, unique=True))
def test_names_that_may_stand_stay_in_the_folder(names: list[str]) -> None:
    try:
        check_names(names)
    except ArchiveError:
        return
    root = Path("/job")
    for name in names:
        assert Path(os.path.normpath(root / name)).is_relative_to(root)
        assert os.path.normpath(root / name) == str(root / name)
    assert len({name.casefold() for name in names}) == len(names)


# --- kept for ever ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("archive", sorted(DATA.glob("packed_job_format_*.zip")), ids=lambda path: path.stem)
def test_an_archive_of_every_format_unpacks_and_reads(archive: Path, tmp_path: Path) -> None:
    """Made by the version that wrote it (tests/data/make_packed_job.py) and never made anew.

    Its job holds today, its values are those that were drawn: a board of three zones, the second with a whole recipe.
    """
    unpacked = unpack_job(archive, tmp_path / "jobs" / "old")
    assert unpacked.missing == ()
    job = read_job(tmp_path / "jobs" / "old")
    assert [zone.id for zone in job.boards[0].zones] == ["control", "washcoat", "glue"]
    results = read_results((tmp_path / "jobs" / "old" / "results.json").read_bytes())
    assert [zone.id for zone in results.zones] == ["A/control", "A/washcoat", "A/glue"]
    with open_index(tmp_path / "index.sqlite") as index:
        index.update([tmp_path / "jobs"])
        (found,) = index.search(Query(words="m-14"))
    assert found.id == "A/washcoat"
    assert found.recipe["wait"] == "2 h"
    assert found.recipe["temperature"] == "20 °C"


def test_there_is_an_archive_of_this_format() -> None:
    assert (DATA / f"packed_job_format_{pack.FORMAT}.zip").is_file()


def test_the_commands_pack_and_unpack(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(job)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    assert main(["pack", str(job)]) == 0
    assert "5 files of Hall bench" in capsys.readouterr().out
    assert main(["unpack", "hall.zip", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["files"] == 5
    assert contents(elsewhere / "hall") == before
    assert main(["unpack", "hall.zip"]) == 1
    assert "is there already" in capsys.readouterr().err
