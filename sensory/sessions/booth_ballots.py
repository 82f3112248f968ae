"""What an assessor sees of one ballot: codes, what is asked, and nothing of the key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ..base.errors import RecordError
from ..base.languages import ballot_words
from ..catalogue.question import Question
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..serving.marks import CONSENT, NOT_COME, NOT_SERVED, NOT_TODAY, SENT, codes_of
from .session import StoredSession

Mine = Mapping[int, Mapping[str, str]]
"""The ballot lines of one assessor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One answer that a ballot asks for.

    Attributes
    ----------
    name : str
        Column of the ballot line; for a ranking `rank` of the line `line`.
    kind : {'one', 'two', 'scale', 'category', 'place'}
        One of the choices, two of them, a mark on a line, one of the categories of a scale,
        a place from 1.
    label : str
        What is asked about: an attribute or a code; empty where the ballot asks it.
    choices : tuple of (str, str)
        What is stored, and what is shown.
    ends : (str, str)
        Words at the ends of a scale.
    given : str
        The answer so far.
    """

    name: str
    line: int
    kind: str
    label: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    ends: tuple[str, str] = ("", "")
    given: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoothBallot:
    """What one assessor sees of one ballot.

    Attributes
    ----------
    line : int
        First line of the ballot on record; names it when it is sent.
    number, all : int
        Which of how many.
    codes : tuple of str
        In the order of tasting; a labelled reference is an empty code in front.
    guess : bool or None
        Mark of a guess; None where the test has none.
    allergens : str
        Of all its samples together; empty where none are declared.
    """

    line: int
    number: int
    all: int
    codes: tuple[str, ...]
    asks: str
    asked: tuple[Asked, ...]
    guess: bool | None
    comment: str
    allergens: str = ""


def ballots_of(session: StoredSession, mine: Mine) -> list[tuple[int, ...]]:
    """Lines of each ballot: one, or for a ranking all of one replicate."""
    if not find_kind(session.question.protocol).together:
        return [(line,) for line in mine]
    groups: dict[tuple[str, bool], list[int]] = {}
    for line, texts in mine.items():
        before = texts.get(NOT_SERVED) == NOT_COME  # who comes after all has new lines
        groups.setdefault((texts.get("replicate", ""), before), []).append(line)
    return [tuple(lines) for lines in groups.values()]


def answered(session: StoredSession, mine: Mine, lines: Sequence[int]) -> bool:
    """Whether a ballot counts already: sent from its booth, or typed where there are none."""
    if any(mine[line].get(SENT) for line in lines):
        return True
    if session.serving and session.serving.booths:
        return False
    asked = _asked(session.question, mine, tuple(lines), "en")
    return any(one.given for one in asked)


def excused(mine: Mine) -> bool:
    """Whether an assessor does not taste today, or no longer."""
    return any(
        texts.get(CONSENT, "").startswith(NOT_TODAY) or texts.get(NOT_SERVED) == NOT_TODAY
        for texts in mine.values()
    )


def waiting_ballots(session: StoredSession, mine: Mine) -> list[tuple[int, ...]]:
    """Ballots that are neither sent nor left out."""
    return [
        lines
        for lines in ballots_of(session, mine)
        if not mine[lines[0]].get(SENT) and not mine[lines[0]].get(NOT_SERVED)
    ]


def booth_ballot(
    session: StoredSession,
    mine: Mine,
    lines: tuple[int, ...],
    ballots: Sequence[tuple[int, ...]],
    allergens: str = "",
) -> BoothBallot:
    """The ballot of these lines, in the language of the session."""
    language, question = session.serving.language if session.serving else "en", session.question
    kind, texts = find_kind(question.protocol), mine[lines[0]]
    return BoothBallot(
        line=lines[0],
        number=ballots.index(lines) + 1,
        all=len(ballots),
        codes=("",) * kind.serving.labelled + tuple(_codes(mine, lines)),
        asks=kind.asked(question, language),
        asked=tuple(_asked(question, mine, lines, language)),
        guess=bool(texts.get("guess")) if kind.picks else None,
        comment=texts.get("comment", ""),
        allergens=allergens,
    )


def _codes(mine: Mine, lines: tuple[int, ...]) -> list[str]:
    return [code for line in lines for code in codes_of(mine[line])]


def _asked(
    question: Question,
    mine: Mine,
    lines: tuple[int, ...],
    language: str,
) -> Iterable[Asked]:
    """The answers that a ballot asks for."""
    test, line = find_kind(question.protocol), lines[0]
    texts, codes = mine[line], _codes(mine, lines)
    if test.picks:
        choices = tuple((code, code) for code in codes)
        yield Asked(name="answer", line=line, kind="two" if test.picks == 2 else "one",
                    choices=choices, given=texts.get("answer", ""))  # fmt: skip
    if test.together:
        places = tuple((str(n), str(n)) for n in range(1, len(lines) + 1))
        for at, code in zip(lines, codes, strict=True):
            yield Asked(name="rank", line=at, kind="place", label=code, choices=places,
                        given=mine[at].get("rank", ""))  # fmt: skip
    if offered := test.offered(question.settings):
        shown = test.words_in(language).answers
        choices = tuple((answer, shown.get(answer, answer)) for answer in offered)
        yield Asked(name="answer", line=line, kind="one", choices=choices,
                    given=texts.get("answer", ""))  # fmt: skip
    scale = agreed_scale(question.settings)
    categories = tuple((f"{one:g}", f"{one:g}") for one in scale.categories)
    for name in test.scored(question.settings):
        column = name or "score"
        yield Asked(name=column, line=line, kind="category" if categories else "scale",
                    label=name, choices=categories, ends=scale.ends(name, ballot_words(language)),
                    given=texts.get(column, ""))  # fmt: skip


def check_answer(asked: Asked, text: str, scale: tuple[float, float], ballot: BoothBallot) -> None:
    """Refuse what the ballot does not offer; an empty text takes an answer back."""
    if not text:
        return
    offered = {stored for stored, _ in asked.choices}
    if asked.kind == "two":
        parts = text.split()
        sound = len(set(parts)) == len(parts) <= 2 and set(parts) <= offered
    elif asked.kind == "scale":
        sound = bool(re.fullmatch(r"-?[0-9]{1,6}(\.[0-9]{1,4})?", text, flags=re.ASCII))
        sound = sound and scale[0] <= float(text) <= scale[1]
    else:
        sound = text in offered
    if not sound:
        raise RecordError(f"This ballot does not offer the answer {text!r}.")


def still_open(ballot: BoothBallot) -> list[str]:
    """What a ballot still waits for, by label; '?' stands for its one question.

    Two samples with one place are both still to be answered."""
    places = [one.given for one in ballot.asked if one.kind == "place"]
    return [
        one.label or "?"
        for one in ballot.asked
        if not one.given
        or (one.kind == "two" and len(one.given.split()) < 2)
        or (one.kind == "place" and places.count(one.given) > 1)
    ]


def scale_of(question: Question) -> tuple[float, float]:
    """Lowest and highest score of the scale."""
    scale = agreed_scale(question.settings)
    return scale.low, scale.high


def score_of(mark: float, scale: tuple[float, float]) -> str:
    """The score of a mark from 0 to 1 on the line, to two decimals.

    >>> score_of(0.25, (0.0, 10.0))
    '2.50'
    """
    return f"{scale[0] + mark * (scale[1] - scale[0]):.2f}"


def mark_of(score: str, scale: tuple[float, float]) -> float | None:
    """Where a score stands on the line, from 0 to 1; None for no score.

    >>> mark_of("2.50", (0.0, 10.0))
    0.25
    """
    return (float(score) - scale[0]) / (scale[1] - scale[0]) if score else None
