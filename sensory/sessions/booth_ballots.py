"""What an assessor sees of one ballot: codes, what is asked, and nothing of the key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..base.errors import RecordError
from ..base.languages import ballot_words
from ..base.records import JsonObject
from ..catalogue.question import Question
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..catalogue.typed_lists import NO_WORD, TICKED_BETWEEN
from ..serving.ballot_line import NOT_COME, BallotLine
from .session import StoredSession


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One answer that a ballot asks for.

    `name`: column of the ballot line; for a ranking `rank` of the line `line`.
    `kind`: one of the choices, two of them, all that apply, a mark on a line, one of the categories
        of a scale, a place from 1.
    `label`: what is asked about, or still to be done: empty where the ballot asks it.
    `choices`: what is stored, and what is shown.
    `ends`: words at the ends of a scale.
    `about`: what the attribute means, how it is assessed, its reference standards; a line each.
    `anchors`: where the reference standards stand on the line, from 0 to 1.
    `given`: the answer so far.
    """

    name: str
    line: int
    kind: str
    label: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    ends: tuple[str, str] = ("", "")
    about: tuple[str, ...] = ()
    anchors: tuple[float, ...] = ()
    given: str = ""

    @property
    def between(self) -> str:
        """What stands between several choices in one answer; empty where one is given."""
        return {"two": " ", "many": TICKED_BETWEEN}.get(self.kind, "")

    def chosen(self, text: str) -> list[str]:
        """The choices that an answer names."""
        return text.split(self.between) if text and self.between else [text] if text else []


@dataclass(frozen=True, slots=True, kw_only=True)
class BoothBallot:
    """What one assessor sees of one ballot.

    `line`: first line of the ballot on record; names it when it is sent.
    `number`, `all`: which of how many.
    `codes`: in the order of tasting; a labelled reference is an empty code in front.
    `guess`: mark of a guess; None where the test has none.
    `allergens`: of all its samples together; empty where none are declared.
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


def ballots_of(session: StoredSession, lines: Iterable[BallotLine]) -> list[tuple[BallotLine, ...]]:
    """Rows of each ballot: one, or for a ranking all of one replicate."""
    if not find_kind(session.question.protocol).together:
        return [(line,) for line in lines]
    groups: dict[tuple[str, bool], list[BallotLine]] = {}
    for line in lines:
        before = line.not_served == NOT_COME  # who comes after all has new rows
        groups.setdefault((line.replicate, before), []).append(line)
    return [tuple(ballot) for ballot in groups.values()]


def answered(session: StoredSession, ballot: Sequence[BallotLine]) -> bool:
    """Whether a ballot counts already: sent from its booth, or typed where there are none."""
    if any(line.sent for line in ballot):
        return True
    if session.serving and session.serving.booths:
        return False
    return any(asked.given for asked in _asked(session.question, ballot, "en"))


def waiting_ballots(
    session: StoredSession, lines: Iterable[BallotLine]
) -> list[tuple[BallotLine, ...]]:
    """Ballots that are neither sent nor left out."""
    ballots = ballots_of(session, lines)
    return [ballot for ballot in ballots if not (ballot[0].sent or ballot[0].not_served)]


def booth_ballot(
    session: StoredSession,
    ballot: Sequence[BallotLine],
    ballots: Sequence[Sequence[BallotLine]],
    allergens: str = "",
) -> BoothBallot:
    """What is seen of one of these ballots, in the language of the session."""
    language, question = session.serving.language if session.serving else "en", session.question
    kind = find_kind(question.protocol)
    return BoothBallot(
        line=ballot[0].row,
        number=ballots.index(ballot) + 1,
        all=len(ballots),
        codes=("",) * kind.serving.labelled + tuple(_codes(ballot)),
        asks=kind.asked(question, language),
        asked=tuple(_asked(question, ballot, language)),
        guess=bool(ballot[0].guess) if kind.picks else None,
        comment=ballot[0].comment,
        allergens=allergens,
    )


def _codes(ballot: Iterable[BallotLine]) -> list[str]:
    return [code for line in ballot for code in line.codes]


def _asked(question: Question, ballot: Sequence[BallotLine], language: str) -> Iterable[Asked]:
    """The answers that a ballot asks for."""
    test, line, codes = find_kind(question.protocol), ballot[0], _codes(ballot)
    if test.picks:
        choices = tuple((code, code) for code in codes)
        yield Asked(name="answer", line=line.row, kind="two" if test.picks == 2 else "one",
                    choices=choices, given=line.text("answer"))  # fmt: skip
    if test.together:
        places = tuple((str(n), str(n)) for n in range(1, len(ballot) + 1))
        for cup, code in zip(ballot, codes, strict=True):
            yield Asked(name="rank", line=cup.row, kind="place", label=code, choices=places,
                        given=cup.text("rank"))  # fmt: skip
    if test.answer == "ticks":
        yield _to_tick(question, line, language)
    elif offered := test.offered(question.settings):
        shown = test.words_in(language).answers
        choices = tuple((answer, shown.get(answer, answer)) for answer in offered)
        yield Asked(name="answer", line=line.row, kind="one", choices=choices,
                    given=line.text("answer"))  # fmt: skip
    for name, (label, words_offered) in test.besides(question.settings, language).items():
        yield Asked(name=name, line=line.row, kind="one", label=label,
                    choices=tuple(words_offered.items()), given=line.text(name))  # fmt: skip
    for name in test.scored(question.settings):
        yield _scored(question, line, name, ballot_words(language))


def _to_tick(question: Question, line: BallotLine, language: str) -> Asked:
    """The words in the order of this ballot, and last that none of them applies."""
    test, words = find_kind(question.protocol), ballot_words(language)
    listed = test.offered_on(question.settings, line.row, next(iter(line.codes), ""))
    return Asked(
        name="ticked",
        line=line.row,
        kind="many",
        label=words["ticks_open"].format(none=words["no_word"]),
        choices=(*((word, word) for word in listed), (NO_WORD, words["no_word"])),
        given=line.text("ticked"),
    )


def _scored(question: Question, line: BallotLine, name: str, words: JsonObject) -> Asked:
    """An attribute, or a difference without a name, with what is defined of it."""
    scale, column = agreed_scale(question.settings), name or "score"
    categories = tuple((f"{step:g}", f"{step:g}") for step in scale.categories)
    defined = question.vocabulary.of(name) if question.vocabulary else None
    standards = defined.standards if defined else ()
    return Asked(
        name=column,
        line=line.row,
        kind="category" if categories else "scale",
        label=name,
        choices=categories,
        ends=defined.ends(scale, words) if defined else scale.ends(name, words),
        about=defined.about(scale, words) if defined else (),
        anchors=tuple((s.intensity - scale.low) / (scale.high - scale.low) for s in standards),
        given=line.text(column),
    )


def check_answer(asked: Asked, text: str, scale: tuple[float, float], ballot: BoothBallot) -> None:
    """Refuse what the ballot does not offer; an empty text takes an answer back."""
    if not text:
        return
    offered = {stored for stored, _ in asked.choices}
    if asked.between:
        parts = asked.chosen(text)
        most = 2 if asked.kind == "two" else len(parts)
        sound = len(set(parts)) == len(parts) <= most and set(parts) <= offered
    elif asked.kind == "scale":
        sound = bool(re.fullmatch(r"-?[0-9]{1,6}(\.[0-9]{1,4})?", text, flags=re.ASCII))
        sound = sound and scale[0] <= float(text) <= scale[1]
    else:
        sound = text in offered
    if not sound:
        raise RecordError(f"This ballot does not offer the answer {text!r}.")


def still_open(ballot: BoothBallot) -> list[str]:
    """What a ballot still waits for, by label; '?' stands for its one question.

    Two samples with one place are both still to be answered, and so are ticks at words and at 'none
    of them' together."""
    places = [asked.given for asked in ballot.asked if asked.kind == "place"]
    return [
        asked.label or "?"
        for asked in ballot.asked
        if not asked.given
        or (asked.kind == "two" and len(asked.chosen(asked.given)) < 2)
        or (asked.kind == "many" and {NO_WORD} < set(asked.chosen(asked.given)))
        or (asked.kind == "place" and places.count(asked.given) > 1)
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
