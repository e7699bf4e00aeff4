"""What stands on the customer's page, in the recipes, beside the blotch index, and of approvals."""

from dataclasses import replace
from pathlib import Path

import pytest
from approval_examples import paper_approval
from report_example import LIGHT, SHELLAC, STAIN, example_job, example_results

from analyzer.approvals import (
    FORMAT,
    KIND,
    Approval,
    ApprovedFile,
    ApprovedJob,
    ApprovedLimits,
    ApprovedZone,
    approval_json,
)
from analyzer.job import Board, EvennessWish, Job, Target, Zone
from analyzer.recipe_fields import FIELDS
from analyzer.report.approved import approval_rows
from analyzer.report.customer import chosen_name
from analyzer.report.looks import lightness_says, look_table
from analyzer.report.page import page_of
from analyzer.report.recipes import recipes_of, said
from analyzer.results import AnswerResult, Results, ZoneResult

# The customer's page


def terms(job: Job, results: Results) -> str:
    return " ".join(f"{term.lead} {term.says}" for term in page_of(job, results).for_customer.terms)


def test_the_customer_reads_which_treatment_suits_and_which_way_the_others_miss() -> None:
    page = page_of(example_job(), example_results()).for_customer
    assert page.name == "Dewaxed shellac washcoat on hard maple, red alder"  # the example's one group of two woods
    (group,) = page.groups
    assert [(row.name, row.mark.word) for row in group.rows] == [
        (SHELLAC, "suits"),
        ("glue size", "not certain yet"),
        ("no pre-treatment", "does not suit"),
    ]
    assert group.rows[0].colour == "as agreed"
    # Control: L* 37.2 and 36.1 against 40.2 of the sample, C* 24.2 and 25.1 against 27.1.
    assert group.rows[2].colour.startswith("not as agreed: too dark, a little too dull")
    assert [row.surface for row in group.rows] == ["even", "not certain yet", "blotchy"]
    assert all(row.swatches and row.target for row in group.rows)


def test_the_customers_page_never_promises_more_than_the_board() -> None:
    said_ = terms(example_job(), example_results())
    assert "Wood varies by nature." in said_
    assert "The signed board is the standard, not this page: no screen and no print" in said_
    assert "no more than 2.0" in said_
    assert "no more than 1.00" in said_


def test_a_zone_approved_in_an_earlier_job_is_named_with_who_approved_it() -> None:
    approval = paper_approval()
    target = Target(tolerance=2.0, lab=approval.zone.lab, approved=approval)
    said = terms(replace(example_job(), target=target), example_results())
    assert f"that of zone {approval.zone.id}, as {approval.by} approved it on {approval.date[:10]}" in said
    assert "a measured value" not in said
    assert "is a number" not in said


def test_colours_are_called_indicative_unless_a_chart_lay_in_every_photo() -> None:
    job, results = example_job(), example_results()
    assert "are indicative," in terms(job, results)
    by_number = replace(job, target=Target(lab=(40.2, 14.6, 22.8), stage="stained"))
    assert "Indicative. The agreed colour is a number" in terms(by_number, results)
    charted = replace(results, photos=tuple(replace(photo, correction="colour chart") for photo in results.photos))
    assert "ndicative" not in terms(by_number, charted)


@pytest.mark.parametrize(
    ("evenness", "expected"),
    [
        (EvennessWish("lively", None), "lively figure is wished"),
        (EvennessWish("even", None, like="R/control"), "no blotchier than zone R/control"),
    ],
)
def test_the_wish_for_evenness_is_said_as_it_was_agreed(evenness: EvennessWish, expected: str) -> None:
    assert expected in terms(replace(example_job(), evenness=evenness), example_results())


def test_a_treatment_is_named_for_the_woods_on_which_it_will_do_in_every_light() -> None:
    results = example_results()
    best = results.verdicts[0]
    maple, cherry = replace(best, species="hard maple"), replace(best, species="cherry")
    lamp = replace(cherry, light="lamp", overall="do not use")
    answer = AnswerResult(SHELLAC, STAIN, "hard maple", "…")
    both = replace(results, verdicts=(maple, cherry), answer=answer)
    assert chosen_name(both) == "Dewaxed shellac washcoat on hard maple and cherry"
    assert chosen_name(replace(both, verdicts=(maple, cherry, lamp))) == "Dewaxed shellac washcoat on hard maple"
    assert chosen_name(replace(both, answer=AnswerResult(None, None, None, "…"))) == ""


# Recipes


def with_zone(job: Job, zone: Zone, board: str = "A") -> Job:
    boards = [replace(one, zones=(zone, *one.zones[1:])) if one.id == board else one for one in job.boards]
    return replace(job, boards=tuple(boards))


def test_zones_that_were_made_alike_share_a_recipe_and_the_best_comes_first() -> None:
    recipes = recipes_of(example_job(), example_results())
    names = [(block.name, block.zones) for block in recipes.blocks]
    assert names[:2] == [
        ("Dewaxed shellac washcoat on hard maple", "A/shellac"),
        ("Dewaxed shellac washcoat on red alder", "R/shellac"),
    ]
    assert ("scuff grit", "P320") in recipes.blocks[0].facts
    assert ("pre-treatment", SHELLAC) in recipes.blocks[0].facts


def test_what_is_recorded_of_no_zone_is_told_once_and_the_rest_where_it_is_missing() -> None:
    job = example_job()
    first = job.boards[0].zones[0]
    recipes = recipes_of(with_zone(job, replace(first, recipe={**first.recipe, "dwell": "3 min"})), example_results())
    assert FIELDS["stain_kind"].words in recipes.missing
    assert FIELDS["dwell"].words not in recipes.missing
    assert FIELDS["scuff"].words not in recipes.missing
    by_zone = {block.zones: block for block in recipes.blocks}
    assert ("dwell", "3 min") in by_zone["A/control"].facts
    assert by_zone["A/shellac"].missing == ("dwell",)
    assert not any("coats of pre-treatment" in block.missing for block in recipes.blocks if "No pre" in block.name)


def test_a_fact_of_the_whole_board_stands_with_each_of_its_zones() -> None:
    job = example_job()
    first = replace(job.boards[0], circumstances={"lot": "7 of March", "moisture": 7.5})
    control = replace(first.zones[0], circumstances={"moisture": 9})
    first = replace(first, zones=(control, *first.zones[1:]))
    shared = recipes_of(replace(job, boards=(first, *job.boards[1:])), example_results())
    by_zone = {block.zones: dict(block.facts) for block in shared.blocks}
    assert by_zone["A/glue"]["lot"] == "7 of March"
    assert by_zone["A/glue"]["moisture of the wood"] == "7.5 %"
    assert by_zone["A/control"]["moisture of the wood"] == "9 %"  # its own goes before its board's
    assert "lot" not in by_zone["R/glue"]


@pytest.mark.parametrize(
    ("key", "value", "expected"),
    [
        ("solids", 5, "5 %"),
        ("dilution", 3, "3 parts of thinner to one"),
        ("dilution", "1:3", "1:3"),
        ("scuff", 320, "320"),
        ("sheen", 35, "35 gloss units"),
        ("raised", True, "yes"),
        ("temperature", 20.5, "20.5 °C"),
        ("wet_film", 100, "100 µm"),
        ("stain_coats", 2, "2"),
        ("sanding", ["P120", "P150"], "P120, P150"),
    ],
)
def test_a_recipes_values_are_said_as_a_finisher_says_them(key: str, value: object, expected: str) -> None:
    assert said(FIELDS[key], value) == expected


def test_a_sample_of_which_nothing_is_known_lacks_nothing() -> None:
    sample = Board("S", "hard maple", 150, 100, (Zone("sample", "unknown", (0, 150), (0, 100)),))
    recipes = recipes_of(replace(example_job(), boards=(sample,)), example_results())
    assert recipes.missing == ()
    assert recipes.blocks[0].missing == ()


# How the unevenness looks

CONTROL = ZoneResult(
    id="A/control", board="A", zone="control", stage="stained", light=LIGHT, species="hard maple", treatment="none",
    stain=STAIN, lab=(35.0, 13.0, 20.0), lab_u95=None, blotch=1.0, blotch_u95=0.1, patch_mm=14.0, figure=0.8,
    area_mm2=12600.0, masked=0.0, photos=("a.jpg",),
)  # fmt: skip
TREATED = replace(CONTROL, id="A/glue", zone="glue", treatment="glue size", blotch_levelled=1.0)


@pytest.mark.parametrize(
    ("blotch", "levelled", "expected"),
    [
        (1.0, 1.05, ""),  # alike both ways
        (2.0, 1.8, ""),  # blotchier both ways
        (1.4, 1.05, "looks blotchier than its control because it is lighter, not for being less even"),
        (1.05, 1.5, "takes stain less evenly than its control, which its darker ground hides"),
        (0.7, 0.98, "looks calmer than its control because it is darker, not for being more even"),
        (0.95, 0.6, "takes stain more evenly than its control, which its lighter ground hides"),
    ],
)
def test_a_zone_that_looks_blotchier_only_for_its_lightness_is_told_apart(
    blotch: float, levelled: float, expected: str
) -> None:
    """A lighter ground makes the same share of light more in L* (dL*/d ln Y = 116/3 Y^(1/3)), so it is scaled down."""
    zone = replace(TREATED, blotch=blotch, blotch_levelled=levelled)
    assert lightness_says(zone, (CONTROL, zone)) == expected


def test_lightness_says_nothing_without_a_control_of_the_same_board_and_light() -> None:
    zone = replace(TREATED, blotch=1.4, blotch_levelled=1.0)
    for other in (replace(CONTROL, board="B"), replace(CONTROL, light="lamp"), replace(CONTROL, blotch=None)):
        assert lightness_says(zone, (other, zone)) == ""
    assert lightness_says(replace(zone, blotch_levelled=None), (CONTROL, zone)) == ""
    assert lightness_says(CONTROL, (CONTROL, zone)) == ""


def test_every_figure_of_a_zones_looks_stands_with_what_it_means_in_the_jobs_units() -> None:
    zone = replace(
        TREATED, bands=(0.11, 0.22, 0.33, 0.44), visible_share=(0.125, 0.031), blotch_arm=0.55, blotch_room=0.66,
        drift=(-1.23, 0.77), lap=0.88, blotch_levelled=0.99, figure_kept=0.9, bare_blotch=0.21, bare_blotch_u95=0.05,
        added_blotch=0.31, added_blotch_u95=0.06,
    )  # fmt: skip
    results = replace(example_results(), zones=(zone,))
    metric, inches = look_table(results, "mm"), look_table(results, "in")
    assert metric.groups[0].rows[0].values == (
        "1.00", "0.11", "0.22", "0.33", "0.44", "12 %", "3.1 %", "0.55", "0.66", "−1.2 / +0.8", "0.88", "0.99",
        "× 0.90", "0.21 ± 0.05", "0.31 ± 0.06",
    )  # fmt: skip
    assert [column.heading for column in metric.columns][1:3] == ["waves 4–8 mm", "waves 8–16 mm"]
    assert [column.heading for column in inches.columns][1:3] == ["waves 0.16–0.31 in", "waves 0.31–0.63 in"]
    assert "0.7 m" in " ".join(column.means for column in metric.columns)
    assert "2.3 ft" in " ".join(column.means for column in inches.columns)  # 0.7 / 0.3048


def test_figures_that_no_zone_has_take_no_room() -> None:
    assert look_table(example_results(), "mm").groups == ()  # nothing but the blotch index, which stands elsewhere


# Approvals


def approval(results: Results, **changes: object) -> Approval:
    zone = next(zone for zone in results.zones if zone.id == "A/shellac")
    approved = ApprovedZone(
        id=zone.id, species=zone.species, treatment=zone.treatment, stain=zone.stain, sheen=None, recipe={},
        stage="stained", light=LIGHT, lab=zone.lab, lab_u95=(1.0, 1.0, 1.0), blotch=0.6, blotch_u95=0.1, figure=0.8,
        patch_mm=14.0, area_mm2=12600.0, length_mm=100.0, width_mm=150.0, sights=(),
    )  # fmt: skip
    job = ApprovedJob("Bay window seat", None, "0" * 64, "0" * 64, {}, (ApprovedFile("photos/a.jpg", "1" * 64),))
    whole = Approval(
        format=FORMAT, kind=KIND, by="Ms. Example", date="2026-11-20T10:00:00", until="2027-06-30",
        scope="colour of the seat", covers=("colour", "evenness"), not_covered="sheen", notes=None, supersedes=None,
        zone=approved, range_boards=(), limits=ApprovedLimits(2.0, "even", 1.0, 0.0, "agreed"), job=job,
        tool=results.tool, sha256="",
    )  # fmt: skip
    return replace(whole, **changes)  # type: ignore[arg-type] # names of its fields


def put(folder: Path, name: str, one: Approval) -> None:
    (folder / "approvals").mkdir(exist_ok=True)
    (folder / "approvals" / f"{name}.json").write_bytes(approval_json(one))


def test_an_approval_is_told_with_who_when_what_for_and_what_has_changed(tmp_path: Path) -> None:
    results = example_results()
    put(tmp_path, "a-shellac", approval(results))
    (row,) = approval_rows(tmp_path, results)
    assert row.zone == "A/shellac (stained, light “shop”)"
    assert row.says == "approved by Ms. Example on 2026-11-20, until 2027-06-30"
    assert row.scope == "Colour of the seat; covers colour and evenness; does not cover sheen"
    assert any("photos/a.jpg is no longer there" in changed for changed in row.changed)
    moved = tuple(
        replace(zone, lab=(39.0, *zone.lab[1:])) if zone.id == "A/shellac" else zone for zone in results.zones
    )
    (row,) = approval_rows(tmp_path, replace(results, zones=moved))
    assert any("A/shellac now measures L* 39.0" in changed for changed in row.changed)


def test_an_approval_that_a_later_one_supersedes_is_not_shown(tmp_path: Path) -> None:
    results = example_results()
    put(tmp_path, "first", approval(results))
    put(tmp_path, "second", approval(results, date="2026-11-22T10:00:00", supersedes="first", scope="all of it"))
    assert [row.scope[:9] for row in approval_rows(tmp_path, results)] == ["All of it"]


def test_a_job_without_approvals_has_none(tmp_path: Path) -> None:
    assert approval_rows(tmp_path / "nowhere", example_results()) == ()
