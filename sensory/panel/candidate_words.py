"""Candidate words from what assessors wrote beside their ballots.

Why so
------
Words are counted by comments, not by how often they stand in one, since somebody who repeats a word
is one voice. Nothing is stemmed or translated: the leader sees what was written and chooses. Words
that only join others are left out by a short list for the four languages (common practice, no
source).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary

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
    comments: Sequence[tuple[str, str]], words: Vocabulary | None = None, *, most: int = 40
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
    return sorted(listed, key=lambda each: (-each.comments, -each.sessions, each.word))[:most]
