"""What may have moved batches: each value of each factor, and spans of time on a line.

Why so
------
A worn gasket is on no list of lots. So a run of batches of one line, or of all lines, is a
candidate as well; there are thousands, which the search charges them for. Two candidates of the
same batches are one, with both names: no number of tastings of those batches tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..base.arrays import Bools
from .cause_columns import LINE, CauseData

TIME = "time"
"""Family of the spans."""
ALL_LINES = "all batches"
_PLACES = 60
"""Batches of a line at which spans may begin and end; of more, every second, third ..."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """Batches that may share a cause.

    Attributes
    ----------
    factor : str
        Column it comes from, or ``time``.
    value : str
    words : str
        How a sentence calls it.
    members : bool array
        Over all rows, tasted or not.
    alike : tuple of str
        Others of exactly the same tasted batches, in words.
    against : str
        The only other value, where a factor has two.
    """

    factor: str
    value: str
    words: str
    members: Bools
    alike: tuple[str, ...] = ()
    against: str = ""

    @property
    def recorded(self) -> bool:
        """Whether it is something on record, and not a mere span of time."""
        return self.factor != TIME


def called(factor: str, value: str) -> str:
    """A value in words.

    >>> called("sweetener lot", "SW-1"), called("line", "line 2"), called("line", "B")
    ('sweetener lot SW-1', 'line 2', 'line B')
    """
    return value if factor.casefold() in value.casefold() else f"{factor} {value}"


def candidates_of(data: CauseData, fewest: int) -> tuple[list[Candidate], tuple[str, ...]]:
    """Candidates with enough tasted batches in them and outside, and why factors gave none."""
    recorded, remarks = [], []
    for factor in data.factors:
        own = list(_of_factor(data, factor, fewest))
        if not own:
            remarks.append(_why_none(data, factor, fewest))
        recorded += own
    return [*_merged(recorded, data.tasted), *_spans(data, fewest)], tuple(remarks)


def _of_factor(data: CauseData, factor: str, fewest: int) -> Iterator[Candidate]:
    levels = data.levels(factor)
    sizes = {value: int(data.members(factor, value)[: data.tasted].sum()) for value in levels}
    whole = sum(sizes.values()) == data.tasted
    if whole and len(levels) == 2:  # one comparison, told of the rarer value
        levels = sorted(levels, key=lambda value: sizes[value])[:1]
    for value in levels:
        if fewest <= sizes[value] <= data.tasted - fewest:
            others = [other for other in sizes if other != value]
            yield Candidate(
                factor=factor,
                value=value,
                words=called(factor, value),
                members=data.members(factor, value),
                against=called(factor, others[0]) if whole and len(others) == 1 else "",
            )


def _why_none(data: CauseData, factor: str, fewest: int) -> str:
    levels = data.levels(factor)
    if not levels:
        return f"No {factor} is recorded."
    if len(levels) == 1:
        return f"All batches have {called(factor, levels[0])}, so what it does cannot be seen."
    return f"No {factor} has {fewest} tasted batches or more, with as many outside it."


def _merged(candidates: list[Candidate], tasted: int) -> list[Candidate]:
    """Those of the same tasted batches, or of exactly the others, as one."""
    kept: dict[bytes, Candidate] = {}
    for each in candidates:
        own = each.members[:tasted]
        key, other = own.tobytes(), (~own).tobytes()
        at = key if key in kept else other
        if at not in kept:
            kept[key] = each
        elif at == key:
            kept[at] = replace(kept[at], alike=(*kept[at].alike, each.words))
        else:
            words = f"the change away from {each.words}"
            kept[at] = replace(kept[at], alike=(*kept[at].alike, words))
    return list(kept.values())


def _spans(data: CauseData, fewest: int) -> Iterator[Candidate]:
    if not data.days:
        return
    places = {ALL_LINES: np.arange(data.tasted)}
    lines = data.levels(LINE) if LINE in data.factors else []
    if len(lines) > 1:
        places |= {
            called(LINE, line): np.flatnonzero(data.members(LINE, line)[: data.tasted])
            for line in lines
        }
    for name, own in places.items():
        step = -(-len(own) // _PLACES)
        for start in range(0, len(own), step):
            longest = min(len(own), start + len(own) // 2)
            for stop in range(start + fewest, longest + 1, step):
                yield _span(data, name, own[start:stop])


def _span(data: CauseData, name: str, own: np.ndarray) -> Candidate:
    members = np.zeros(len(data.batches), bool)
    members[own] = True
    first, last = data.days[own[0]], data.days[own[-1]]
    begin = f"{first.day} {first:%B}" + (f" {first.year}" if first.year != last.year else "")
    words = f"{name} from {begin} to {last.day} {last:%B %Y}"
    return Candidate(factor=TIME, value=words, words=words, members=members)
