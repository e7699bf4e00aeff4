"""README.md keeps its word: its commands run, its examples hold, and what it shows is what comes out."""

import contextlib
import io
import json
import re
import shlex
import shutil
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pytest

from analyzer import cli, read_job
from analyzer.cli import COMMANDS, main
from analyzer.job import DEFAULT_BLOTCH_LIMIT, DEFAULT_TOLERANCE
from analyzer.report.write import PICTURES, REPORT, RESULTS, ZONES

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
UPPER, LOWER = README.split("\n# Reference\n")
DEMO = "sample_images/hall-bench"
PLANNED = "sample_images/entry-bench"  # a job that has no boards yet
SET_UP = (f"pip install . && evenboard measure {DEMO}", "pip install '.[test]' && pytest")


def blocks(language: str) -> list[str]:
    found = re.findall(rf"^( *)```{language}\n(.*?)^\1```$", README, re.MULTILINE | re.DOTALL)
    return [textwrap.dedent(text) for _, text in found]


def commands() -> list[str]:
    """Every line of every shell block."""
    return [line for block in blocks("sh") for line in block.splitlines()]


def trimmed(folder: Path) -> None:
    """Keep one photo of a demo job, so that a run takes a second."""
    job = (folder / "job.toml").read_text(encoding="utf-8")
    head, *photos = job.split("[[photo]]\n")
    kept = [photo for photo in photos if "a-topcoated.jpg" in photo]
    assert len(kept) == 1
    (folder / "job.toml").write_text("[[photo]]\n".join([head, *kept]), encoding="utf-8")


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A copy of the demo in a folder of its own, which is the current one."""
    folder = tmp_path_factory.mktemp("readme")
    ignored = shutil.ignore_patterns(RESULTS, ZONES, REPORT, PICTURES)
    shutil.copytree(ROOT / DEMO, folder / DEMO, ignore=ignored)
    (folder / PLANNED).mkdir()
    shutil.copy(ROOT / PLANNED / "job.toml", folder / PLANNED)
    with contextlib.chdir(folder):
        yield folder


@pytest.fixture
def small(workplace: Path) -> Path:
    """The same with one photo left."""
    if (workplace / DEMO / "job.toml").read_text(encoding="utf-8").count("[[photo]]") > 1:
        trimmed(workplace / DEMO)
    return workplace


def run(line: str) -> str:
    """Run a line as a shell does, where its first word is evenboard; what it printed."""
    words: list[str] = []
    for word in shlex.split(line):
        words += sorted(str(path) for path in Path().glob(word)) or [word] if "*" in word else [word]
    assert words[0] == "evenboard"
    printed = io.BytesIO()
    with contextlib.redirect_stdout(io.TextIOWrapper(printed, encoding="utf-8", write_through=True)):
        assert main(words[1:]) == 0, line
        return printed.getvalue().decode("utf-8")


def test_two_commands_set_everything_up_and_stand_near_the_top() -> None:
    assert commands()[:2] == list(SET_UP)
    assert README.index(SET_UP[1]) < README.index("## Your own boards")


def test_the_ci_script_runs_the_same_test_command() -> None:
    """As its last line, so that its failure is the script's."""
    assert (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()[-1] == SET_UP[1]


def test_the_demo_prints_what_is_shown(workplace: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Word by word; numbers may differ by one in the last digit, as the libraries of another machine may round."""
    monkeypatch.setenv("COLUMNS", "100")
    printed, _, path = run(SET_UP[0].split(" && ")[1]).strip().rpartition("Report: ")
    assert Path(path) == Path(DEMO, REPORT)
    assert (workplace / path).is_file()
    shown = next(block for block in blocks("text") if block.startswith("Hall bench"))
    number = re.compile(r"\d+\.\d+")
    assert number.sub("#", shown).split() == number.sub("#", printed).split()
    for one, other in zip(number.findall(shown), number.findall(printed), strict=True):
        assert len(one.partition(".")[2]) == len(other.partition(".")[2])
        assert float(one) == pytest.approx(float(other), abs=1.01 * 10 ** -len(one.partition(".")[2]))


def test_the_other_commands_run_in_their_order(small: Path) -> None:
    """The reader's own job is the demo's, put where `evenboard new` begins one."""
    ran = set()
    for line in commands()[2:]:
        printed = run(line)
        ran.add(line.split()[1])
        if line.split()[1] == "new":
            shutil.copytree(small / DEMO, small / line.split()[2], dirs_exist_ok=True)
        if "--json" in line:
            assert isinstance(json.loads(printed), dict)
    assert ran == set(COMMANDS)


def test_the_python_example_runs(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (example,) = blocks("python")
    (small / DEMO / RESULTS).unlink(missing_ok=True)
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102 - running it is the claim
    assert "hard maple shellac washcoat" in capsys.readouterr().out
    assert (small / DEMO / RESULTS).is_file()


def test_the_job_file_shown_holds(tmp_path: Path) -> None:
    (example,) = blocks("toml")
    (tmp_path / "job.toml").write_text(example, encoding="utf-8")
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "a-and-sample.jpg").touch()
    job = read_job(tmp_path)
    assert [board.id for board in job.boards] == ["A", "S"]
    assert job.boards[0].length_mm == pytest.approx(12 * 25.4)
    assert [(photo.board, photo.corners) for photo in job.photos] == [("A", None), ("S", None)]


def test_every_command_and_every_file_is_named() -> None:
    for name, (arguments, _) in COMMANDS.items():
        assert f"| `evenboard {name} {arguments}` |" in LOWER
    for name in (RESULTS, ZONES, REPORT, PICTURES):
        assert re.search(rf"^  {re.escape(name)}", LOWER, re.MULTILINE), name


def test_the_exit_codes_are_those_of_the_command_line() -> None:
    codes = [int(code) for code in re.findall(r"^\| (\d+) \|", LOWER, re.MULTILINE)]
    assert codes == [cli.DONE, cli.NOT_MEASURED, cli.WRONG_USAGE, cli.INTERRUPTED]


def test_the_limits_of_a_new_job_are_the_ones_named() -> None:
    assert f"The limits in a new job, {DEFAULT_TOLERANCE} and {DEFAULT_BLOTCH_LIMIT}, are" in README.replace(
        "\n  ", " "
    )


def test_the_upper_half_is_in_plain_words() -> None:
    jargon = r"CIELAB|CIEDE|ΔE|L\*|sRGB|ICC|EXIF|JSON|TOML\b|XYZ|bootstrap|covariance|wheel|API|stdout"
    shown = re.compile(r"^ *```.*?^ *```$", re.MULTILINE | re.DOTALL)
    assert re.findall(jargon, shown.sub("", UPPER)) == []


def test_the_pictures_are_described_and_light() -> None:
    """The first is that of the report."""
    pictures = re.findall(r"!\[(.*?)\]\((.+?)\)", README, re.DOTALL)
    assert pictures[0][1] == "docs/report.png"
    for words, picture in pictures:
        assert len(words) > 60, picture
        assert (ROOT / picture).stat().st_size < 400_000, picture
