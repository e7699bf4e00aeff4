"""The trade tables hold, a finisher's own words find their rows, and a shop's rows take the place of ours."""

from pathlib import Path

import pytest

from analyzer.trade.abrasives import all_abrasives, find_abrasive, nearest_on, wide_steps
from analyzer.trade.conditions import all_conditions
from analyzer.trade.coverage import all_coverage, find_coverage
from analyzer.trade.materials import all_materials, find_material
from analyzer.trade.sayings import all_defects, all_questions, all_typical_schedules, all_words, typical_schedule
from analyzer.trade.species import all_species, find_species
from analyzer.trade.table_file import TradeTableError
from analyzer.trade.treatments import all_treatments, find_treatment


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for the shop's own tables."""
    monkeypatch.setenv("EVENBOARD_DATA", str(tmp_path))
    (tmp_path / "trade").mkdir()
    return tmp_path / "trade"


def test_every_row_of_every_table_says_where_it_is_from() -> None:
    tables = (
        *(all_species(), all_treatments(), all_materials(), all_abrasives(), all_coverage(), all_conditions()),
        *(all_defects(), all_typical_schedules(), all_words(), all_questions()),
    )
    assert all(len(rows) > 3 for rows in tables)
    assert all(row.source and row.origin == "evenboard" for rows in tables for row in rows)


@pytest.mark.parametrize("asked", ["Hard maple", "maple, hard", "sugar maples", "HARD MAPLE (sapwood)"])
def test_a_wood_is_found_by_the_words_of_a_finisher(asked: str) -> None:
    found = find_species(asked).row
    assert found is not None
    assert (found.specific_gravity, found.shrink_tangential_percent) == (0.63, (9.9, 9.9))  # Wood Handbook, 2010


def test_another_wood_with_a_known_word_in_it_is_not_taken_for_it() -> None:
    found = find_species("Brazilian cherry")
    assert found.row is None
    assert "cherry" in " ".join(found.near)


@pytest.mark.parametrize(("asked", "blotch"), [("yellow-poplar", 3), ("ash", 0), ("red oak", 0), ("white oak", 0)])
def test_stained_raw_poplar_blotches_and_ash_and_oak_do_not(asked: str, blotch: int) -> None:
    """Common practice, no source."""
    found = find_species(asked).row
    assert found is not None
    assert found.blotch == blotch


def test_treatments_and_materials_are_found_by_whole_words() -> None:
    washcoat, size = find_treatment("Shellac washcoat, 5 %").row, find_treatment("glue sizing").row
    stain = find_material("walnut oil stain", "stain").row
    assert washcoat is not None
    assert (washcoat.kind, washcoat.base, washcoat.scuff) == ("washcoat", "alcohol", "320")
    assert size is not None
    assert size.kind == "size"
    assert stain is not None
    assert stain.base == "oil"
    assert find_material("foil", "stain").row is None


def test_the_scales_of_paper_part_above_220() -> None:
    """A CAMI 400 is about a P800; up to 220 the two agree (ISO 6344 and ANSI B74.18 by a retailer's table)."""
    cami = find_abrasive("CAMI 400")
    assert cami is not None
    assert nearest_on("P", cami).grade == 800
    p180, cami180 = find_abrasive("P180"), find_abrasive("180 grit", "CAMI")
    assert p180 is not None
    assert cami180 is not None
    assert p180.size_um == cami180.size_um
    grits = [find_abrasive(grit) for grit in ("120", "150", "180")]
    assert wide_steps(tuple(grit for grit in grits if grit)) == ()


def test_the_rules_of_thumb_stand_in_the_tables() -> None:
    """Common practice, no source: 120, 150, 180 before a wiping stain; in service 5 to 7 days after the last coat."""
    assert typical_schedule(None).grits == ("120", "150", "180")
    use = find_coverage("use", "topcoat")
    assert use is not None
    assert (use.low, use.high) == (5 * 24, 7 * 24)


def test_a_shops_row_takes_the_place_of_ours_and_says_so(shop: Path) -> None:
    (shop / "trade_species.csv").write_text("name,blotch\ncherry,1\nosage,0\n", encoding="utf-8")
    cherry, osage = find_species("cherry").row, find_species("osage").row
    assert cherry is not None
    assert osage is not None
    assert (cherry.blotch, cherry.origin, osage.origin) == (1, "shop", "shop")


def test_a_shops_table_that_does_not_hold_is_told_with_line_and_column(shop: Path) -> None:
    (shop / "trade_species.csv").write_text("name,blotch\ncherry,1\nosage,7\nelm,x\n", encoding="utf-8")
    with pytest.raises(TradeTableError) as told:
        all_species()
    assert "line 3: column blotch" in str(told.value)
    assert "line 4: column blotch" in str(told.value)
    assert "2 problems" in str(told.value)
