"""A copy of a file is no repeat of a measurement."""

from analyzer.photos import MeasuredPhoto
from analyzer.repeats import counted_once
from analyzer.results import PhotoResult


def seen(file: str, sha256: str | None, *, usable: bool = True) -> MeasuredPhoto:
    result = PhotoResult(file, sha256, "A", "stained", None, usable, 0.2, "outline", None, None, ())
    return MeasuredPhoto((result,), (), ())


def codes(photo: MeasuredPhoto) -> list[str]:
    return [finding.code for finding in photo.results[0].findings]


def test_a_copy_under_another_name_is_marked_and_the_first_one_is_not() -> None:
    first, copy = counted_once([seen("a.jpg", "1"), seen("b.jpg", "1")])
    assert codes(first) == []
    assert codes(copy) == ["same-photo"]
    assert "a.jpg" in copy.results[0].findings[0].message


def test_two_photos_of_one_board_are_repeats() -> None:
    assert [codes(photo) for photo in counted_once([seen("a.jpg", "1"), seen("b.jpg", "2")])] == [[], []]


def test_an_unusable_copy_keeps_only_its_own_reason() -> None:
    assert codes(counted_once([seen("a.jpg", "1"), seen("b.jpg", "1", usable=False)])[1]) == []
