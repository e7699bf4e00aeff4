"""The right dose: what a job file calls a dose, which zones make one curve, and where the limits are met.

Truth: straight lines that we laid, whose crossing with a limit is a closed form. Around L* 50 and on the gray axis
CIEDE2000 is |dL*| / S_L with S_L near 1 (Sharma 2005).
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.compare import Difference
from analyzer.dose import doses
from analyzer.dose_curve import DoseKey, dose_of, name_without_dose
from analyzer.job import Board, EvennessWish, Job, Reference, Target, Zone
from analyzer.results import DoseResult
from analyzer.trials import JudgedZone
from calibration.difference import delta_E_00

TARGET = np.array([50.0, 0.0, 0.0])
ACROSS = (0.0, 120.0)


# ---- reading a dose


@pytest.mark.parametrize(
    ("key", "written", "dose"),
    [
        ("solids", 5, 5.0),
        ("solids", "5 %", 5.0),
        ("solids", "about 7.5 percent", 7.5),
        ("solids", "2,5%", 2.5),
        ("dilution", "1:10", 10.0),
        ("dilution", "1 to 3", 3.0),
        ("dilution", "2:3", 1.5),
        ("dilution", 4, 4.0),
        ("stain_coats", 2, 2.0),
        ("solids", "1:4", None),
        ("solids", "thin", None),
        ("solids", None, None),
        ("stain_coats", True, None),
        ("dilution", "0:3", None),
    ],
)
def test_a_dose_is_read_as_it_is_written(key: DoseKey, written: object, dose: float | None) -> None:
    assert dose_of(key, written) == dose


@pytest.mark.parametrize(
    ("name", "without"),
    [
        ("shellac washcoat, 5 %", "shellac washcoat"),
        ("shellac 2.5% washcoat", "shellac washcoat"),
        ("glue size 1:10", "glue size"),
        ("glue size (1 to 6)", "glue size"),
        ("washcoat P320", "washcoat P320"),
        ("5", "5"),
    ],
)
def test_a_dose_in_a_treatments_name_is_no_other_treatment(name: str, without: str) -> None:
    assert name_without_dose(name) == without


# ---- curves


class Trial:
    """A job whose zones are given one by one, and the zones as they would be measured."""

    def __init__(self, target: Target | None = None, **evenness: Any) -> None:  # noqa: ANN401 - its fields
        self.target = target or Target(tolerance=2.0, zone="S/sample")
        self.evenness = EvennessWish(**evenness)
        self.boards: dict[str, list[Zone]] = {}
        self.zones: list[JudgedZone] = []

    def add(
        self,
        recipe: Mapping[str, Any],
        dL: float | None,
        blotch: float | None,
        *,
        board: str = "A",
        treatment: str = "glue size",
        u: float = 0.1,
        **more: Any,  # noqa: ANN401 - fields of JudgedZone
    ) -> "Trial":
        zones = self.boards.setdefault(board, [])
        zone = Zone(f"z{len(zones)}", treatment, (0.0, 90.0), ACROSS, recipe=dict(recipe))
        zones.append(zone)
        delta = None if dL is None else np.array([dL, 0.0, 0.0])
        to_target = delta if delta is None else Difference(
            delta, np.eye(3) * u**2, TARGET, TARGET + delta, float(delta_E_00(TARGET, TARGET + delta)), None
        )  # fmt: skip
        usual: dict[str, Any] = {
            "stain": "walnut dye", "species": "hard maple", "stage": "stained", "light": None, "sheen": None,
            "blotch_u95": 0.1, "blotch_limit": 1.0, "blotch_limit_u95": 0.0,
        }  # fmt: skip
        self.zones.append(
            JudgedZone(
                id=f"{board}/{zone.id}",
                board=board,
                treatment=treatment,
                to_target=to_target,
                why_not=None if delta is not None else "not comparable",
                blotch=blotch,
                **(usual | more),
            )
        )
        return self

    def read(self) -> tuple[DoseResult, ...]:
        boards = tuple(Board(name, "hard maple", 900.0, 120.0, tuple(zones)) for name, zones in self.boards.items())
        return doses(Job(Path("job"), "bench", "mm", self.target, self.evenness, Reference(), boards, ()), self.zones)

    def only(self) -> DoseResult:
        (found,) = self.read()
        return found


def laid(slope_L: float = 1.0, slope_blotch: float = -0.25, *, at: tuple[float, ...] = (2, 5, 8), **more: Any) -> Trial:  # noqa: ANN401 - fields of Trial.add
    """Solids: lighter by `slope_L` for each per cent, from 5 too dark; blotch falling from 2."""
    trial = Trial()
    for solids in at:
        trial.add({"solids": solids}, slope_L * solids - 5.0, 2.0 + slope_blotch * solids, **more)
    return trial


def test_zones_that_differ_in_one_dose_only_are_one_curve() -> None:
    trial = laid()
    trial.add({"solids": 3, "scuff": 220}, 0.0, 1.0)  # also scuffed: another series, and one dose is none
    trial.add({"solids": 3}, 0.0, 1.0, treatment="shellac washcoat")
    trial.add({"solids": 3}, 0.0, 1.0, stain="oak dye")
    trial.add({"solids": 9, "notes": "wiped along the grain"}, 4.0, 0.3)  # notes are no difference
    found = trial.only()
    assert (found.treatment, found.key, found.stain) == ("glue size", "solids", "walnut dye")
    assert [point.dose for point in found.points] == [2, 5, 8, 9]
    assert [point.de00 for point in found.points] == pytest.approx([3, 0, 3, 4], rel=0.06)
    assert [point.blotch for point in found.points] == pytest.approx([1.5, 0.75, 0.0, 0.3])


def test_names_with_the_dose_in_them_are_one_treatment() -> None:
    trial = Trial().add({"solids": 3}, -2.0, 0.8, treatment="shellac washcoat, 3 %")
    found = trial.add({"solids": 6}, 2.0, 0.4, treatment="shellac washcoat, 6 %").only()
    assert found.treatment == "shellac washcoat"


def test_one_dose_or_none_that_can_be_compared_is_no_curve() -> None:
    assert Trial().add({"solids": 3}, 0.0, 1.0).add({"solids": 3}, 1.0, 1.0, board="B").read() == ()
    assert Trial().add({"solids": 3}, 0.0, 1.0).add({"solids": 5}, None, 1.0).read() == ()
    assert Trial().add({"solids": 3}, 0.0, 1.0, stage="bare").add({"solids": 5}, 0.0, 1.0, stage="bare").read() == ()


def test_the_range_of_doses_is_where_both_guard_bands_end() -> None:
    """Colour |d - 5| / S_L + 0.2 <= 2 holds up to 1.8 on either side; blotch 2 - d / 4 + 0.1 <= 1 from 4.4 on."""
    found = laid().only()
    assert found.best_range is not None
    low, high = found.best_range
    assert low == pytest.approx(4.4, abs=0.16)  # one step of the 20 between two doses
    assert high == pytest.approx(6.8, abs=0.16)
    assert found.best is not None
    assert low <= found.best <= high
    # the least share of limits: |d - 5| / 2 = 2 - d / 4, at d = 6
    assert found.best == pytest.approx(6.0, abs=0.16)
    assert found.nearest.dose == found.best
    assert (found.nearest.colour, found.nearest.evenness, found.nearest.boards) == ("match", "even", 0)


def test_the_best_dose_is_said_with_its_range_and_what_it_rests_on() -> None:
    says = laid().only().says
    assert "meets the limits (any from 4.4 % solids to 6.8 % solids does): colour 1.0" in says
    assert "read between the doses tried, so make a sample of it first" in says
    assert says.endswith("tried: 2 % solids, 5 % solids and 8 % solids; one board a dose: another may differ")


def test_where_none_does_the_nearest_is_named_with_what_keeps_it_out() -> None:
    found = laid(slope_blotch=-0.01).only()
    assert (found.best, found.best_range) == (None, None)
    assert found.says.startswith("none of the doses surely meets the limits; nearest is ")
    assert "it is too blotchy" in found.says
    far = Trial().add({"solids": 2}, -9.0, 0.3).add({"solids": 4}, -7.0, 0.3).only()
    assert far.nearest.dose == 4
    assert "nearest is 4 % solids" in far.says
    assert "the colour misses its 2.0" in far.says


def test_what_is_not_sure_enough_is_no_dose_that_meets_the_limits() -> None:
    found = laid(u=1.5).only()
    assert found.best is None
    assert "the colour cannot be told" in found.says


def test_boards_are_pooled_and_their_spread_counts() -> None:
    alike, apart = Trial(), Trial()
    for board, off in (("A", 2.5), ("B", -2.5)):
        for solids in (2, 5, 8):
            alike.add({"solids": solids}, solids - 5.0, 0.5, board=board)
            apart.add({"solids": solids}, solids - 5.0 + off, 0.5, board=board)
    assert [p.de00 for p in apart.only().points] == pytest.approx([p.de00 for p in alike.only().points], rel=0.02)
    assert (alike.only().best, apart.only().best) == (pytest.approx(5, abs=1e-6), None)
    assert alike.only().points[0].boards == 2
    assert "one board" not in alike.only().says


def test_a_dilution_goes_by_the_share_of_the_product() -> None:
    """1:1 is half product, 1:4 a fifth: half-way in share lies 0.35, which is 1:1.86, not 1:2.5."""
    trial = Trial().add({"dilution": "1:1"}, 3.0, 0.3).add({"dilution": "1:4"}, -3.0, 0.3)
    found = trial.only()
    assert found.best == pytest.approx(1 / 0.35 - 1, rel=0.01)
    assert found.says.startswith("1:1.9 meets the limits")


def test_coats_are_whole() -> None:
    found = Trial().add({"stain_coats": 1}, -4.0, 0.3).add({"stain_coats": 4}, 5.0, 0.3).only()
    assert found.best == 2  # -1; 3 coats would be 2 too light
    assert found.best_range == (2, 2)
    assert found.says.startswith("2 coats meets the limits: colour 1.0")
    assert Trial().add({"stain_coats": 1}, -4.0, 0.3).add({"stain_coats": 2}, 4.0, 0.3).only().best is None


def test_a_lively_wish_asks_for_the_colour_only() -> None:
    trial = Trial(wish="lively")
    for solids in (2, 5, 8):
        trial.add({"solids": solids}, solids - 5.0, 3.0)
    found = trial.only()
    assert found.best == pytest.approx(5, abs=0.16)
    assert found.nearest.evenness == "not judged"


def test_blotch_that_was_not_measured_is_never_even() -> None:
    found = Trial().add({"solids": 2}, -1.0, None).add({"solids": 5}, 1.0, None).only()
    assert (found.best, found.nearest.blotch, found.nearest.evenness) == (None, None, "cannot tell")
    assert "blotch not measured" in found.says


@settings(max_examples=20, deadline=None)  # each draws two curves
@given(st.lists(st.floats(0.5, 20), min_size=2, max_size=5, unique=True), st.randoms(use_true_random=False))
def test_the_best_dose_lies_among_those_tried_in_any_order(solids: list[float], random: Any) -> None:  # noqa: ANN401 - Random
    shuffled = list(solids)
    random.shuffle(shuffled)
    found = laid(0.4, -0.1, at=tuple(solids)).only()
    again = laid(0.4, -0.1, at=tuple(shuffled)).only()
    assert again.best == found.best
    assert again.best_range == found.best_range
    assert min(solids) <= found.nearest.dose <= max(solids)
    if found.best_range is not None:
        assert found.best_range[0] <= (found.best or 0) <= found.best_range[1]
