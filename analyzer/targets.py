"""What is each zone held against, in colour and in evenness?"""

from collections.abc import Sequence
from dataclasses import replace

from analyzer.approvals import Approval
from analyzer.approved_zone import difference_to_approved
from analyzer.compare import Difference, difference, difference_to_range, difference_to_value
from analyzer.dose_names import doses_apart
from analyzer.job import Job
from analyzer.pooling import MeasuredZone
from analyzer.trials import JudgedZone
from analyzer.zone_ratios import figure_kept


def judged_zones(job: Job, zones: Sequence[MeasuredZone]) -> tuple[JudgedZone, ...]:
    """Every zone with its difference to the target, or with the reason why there is none.

    Colours of different stages or sheens are never compared.
    """
    doses = doses_apart(job)
    return tuple(replace(_judged(job, zone, zones), dose=doses.get(zone.id)) for zone in zones)


def _judged(job: Job, zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> JudgedZone:
    to_target, why_not = _to_target(job, zone, zones)
    limit, limit_u95 = _blotch_limit(job, zone, zones)
    return JudgedZone(
        id=zone.id,
        board=zone.board.id,
        treatment=zone.zone.treatment,
        stain=zone.zone.stain,
        species=zone.board.species,
        stage=zone.stage,
        light=zone.light,
        sheen=zone.zone.sheen,
        to_target=to_target,
        why_not=why_not,
        blotch=zone.blotch,
        blotch_u95=zone.blotch_u95,
        blotch_limit=limit,
        blotch_limit_u95=limit_u95,
        figure_kept=figure_kept(zone, zones),
    )


def _to_target(job: Job, zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> tuple[Difference | None, str | None]:
    target = job.target
    if target.stage is not None and target.stage != zone.stage:
        return None, f"the target was agreed on {target.stage} wood, and this is {zone.stage}"
    if target.approved is not None:
        unlike = _not_as_approved(target.approved, zone)
        return (None, unlike) if unlike else (difference_to_approved(target.approved, zone), None)
    if target.lab is not None:
        return difference_to_value(target.lab, zone), None
    paths = (target.zone,) if target.zone else target.between
    found: list[MeasuredZone] = []
    for path in paths:
        match, why_not = _comparable(path, zone, zones)
        if match is None:
            return None, why_not
        found.append(match)
    return (difference(found[0], zone) if target.zone else difference_to_range(tuple(found), zone)), None


def _not_as_approved(approval: Approval, zone: MeasuredZone) -> str:
    """Why a zone cannot be compared with an approved one; "" when it can. A light without a name may be any."""
    approved = approval.zone
    if approved.light is not None and zone.light is not None and approved.light != zone.light:
        return f"{approved.id} was approved in another light, “{approved.light}”"
    if sheens_differ(approved.sheen, zone.zone.sheen):
        return f"{approved.id} was approved with another sheen, {approved.sheen}"
    return ""


def _comparable(path: str, zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> tuple[MeasuredZone | None, str | None]:
    """The target's zone at the stage, in the light and of the sheen of another zone; or why there is none."""
    same_stage = [other for other in zones if other.id == path and other.stage == zone.stage]
    if not same_stage:
        return None, f"no usable photo shows {path} {zone.stage}"
    same_light = [other for other in same_stage if other.light == zone.light]
    if not same_light:
        return None, f"{path} was photographed in another light"
    if sheens_differ(same_light[0].zone.sheen, zone.zone.sheen):
        return None, f"{path} has another sheen"
    return same_light[0], None


def sheens_differ(first: str | None, second: str | None) -> bool:
    """Whether two sheens are known to differ; nothing is known of one that was not recorded."""
    return first is not None and second is not None and str(first).strip().lower() != str(second).strip().lower()


def _blotch_limit(job: Job, zone: MeasuredZone, zones: Sequence[MeasuredZone]) -> tuple[float | None, float | None]:
    """What a zone's blotch is held against: a number, or the blotchiest of the zones that set the limit.

    One of them that was not measured at this stage in this light might be the blotchiest: there is no limit then.
    """
    if not job.blotch_limit_zones:
        return job.evenness.limit, 0.0
    at_hand = {other.id: other for other in zones if (other.stage, other.light) == (zone.stage, zone.light)}
    found = [at_hand[path] for path in job.blotch_limit_zones if path in at_hand]
    blotches = [other.blotch for other in found if other.blotch is not None]
    if len(blotches) < len(job.blotch_limit_zones):
        return None, None
    worst = found[blotches.index(max(blotches))]
    return worst.blotch, worst.blotch_u95
