"""What an assessor hears after a session: own answers beside the panel's, and nobody else's.

Why so
------
The others are shown together only, and only where at least `FEWEST_OTHERS` of them answered: from
a mean of two, one who knows his or her own answer reads the other's. Before closing nothing is
said, for what one person hears in the corridor is no blind answer any more. A wrong answer where
the panel found nothing, or to a single question, says next to nothing about a person, and the
sheet says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import RecordError
from ..base.languages import ballot_words
from ..base.spelling import same_person
from ..catalogue.tests import find_kind
from ..models.binomial import upper_tail
from ..sessions.session import StoredSession
from ..sessions.sitting import ABSENT, Sitting
from .history import numbers_of

FEWEST_OTHERS = 4
_SAME = 0.5
"""Correlation with the others from which on somebody saw the samples as they did: common
practice, no source."""
_ALPHA = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Feedback:
    """The sheet of one assessor, in the words of a language.

    `sentences`: what was tasted, how it went, and what one session can tell.
    `heads`, `rows`: attribute, sample, own mean and mean of the others; empty for other tests.
    """

    assessor: str
    language: str
    title: str
    held_on: str
    sentences: tuple[str, ...]
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedbackSheets:
    """Sheets to be printed, a page each."""

    sheets: tuple[Feedback, ...]
    printed_at: str


def feedback(
    session: StoredSession, sitting: Sitting | None, name: str, *, language: str = "en"
) -> Feedback:
    """What one assessor may know of a closed session.

    Raises RecordError before the session is closed, for somebody who did not take part, or whose
    name was erased. ArgumentError for an unknown language.
    """
    words = ballot_words(language)["feedback"]
    if not session.closed or sitting is None or not sitting.assessors:
        raise RecordError("Feedback comes after closing: close the ballots first.")
    people = [same_person(each) for each in sitting.assessors]
    if same_person(name) not in people:
        raise RecordError(f"{name} did not take part in this session.")
    place = people.index(same_person(name))
    if sitting.came[place] == ABSENT or sitting.assessors[place].startswith("erased "):
        raise RecordError(f"There is no feedback for {sitting.assessors[place]}.")
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    sentences = [words["asked"].format(test=_asked(session, language))]
    if sitting.trials:
        sentences += _choices(sitting, place, words)
    elif sitting.attributes:
        sentences += _scores(sitting, place, words)
        rows = tuple(_rows(sitting, place))
        heads = tuple(words[key] for key in ("attribute", "sample", "you", "others"))
    return Feedback(
        assessor=sitting.assessors[place],
        language=language,
        title=words["title"],
        held_on=sitting.held_on,
        sentences=(*sentences, words["little"], words["thanks"]),
        heads=heads,
        rows=rows,
    )


def feedback_of_all(
    session: StoredSession, sitting: Sitting | None, *, language: str = "en"
) -> list[Feedback]:
    """A sheet for each who took part and whose name is known.

    Raises RecordError before the session is closed.
    """
    if not session.closed or sitting is None:
        raise RecordError("Feedback comes after closing: close the ballots first.")
    return [
        feedback(session, sitting, name, language=language)
        for name, came in zip(sitting.assessors, sitting.came, strict=True)
        if came != ABSENT and not name.startswith("erased ")
    ]


def _asked(session: StoredSession, language: str) -> str:
    return find_kind(session.question.protocol).asked(session.question, language)


def _choices(sitting: Sitting, place: int, words: dict[str, str]) -> list[str]:
    own, trials = sitting.correct[place], sitting.trials[place]
    right, of = sum(sitting.correct) - own, sum(sitting.trials) - trials
    others = sum(each > 0 for each in sitting.trials) - 1
    lines = [words["right"].format(correct=own, trials=trials)]
    if others < FEWEST_OTHERS:
        return [*lines, words["few"]]
    lines.append(words["right_others"].format(correct=right, trials=of))
    protocol = find_kind(sitting.test).protocol
    guess = float(protocol.guess) if protocol else 0.0
    if float(upper_tail(right, of, guess)) > _ALPHA:
        return [*lines, words["nothing_found"]]
    if own == trials:
        return [*lines, words["found_too"]]
    return [*lines, words["found_by_panel"].format(guess=round(100 * guess))]


def _scores(sitting: Sitting, place: int, words: dict[str, str]) -> list[str]:
    if len(sitting.assessors) - 1 < FEWEST_OTHERS:
        return [words["few"]]
    numbers = numbers_of(sitting)
    with np.errstate(invalid="ignore", divide="ignore"):
        r = numbers["sxy"] / np.sqrt(numbers["sxx"] * numbers["syy"])
    groups: dict[str, list[str]] = {"same": [], "other_way": [], "unlike": [], "not_judged": []}
    for at, scores in enumerate(sitting.attributes):
        if not scores.judged:
            groups["not_judged"].append(scores.attribute)
        elif np.isfinite(r[at, place]):
            key = "same" if r[at, place] >= _SAME else "unlike"
            key = "other_way" if r[at, place] <= -_SAME else key
            groups[key].append(scores.attribute)
    lines = [words[key].format(attributes=", ".join(names)) for key, names in groups.items()
             if names]  # fmt: skip
    own, others = _scatter(numbers["sd"], numbers["sd_df"], place)
    if np.isfinite(own) and np.isfinite(others):
        lines.append(words["repeats"].format(own=f"{own:.1f}", others=f"{others:.1f}"))
    return lines


def _scatter(
    sd: np.typing.NDArray[np.float64], df: np.typing.NDArray[np.float64], place: int
) -> tuple[float, float]:
    squares = np.where(df > 0, np.nan_to_num(sd) ** 2 * df, 0.0)
    own, free = squares[:, place].sum(), df[:, place].sum()
    with np.errstate(invalid="ignore", divide="ignore"):
        rest = (squares.sum() - own) / (df.sum() - free)
        return float(np.sqrt(own / free)), float(np.sqrt(rest))


def _rows(sitting: Sitting, place: int) -> Sequence[tuple[str, ...]]:
    if len(sitting.assessors) - 1 < FEWEST_OTHERS:
        return []
    rows = []
    for scores in sitting.attributes:
        means = np.array(scores.means, float)
        rest = np.delete(means, place, 0)
        for column, sample in enumerate(sitting.samples):
            there = np.isfinite(rest[:, column]).sum()
            if np.isfinite(means[place, column]) and there >= FEWEST_OTHERS:
                others = float(np.nanmean(rest[:, column]))
                own = f"{means[place, column]:.1f}"
                rows.append((scores.attribute, sample, own, f"{others:.1f}"))
    return rows
