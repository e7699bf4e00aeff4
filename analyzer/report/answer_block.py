"""What stands at the top of the report: the answer, and what the job asked for?"""

from dataclasses import dataclass

from analyzer.job import Job
from analyzer.report import words
from analyzer.report.customer import chosen_name, is_answer
from analyzer.report.photos import seen_photos
from analyzer.report.swatches import hex_colours, target_Labs, verdict_colours
from analyzer.results import AnswerResult, Results


@dataclass(frozen=True, slots=True)
class AnswerBlock:
    """The top of the page. `known` and `settle` are filled when no treatment can be named."""

    heading: str
    name: str  # the treatment, and the woods on which it will do; "" when none can be named
    sentence: str
    swatches: tuple[str, ...]
    target: tuple[str, ...]
    known: tuple[str, ...]
    settle: tuple[str, ...]


def answer_block(job: Job, results: Results) -> AnswerBlock:
    """Fill the top of the page."""
    answer = results.answer
    heading = _answer_heading(answer, results)
    if answer.treatment is None:
        return AnswerBlock(heading, "", answer.reason, (), (), _known(results), _settle(results))
    name = chosen_name(results)
    chosen = next((item for item in results.verdicts if is_answer(item, results)), None)
    if chosen is None:
        return AnswerBlock(heading, name, answer.reason, (), (), (), ())
    target = hex_colours(target_Labs(job, results, chosen.stage, chosen.light))
    return AnswerBlock(heading, name, answer.reason, verdict_colours(chosen, results), target, (), ())


def job_facts(job: Job, results: Results) -> tuple[str, ...]:
    """Say what was asked for and what there was to measure, one short line each."""
    photos = seen_photos(results)
    usable = sum(photo.usable for photo in photos)
    boards = len({zone.board for zone in results.zones})
    limit = words.number(job.target.tolerance, words.COLOUR_DECIMALS)
    return (
        *_unsaid(results.answer),
        f"{words.count(boards, 'board')}, {usable} of {words.count(len(photos), 'photo')} used",
        f"Target: {_target_words(job)}",
        f"Largest acceptable colour difference: {limit}",
        _evenness_words(job),
    )


def _answer_heading(answer: AnswerResult, results: Results) -> str:
    if answer.treatment is not None:
        return "No pre-treatment is needed" if answer.treatment == "none" else "Use this treatment"
    ruled_out = results.verdicts and all(item.overall == "do not use" for item in results.verdicts)
    return "None of the tried treatments" if ruled_out else "Not decided yet"


def _known(results: Results) -> tuple[str, ...]:
    lines = []
    for item in results.verdicts:
        sure = [word for word in (item.colour, item.evenness) if word not in ("cannot tell", "not judged")]
        if sure:
            where = words.taken(item.stage, item.light)
            lines.append(f"{words.treatment_name(item.treatment, item.dose)} ({where}): {', '.join(sure)}")
    return tuple(lines) or ("Nothing is certain yet: each uncertainty is unknown or reaches across its limit.",)


def _settle(results: Results) -> tuple[str, ...]:
    advice = [words.sentence(item.advice) for item in results.verdicts if item.overall == "cannot tell"]
    remedies = [
        f"{photo.file}: {found.finding.remedy}"
        for photo in seen_photos(results)
        for found in photo.findings
        if found.finding.severity == "unusable"
    ]
    return tuple(dict.fromkeys(line for line in (*advice, *remedies) if line))


def _unsaid(answer: AnswerResult) -> tuple[str, ...]:
    """List what the answer's sentence leaves out."""
    if answer.treatment is None:
        return ()
    treatment = None if answer.treatment == "none" else answer.treatment
    parts = {"Treatment": treatment, "Dose": answer.dose, "Stain": answer.stain, "Wood": answer.species}
    said = answer.reason.casefold()
    return tuple(f"{name}: {part}" for name, part in parts.items() if part and part.casefold() not in said)


def _target_words(job: Job) -> str:
    agreed = f", agreed when {job.target.stage}" if job.target.stage else ""
    if job.target.approved:
        approved = job.target.approved
        return f"zone {approved.zone.id} as approved on {approved.date[:10]}{agreed}"
    if job.target.zone:
        return f"zone {job.target.zone}{agreed}"
    if job.target.between:
        return f"between {' and '.join(job.target.between)}{agreed}"
    return f"a colour value{agreed}"


def _evenness_words(job: Job) -> str:
    if job.evenness.wish == "lively":
        return "A lively figure is wished: blotch is reported, not judged"
    if job.evenness.like:
        return f"No blotchier than zone {job.evenness.like}"
    if job.blotch_limit_zones:
        return "No blotchier than the worst range board"
    return f"Largest acceptable blotch: {words.number(job.evenness.limit or 0.0, words.BLOTCH_DECIMALS)}"
