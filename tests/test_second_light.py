"""Does a match hold in another light?"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from board_jobs import write_job, zone_of
from simulator import Board, Camera, GrayCard, Light, PaintedZone, Scene, WoodZone, render, save_photo

from analyzer import measure_job
from analyzer.compare import Difference
from analyzer.errors import JobFileError
from analyzer.job import Board as JobBoard
from analyzer.job import EvennessWish, Job, PhotoEntry, Reference, Target
from analyzer.results import SecondLightResult
from analyzer.second_light import second_light
from analyzer.trials import JudgedZone
from analyzer.verdicts import answer, judge
from calibration.difference import delta_E_00, delta_E_ab
from calibration.metamerism import corrected_sample_Lab

WOOD = np.array([38.0, 14.5, 22.0])


def job(*lights: str, lab: bool = False) -> Job:
    target = Target(lab=(38.0, 14.5, 22.0)) if lab else Target(zone="S/sample")
    return Job(
        folder=Path("job"),
        name="bench",
        units="mm",
        target=replace(target, tolerance=2.0, lights=lights),
        evenness=EvennessWish(wish="lively"),
        reference=Reference(),
        boards=(JobBoard("A", "maple", 300, 100, ()),),
        photos=(PhotoEntry("a.jpg", "A", "stained", "shop"), PhotoEntry("b.jpg", "A", "stained", "window")),
    )


def zone(light: str, delta: tuple[float, float, float], treatment: str = "wash", u: float = 0.1) -> JudgedZone:
    colour = WOOD + delta
    difference = Difference(np.array(delta), np.eye(3) * u**2, WOOD, colour, float(delta_E_00(WOOD, colour)), None)
    return JudgedZone(
        id=f"A/{treatment}",
        board="A",
        treatment=treatment,
        stain=None,
        species="maple",
        stage="stained",
        light=light,
        sheen=None,
        to_target=difference,
        why_not=None,
        blotch=0.5,
        blotch_u95=0.1,
        blotch_limit=None,
        blotch_limit_u95=None,
    )


def only(zones: list[JudgedZone], of: Job | None = None) -> SecondLightResult:
    (found,) = second_light(of or job(), zones)
    return found


def test_the_index_is_that_of_the_worked_example_of_the_standard() -> None:
    """ISO 18314-4:2020, additive correction; the example as colour-science 0.4.7 carries it (CIE 1976 difference)."""
    standard, test_standard = (39.0908, -21.3269, 22.6657), (38.17781, -17.4939, 21.0618)
    sample, test_sample = (38.83253, -19.8787, 20.0453), (37.9013, -19.56327, 16.9346)
    corrected = corrected_sample_Lab(standard, sample, test_sample)
    assert delta_E_ab(test_standard, corrected) == pytest.approx(3.8267581, abs=5e-8)


def test_a_pair_that_keeps_its_difference_has_no_metamerism() -> None:
    found = only([zone("shop", (1, 0.5, 0)), zone("window", (1, 0.5, 0))])
    assert found.metamerism == pytest.approx(0, abs=1e-9)
    assert found.says.startswith("The match holds")


def test_a_match_that_is_lost_in_the_other_light_is_a_warning() -> None:
    found = only([zone("window", (0, 4, 0)), zone("shop", (0, 0, 0))])
    assert (found.lights, found.worst) == (("shop", "window"), "window")  # in the job's order
    assert found.metamerism == pytest.approx(delta_E_00(WOOD, WOOD + np.array([0, 4, 0])))
    assert found.metamerism_u95 is not None
    assert found.says.startswith("The match changes with the light")
    assert "window light" in found.says


def test_what_is_lost_in_the_uncertainty_is_no_warning() -> None:
    assert only([zone("shop", (0, 0, 0)), zone("window", (0, 2, 0), u=0.8)]).says.startswith(
        "Whether the match changes"
    )


def test_a_value_says_nothing_of_other_lights() -> None:
    found = only([zone("shop", (0, 0, 0)), zone("window", (0, 4, 0))], job(lab=True))
    assert found.metamerism is None
    assert "photograph the agreed sample" in found.says


def test_one_light_alone_says_nothing() -> None:
    assert second_light(job(), [zone("shop", (0, 0, 0))]) == ()


def test_the_worst_of_the_named_lights_decides() -> None:
    zones = [zone("shop", (0, 0, 0)), zone("window", (4, 0, 0)), zone("hall", (0.5, 0, 0))]
    assert answer(job("shop", "hall"), judge(job(), zones)).treatment == "wash"
    assert answer(job("shop", "window"), judge(job(), zones)).treatment is None
    assert answer(job(), judge(job(), zones)).treatment is None  # none named: all count


def test_a_named_light_that_was_not_measured_leaves_the_answer_open() -> None:
    zones = [zone("shop", (0, 0, 0))]
    found = answer(job("shop", "window"), judge(job(), zones))
    assert found.treatment is None
    assert "was not measured in window light" in found.reason
    assert "no zone was measured in window light" in answer(job("window"), judge(job(), zones)).reason


@pytest.fixture(scope="module")
def two_lights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A stained board beside a sample painted to match it in daylight, photographed in daylight and under a lamp."""
    folder = tmp_path_factory.mktemp("lights")
    (folder / "photos").mkdir()
    stained = Board("A", 200, 100, (WoodZone("wash", (0, 200), stain="walnut brown"),), seed=3)
    scene = Scene(boards=(stained,), card=GrayCard(top_left_mm=(30, 120)))
    rendered = render(scene, Camera(size_px=(1200, 900)), seed=1)
    Lab = rendered.truth.board("A").zone("wash").Lab
    sample = Board("S", 120, 100, (PaintedZone("sample", (0, 120), Lab),), top_left_mm=(230, 0))
    photos = []
    for light, illuminant in (("day", "D50"), ("lamp", "FL2")):
        lit = replace(scene, boards=(stained, sample), light=Light(illuminant))
        taken = render(lit, Camera(size_px=(1500, 1000)), seed=2)
        save_photo(folder / "photos" / f"{light}.jpg", taken)
        corners = [np.array(taken.truth.board(board).corners_px).tolist() for board in "AS"]
        photos.append(
            {
                "file": f"photos/{light}.jpg",
                "boards": ["A", "S"],
                "stage": "stained",
                "light": light,
                "corners": corners,
                "card": np.array(taken.truth.card_corners_px).tolist(),
            }
        )
    write_job(
        folder, [stained, sample], photos, target={"zone": "S/sample", "tolerance": 3.0, "lights": ["day", "lamp"]}
    )
    return folder


def test_photos_in_two_lights_tell_metamerism(two_lights: Path) -> None:
    results = measure_job(two_lights).results
    (found,) = results.second_light
    assert found.lights == ("day", "lamp")
    assert found.worst == found.lights[int(np.argmax(found.de00))]
    sample_day, sample_lamp = (np.array(zone_of(results, "S/sample", light).lab) for light in ("day", "lamp"))
    board_day, board_lamp = (np.array(zone_of(results, "A/wash", light).lab) for light in ("day", "lamp"))
    expected = delta_E_00(sample_lamp, board_lamp - (board_day - sample_day))
    assert found.metamerism == pytest.approx(expected, abs=1e-6)
    assert found.metamerism > 0.1  # paint and stain differ in their spectra


def test_a_light_without_a_photo_is_no_light_that_decides(two_lights: Path) -> None:
    text = (two_lights / "job.toml").read_text()
    (two_lights / "job.toml").write_text(text.replace('"lamp"]', '"lamps"]', 1))
    with pytest.raises(JobFileError, match='Did you mean "lamp"'):
        measure_job(two_lights)
    (two_lights / "job.toml").write_text(text)
