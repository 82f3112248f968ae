"""A finding in few sentences: what moved, what it cannot tell, which assessors need a look."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.findings import Finding
from ..base.results import several
from ..catalogue.outcome import Comparison, Outcome
from ..catalogue.outcome_words import chance

_MOST = 3
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z'0-9])")


def limits_in_short(lines: Sequence[str], most: int = _MOST) -> tuple[str, ...]:
    """The first sentence of each limit; where they are many, the first ones and the last, which
    says of whom and what the finding speaks.

    >>> limits_in_short(["It may differ. See below.", "Few came.", "One day.", "These samples."])
    ('It may differ.', 'Few came.', 'These samples.')
    """
    short = list(dict.fromkeys(_END.split(line, maxsplit=1)[0] for line in lines))
    return tuple(short if len(short) <= most else [*short[: most - 1], short[-1]])


def moved_in_words(outcome: Outcome) -> tuple[str, ...]:
    """A profile in sentences: each attribute that moved, then all others in a sentence a sample,
    then who scored the other way round.

    Empty for tests that score no attributes.
    """
    if not outcome.means:
        return ()
    lines: list[str] = []
    for sample in dict.fromkeys(each.sample for each in outcome.comparisons):
        mine = [each for each in outcome.comparisons if each.sample == sample and each.attribute]
        moved = [each for each in mine if _moved(each, outcome.alpha)]
        lines += [_told(each) for each in sorted(moved, key=lambda each: -abs(each.estimate))]
        lines += _rest(sample, [each for each in mine if each not in moved], bool(moved))
    turned = [line for line in outcome.panel_lines if line.turned]
    lines += [f"{each.assessor} scored {each.attribute} the other way round." for each in turned]
    return tuple(lines)


def _moved(each: Comparison, alpha: float) -> bool:
    return each.p is not None and each.p <= alpha


def _told(each: Comparison) -> str:
    way = "higher" if each.estimate > 0 else "lower"
    p = "" if each.p is None else f" ({chance(each.p)})"
    words = f"'{each.attribute}' is {abs(each.estimate):.2f} {way} in {each.sample}{p}"
    if each.margin is None:
        return f"{words}; no margin was agreed for it."
    places = {
        Finding.BEYOND_LIMIT: "beyond the margin of",
        Finding.DIFFERENT_WITHIN_LIMIT: "within the margin of",
    }
    if place := places.get(each.finding):
        return f"{words}, {place} {each.margin:g}."
    return f"{words}; whether that is within the margin of {each.margin:g} is open."


def _rest(sample: str, others: Sequence[Comparison], some_moved: bool) -> list[str]:
    """All that did not move in a sentence, parted by what was shown against the margin."""
    if not others:
        return []
    groups: dict[str, list[str]] = {}
    for each in others:
        groups.setdefault(_standing(each), []).append(each.attribute)
    parts = "; ".join(f"{where}: {', '.join(names)}" for where, names in groups.items())
    if not some_moved:
        return [f"No attribute moved significantly in {sample} ({parts})."]
    return [f"The other {several(len(others), 'attribute')} did not move in {sample} ({parts})."]


def _standing(each: Comparison) -> str:
    if each.p is None:
        return "cannot be tested"
    if each.margin is None:
        return "no margin agreed"
    return "within the margin" if each.finding is Finding.SIMILAR else "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelInShort:
    """The panel of a profile in short.

    `look`: assessors with a flag, those with most flags first.
    `says`: the sentences that name them.
    `others`: every other sentence of the scorecard.
    `pictured`: the outcome with the lines of those attributes only in which somebody scored the
        other way round or is a main cause of disagreement; no lines where there is none.
    """

    look: tuple[str, ...]
    says: tuple[str, ...]
    others: tuple[str, ...]
    pictured: Outcome


def panel_in_short(outcome: Outcome) -> PanelInShort:
    """Which assessors need a look, and in which attributes."""
    flags: dict[str, int] = {}
    for point in outcome.panel:
        if point.flags:
            flags[point.assessor] = flags.get(point.assessor, 0) + point.flags
    look = sorted(flags, key=lambda name: -flags[name])
    if not outcome.panel:  # no scorecard that would choose among them
        return PanelInShort(look=(), says=outcome.panel_says, others=(), pictured=outcome)
    says = [line for line in outcome.panel_says if any(_names(line, name) for name in look)]
    marked = {line.attribute for line in outcome.panel_lines if line.turned or line.causes}
    lines = tuple(line for line in outcome.panel_lines if line.attribute in marked)
    return PanelInShort(
        look=tuple(look),
        says=tuple(says),
        others=tuple(line for line in outcome.panel_says if line not in says),
        pictured=replace(outcome, panel_lines=lines),
    )


def _names(line: str, name: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(name)}(?!\w)", line) is not None
