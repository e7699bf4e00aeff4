"""A few parts of the study of production parts (tests/studies/parts_study.py), so that its claims are watched."""

from studies.parts_study import judged, table

FEW = range(9000, 9005)


def test_parts_photographed_on_another_day_lie_in_their_intervals() -> None:
    """Of hundreds 95 to 96 % do, and no part that was outside was called within."""
    parts = [part for number in FEW if (part := judged(number)) is not None]
    assert len(parts) >= 4, table(parts)
    assert sum(part.is_held for part in parts) >= len(parts) - 1, table(parts)
    assert not [part for part in parts if part.true > 2.0 and part.colour == "within"], table(parts)
