"""What does a finisher see on the terminal when a match was worked out?"""

from collections.abc import Iterable, Iterator
from typing import Final

from analyzer.match.match_result import MatchResult, MixResult, SettingResult
from analyzer.match.mix_words import CAUTION
from analyzer.report.terminal_lines import wrapped

_INDENT: Final = "  "
_SHOWN: Final = 3  # directions, mixes and earlier zones of a kind; all of them stand in match.json


def match_summary(match: MatchResult, width: int = 100) -> str:
    """Say the answer in plain text, no line wider than `width` unless a single word is.

    Parameters
    ----------
    match : MatchResult
    width : int
        Columns of the terminal.
    """
    blocks = [[match.job]]
    for setting in match.settings:
        blocks += list(_setting(setting))
    blocks.append(_block("Under the coat", [coat.says for coat in match.coats]))
    blocks.append(_block("Earlier jobs, nearest to the target first", [zone.says for zone in match.earlier[:_SHOWN]]))
    blocks.append(_block("Not known", match.notes))
    mixes = [mix for setting in match.settings for mix in setting.mixes]
    if mixes:
        blocks.append([CAUTION])
        blocks.append(["Trial board for the first mix, to be pasted into job.toml:"])
    told = "\n\n".join("\n".join(_wrapped(block, width)) for block in blocks if block)
    return f"{told}\n\n{_first(match).trial_board}" if mixes else f"{told}\n"


def _setting(setting: SettingResult) -> Iterator[list[str]]:
    light = "" if setting.light is None else f", light {setting.light}"
    L, a, b = setting.target_lab
    head = f"{setting.species}, {setting.stage}{light}: target {setting.target}, L* {L:.1f}, a* {a:.1f}, b* {b:.1f}"
    yield [head, *_lines([_sentence(one.says) for one in setting.directions[:_SHOWN]]), _sentence(setting.closer.says)]
    yield _block("Dose", [dose.says for dose in setting.doses])
    yield _block("Mix", [mix.says for mix in setting.mixes[:_SHOWN]])
    yield _block("To add", setting.missing)


def _first(match: MatchResult) -> MixResult:
    return next(mix for setting in match.settings for mix in setting.mixes)


def _block(head: str, says: Iterable[str]) -> list[str]:
    lines = _lines([_sentence(one) for one in says])
    return [head, *lines] if lines else []


def _lines(says: Iterable[str]) -> list[str]:
    return [f"{_INDENT}{one}" for one in says]


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def _wrapped(lines: Iterable[str], width: int) -> Iterator[str]:
    for line in lines:
        yield from wrapped(line, max(width, 20), further=2 * _INDENT if line.startswith(_INDENT) else "")
