"""Every attempt on one batch is counted, aborted ones too, and said with its true risk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..catalogue.outcome_words import short_chance
from ..catalogue.tests import find_kind
from ..choices.retests import retest_risk
from ..models.binomial import upper_tail
from .session import StoredSession

IN_TWO = "the second tasting of a plan in two tastings; there is no third"
"""What a question says of retests where a release rule has planned both."""


def planned_second(session: StoredSession, earlier: Sequence[StoredSession]) -> bool:
    """Whether this is the second tasting of a plan, and not a further attempt.

    `earlier`: see `earlier_attempts`.
    """
    both = (session, *earlier)
    return len(both) == 2 and all(tasting.question.retest_rule == IN_TWO for tasting in both)


def batch_of(session: StoredSession) -> str:
    """Number of the batch compared with the reference, in one spelling; empty for none."""
    numbers = [sample.batch for sample in session.details.samples if sample.letter == "B"]
    return " ".join(numbers[0].split()).casefold() if numbers else ""


def earlier_attempts(
    session: StoredSession, others: Sequence[StoredSession]
) -> list[StoredSession]:
    """Sessions agreed before this one on the same batch with the same test, oldest first.

    A session that was agreed and never closed counts: it was aborted.
    """
    batch = batch_of(session)
    if not batch:
        return []
    same = [
        other
        for other in others
        if other.id != session.id
        and other.agreed
        and other.agreed_at < (session.agreed_at or "9")
        and other.question.protocol == session.question.protocol
        and other.question.training is None
        and batch_of(other) == batch
    ]
    return sorted(same, key=lambda other: other.agreed_at)


def attempts_in_words(
    session: StoredSession,
    earlier: Sequence[StoredSession],
    findings: Mapping[str, str],
    trials: int,
    counted: Sequence[tuple[int, int]] = (),
) -> tuple[str, ...]:
    """What earlier attempts mean for this finding; nothing where there was none.

    `earlier`: see `earlier_attempts`.
    `findings`: those of closed sessions by their id, as the journal has them.
    `trials`: answers in this session.
    `counted`: correct answers and answers of each forced choice, this session's included.
    """
    if not earlier:
        return ()
    if planned_second(session, earlier):
        return (
            "This is the second tasting of a plan in two. The counts of both together decide, with "
            "the risks of the plan; the page Batch says what they show. Read alone it says less.",
        )
    tries = len(earlier) + 1
    listed = "; ".join(
        f"{other.details.title or 'untitled'}, "
        f"{findings.get(other.id) or 'agreed and never closed'}"
        for other in earlier
    )
    agreed = (session.question.retest_rule or "none").rstrip(".")
    line = (
        f"This is attempt {tries} at batch {session.details.samples[1].batch} with this test. "
        f"Earlier: {listed}. Retest rule agreed: {agreed}."
    )
    return (f"{line}{_pooled(session, counted)} {_true_risk(session, trials, tries)}",)


def _pooled(session: StoredSession, counted: Sequence[tuple[int, int]]) -> str:
    """All answers of all attempts together, which no single attempt can outweigh."""
    question = session.question
    protocol = find_kind(question.protocol).protocol
    if protocol is None or question.two_sided or len(counted) < 2:
        return ""
    correct, trials = (sum(column) for column in zip(*counted, strict=True))
    p = float(upper_tail(correct, trials, float(protocol.guess)))
    return f" Together {correct} of {trials} correct, {short_chance(p)} for a difference."


def _true_risk(session: StoredSession, trials: int, tries: int) -> str:
    question = session.question
    kind, protocol = find_kind(question.protocol), find_kind(question.protocol).protocol
    if not kind.similarity:
        return (
            "Taken together the attempts find a difference where there is none more often than "
            "alpha says."
        )
    if protocol is None or question.two_sided or not trials:
        return "Taken together the attempts pass a bad batch more often than beta says."
    risk = retest_risk(
        protocol,
        trials,
        tries=tries,
        pd=question.limit,
        passes="similar",
        alpha=question.alpha,
        beta=question.beta,
        pd_limit=question.limit,
    )
    return (
        f"A batch at the agreed limit is shown as similar at least once in {tries} such sessions "
        f"with a chance of {100 * risk.passes_any:.1f} %, not {100 * risk.passes_once:.1f} %."
    )
