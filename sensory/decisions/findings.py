"""From counts to a finding with its reasons and its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..base.checks import one_count, truth
from ..base.records import Finding
from ..choices.forced_choice import ChoiceTest, choice_test
from ..choices.risks import SessionRisks, next_deciding_size, session_risks
from ..protocols import Protocol

REPLICATES_REFUSED = (
    "Some assessors answered more than once. For a difference the pooled test stands, because "
    "guesses are independent whoever makes them. Similarity is not concluded from pooled "
    "answers: where some always notice and others never do, the true risk is well above beta. "
    "The limits are shown as if the answers were independent and are too narrow."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionFinding:
    """What one forced-choice session shows; see `session_finding`.

    Attributes
    ----------
    test : ChoiceTest
        The numbers.
    risks : SessionRisks
        The chances that a session of this size had.
    finding : Finding
        As in `test`, unless similarity had to be refused.
    sentence : str
        The finding for the user.
    because : str
        One sentence with the counts behind it.
    cannot_tell : tuple of str
        What this session cannot tell.
    """

    test: ChoiceTest
    risks: SessionRisks
    finding: Finding
    sentence: str
    because: str
    cannot_tell: tuple[str, ...]


def session_finding(
    protocol: Protocol,
    correct: int,
    trials: int,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    two_sided: bool = False,
    replicated: bool = False,
    planned: int | None = None,
) -> SessionFinding:
    """The finding of a forced-choice session, in words.

    Parameters
    ----------
    protocol, correct, trials, alpha, beta, pd_limit, two_sided
        As in `choice_test`, for one session.
    replicated : bool
        True when an assessor answered more than once: similarity is then refused.
    planned : int, optional
        Ballots planned; a shortfall is reported.

    Raises
    ------
    ArgumentError
        As in `choice_test`.

    Examples
    --------
    >>> from sensory.protocols import TRIANGLE
    >>> session_finding(TRIANGLE, 22, 66).sentence
    'Any difference is below the agreed limit.'
    >>> session_finding(TRIANGLE, 22, 66, replicated=True).finding.name
    'UNDECIDED'
    """
    options = {"alpha": alpha, "beta": beta, "pd_limit": pd_limit}
    correct, trials = one_count("correct", correct), one_count("trials", trials, at_least=1)
    if planned is not None:
        planned = one_count("planned", planned, at_least=1)
    replicated = truth("replicated", replicated)
    test = choice_test(protocol, correct, trials, **options, two_sided=two_sided)
    risks = session_risks(protocol, trials, **options, two_sided=two_sided)
    finding = _without_similarity(test.finding) if replicated else test.finding
    return SessionFinding(
        test=test,
        risks=risks,
        finding=finding,
        sentence=finding.sentence,
        because=_because(test, replicated),
        cannot_tell=tuple(_cannot_tell(test, finding, replicated, planned)),
    )


def _without_similarity(finding: Finding) -> Finding:
    different = finding in (Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT)
    return Finding.DIFFERENT if different else Finding.UNDECIDED


def _because(test: ChoiceTest, replicated: bool) -> str:
    chosen = max(test.correct, test.trials - test.correct) if test.two_sided else test.correct
    critical = "no count" if test.critical_count is None else f"{test.critical_count} or more"
    similar = "no count" if test.similar_count is None else f"{test.similar_count} or fewer"
    what = "for the commoner choice" if test.two_sided else "correct"
    alike = "" if replicated else f" and {similar} would show similarity"
    return (
        f"{chosen} of {test.trials} answers were {what}; with {test.trials} answers "
        f"{critical} would show a difference{alike}."
    )


def _cannot_tell(
    test: ChoiceTest, finding: Finding, replicated: bool, planned: int | None
) -> list[str]:
    lines = [_of_finding(test, finding, replicated)]
    if replicated:
        lines.append(REPLICATES_REFUSED)
    if planned is not None and test.trials < planned:
        lines.append(
            f"{planned} ballots were planned and {test.trials} answers counted: the risks shown "
            f"are those of {test.trials}."
        )
    if test.protocol.asks_attribute:
        lines.append(
            "The test asks about the named attribute only. The samples may differ in another one."
        )
    else:
        lines.append("The test does not say in which attribute the samples differ.")
    significant = finding in (Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT)
    if significant and test.pd_limits.low <= 0:
        lines.append(
            "The 95 % interval reaches down to guessing although the difference is significant: "
            f"towards guessing the interval leaves a risk of 2.5 %, the test one of {_side(test)}."
        )
    lines.append(
        "It speaks of these samples, these assessors and this serving; not of other batches, "
        "and not of what consumers would notice or mind."
    )
    return lines


def _side(test: ChoiceTest) -> str:
    return f"{100 * test.alpha / (2 if test.two_sided else 1):g} %"


def _of_finding(test: ChoiceTest, finding: Finding, replicated: bool) -> str:
    level = f"{100 * (1 - test.beta):g} %"
    upper = f"{100 * test.pd_upper:.0f} %"
    if finding is Finding.UNDECIDED:
        return "'Not significant' does not mean 'the same'. " + _more(test, replicated)
    if finding is Finding.DIFFERENT:
        return (
            f"How many people notice is known only roughly: between "
            f"{100 * test.pd_limits.low:.0f} % and {100 * test.pd_limits.high:.0f} % "
            "(95 % limits). That the difference is below the agreed limit was not shown."
        )
    return (
        f"It does not say that the samples are identical: up to {upper} of the assessors may "
        f"tell them apart (one-sided {level} limit). The agreed limit of "
        f"{100 * test.pd_limit:g} % belongs to the {test.protocol.name} test; for another test "
        f"use the d-prime of {test.dprime_limit:.2f}."
    )


def _more(test: ChoiceTest, replicated: bool) -> str:
    start = 0 if replicated else test.trials
    size = int(
        next_deciding_size(
            test.protocol, np.array([start]), test.alpha, test.beta, test.pd_limit, test.two_sided
        )[0]
    )
    if size < 0:
        return "No panel of a size that could be assembled would keep these risks at this limit."
    if replicated:
        return f"A new session planned for {size} assessors with one answer each keeps both risks."
    return (
        f"A new session planned for {size} assessors ({size - test.trials} more than here) would "
        "have kept both risks. Adding assessors to this session until it decides is no such plan: "
        "it raises the risk of a wrong finding."
    )
