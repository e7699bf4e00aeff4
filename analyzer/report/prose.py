"""What do the report's sentences say that stand below its tables?  One wording for the page and for paper."""

from dataclasses import dataclass

from analyzer.evenness import BLOTCH_MM
from analyzer.job import Job
from analyzer.report import words

REFERENCES = {"gray-card": "gray card", "step-card": "gray step card", "chart-24": "colour chart"}


@dataclass(frozen=True, slots=True)
class Prose:
    """Sentences, each below what it explains."""

    treatments: str
    lights: str  # treatments were seen in several lights
    one_light: str
    charts: str
    pictures: str
    sources: str
    boards: str
    effects: str
    doses: str
    recipes: str
    certain: str
    others: str
    matrix: str
    grades: str
    zones: str
    looks: str
    measured: tuple[str, ...]
    cannot_tell: tuple[str, ...]


def prose_of(job: Job, method: str, blotch_limit: str, *, has_chart: bool) -> Prose:
    """Fill the sentences for a job.

    Parameters
    ----------
    job : Job
    method : str
        What the numbers rest on.
    blotch_limit : str
        As said.
    has_chart : bool
        Every photo was corrected by a chart.
    """
    is_range = bool(job.target.between)
    tolerance = words.number(job.target.tolerance, words.COLOUR_DECIMALS)
    reference = REFERENCES[job.reference.kind]
    indicative = (
        "" if has_chart else ". Without a colour chart they are indicative; the differences are the firmer numbers"
    )
    return Prose(
        treatments=(
            "In each swatch the treatment is on the left, one stripe for each board, and the target on the right"
            f"{', one stripe for each of its limits' if is_range else ''}. Colour difference is ΔE00 (CIEDE2000): 0 is "
            f"the same colour, and the limit here is {tolerance}. Blotch is how much the lightness varies from patch "
            "to patch, in L* (0 black, 100 white), the wood's own figure left out; the limit here is "
            f"{blotch_limit}. ± is the 95 % uncertainty: a verdict is given only when the whole interval lies on one "
            "side of the limit."
        ),
        lights=(
            "The change with the light is the colour difference (ΔE00) that a perfect match in the one light would "
            "show in the other (special metamerism index, ISO 18314-4), as the camera sees it."
        ),
        one_light=(
            "All photos were taken in one light. A photo cannot see whether a match holds in another light, since it "
            "keeps three numbers of each colour only: photograph the boards and the agreed sample together in a second "
            "light (at the window and under the lamps, for instance), and give each photo its light in job.toml."
        ),
        charts=(
            "The mark is the measured value, the line its 95 % interval, the hatched side lies beyond the limit. A "
            "line that crosses the limit is “cannot tell”. A dotted line means that the uncertainty is unknown."
        ),
        pictures=(
            f"In the pictures the target is the {'line from range board to range board' if is_range else 'cross'}"
            ", and the dashed ring is the limit. The ring around a mark is its ±, as wide as its line above: a match "
            "keeps that whole ring inside the dashed one, in both pictures. What lies inside in one picture only is "
            "pale there. Small dots are the zones on single boards; where they hide behind the mark, the boards agree "
            "closely. The verdict counts all directions together, so that a mark just inside both dashed rings can "
            "still be no match. The strips show the target's colour, changed as much as at that edge."
        ),
        sources=(
            "Parts do not add up like lengths but like the sides of a right angle: the largest decides. What a "
            "treatment and its target have in common, such as the card's own error, has cancelled already."
        ),
        boards=(
            "First each board with the light and the camera's colour cast taken out. Then the same board at the same "
            "scale as a map: which patches are lighter or darker than their surroundings, fine grain and slow drift "
            "left out. One map scale holds for all boards. The number in a zone is its blotch index. Hatched parts "
            "were not measured."
        ),
        effects=(
            "Each treated zone is held against the untreated ones of its own board, then the boards are averaged: they "
            "are the repeats, not zones or pixels. “By chance” is how often a change as large would show where the "
            "treatment does nothing, corrected for trying several treatments (Holm); below 0.05 it counts as an "
            "effect. From one board nobody can tell whether the treatment did it."
        ),
        doses=(
            "Zones that differ in this one thing only are read as one curve: a straight line from one dose to the "
            "next, and nothing beyond them."
        ),
        recipes="What is not recorded here cannot be repeated. Write it into job.toml while it is remembered.",
        certain="The most certain numbers of this report: board, light and camera are the same for both zones.",
        others=(
            "Between boards or photos, where the light and the camera of both count in, and at stages that were not "
            "judged."
        ),
        matrix=(
            "In parentheses: no larger than its own ±, so that the two cannot be told apart. A dash: of different "
            "sheens, not compared."
        ),
        grades=(
            "Gray scale: the step of the gray scale for change in colour that the difference equals, computed (ISO "
            "105-A05, made for textiles); 5 is no change, 1 a great one."
        ),
        zones=(
            f"L*, a*, b*: lightness, green to red, blue to yellow (CIELAB, D50, 2° observer){indicative}. Figure: the "
            "streaks and rings that were not counted as blotch. Patches: their usual size. Left out: glare, specks and "
            "covered parts."
        ),
        looks="These figures stand beside the verdicts, which count the blotch index and nothing else.",
        measured=_measured(job, reference, method),
        cannot_tell=_cannot_tell(tolerance, blotch_limit),
    )


def _measured(job: Job, reference: str, method: str) -> tuple[str, ...]:
    flattened = (
        "Each photo was made linear with its colour profile, the light over the board evened out where it was mapped, "
        f"and the whole scaled so that the {reference} has its known value. The board was laid flat in millimetres, "
        "and every colour taken to CIELAB (D50, 2° observer). A zone's colour is the mean over its linear tristimulus "
        "values, its edges left out."
    )
    measures = (
        "Colour difference is CIEDE2000 with all weights 1 (ISO/CIE 11664-6). The blotch index is the standard "
        f"deviation, over the zone, of the lightness variation whose waves are {words.lengths(*BLOTCH_MM, job.units)} "
        "long, with the figure that runs along the grain left out."
    )
    certainty = (
        "Every ± is a 95 % half-width. It joins how much the wood itself varies from place to place, the "
        f"{reference}, the light that was not mapped, the repeats, and the camera. Unknown is said, never written as "
        "0. A verdict uses the guard-band rule of JCGM 106:2012: within the limit only when value plus half-width is, "
        "beyond it only when value minus half-width is, otherwise “cannot tell”."
    )
    return flattened, measures, certainty, f"Method: {method}."


def _cannot_tell(tolerance: str, blotch_limit: str) -> tuple[str, ...]:
    light = (
        "Every number holds for its stage and its light. A match in one light may fail in another: look at the "
        "boards, or photograph them again, where the piece will stand."
    )
    limits = (
        f"No colour tolerance for stained furniture is published. The limits here ({tolerance} for colour, "
        f"{blotch_limit} for blotch) are this job's own choice. For orientation: in a trial on finished wood, "
        "observers began to see a difference at ΔE*ab 0.5 and called it another colour at 2.0 (Drvna industrija, "
        "2020, no. 2), and untreated wood differs from itself by about ΔE*ab 2 (Buchelt and Wagenführ, 2012, doi "
        "10.1007/s00107-011-0545-z)."
    )
    return (
        "The colours on a screen or a print are a guide. The boards are the standard.",
        light,
        "Boards are the repeats, not pixels. What one board shows, the next may not.",
        limits,
        "Gloss, adhesion, wear and how the colour will age are not measured.",
        "No number or verdict here is a statement about safety.",
    )
