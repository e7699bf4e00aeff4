"""What does the customer read and sign?  One page in plain words: colours side by side, the answer, its limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analyzer.directions import directions
from analyzer.job import Job
from analyzer.report import words
from analyzer.report.approved import ApprovalRow
from analyzer.report.colour_places import Placed, Target, places, target_of
from analyzer.report.marks import Mark
from analyzer.report.swatches import hex_colours, target_Labs, verdict_colours
from analyzer.results import Colour, Evenness, Overall, Results, VerdictResult
from analyzer.words import listed

COVERS: Final = ("colour", "evenness", "sheen", "figure")  # what a signature may cover, as approvals name it
SIGNERS: Final = ("for the customer", "for the shop")

_SUITS: Final[dict[Overall, Mark]] = {
    "use": Mark("suits", "disc", "good"),
    "do not use": Mark("does not suit", "square", "bad"),
    "cannot tell": Mark("not certain yet", "diamond", "open"),
}
_SURFACE: Final[dict[Evenness, str]] = {
    "even": "even",
    "blotchy": "blotchy",
    "cannot tell": "not certain yet",
    "not judged": "not judged",
}


@dataclass(frozen=True, slots=True)
class CustomerRow:
    """One treatment beside the agreed colour."""

    name: str
    swatches: tuple[str, ...]  # one a zone
    target: tuple[str, ...]
    colour: str
    surface: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class CustomerGroup:
    """Treatments on one wood, at one stage in one light."""

    heading: str
    rows: tuple[CustomerRow, ...]


@dataclass(frozen=True, slots=True)
class Term:
    """One thing that holds: what it is about, and the rest of the sentence."""

    lead: str
    says: str


@dataclass(frozen=True, slots=True)
class CustomerPage:
    """The page to hand over and sign."""

    heading: str
    name: str  # what is recommended; "" where nothing can be yet
    says: str
    groups: tuple[CustomerGroup, ...]
    terms: tuple[Term, ...]
    covers: tuple[str, ...]
    signers: tuple[str, ...]
    approvals: tuple[ApprovalRow, ...]  # what was approved already


def customer_page(
    job: Job,
    results: Results,
    groups: Sequence[Sequence[VerdictResult]],
    approvals: tuple[ApprovalRow, ...],
    *,
    has_chart: bool,
) -> CustomerPage:
    """Fill the page.

    Parameters
    ----------
    job, results
        What was asked for, and what was found.
    groups : sequence of sequences of VerdictResult
        Treatments that may be compared, the best first.
    approvals : tuple of ApprovalRow
        Those that were given already.
    has_chart : bool
        Every photo was corrected by a chart: colours by themselves are more than indicative.
    """
    name = chosen_name(results)
    return CustomerPage(
        heading=_heading(results),
        name=name,
        says=_says(results, name),
        groups=tuple(_group(members, job, results) for members in groups),
        terms=_terms(job, results, has_chart=has_chart),
        covers=COVERS,
        signers=SIGNERS,
        approvals=approvals,
    )


def chosen_name(results: Results) -> str:
    """Name the treatment that the answer names, with the woods on which it will do; "" where it names none."""
    answer = results.answer
    if answer.treatment is None:
        return ""
    name = words.sentence(_prepared(answer.treatment, answer.dose))
    stage = next((item.stage for item in results.verdicts if is_answer(item, results)), None)
    same = [
        item
        for item in results.verdicts
        if (item.treatment, item.dose, item.stain, item.stage) == (answer.treatment, answer.dose, answer.stain, stage)
    ]
    woods = dict.fromkeys(item.species for item in same)
    fit = [
        wood
        for wood in woods
        if wood == answer.species or all(item.overall == "use" for item in same if item.species == wood)
    ]
    return f"{name} on {_and(fit)}" if fit else name


def is_answer(item: VerdictResult, results: Results) -> bool:
    """Whether a verdict is one that the answer rests on."""
    answer = results.answer
    named = (item.treatment, item.dose, item.stain) == (answer.treatment, answer.dose, answer.stain)
    return item.overall == "use" and named and answer.species in (None, item.species)


def _prepared(treatment: str, dose: str | None) -> str:
    if treatment == "none":
        return "no pre-treatment"
    return treatment if dose is None else f"{treatment}, {dose}"


def _heading(results: Results) -> str:
    if results.answer.treatment is not None:
        return "We recommend"
    ruled_out = results.verdicts and all(item.overall == "do not use" for item in results.verdicts)
    return "None of the trials suits" if ruled_out else "Not decided yet"


def _says(results: Results, name: str) -> str:
    """The answer without a number."""
    chosen = next((item for item in results.verdicts if is_answer(item, results)), None)
    if not name or chosen is None:
        tried = len({(item.treatment, item.stain) for item in results.verdicts})
        return f"{words.count(tried, 'way', 'ways')} of preparing the wood {'was' if tried == 1 else 'were'} tried."
    parts = [*(["with " + chosen.stain] if chosen.stain else []), "the colour agrees with what was agreed on"]
    parts += ["the surface is even"] if chosen.evenness == "even" else []
    boards = f"as far as {words.count(chosen.boards, 'test board')} can tell"
    return words.sentence(f"{', '.join(parts)}, {boards}.")


def _group(members: Sequence[VerdictResult], job: Job, results: Results) -> CustomerGroup:
    first = members[0]
    target = target_of(job, results, first.stage, first.light)
    placed = () if target is None else places(job, results, target, members)
    by_verdict = {id(item.verdict): item for item in placed}
    return CustomerGroup(
        heading=f"On {first.species}, {words.taken(first.stage, first.light)}",
        rows=tuple(_row(item, target, by_verdict.get(id(item)), job, results) for item in members),
    )


def _row(item: VerdictResult, target: Target | None, placed: Placed | None, job: Job, results: Results) -> CustomerRow:
    several = len({verdict.stain for verdict in results.verdicts}) > 1
    name = _prepared(item.treatment, item.dose)
    return CustomerRow(
        name=", ".join(part for part in (name, item.stain if several else None) if part),
        swatches=verdict_colours(item, results),
        target=hex_colours(target_Labs(job, results, item.stage, item.light)),
        colour=_colour(item.colour, None if job.target.between else target, placed),
        surface=_SURFACE[item.evenness],
        mark=_SUITS[item.overall],
    )


def _colour(verdict: Colour, target: Target | None, placed: Placed | None) -> str:
    if verdict == "match":
        return "as agreed"
    way = "" if target is None or placed is None else _way(target, placed)
    if verdict == "no match":
        return f"not as agreed: {way}" if way else "not as agreed"
    return f"not certain yet, seems {way}" if way else "not certain yet"


def _way(target: Target, placed: Placed) -> str:
    found = directions(target.Lab, placed.mean.delta_Lab, None)
    return ", ".join(f"{'' if one.is_clear else 'a little '}too {one.word}" for one in found)


def _terms(job: Job, results: Results, *, has_chart: bool) -> tuple[Term, ...]:
    stages = dict.fromkeys(item.stage for item in results.verdicts)
    lights = dict.fromkeys(f"“{item.light}”" if item.light else "a light without a name" for item in results.verdicts)
    limit = words.number(job.target.tolerance, words.COLOUR_DECIMALS)
    terms = [
        Term(
            "The agreed colour",
            f"is {_target(job)}. A colour counts as the same when it differs from that by no more than {limit} (ΔE00, "
            "a scale on which 0 is no difference).",
        ),
        Term("Evenness.", _evenness(job)),
    ]
    if stages:
        seen = f"{_and(tuple(stages))}, in the light {_and(tuple(lights))}"
        terms.append(
            Term(
                "What was looked at:",
                f"test boards, {seen}. In another light a match may fail: look at the boards where the piece will "
                "stand. Gloss, wear and how the colour will age were not measured.",
            )
        )
    terms += [_indicative(job, has_chart=has_chart), NATURE]
    return tuple(terms)


NATURE: Final = Term(
    "Wood varies by nature.",
    "No two boards take stain alike, and the finished piece will vary as the test boards do. The signed board is the "
    "standard, not this page: no screen and no print shows its colour as it is.",
)


def _indicative(job: Job, *, has_chart: bool) -> Term:
    if has_chart:
        return Term("The colours on this page", "are a guide for the eye.")
    if job.target.lab and not job.target.approved:
        return Term(
            "Indicative.",
            "The agreed colour is a number, and no colour chart lay in the photos: the camera's own error counts in "
            "full. Compare the boards themselves before you decide.",
        )
    return Term(
        "The colours on this page are indicative,",
        "since no colour chart lay in the photos. How far each lies from the agreed one is known far better than any "
        "of them alone.",
    )


def _target(job: Job) -> str:
    agreed = f", as it is when {job.target.stage}" if job.target.stage else ""
    if job.target.approved:
        approved = job.target.approved
        return f"that of zone {approved.zone.id}, as {approved.by} approved it on {approved.date[:10]}{agreed}"
    if job.target.zone:
        return f"that of zone {job.target.zone}{agreed}"
    if job.target.between:
        return f"any between the range boards {_and(tuple(job.target.between))}{agreed}"
    return f"a measured value{agreed}"


def _evenness(job: Job) -> str:
    if job.evenness.wish == "lively":
        return "A lively figure is wished: how even the surface is was measured and not judged."
    if job.evenness.like:
        return f"The surface counts as even when it is no blotchier than zone {job.evenness.like}."
    if job.blotch_limit_zones:
        return "The surface counts as even when it is no blotchier than the worst range board."
    limit = words.number(job.evenness.limit or 0.0, words.BLOTCH_DECIMALS)
    return (
        f"The surface counts as even when its lightness varies from patch to patch by no more than {limit} (L*, a "
        "scale from 0 for black to 100 for white); the grain itself is not counted."
    )


def _and(names: Sequence[str]) -> str:
    return listed(names, "and")
