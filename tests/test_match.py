"""What has to change to reach the target: mixes whose truth is painted, and when they are not to be relied on."""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from mix_jobs import Lab_of, measured_job, stained, wood
from scipy.optimize import minimize
from simulator.wood import STAINS

from analyzer.errors import MatchError
from analyzer.jobfile import read_job
from analyzer.match.foretold import foretold, left_out
from analyzer.match.held import Setting, settings_of
from analyzer.match.held_pot import HeldPot, held_pot
from analyzer.match.match import Wanted, match_job, match_of
from analyzer.match.match_result import MixResult, SettingResult
from analyzer.match.mixing import MOST_PARTS, ROUNDING, in_parts, solved, strength_wanted
from analyzer.report.jsonfile import read_results
from calibration.difference import delta_E_00

THREE = {"brown": "walnut_brown", "red": "red_mahogany", "gold": "golden_oak"}
ALONE = Wanted(with_record=False)
Zones = dict[str, dict[str, Any]]


def board(name: str, tone: float = 1.0, stains: Mapping[str, str] = THREE, *, bare: bool = True, **keys: Any) -> Zones:  # noqa: ANN401 - keys of zones
    """A board with each stain alone and, unless it is left out, a bare zone."""
    ground = wood(tone=tone)
    zones = {f"{name}/bare": {"Lab": Lab_of(ground), "stain": "none", **keys}} if bare else {}
    return zones | {
        f"{name}/{stain}": {"Lab": stained(ground, **{paint: 1.0}), "stain": stain, **keys}
        for stain, paint in stains.items()
    }


def sample(Lab: tuple[float, float, float]) -> Zones:
    return {"S/sample": {"Lab": Lab, "treatment": "unknown"}}


def setting_of(folder: Path) -> Setting:
    (setting,) = settings_of(read_job(folder), read_results((folder / "results.json").read_bytes()))
    return setting


def matched(folder: Path, wanted: Wanted = ALONE) -> SettingResult:
    (setting,) = match_job(folder, wanted).settings
    return setting


def pot_of(folder: Path, treatment: str = "none") -> tuple[Setting, HeldPot]:
    setting = setting_of(folder)
    held = held_pot(setting, treatment)
    assert held is not None
    return setting, held


def only_mix(folder: Path, wanted: Wanted = ALONE) -> MixResult:
    (mix,) = matched(folder, wanted).mixes
    return mix


def doubts(mix: MixResult) -> set[str]:
    return {doubt.code for doubt in mix.doubts}


# ---- the mix


@pytest.fixture(scope="module")
def painted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two boards, three stains, and a sample of 45 % brown and 15 % red on wood in between."""
    target = stained(wood(), walnut_brown=0.45, red_mahogany=0.15)
    zones = {**board("A", 0.97), **board("B", 1.03), **sample(target)}
    return measured_job(tmp_path_factory.mktemp("painted"), zones)


def test_a_mix_that_the_target_was_made_of_is_found(painted: Path) -> None:
    mix = only_mix(painted)
    shares = {part.stain: part.share for part in mix.stains}
    assert shares["brown"] == pytest.approx(0.45, abs=0.03)
    assert shares["red"] == pytest.approx(0.15, abs=0.03)
    assert set(shares) == {"brown", "red"}
    assert mix.exact_de00 < 0.5
    parts = {part.stain: part.parts for part in mix.stains}
    total = sum(parts.values()) + mix.clear_parts
    amounts = {THREE[stain]: count / total for stain, count in parts.items()}
    true = stained(wood(), **amounts)  # the parts as they stand, truly mixed
    assert delta_E_00(true, stained(wood(), walnut_brown=0.45, red_mahogany=0.15)) < 1.0
    assert all(abs(x - y) <= u for x, y, u in zip(mix.lab, true, mix.lab_u95, strict=True))
    assert "clear base" in mix.says


def test_no_mix_of_the_region_lies_nearer_than_the_one_found(painted: Path) -> None:
    """Against scipy's bounded minimiser of CIEDE2000 itself, started in twenty places, for twelve targets."""
    setting, held = pot_of(painted)
    rng = np.random.default_rng(1)
    for target in rng.uniform((35, 8, 14), (80, 26, 40), (12, 3)):
        found = solved(held.pot, target, held.limits)

        def far(amounts: np.ndarray[Any, np.dtype[np.float64]], target: Any = target) -> float:  # noqa: ANN401 - a colour
            return float(delta_E_00(target, held.pot.Lab_of(amounts)))

        inside = {"type": "ineq", "fun": lambda amounts: 1 - held.limits.full @ amounts}
        best = min(
            minimize(far, start / 1.3, bounds=[(0, 1)] * 3, constraints=[inside], method="SLSQP").fun
            for start in rng.dirichlet(np.ones(4), 20)[:, 1:]
        )
        assert found.de00 <= best + 0.5 + 1e-6  # a stain less may cost what cannot be seen
        assert found.amounts.min() >= 0
        assert held.limits.full @ found.amounts <= 1 + 1e-6
    assert setting.Lab_target.shape == (3,)


def test_one_stain_is_enough_where_a_second_would_not_be_seen(tmp_path: Path) -> None:
    zones = {**board("A"), **board("B"), **sample(stained(wood(), walnut_brown=0.6, red_mahogany=0.01))}
    mix = only_mix(measured_job(tmp_path, zones))
    assert [part.stain for part in mix.stains] == ["brown"]
    assert mix.clear_parts > 0


def test_parts_are_few_and_keep_the_colour(painted: Path) -> None:
    setting, held = pot_of(painted)
    exact = solved(held.pot, setting.Lab_target, held.limits)
    parts = in_parts(held.pot, setting.Lab_target, exact, held.limits)
    assert sum(parts.parts) + parts.clear <= MOST_PARTS
    assert parts.mix.de00 <= exact.de00 + ROUNDING
    assert parts.mix.stains == exact.stains


def test_only_named_stains_go_into_the_mix(painted: Path) -> None:
    mix = only_mix(painted, replace(ALONE, stains=("gold", "red")))
    assert {part.stain for part in mix.stains} <= {"gold", "red"}


def test_the_next_board_is_less_sure_where_boards_differ(tmp_path: Path) -> None:
    told = []
    for number, tones in enumerate(((1.0, 1.0), (0.7, 1.3))):
        folder = tmp_path / str(number)
        folder.mkdir()
        zones = {**board("A", tones[0]), **board("B", tones[1]), **sample(stained(wood(), walnut_brown=0.5))}
        setting, held = pot_of(measured_job(folder, zones))
        told.append(foretold(setting, held, np.array([0.5, 0.0, 0.0])))
    assert (told[1].Lab_u95 > told[0].Lab_u95).all()
    assert told[0].de00_u95 > 0


def test_each_patch_is_foretold_from_the_others(painted: Path) -> None:
    """Both boards were painted with the same stains, so that only the way of adding can miss."""
    setting, held = pot_of(painted)
    missed = left_out(setting, held)
    assert len(missed) == 6
    assert np.abs(missed).max() < 0.3


# ---- the wood below


def test_without_bare_wood_stains_are_mixed_with_each_other_alone(tmp_path: Path) -> None:
    """The wood is the same in all, and falls out: half brown, half red is found exactly."""
    two = {"brown": "walnut_brown", "red": "red_mahogany"}
    zones = {**board("A", stains=two, bare=False), **sample(stained(wood(), walnut_brown=0.5, red_mahogany=0.5))}
    setting = matched(measured_job(tmp_path, zones))
    (mix,) = setting.mixes
    assert {part.stain: part.parts for part in mix.stains} == {"brown": 1, "red": 1}
    assert mix.clear_parts == 0
    assert mix.exact_de00 < 0.3
    assert "no bare wood" in doubts(mix)
    (missing,) = setting.missing
    assert 'a zone with stain = "none" and treatment = "none"' in missing
    assert "board A" in missing
    assert "photos of A as they were before staining" in missing


def test_photos_before_staining_show_the_wood_where_no_coat_lies_on_it(tmp_path: Path) -> None:
    def zones(stage: str) -> Zones:
        of = board("A", bare=False)
        ground = Lab_of(wood())
        seen = {path: {**keys, "Lab": {"bare": ground, stage: keys["Lab"]}} for path, keys in of.items()}
        return {**seen, **sample(stained(wood(), walnut_brown=0.5))}

    for name in ("dry", "coated"):
        (tmp_path / name).mkdir()
    dry = matched(measured_job(tmp_path / "dry", zones("stained")))
    assert doubts(dry.mixes[0]) >= {"bare wood from another photo", "one board"}
    assert dry.mixes[0].clear_parts > 0
    coated = matched(measured_job(tmp_path / "coated", zones("topcoated"), stage="topcoated"))
    assert coated.mixes[0].clear_parts == 0
    assert "under the same coat" in coated.missing[0]
    assert "before staining" not in coated.missing[0]


def test_an_unstained_zone_of_another_pre_treatment_is_second_best(tmp_path: Path) -> None:
    washed = {path: {**keys, "treatment": "washcoat"} for path, keys in board("A", bare=False).items()}
    bare = {"A/bare": {"Lab": Lab_of(wood()), "stain": "none"}}
    mix = only_mix(measured_job(tmp_path, {**bare, **washed, **sample(stained(wood(), walnut_brown=0.5))}))
    assert mix.treatment == "washcoat"
    assert "bare wood untreated" in doubts(mix)


def test_a_stain_not_tried_on_a_washcoat_is_taken_as_the_others_go_on_there(tmp_path: Path) -> None:
    """Here the washcoat lets in 60 %, of brown as tried, and so of red as borrowed."""
    ground = wood()
    washed = {
        "A/washed": {"Lab": Lab_of(ground), "stain": "none", "treatment": "washcoat"},
        "A/washed-brown": {"Lab": stained(ground, walnut_brown=0.6), "stain": "brown", "treatment": "washcoat"},
    }
    target = stained(ground, walnut_brown=0.3, red_mahogany=0.3)
    folder = measured_job(tmp_path, {**board("A"), **washed, **sample(target)})
    _, held = pot_of(folder, "washcoat")
    assert [(stain, other) for stain, other, _ in held.borrowed] == [("gold", "none"), ("red", "none")]
    assert held.borrowed[0][2] == pytest.approx(0.6, abs=0.02)
    mix = next(mix for mix in matched(folder).mixes if mix.treatment == "washcoat")
    assert {part.stain: part.share for part in mix.stains} == pytest.approx({"brown": 0.5, "red": 0.5}, abs=0.04)
    assert "borrowed" in doubts(mix)


def test_a_stain_alone_is_diluted(tmp_path: Path) -> None:
    zones = {**board("A", stains={"brown": "walnut_brown"}), **sample(stained(wood(), walnut_brown=0.5))}
    setting = matched(measured_job(tmp_path, zones))
    (mix,) = setting.mixes
    assert (mix.stains[0].parts, mix.clear_parts) == (1, 1)
    assert any("brown is the only one" in says for says in setting.missing)


def test_parts_are_of_undiluted_stain_when_it_was_tried_diluted(tmp_path: Path) -> None:
    """Half strength was tried; a target of a quarter takes 1 part to 3, one of 90 % goes beyond."""
    ground = wood()
    diluted = {"A/brown": {"Lab": stained(ground, walnut_brown=0.5), "stain": "brown", "dilution": "1:1"}}
    bare = {"A/bare": {"Lab": Lab_of(ground), "stain": "none"}}
    for share, beyond in ((0.25, False), (0.9, True)):
        folder = tmp_path / str(share)
        folder.mkdir()
        mix = only_mix(measured_job(folder, {**bare, **diluted, **sample(stained(ground, walnut_brown=share))}))
        assert mix.stains[0].share == pytest.approx(share, abs=0.03)
        assert mix.stains[0].parts / (mix.stains[0].parts + mix.clear_parts) == pytest.approx(share, abs=0.04)
        assert mix.stains[0].tried == pytest.approx(0.5)
        assert ("beyond what was tried" in doubts(mix)) is beyond


# ---- when not to rely on it


def test_a_target_darker_than_a_full_pot_asks_for_another_coat(tmp_path: Path) -> None:
    zones = {**board("A"), **board("B"), **sample(stained(wood(), walnut_brown=1.5))}
    folder = measured_job(tmp_path, zones)
    assert "too dark" in doubts(only_mix(folder))
    setting, held = pot_of(folder)
    assert strength_wanted(held.pot, setting.Lab_target, [0], held.limits) == pytest.approx(1.5, abs=0.1)


def test_a_colour_that_no_stain_leads_to_is_out_of_reach(tmp_path: Path) -> None:
    zones = {**board("A"), **board("B"), **sample((60.0, 2.0, 6.0))}
    mix = only_mix(measured_job(tmp_path, zones))
    assert "out of reach" in doubts(mix)
    assert mix.colour == "no match"


def test_a_stain_that_lightens_covers(tmp_path: Path) -> None:
    ground = wood("walnut")
    zones = {
        "A/bare": {"Lab": Lab_of(ground), "stain": "none"},
        "A/lime": {"Lab": (60.0, 4.0, 12.0), "stain": "lime"},
        **sample((52.0, 6.0, 14.0)),
    }
    assert "lightens" in doubts(only_mix(measured_job(tmp_path, zones, species="walnut")))


def test_a_pigment_is_told_by_light_and_dark_boards(tmp_path: Path) -> None:
    """An opaque paint is alike on both boards; a clear stain keeps their difference."""
    zones: Zones = {}
    for name, tone in (("A", 0.6), ("B", 1.4)):
        zones |= board(name, tone)
        zones[f"{name}/paint"] = {"Lab": (48.0, 10.0, 20.0), "stain": "paint"}
    folder = measured_job(tmp_path, {**zones, **sample((50.0, 10.0, 21.0))})
    _, held = pot_of(folder)
    scattering = {stain: layer.S for stain, layer in zip(held.stains, held.pot.layers, strict=True)}
    assert scattering["paint"] > 0.2
    assert all(scattering[stain] == 0 for stain in THREE)
    mix = only_mix(folder, replace(ALONE, stains=("paint",)))
    assert "covers" in doubts(mix)
    assert "cover not known" not in doubts(mix)


def test_a_second_coat_that_adds_little_is_told(tmp_path: Path) -> None:
    ground = wood()
    zones = {
        "A/bare": {"Lab": Lab_of(ground), "stain": "none"},
        "A/once": {"Lab": stained(ground, walnut_brown=1.0), "stain": "brown", "stain_coats": 1},
        "A/twice": {"Lab": stained(ground, walnut_brown=1.2), "stain": "brown", "stain_coats": 2},
        **sample(stained(ground, walnut_brown=0.8)),
    }
    assert "saturates" in doubts(only_mix(measured_job(tmp_path, zones)))


def test_steps_that_differ_are_named(tmp_path: Path) -> None:
    zones = {**board("A", dwell="3 min"), **board("B", dwell="10 min"), **sample(stained(wood(), walnut_brown=0.5))}
    mix = only_mix(measured_job(tmp_path, zones))
    assert any(doubt.code == "steps differ" and "dwell" in doubt.says for doubt in mix.doubts)


# ---- the trial board


@pytest.mark.parametrize("number", [0, 1])
def test_the_trial_board_goes_into_the_job_file_as_it_stands(tmp_path: Path, number: int) -> None:
    keys = [{}, {"treatment": "shellac washcoat", "solids": 5, "wait": "2 h", "scuff": "P320", "dwell": "3 min"}][
        number
    ]
    zones = {**board("A", **keys), **board("B", **keys), **sample(stained(wood(), walnut_brown=0.45, golden_oak=0.2))}
    folder = measured_job(tmp_path, zones)
    mix = only_mix(folder)
    job_file = folder / "job.toml"
    before = tomllib.loads(job_file.read_text(encoding="utf-8"))
    job_file.write_text(job_file.read_text(encoding="utf-8") + "\n" + mix.trial_board, encoding="utf-8")
    added = read_job(folder).boards[-1]
    assert added.id not in {board["id"] for board in before["board"]}
    by_id = {zone.id: zone for zone in added.zones}
    assert by_id["unstained"].stain == "none"
    assert by_id["stain-alone"].stain == max(mix.stains, key=lambda part: part.parts).stain
    for part in mix.stains:
        assert f"{part.parts} part" in str(by_id["mix"].stain)
        assert part.stain in str(by_id["mix"].stain)
    assert {zone.treatment for zone in added.zones} == {keys.get("treatment", "none")}
    assert by_id["mix"].recipe == {key: value for key, value in keys.items() if key != "treatment"}


# ---- the way to the target


def test_value_comes_first_then_chroma_then_hue(tmp_path: Path) -> None:
    """A brown 3 too dark, 4 too dull and too yellow: wanted are lighter, more vivid, redder, in that order."""
    target = (45.0, 16.0, 24.0)
    zones = {"A/brown": {"Lab": (42.0, 12.0, 21.0), "stain": "brown"}, **sample(target)}
    (direction,) = matched(measured_job(tmp_path, zones)).directions
    assert direction.value == "3.0 too dark"
    assert direction.chroma.endswith("too dull")
    assert direction.hue.endswith("too yellow")
    wanted = direction.says.split("To come closer: ")[1]
    assert wanted.index("lighter") < wanted.index("more vivid") < wanted.index("redder")
    assert direction.dl == pytest.approx(-3.0)
    assert direction.dc == pytest.approx(np.hypot(12, 21) - np.hypot(16, 24), abs=1e-4)


@pytest.mark.parametrize(
    ("Labs", "answer"),
    [
        (((45.1, 16.0, 24.0), (45.2, 16.0, 24.0)), "cannot tell"),  # the difference is lost in its doubt
        (((44.0, 16.0, 24.0), (47.2, 16.0, 24.0)), "cannot tell"),  # two boards differ by more than that
        (((42.0, 16.0, 24.0), (42.3, 16.0, 24.0)), "possible"),
    ],
)
def test_closer_is_possible_only_where_it_could_be_told(
    tmp_path: Path, Labs: tuple[tuple[float, float, float], ...], answer: str
) -> None:
    zones = {f"{name}/brown": {"Lab": Lab, "stain": "brown"} for name, Lab in zip("AB", Labs, strict=True)}
    found = matched(measured_job(tmp_path, {**zones, **sample((45.0, 16.0, 24.0))})).closer
    assert found.answer == answer
    assert found.own_de00 == pytest.approx(float(delta_E_00(*Labs)), abs=1e-4)
    assert ("closer is not possible to tell on this wood" in found.says) is (answer == "cannot tell")


def test_range_boards_are_aimed_at_in_their_middle(tmp_path: Path) -> None:
    Labs = {"light": (60.0, 14.0, 26.0), "mid": (55.0, 15.0, 26.0), "dark": (50.0, 16.0, 25.0)}
    zones = {**board("A"), **{f"S/{name}": {"Lab": Lab, "treatment": "unknown"} for name, Lab in Labs.items()}}
    three = measured_job(tmp_path, zones, target={"between": ["S/light", "S/mid", "S/dark"]})
    assert tuple(setting_of(three).Lab_target) == pytest.approx(Labs["mid"])
    assert "S/mid" in matched(three).target


def test_a_value_can_be_the_target(tmp_path: Path) -> None:
    target = stained(wood(), walnut_brown=0.5)
    folder = measured_job(tmp_path, {**board("A"), **board("B")}, target={"lab": list(target), "stage": "stained"})
    mix = only_mix(folder)
    assert mix.exact_de00 < 0.5
    assert mix.sources["measurement"] > 0.05  # nothing cancels: the camera's whole error counts


def test_the_names_of_the_simulators_stains_are_those_used_here() -> None:
    assert {name.replace("_", " ") for name in THREE.values()} <= set(STAINS)


def test_the_part_that_the_job_alone_decides_needs_no_folder(painted: Path) -> None:
    job, results = read_job(painted), read_results((painted / "results.json").read_bytes())
    assert match_of(job, results) == match_job(painted, ALONE).settings


def test_names_that_the_job_does_not_hold_are_refused(painted: Path) -> None:
    with pytest.raises(MatchError, match=r'no zone has the stain "teal".*There are: brown, gold, none, red'):
        match_job(painted, replace(ALONE, stains=("teal",)))
    with pytest.raises(MatchError, match="no zone has the treatment"):
        match_job(painted, replace(ALONE, treatments=("size",)))
