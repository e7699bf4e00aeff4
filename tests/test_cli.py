"""What the command line promises: results on stdout, talk on stderr, exit codes, and a quick, light `--help`.

Measuring itself is tested elsewhere: here it is replaced by a measurement made on paper (report_example.py), so that
the commands around it can be tried in milliseconds.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest
from report_example import example_measurement, example_results

import analyzer
from analyzer import FolderError, JobFileError, read_results, results_json, version
from analyzer.check import Look, PhotoCheck
from analyzer.cli import COMMANDS, main
from analyzer.cli.talk import progress_line
from analyzer.errors import Problem
from analyzer.measurement import Measurement
from analyzer.results import FindingResult
from calibration.errors import PhotoError

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "cv2", "PIL", "msgspec", "jinja2", "matplotlib", "typer", "rich")
OUR_DATA = b'{"format": 1, "of": "an earlier run"}'

Progress = Callable[[str], None]
Fake = Callable[[object], None]


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a fresh process."""
    return subprocess.run(
        [sys.executable, "-m", "analyzer.cli", *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )


def example(folder: Path) -> Measurement:
    """The example without pictures (they take a second to draw). One of its photos could not be used."""
    return replace(example_measurement(boards=(), folder=folder), overlays=())


def usable(measurement: Measurement) -> Measurement:
    """The same without that photo."""
    photos = tuple(photo for photo in measurement.results.photos if photo.usable)
    return replace(measurement, results=replace(measurement.results, photos=photos))


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> Fake:
    """Put something in place of measuring: a measurement that it gives, or an error that it raises."""

    def put(result: object) -> None:
        def measure_job(folder: Path, *, progress: Progress | None = None) -> object:
            if progress:
                progress(f"Measuring {folder.name}")
            if isinstance(result, BaseException):
                raise result
            return result

        module = ModuleType("analyzer.measure")
        module.measure_job = measure_job  # type: ignore[attr-defined] # a module made on the spot
        monkeypatch.setitem(sys.modules, "analyzer.measure", module)

    return put


# --- the overview ----------------------------------------------------------------------------------------------------


def test_help_loads_nothing_heavy() -> None:
    """Not even the library that the commands are made with."""
    code = (
        "import sys; from analyzer.cli import main; code = main(['--help']); "
        f"print([name for name in {HEAVY!r} if name in sys.modules], code, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stderr.strip() == "[] 0"
    assert done.stdout.startswith("Usage: evenboard COMMAND")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_a_command_loads_neither_numpy_nor_what_draws(command: str) -> None:
    heavy = [name for name in HEAVY if name != "typer"]
    code = (
        f"import sys; from analyzer.cli import main; code = main(['{command}', '--help']); "
        f"print([name for name in {heavy!r} if name in sys.modules], code, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stderr.strip() == "[] 0"
    assert done.stdout.startswith(f"Usage: evenboard {command}")


def test_importing_the_package_loads_none_of_its_modules() -> None:
    code = "import sys, analyzer; print([name for name in sys.modules if name.startswith(('analyzer.', 'numpy'))])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"


def test_help_starts_within_five_times_a_bare_interpreter() -> None:
    """The best of several runs each, taken in turn: other work on the machine slows both alike."""
    bare, ours = [], []
    for _ in range(7):
        bare.append(_seconds([sys.executable, "-c", "pass"]))
        ours.append(_seconds([sys.executable, "-m", "analyzer.cli", "--help"]))
    assert min(ours) < 5 * min(bare)


def _seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


def test_the_overview_tells_of_every_command_in_the_words_of_its_own_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    overview = capsys.readouterr().out
    for name, (arguments, line) in COMMANDS.items():
        assert f"  {name} {arguments}" in overview
        assert line in overview
        assert main([name, "--help"]) == 0
        own = capsys.readouterr().out
        assert line in own
        assert arguments in own
        function = getattr(import_module(f"analyzer.cli.{name}"), name)
        assert function.__doc__.startswith(line)


def test_the_overview_fits_a_terminal_of_80_columns(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--help"])
    assert max(len(line) for line in capsys.readouterr().out.splitlines()) <= 80


def test_version_is_that_of_the_project(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    stated = [line for line in (ROOT / "pyproject.toml").read_text("utf-8").splitlines() if line.startswith("version")]
    assert f'version = "{capsys.readouterr().out.strip().removeprefix("evenboard ")}"' == stated[0]


def test_h_is_help_too(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in ([], ["measure"]):
        assert main([*arguments, "-h"]) == main([*arguments, "--help"]) == 0
        told = capsys.readouterr().out
        assert told[: len(told) // 2] == told[len(told) // 2 :] != ""


def test_an_installed_copy_asks_its_metadata(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside installed packages there may lie another project's pyproject.toml, or none."""
    monkeypatch.setattr(version, "_PROJECT", tmp_path / "pyproject.toml")
    monkeypatch.setattr(version, "version", lambda name: {"evenboard": "7.8.9"}[name])
    assert version.tool_version() == "7.8.9"
    (tmp_path / "pyproject.toml").write_text('[project]\nname = "other"\nversion = "1.0"\n', encoding="utf-8")
    assert version.tool_version() == "7.8.9"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Usage: evenboard COMMAND"),
        (["mesure", "desk"], "there is no mesure. Did you mean measure?"),
        (["xyz"], "there is no xyz. Try: evenboard --help"),
        (["--jsn"], "there is no --jsn."),
        (["measure"], "Missing argument"),
        (["measure", "a", "b"], "unexpected extra argument"),
        (["measure", "--jsn", "a"], "No such option"),
        (["check"], "Missing argument"),
        (["new"], "Missing argument"),
    ],
)
def test_wrong_usage_exits_2_and_says_so_on_stderr(
    capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert words in told.err
    assert "Traceback" not in told.err


def test_every_public_name_of_the_library_is_there() -> None:
    for name in analyzer.__all__:
        assert getattr(analyzer, name) is not None
    assert set(analyzer.__all__) <= set(dir(analyzer))
    with pytest.raises(AttributeError, match="measure_jobs"):
        _ = analyzer.measure_jobs


# --- new -------------------------------------------------------------------------------------------------------------


def test_new_prints_the_job_file_and_says_what_comes_next(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "desk"
    assert main(["new", str(folder)]) == 0
    told = capsys.readouterr()
    assert told.out == f"{folder / 'job.toml'}\n"
    assert f"evenboard measure {folder}" in told.err


def test_new_refuses_a_folder_with_a_job_as_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path)]) == 0
    before = (tmp_path / "job.toml").read_bytes()
    capsys.readouterr()
    assert main(["new", str(tmp_path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "is there already" in told.err
    assert (tmp_path / "job.toml").read_bytes() == before


def test_new_in_a_place_that_cannot_be_written_exits_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").touch()
    assert main(["new", str(tmp_path / "file" / "desk")]) == 1
    assert "cannot be made or written" in capsys.readouterr().err


# --- measure ---------------------------------------------------------------------------------------------------------


def test_a_job_file_that_does_not_hold_exits_2_with_every_problem(tmp_path: Path) -> None:
    """The real thing, in a fresh process: a new job whose photos are not there yet."""
    assert run("new", str(tmp_path)).returncode == 0
    done = run("measure", str(tmp_path))
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert "photo[1].file" in done.stderr
    assert "photo[2].file" in done.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"job.toml", "photos"}


def test_measure_prints_the_summary_and_where_the_report_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake
) -> None:
    measurement = usable(example(tmp_path))
    measured(measurement)
    assert main(["measure", str(tmp_path)]) == 0
    told = capsys.readouterr()
    assert analyzer.summary(measurement.results, 100) in told.out
    assert told.out.endswith(f"Report: {tmp_path / 'report.html'}\n")
    assert (tmp_path / "report.html").is_file()
    assert (tmp_path / "results.json").read_bytes() == results_json(measurement.results)


def test_measure_tells_findings_on_stderr_each_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake
) -> None:
    measurement = usable(example(tmp_path))
    shared = FindingResult("clipped", "warning", "Too bright.", "Turn the lamps.")
    photos = tuple(replace(photo, findings=(shared,)) for photo in measurement.results.photos)
    measured(replace(measurement, results=replace(measurement.results, photos=photos)))
    assert main(["measure", str(tmp_path)]) == 0
    told = capsys.readouterr()
    names = ", ".join(photo.file for photo in photos)
    assert told.err == f"{names}: warning: Too bright. Turn the lamps.\n"
    assert "Too bright" not in told.out


def test_measure_json_prints_exactly_what_the_file_holds(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes], measured: Fake
) -> None:
    measured(usable(example(tmp_path)))
    assert main(["measure", str(tmp_path), "--json"]) == 0
    written = (tmp_path / "results.json").read_bytes()
    assert capfdbinary.readouterr().out == written
    assert read_results(written).answer == example_results().answer


def test_a_photo_that_could_not_be_measured_exits_1_with_the_others_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake
) -> None:
    measured(example(tmp_path))
    assert main(["measure", str(tmp_path), "--json"]) == 1
    told = capsys.readouterr()
    assert "photos/a-second.jpg (board A) was not measured. The gray card was not found" in told.err
    assert json.loads(told.out)["photos"][3]["usable"] is False
    assert (tmp_path / "report.html").is_file()


def test_a_zone_that_could_not_be_measured_exits_1_and_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake
) -> None:
    measurement = usable(example(tmp_path))
    zones = tuple(zone for zone in measurement.results.zones if zone.id != "R/glue")
    measured(replace(measurement, results=replace(measurement.results, zones=zones)))
    assert main(["measure", str(tmp_path)]) == 1
    assert "Zone R/glue (stained, shop) was not measured." in capsys.readouterr().err


def test_an_answer_of_cannot_tell_is_an_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake
) -> None:
    measurement = usable(example(tmp_path))
    answer = replace(measurement.results.answer, treatment=None, stain=None, species=None, reason="It cannot be told.")
    measured(replace(measurement, results=replace(measurement.results, answer=answer)))
    assert main(["measure", str(tmp_path)]) == 0
    assert "It cannot be told." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (JobFileError(Path("job.toml"), (Problem("job", 3, "missing", "a table"),)), 2, "line 3: job: missing"),
        (FolderError("The disk is full.", remedy="Free some."), 1, "The disk is full. Free some."),
        (PhotoError("It is damaged.", photo="a.jpg", remedy="Export it."), 1, "a.jpg: It is damaged. Export it."),
        (OSError(28, "No space left on device", "x/y"), 1, "x/y: No space left on device."),
        (OSError("odd"), 1, "odd."),
    ],
)
def test_a_foreseen_error_is_told_in_words_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake, error: Exception, code: int, words: str
) -> None:
    (tmp_path / "results.json").write_bytes(OUR_DATA)
    measured(error)
    assert main(["measure", str(tmp_path)]) == code
    told = capsys.readouterr()
    assert told.out == ""
    assert words in told.err
    assert "Traceback" not in told.err
    assert [path.name for path in tmp_path.iterdir()] == ["results.json"]
    assert (tmp_path / "results.json").read_bytes() == OUR_DATA


def test_a_mistake_of_our_own_keeps_its_traceback(tmp_path: Path, measured: Fake) -> None:
    measured(ZeroDivisionError("ours"))
    with pytest.raises(ZeroDivisionError, match="ours"):
        main(["measure", str(tmp_path)])


# --- check -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put something in place of checking: photos whose name begins with bad cannot be used."""

    def look_at(path: Path) -> Look:
        return Look(checked_photo(path))

    def checked_photo(path: Path) -> PhotoCheck:
        if path.name.startswith("bad"):
            blurred = FindingResult("card-missing", "unusable", "No card.", "Lay one in.")
            return PhotoCheck(str(path), usable=False, findings=(blurred,))
        return PhotoCheck(str(path), usable=True, findings=(FindingResult("no-profile", "note", "No profile.", ""),))

    monkeypatch.setattr("analyzer.check.look_at", look_at)


@pytest.mark.usefixtures("checked")
def test_check_says_of_each_photo_whether_it_can_be_used_and_what_to_change(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", "good.jpg", "bad.jpg"]) == 1
    told = capsys.readouterr()
    assert told.out.splitlines() == [
        "good.jpg: can be used.",
        "  note: No profile.",
        "bad.jpg: cannot be used.",
        "  unusable: No card. Lay one in.",
    ]
    assert told.err == ""


@pytest.mark.usefixtures("checked")
def test_check_of_usable_photos_exits_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "good.jpg", "good2.jpg"]) == 0
    assert capsys.readouterr().out.count("can be used") == 2


@pytest.mark.usefixtures("checked")
def test_check_json_has_the_keys_of_results_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--json", "good.jpg", "bad.jpg"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == 1
    assert [photo["usable"] for photo in told["photos"]] == [True, False]
    in_results = json.loads(results_json(example_results()))["photos"][0]
    for photo in told["photos"]:
        assert set(photo) <= set(in_results)
        assert set(photo["findings"][0]) == set(in_results["findings"][0])


def test_check_of_a_photo_that_is_not_there_exits_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The real check: no traceback, and the next photo is still looked at."""
    assert main(["check", str(tmp_path / "a.jpg"), str(tmp_path / "b.jpg")]) == 1
    told = capsys.readouterr()
    assert told.out.count("cannot be used.") == 2
    assert "Traceback" not in told.err


@pytest.mark.usefixtures("checked")
def test_check_of_a_job_folder_checks_the_photos_of_its_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet that two photos share is checked once."""
    (tmp_path / "photos").mkdir()
    for name in ("b.jpg", "a.jpg", "sheet.jpg", "unnamed.jpg"):
        (tmp_path / "photos" / name).touch()
    zone = '[[board.zone]]\nid = "all"\ntreatment = "none"\nspan = [0, 300]\n'
    board = f'[[board]]\nid = "A"\nspecies = "maple"\nlength = 300\nwidth = 100\n{zone}'
    photos = "".join(
        f'[[photo]]\nfile = "photos/{name}"\nboard = "A"\nstage = "stained"\nflat = "photos/sheet.jpg"\n'
        for name in ("b.jpg", "a.jpg")
    )
    head = 'format = 1\n[job]\nname = "Desk"\n[target]\nlab = [40, 15, 25]\n'
    (tmp_path / "job.toml").write_text(head + board + photos, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    told = [line.split(":")[0] for line in capsys.readouterr().out.splitlines() if "can be used" in line]
    assert told == [str(tmp_path / "photos" / name) for name in ("b.jpg", "sheet.jpg", "a.jpg")]


def test_check_of_a_folder_without_a_job_asks_for_photos(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path)]) == 1
    assert "this is a folder, not a photo" in capsys.readouterr().out.lower()


def test_check_of_a_folder_whose_job_does_not_hold_exits_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text("format = 7\n", encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "format" in told.err


# --- terminals, pipes and interruptions ------------------------------------------------------------------------------


def test_progress_is_shown_on_a_terminal_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], measured: Fake, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured(usable(example(tmp_path)))
    main(["measure", str(tmp_path), "--json"])
    assert "Measuring" not in capsys.readouterr().err
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    main(["measure", str(tmp_path), "--json"])
    told = capsys.readouterr()
    assert f"Measuring {tmp_path.name}" in told.err
    assert "Measuring" not in told.out


def test_the_progress_line_leaves_the_terminal_clean(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After an error too."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "20")

    def fail() -> None:
        with progress_line() as progress:
            assert progress
            progress("x" * 50)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    lines = capsys.readouterr().err.split("\r\x1b[2K")
    assert lines == ["", "x" * 19, ""]  # one column is kept free, or the cursor would wrap


def test_a_terminal_without_our_letters_gets_replacements_not_a_traceback() -> None:
    done = run("--help", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0
    assert "evenboard COMMAND ?" in done.stdout


@pytest.mark.skipif(os.name != "posix", reason="pipes end otherwise elsewhere")
def test_a_reader_that_stops_early_is_no_traceback() -> None:
    """As `evenboard --help | head -0` does."""
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "analyzer.cli", "--help"],
        cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, encoding="utf-8", check=False,
    )  # fmt: skip
    os.close(writer)
    assert done.stderr == ""
    assert done.returncode == 1


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C is sent otherwise elsewhere")
def test_ctrl_c_ends_quietly_with_130_and_leaves_earlier_results_whole(tmp_path: Path) -> None:
    """While a photo is being measured, in a process of its own."""
    (tmp_path / "results.json").write_bytes(OUR_DATA)
    code = (
        "import sys, time, types\n"
        "module = types.ModuleType('analyzer.measure')\n"
        "def measure_job(folder, *, progress=None):\n"
        "    print('measuring', flush=True)\n"
        "    time.sleep(60)\n"
        "module.measure_job = measure_job\n"
        "sys.modules['analyzer.measure'] = module\n"
        "from analyzer.cli import main\n"
        f"sys.exit(main(['measure', {str(tmp_path)!r}]))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8"
    ) as process:
        assert process.stdout
        assert process.stdout.readline() == "measuring\n"
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=30)
    assert process.returncode == 130
    assert told == ""
    assert [path.name for path in tmp_path.iterdir()] == ["results.json"]
    assert (tmp_path / "results.json").read_bytes() == OUR_DATA
