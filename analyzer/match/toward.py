"""Which way does each treatment miss the target, and could a closer colour be told on this wood at all?"""

import math
from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analyzer.directions import A_LITTLE, NEARLY_NEUTRAL, directions
from analyzer.guard_band import Z_975
from analyzer.match.eye import covariance_of_u
from analyzer.match.held import Patch, Setting
from analyzer.match.match_result import CloserResult, DirectionResult
from analyzer.results import VerdictResult
from analyzer.words import half_width, named
from calibration.difference import components, delta_E_00

Floats = NDArray[np.float64]

_NOTHING: Final = "no difference that can be told"
_MORE: Final = {
    "light": "lighter", "dark": "darker", "vivid": "more vivid", "dull": "duller",
    "red": "redder", "yellow": "yellower", "green": "greener", "blue": "bluer",
}  # fmt: skip
_HUES: Final = ("red", "yellow", "green", "blue")  # at 0, 90, 180 and 270 degrees
_OPPOSITE: Final = {
    "light": "dark", "dark": "light", "vivid": "dull", "dull": "vivid",
    "red": "green", "green": "red", "yellow": "blue", "blue": "yellow",
}  # fmt: skip
# Of browns a turn to red is said to be warmer, one to green or blue cooler (trade speech; common practice, no source)
_TONE: Final = {"red": "warmer in tone", "green": "cooler in tone", "blue": "cooler in tone"}


def directions_of(setting: Setting) -> tuple[DirectionResult, ...]:
    """How each treatment and stain of a setting misses the target, best first."""
    return tuple(found for verdict in setting.verdicts if (found := _direction(setting, verdict)) is not None)


def closer(setting: Setting) -> CloserResult:
    """Tell whether coming closer than the best treatment could be seen, given the measurement and the wood.

    Two patches of one recipe on this wood differ from each other; nothing nearer to the target than that can be told
    to be nearer, nor anything nearer than the best colour's own doubt.
    """
    best = setting.verdicts[0]
    de00 = best.de00 if best.de00 is not None else math.inf
    apart = own_differences(setting.stained)
    own = float(np.mean(apart)) if apart else None
    if best.de00_u95 is not None and de00 <= best.de00_u95:
        says = f"closer is not possible to tell on this wood: {de00:.1f} ± {half_width(best.de00_u95)} holds 0"
        return CloserResult("cannot tell", de00, best.de00_u95, own, len(apart), says)
    if own is not None and de00 <= own:
        says = (
            f"closer is not possible to tell on this wood: two patches of one recipe lie {own:.1f} apart on average, "
            f"and the best lies {de00:.1f} from the target"
        )
        return CloserResult("cannot tell", de00, best.de00_u95, own, len(apart), says)
    alike = "" if own is None else f"; two patches of one recipe lie {own:.1f} apart on this wood"
    says = f"closer is possible: the best lies {de00:.1f} from the target{_doubt(best.de00_u95)}{alike}"
    return CloserResult("possible", de00, best.de00_u95, own, len(apart), says)


def own_differences(patches: Sequence[Patch]) -> list[float]:
    """CIEDE2000 between every two patches of one recipe."""
    alike: dict[tuple[str, str | None, float], list[Patch]] = {}
    for patch in patches:
        alike.setdefault((patch.treatment, patch.stain, patch.strength), []).append(patch)
    return [float(delta_E_00(a.Lab, b.Lab)) for group in alike.values() for a, b in combinations(group, 2)]


def _direction(setting: Setting, verdict: VerdictResult) -> DirectionResult | None:
    by_board: dict[str, list[Floats]] = {}
    for patch in setting.stained:
        if patch.id in verdict.zones:
            by_board.setdefault(patch.board, []).append(patch.Lab - setting.Lab_target)
    if not by_board or verdict.de00 is None:
        return None
    delta = np.mean([np.mean(of, axis=0) for of in by_board.values()], axis=0)
    target = setting.Lab_target
    covariance = None if verdict.de00_u95 is None else covariance_of_u(target + delta, verdict.de00_u95 / Z_975)
    parts = components(target, target + delta)
    told: dict[str, float] = {found.word: found.amount for found in directions(target, delta, covariance)}
    value = _part(told, ("light", "dark"))
    middle = target + delta / 2
    is_gray = math.hypot(*middle[1:]) < NEARLY_NEUTRAL
    opposite = _OPPOSITE | ({} if is_gray else _along_the_wheel(middle))
    chroma = _NOTHING if is_gray else _part(told, ("vivid", "dull"))
    hue = _part(told, _HUES)
    change = [_needed(told, words, opposite) for words in (("light", "dark"), ("vivid", "dull"), _HUES)]
    wanted = [words for words in change if words]
    says = f"{_name(verdict)}: {verdict.de00:.1f}{_doubt(verdict.de00_u95)} from the target; "
    says += f"value {value}; chroma {chroma}; hue {hue}" if any(change) else f"{_NOTHING} in value, chroma or hue"
    says += f". To come closer: {', then '.join(wanted)}" if wanted else ""
    return DirectionResult(
        treatment=verdict.treatment,
        stain=verdict.stain,
        dose=verdict.dose,
        rank=verdict.rank,
        de00=verdict.de00,
        de00_u95=verdict.de00_u95,
        dl=float(parts.dL),
        dc=float(parts.dC),
        dh=float(parts.dH),
        value=value,
        chroma=chroma,
        hue=hue,
        says=says,
    )


def _part(told: dict[str, float], words: Sequence[str]) -> str:
    """One of value, chroma and hue: how much too much of what."""
    found = [f"{told[word]:.1f} too {word}" for word in words if word in told]
    return " and ".join(found) or _NOTHING


def _needed(told: dict[str, float], words: Sequence[str], opposite: Mapping[str, str]) -> str:
    """What to make of it instead."""
    wanted = [(opposite[word], told[word]) for word in words if word in told and told[word] >= A_LITTLE]
    return " and ".join(f"{_MORE[word]} by {amount:.1f}{_toned(word)}" for word, amount in wanted)


def _along_the_wheel(Lab: Floats) -> dict[str, str]:
    """Opposites of the two hues that a vivid colour lies between: a brown that is too yellow wants to be redder."""
    place = int(math.degrees(math.atan2(Lab[2], Lab[1])) % 360 // 90)
    first, second = _HUES[place], _HUES[(place + 1) % 4]
    return {first: second, second: first}


def _toned(word: str) -> str:
    return f" ({_TONE[word]})" if word in _TONE else ""


def _name(verdict: VerdictResult) -> str:
    dose = f", {verdict.dose}" if verdict.dose else ""
    return f"{named(verdict.treatment)}{dose}" + (f" with {verdict.stain}" if verdict.stain else "")


def _doubt(u95: float | None) -> str:
    return ", how sure is not known," if u95 is None else f" ± {half_width(u95)}"
