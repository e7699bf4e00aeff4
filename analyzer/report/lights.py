"""What does the report say of a second light?"""

from dataclasses import dataclass

from analyzer.report import words
from analyzer.results import Results, SecondLightResult


@dataclass(frozen=True, slots=True)
class LightRow:
    """One treatment in all its lights."""

    name: str
    taken: str
    by_light: tuple[str, ...]  # "shop: 1.2 ± 0.4"
    metamerism: str
    says: str


def light_rows(results: Results) -> tuple[LightRow, ...]:
    """Fill one row for each treatment that was seen in more than one light."""
    return tuple(_row(item) for item in results.second_light)


def one_light_only(results: Results) -> bool:
    """Whether there are verdicts, and all of them in one and the same light."""
    return len({verdict.light for verdict in results.verdicts}) == 1


def _row(item: SecondLightResult) -> LightRow:
    measured = zip(item.lights, item.de00, item.de00_u95, strict=True)
    return LightRow(
        name=", ".join(part for part in (words.treatment_name(item.treatment, item.dose), item.stain) if part),
        taken=f"{item.species}, {item.stage}",
        by_light=tuple(f"{light or 'unnamed'}: {words.colour(de00, u95)}" for light, de00, u95 in measured),
        metamerism="–" if item.metamerism is None else words.colour(item.metamerism, item.metamerism_u95),
        says=item.says,
    )
