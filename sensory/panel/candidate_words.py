"""Candidate words from what assessors wrote beside their ballots, and from words they ticked.

Why so
------
Words are counted by comments, not by how often they stand in one, since somebody who repeats a word
is one voice. Nothing is stemmed or translated: the leader sees what was written and chooses. Words
that only join others are left out by a short list for the four languages (common practice, no
source).

Ticks come from what closing kept of each assessor. Sessions with the same samples go together, in
the words that all their lists hold: a word that was not asked was not refused.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..sessions.sitting import Sitting

_WORD = re.compile(r"[^\W\d_]{3,}(?:-[^\W\d_]{2,})*")
_JOINED = """
the and but not with very more less too this that was were are has had have from than all one two
both sample samples like bit little some only rather quite slightly after before
und der die das ein eine einen nicht mit sehr mehr weniger auch ist war aber oder als probe proben
etwas leicht nach los las una uno con muy más menos pero que muestra muestras del algo poco
les des une avec très plus moins mais pas échantillon échantillons est peu
"""
_JOINING = frozenset(_JOINED.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateWord:
    """A word that assessors used.

    `comments`, `sessions`: in how many it stands.
    `known`: whether it is one of the words of the product already.
    """

    word: str
    comments: int
    sessions: int
    known: bool = False


def candidate_words(
    comments: Sequence[tuple[str, str]], words: Vocabulary | None = None
) -> list[CandidateWord]:
    """The words of comments, those of most comments first.

    `comments`: session and text of each.

    >>> told = [("s1", "Very jammy, a bit cooked"), ("s2", "jammy and jammy")]
    >>> [(each.word, each.comments, each.sessions) for each in candidate_words(told)]
    [('jammy', 2, 2), ('cooked', 1, 1)]
    """
    where: dict[str, list[str]] = defaultdict(list)
    for session, text in comments:
        for word in dict.fromkeys(_WORD.findall(text.casefold())):
            if word not in _JOINING:
                where[word].append(session)
    known = {key_of(each.attribute) for each in words.attributes} if words else set()
    listed = [
        CandidateWord(
            word=word, comments=len(there), sessions=len(set(there)), known=key_of(word) in known
        )
        for word, there in where.items()
    ]
    return sorted(listed, key=lambda each: (-each.comments, -each.sessions, each.word))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TickedLists:
    """Closed sessions at which words were ticked at the same samples.

    `samples`, `titles`: of the sessions, in the order in which they were held.
    `left_out`: words that were not on every list.
    `ticks`: the table that `ticked_words` takes.
    """

    samples: tuple[str, ...]
    titles: tuple[str, ...]
    left_out: tuple[str, ...]
    ticks: pd.DataFrame


def ticked_lists(sittings: Sequence[Sitting], product: str) -> list[TickedLists]:
    """The ticks on record of a product whose name stands in the titles, the newest samples first.

    Lists that have no word in common are not put together with those before them.
    """
    groups: dict[frozenset[str], list[Sitting]] = {}
    for each in sorted(sittings, key=lambda each: each.held_on):
        if each.words and key_of(product) in key_of(each.title):
            group = groups.setdefault(frozenset(map(key_of, each.samples)), [])
            if group and not _shared([*group, each]):
                group.clear()
            group.append(each)
    newest = sorted(groups.values(), key=lambda group: group[-1].held_on, reverse=True)
    return [_together(group) for group in newest]


def _shared(group: Sequence[Sitting]) -> list[str]:
    """The words of the latest list that all lists hold."""
    lists = [{key_of(word.attribute) for word in each.words} for each in group]
    held = set.intersection(*lists)
    return [word.attribute for word in group[-1].words if key_of(word.attribute) in held]


def _together(group: Sequence[Sitting]) -> TickedLists:
    """Ticks of each answer; which of a person's answers to one sample had the tick does not count,
    since they are added up."""
    shared, spelled = _shared(group), {key_of(name): name for name in group[-1].samples}
    asked = dict.fromkeys(word.attribute for each in group for word in each.words)
    rows = []
    for each in group:
        of_word = {key_of(word.attribute): word.ticks for word in each.words}
        for place, person in enumerate(each.assessors):
            for column, sample in enumerate(each.samples):
                for turn in range(each.answers[place][column]):
                    row = {"session": each.session, "assessor": person}
                    ticked = {w: int(turn < of_word[key_of(w)][place][column]) for w in shared}
                    rows.append({**row, "sample": spelled[key_of(sample)], **ticked})
    held = set(map(key_of, shared))
    return TickedLists(
        samples=group[-1].samples,
        titles=tuple(each.title for each in group),
        left_out=tuple(word for word in asked if key_of(word) not in held),
        ticks=pd.DataFrame(rows),
    )
