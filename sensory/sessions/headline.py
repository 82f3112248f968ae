"""What stands at the top of a finding: the finding, what counts against it, what was agreed for it.

Why so
------
Few answers, or fewer correct ones than guessing gives, are no ground to withhold a finding at their
usual chance; a reader who releases a batch must still not have to look for them. So they stand in
the headline, and the headline is the only sentence that pages and documents show on top.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..base.findings import Finding
from ..base.results import digits, several
from ..catalogue.outcome import Outcome
from ..catalogue.question import Question
from ..catalogue.tests import find_kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The top of a finding.

    `doubts`: what counts against it, each a clause; empty for a full session above guessing.
    `action`: what was agreed to be done at this finding.
    `decides`: empty where nobody was named.
    """

    finding: Finding
    sentence: str
    doubts: tuple[str, ...]
    action: str
    decides: str

    @property
    def words(self) -> str:
        """The finding and what counts against it, as one text."""
        if not self.doubts:
            return self.sentence
        told = "; ".join(self.doubts)
        return f"{self.sentence} But: {told}."


def headline(outcome: Outcome, question: Question, *, decides: str = "") -> Headline:
    """The top of a finding, of whatever test.

    >>> from ..catalogue.outcome import Counts
    >>> counts = Counts(answers=4, assessors=4, trials=4, correct=0)
    >>> outcome = Outcome(test="TRIANGLE", finding=Finding.SIMILAR, because="", alpha=0.05,
    ...                   sentence=Finding.SIMILAR.sentence, counts=counts)
    >>> shown = headline(outcome, Question(assessors=6, if_similar="Release"))
    >>> shown.doubts  # doctest: +NORMALIZE_WHITESPACE
    ('only 4 of 6 planned ballots were answered',
     '0 of 4 correct is fewer than guessing gives (1.3)')
    >>> shown.action
    'Release'
    """
    return Headline(
        finding=outcome.finding,
        sentence=outcome.sentence,
        doubts=(*_fewer_came(outcome, question), *_below_guessing(outcome)),
        action=agreed_action(outcome.finding, question).strip().rstrip("."),
        decides=decides.strip(),
    )


def agreed_action(finding: Finding, question: Question) -> str:
    """What was agreed to be done at a finding."""
    return {
        Finding.BEYOND_LIMIT: question.if_beyond or question.if_different,
        Finding.DIFFERENT: question.if_different,
        Finding.UNDECIDED: question.if_undecided,
    }.get(finding, question.if_similar)


def _fewer_came(outcome: Outcome, question: Question) -> tuple[str, ...]:
    """Fewer ballots or assessors than planned, or else ballots without an answer.

    The number planned may count ballots of a test with several a person: then the answers
    given or missing are as many, or so many for each attribute.
    """
    counts, planned = outcome.counts, question.assessors
    if counts.answers < planned:
        return (f"only {counts.answers} of {planned} planned ballots were answered",)
    if counts.assessors < planned and (counts.answers + counts.missing) % planned:
        return (f"only {counts.assessors} of {planned} planned assessors answered",)
    return (f"{several(counts.missing, 'ballot')} without an answer",) if counts.missing else ()


def _below_guessing(outcome: Outcome) -> tuple[str, ...]:
    """Fewer correct than guessing gives; nothing where the question had two sides."""
    protocol, counts = find_kind(outcome.test).protocol, outcome.counts
    if protocol is None or any(each.two_sided for each in outcome.comparisons):
        return ()
    guessed = counts.trials * float(protocol.guess)
    if counts.correct >= guessed:
        return ()
    told = f"{counts.correct} of {counts.trials} correct is fewer than guessing gives"
    return (f"{told} ({digits(guessed, 2)})",)
