"""A whole job whose photo shows several boards, and names them without any corners."""

import numpy as np
import pytest
from board_jobs import codes, write_job, zone_of
from board_scenes import Table, painted, photographed
from simulator import save_photo

from analyzer import measure_job
from analyzer.results import Results
from calibration.difference import delta_E_00

FILE = "photos/both.png"
# A and B with strips, the customer's sample S without: all in one light that falls off by a third.
BOARDS = (
    painted("A", 240, 100, (0, 0), 1.5),
    painted("B", 200, 120, (290, -8), -2.0),
    painted("S", 110, 80, (60, 150), 4.0),
)


@pytest.fixture(scope="module")
def table() -> Table:
    return photographed(BOARDS, strips="AB", px=(2400, 1350), tilt_deg=(7.0, -8.0), falloff=0.33)


@pytest.fixture(scope="module")
def measured(table: Table, tmp_path_factory: pytest.TempPathFactory) -> Results:
    folder = tmp_path_factory.mktemp("several")
    write_job(folder, BOARDS, [{"file": FILE, "boards": ["A", "B", "S"]}])
    (folder / "photos").mkdir()
    save_photo(folder / FILE, table.rendered)
    return measure_job(folder).results


def test_every_board_is_measured_in_its_own_place(measured: Results) -> None:
    assert [(photo.board, photo.usable, photo.located_by) for photo in measured.photos] == [
        ("A", True, "strips"),
        ("B", True, "strips"),
        ("S", True, "outline"),
    ]
    found = codes(measured, FILE)
    assert "boards-by-order" not in found
    assert found.count("light-from-others") == 1
    assert "light-not-mapped" not in found


def test_zones_of_different_boards_differ_as_they_were_painted(measured: Results) -> None:
    """Across boards, one of them without strips. The limits are those for zones of one board at 10 to 40 % falloff."""
    zones = {f"{board.id}/{zone.id}": zone.Lab for board in BOARDS for zone in board.zones}
    seen = {zone: np.array(zone_of(measured, zone).lab) for zone in zones}
    errors = {
        (one, other): abs(
            float(delta_E_00(seen[one], seen[other])) - float(delta_E_00(np.array(zones[one]), np.array(zones[other])))
        )
        for one in zones
        for other in zones
        if one < other
    }
    across = [error for (one, other), error in errors.items() if one[0] != other[0]]
    assert np.mean(across) < 0.3
    assert max(across) < 0.7
