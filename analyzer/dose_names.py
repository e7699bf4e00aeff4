"""Which zones of one treatment were given another dose of it, and so are a trial of their own?

Two strengths of one washcoat are no repeats of each other, even where the job file calls both by one name.
"""

from analyzer.dose_curve import KEYS, DoseKey, dose_of
from analyzer.dose_words import dose_in_words
from analyzer.job import Board, Job, Zone


def doses_apart(job: Job) -> dict[str, str]:
    """Name the dose of every zone whose treatment was tried in several doses.

    Parameters
    ----------
    job : Job

    Returns
    -------
    doses : dict of str to str
        By the zone's path "A/washcoat", its dose in words: "5 % solids". Treatments of one name, stain and species are
        held against each other; zones that record no dose are left out, and what only one dose is known of too.
    """
    groups: dict[tuple[str, str | None, str], list[tuple[Board, Zone]]] = {}
    for board in job.boards:
        for zone in board.zones:
            groups.setdefault((zone.treatment, zone.stain, board.species), []).append((board, zone))
    named: dict[str, str] = {}
    for group in groups.values():
        varied = [key for key in KEYS if len({_dose(zone, key) for _, zone in group} - {None}) > 1]
        for board, zone in group:
            known = [(key, dose) for key in varied if (dose := _dose(zone, key)) is not None]
            if known:
                named[f"{board.id}/{zone.id}"] = ", ".join(dose_in_words(key, dose) for key, dose in known)
    return named


def _dose(zone: Zone, key: DoseKey) -> float | None:
    return dose_of(key, zone.recipe.get(key))
