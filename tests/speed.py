"""How the benchmarks measure: ratios within one run.

Rounds of both sides alternate, so that other work on the machine slows both, and the fastest round of each counts.
"""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

ROUNDS = 7
SIZE_PX = (4032, 3024)

# The process's own peak, from the kernel's books: what `getrusage` says of a child holds its parent's memory too.
PEAK = """
import pathlib, re, sys
from analyzer.cli import main
main(sys.argv[1:])
print(re.search(r"VmHWM:\\s+(\\d+) kB", pathlib.Path("/proc/self/status").read_text())[1])
"""

JOB = """
format = 1
[job]
name = "Speed"
[target]
lab = [40, 15, 25]
[[board]]
id = "A"
species = "hard maple"
length = 300
width = 150
[[board.zone]]
id = "control"
treatment = "none"
span = [0, 100]
[[board.zone]]
id = "washcoat"
treatment = "shellac washcoat"
span = [100, 200]
[[board.zone]]
id = "glue"
treatment = "glue size"
span = [200, 300]
[[photo]]
file = "photos/a.jpg"
board = "A"
stage = "stained"
"""


def ratio(
    benchmark: BenchmarkFixture,
    capsys: pytest.CaptureFixture[str],
    ours: Callable[[], object],
    other: Callable[[], object],
    words: str,
) -> float:
    """Our fastest time over the other's."""
    seconds = []

    def other_once() -> None:
        start = perf_counter()
        other()
        seconds.append(perf_counter() - start)

    benchmark.pedantic(ours, setup=other_once, rounds=ROUNDS, warmup_rounds=2)
    if benchmark.stats is None:
        pytest.skip("a ratio needs times: run without --benchmark-disable")
    fastest = benchmark.stats.stats.min
    found = fastest / min(seconds)
    tell(benchmark, capsys, f"{1e3 * fastest:.0f} ms, {found:.1f} times {words}")
    return found


def tell(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], words: str) -> None:
    benchmark.extra_info["found"] = words
    with capsys.disabled():
        print(f"\n{benchmark.name}: {words}")  # noqa: T201 - the figure is what this run is for


def peak_ratio(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], command: str, path: Path) -> float:
    """Peak memory of a command in a fresh process, libraries included, over the decoded photo's bytes."""
    decoded = SIZE_PX[0] * SIZE_PX[1] * 3
    peaks = []

    def run() -> None:
        line = [sys.executable, "-c", PEAK, command, str(path)]
        finished = subprocess.run(line, check=True, capture_output=True, text=True)
        peaks.append(1024 * int(finished.stdout.splitlines()[-1]))

    benchmark.pedantic(run, rounds=2)
    found = max(peaks) / decoded
    tell(benchmark, capsys, f"peak {max(peaks) / 1e6:.0f} MB, {found:.1f} times the decoded bytes")
    return found
