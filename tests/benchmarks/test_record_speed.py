"""How long does it take to find the nearest colours among 100,000 recorded zones?

Run with ``pytest tests/benchmarks/test_record_speed.py --benchmark-only -s``. Asked for are 50 ms. Beside it stands the
plain way: read every colour from the same file, and work out the formula for all.
"""

import sqlite3
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from recorded_jobs import shop_zones, write_recorded
from speed import ratio

from analyzer.record.index import RecordIndex, open_index
from analyzer.record.query import Query
from calibration.difference import delta_E_00

ZONES, JOBS = 100_000, 500
NEAR = (40.0, 14.0, 23.0)
MOST_SECONDS = 0.050


@pytest.fixture(scope="module")
def index(tmp_path_factory: pytest.TempPathFactory) -> RecordIndex:
    root = tmp_path_factory.mktemp("record")
    zones = shop_zones(ZONES)
    each = ZONES // JOBS
    for k in range(JOBS):
        write_recorded(root / "jobs" / f"{k:03d}", zones[each * k : each * (k + 1)])
    index = open_index(root / "index.sqlite")
    assert index.update([Path(root / "jobs")]).zones == ZONES
    return index


@pytest.mark.parametrize(
    "query",
    [
        Query(near=NEAR),
        Query(near=NEAR, within=3.0),
        Query(near=NEAR, species="hard maple", stage="topcoated", light="shop", is_exact=True, limit=5),
    ],
    ids=["nearest", "within 3", "same wood"],
)
def test_the_nearest_colours_of_a_hundred_thousand_are_found_at_once(
    benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str], index: RecordIndex, query: Query
) -> None:
    """Found, ordered and told with their uncertainty."""
    database = sqlite3.connect(index.path)

    def plainly() -> None:
        rows = np.array(database.execute("SELECT id, L, a, b FROM zone").fetchall())
        np.argsort(delta_E_00(np.array(NEAR), rows[:, 1:]))

    words = "reading and comparing every colour"
    found = ratio(benchmark, capsys, lambda: index.search(query), plainly, words)
    database.close()
    assert found < 1
    assert benchmark.stats is not None
    assert benchmark.stats.stats.median <= MOST_SECONDS
