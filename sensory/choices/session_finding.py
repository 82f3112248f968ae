"""From counts to a finding with its reasons and its limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..base.checks import one_count
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.shown import Shown
from ..models.binomial import upper_limit
from .counts import check_protocol
from .dprime import CARRIED
from .forced_choice import ChoiceTest, choice_test
from .protocols import Protocol
from .replicates import ReplicatedTest, replicated_choice_test
from .risks import SessionRisks, next_deciding_size, session_risks
from .verdicts import WARNED, WITHHELD


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SessionFinding(Shown):
    """What one forced-choice session shows; see `session_finding`.

    Attributes
    ----------
    test : ChoiceTest
        The numbers as if every answer came from another person.
    replicated : ReplicatedTest or None
        The numbers that respect assessors, when somebody answered more than once; then
        they decide.
    risks : SessionRisks
        The chances that a session of this size had, one answer a person.
    finding : Finding
    sentence : str
        The finding for the user.
    because : str
        One sentence with the counts behind it.
    warnings : tuple of str
        What stands beside the finding, so that nobody reads it without: fewer correct answers
        than guessing explains.
    cannot_tell : tuple of str
        What the session leaves open.
    """

    test: ChoiceTest
    replicated: ReplicatedTest | None
    risks: SessionRisks
    finding: Finding
    sentence: str
    because: str
    warnings: tuple[str, ...]
    cannot_tell: tuple[str, ...]


def session_finding(
    protocol: Protocol | str,
    correct: int,
    trials: int,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    two_sided: bool = False,
    by_assessor: Sequence[tuple[int, int]] = (),
    planned: int | None = None,
    attribute: str = "",
) -> SessionFinding:
    """The finding of a forced-choice session, in words.

    Parameters
    ----------
    protocol, correct, trials, alpha, beta, pd_limit, two_sided
        As in `choice_test`, for one session.
    by_assessor : sequence of (int, int)
        Correct answers and answers of each assessor. Needed when somebody answered more
        than once: then estimates and similarity come from `replicated_choice_test`.
    planned : int, optional
        Ballots planned; more or fewer are reported.
    attribute : str
        The named attribute, of protocols that ask about one: the finding speaks of it alone.

    Returns
    -------
    SessionFinding
        As in `choice_test`, in words. So few correct answers that guessing gives them with a
        chance of 0.05 or less carry a warning; at 0.001 or less similarity is withheld.

    Raises
    ------
    ArgumentError
        As in `choice_test`, and when the counts of the assessors do not add up.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> session_finding(TRIANGLE, 22, 66).sentence
    'Any difference is below the agreed limit.'
    >>> twice = session_finding(TRIANGLE, 22, 66, by_assessor=[(0, 2)] * 11 + [(1, 2)] * 22)
    >>> twice.finding.name, round(twice.replicated.pd_upper, 2)
    ('SIMILAR', 0.15)
    """
    protocol = check_protocol(protocol, two_sided)
    correct, trials = one_count("correct", correct), one_count("trials", trials, at_least=1)
    if planned is not None:
        planned = one_count("planned", planned, at_least=1)
    options: dict[str, Any] = {"alpha": alpha, "beta": beta, "pd_limit": pd_limit}
    test = choice_test(protocol, correct, trials, **options, two_sided=two_sided)
    risks = session_risks(protocol, trials, **options, two_sided=two_sided)
    replicated = _replicated(test, by_assessor, options)
    finding = _finding(test, replicated)
    named = (attribute.strip() or "the named attribute") if protocol.asks_attribute else ""
    return SessionFinding(
        test=test,
        replicated=replicated,
        risks=risks,
        finding=finding,
        sentence=finding.says(named),
        because=_because(test, replicated),
        warnings=_strange(test),
        cannot_tell=tuple(_cannot_tell(test, replicated, finding, planned, named)),
    )


def _replicated(
    test: ChoiceTest, by_assessor: Sequence[tuple[int, int]], options: dict[str, Any]
) -> ReplicatedTest | None:
    answered = [(right, given) for right, given in by_assessor if given]
    if not any(given > 1 for _, given in answered):
        return None
    right, given = (list(column) for column in zip(*answered, strict=True))
    if (sum(right), sum(given)) != (test.correct, test.trials):
        raise ArgumentError(
            f"by_assessor adds up to {sum(right)} of {sum(given)}, the session has "
            f"{test.correct} of {test.trials}."
        )
    if len(answered) < 2:
        raise ArgumentError("all answers come from one assessor: that is no panel.")
    return replicated_choice_test(test.protocol, right, given, **options)


def _finding(test: ChoiceTest, replicated: ReplicatedTest | None) -> Finding:
    finding: Finding = test.finding
    if replicated is None:
        return finding
    # two-sided, the model knows no direction: only the pooled difference stands
    return finding.without_limit if test.two_sided else replicated.finding


def _because(test: ChoiceTest, replicated: ReplicatedTest | None) -> str:
    counted = f"{test.correct} of {test.trials} answers were correct"
    if test.two_sided:
        common, sample = max((test.correct, "B"), (test.trials - test.correct, "A"))
        counted = f"{common} of {test.trials} answers named {sample}"
    critical = "no count" if test.critical_count is None else f"{test.critical_count} or more"
    words = f"{counted}; with {test.trials} answers {critical} would show a difference"
    if replicated is not None:
        return (
            f"{words}. {replicated.assessors} assessors answered, some more than once: "
            f"similarity is judged by assessor, at most {_at_most(replicated.pd_upper)} "
            "distinguishers."
        )
    similar = "no count" if test.similar_count is None else f"{test.similar_count} or fewer"
    beyond = "no count" if test.beyond_count is None else f"{test.beyond_count} or more"
    return f"{words}, {beyond} one beyond the limit, and {similar} would show similarity."


def _cannot_tell(
    test: ChoiceTest,
    replicated: ReplicatedTest | None,
    finding: Finding,
    planned: int | None,
    named: str,
) -> list[str]:
    lines = [_of_finding(test, replicated, finding, named)]
    if replicated is not None:
        lines.append(_of_replicates(test, replicated))
    if planned is not None and test.trials != planned:
        lines.append(
            f"{planned} ballots were planned and {test.trials} answers counted: the risks shown "
            f"are those of {test.trials}"
            + (
                ". More people than planned are no fault if the number did not hang on the answers."
                if test.trials > planned
                else "."
            )
        )
    if test.protocol.asks_attribute:
        lines.append(
            f"The test asks about {named} only. The samples may differ in anything else, and "
            f"similarity in {named} is not similarity of the product."
        )
    else:
        lines.append("The test does not say in which attribute the samples differ, if they do.")
    if finding.significant and test.pd_limits.low <= 0:
        side = f"{100 * test.alpha / (2 if test.two_sided else 1):g} %"
        lines.append(
            "The 95 % interval reaches down to guessing although the difference is significant: "
            f"towards guessing the interval leaves a risk of 2.5 %, the test one of {side}."
        )
    lines.append(
        "It speaks of these samples, these assessors and this serving, and not of what consumers "
        "would notice or mind."
    )
    return lines


def _strange(test: ChoiceTest) -> tuple[str, ...]:
    """Fewer correct answers than guessing explains mean that something is wrong."""
    chance = float(test.p_below_guessing)
    if chance > WARNED:
        return ()
    why = (
        "the samples may differ in the direction that was not expected, or codes were swapped"
        if test.protocol.takes_target
        else "codes or orders may be swapped, or the question was misunderstood"
    )
    line = (
        f"{test.correct} of {test.trials} correct is fewer than guessing explains (chance "
        f"{chance:.2g}): {why}. Look at the serving plan and at the ballots."
    )
    withheld = (
        "Similarity is not concluded from such ballots"
        if chance <= WITHHELD
        else "The finding stands with this warning"
    )
    return (f"{line} {withheld} (warning from {WARNED:g} down, withheld from {WITHHELD:g} down).",)


def _of_replicates(test: ChoiceTest, replicated: ReplicatedTest) -> str:
    if test.two_sided:
        return (
            "Some assessors answered more than once. The pooled difference test stands; nothing is "
            "concluded about the limit from pooled answers of a two-sided question."
        )
    spread = f"spread {replicated.spread:.2f}"
    if replicated.spread_unknown:
        fits = replicated.spread_limits
        spread = f"spread cannot be estimated, {fits.low:.2f} to {fits.high:.2f} fit"
    words = (
        "Some assessors answered more than once. For a difference the pooled test stands, because "
        "guesses are independent whoever makes them. Limits and similarity respect that people "
        f"differ ({spread}, p {replicated.p_overdispersion:.3f}); answers "
        "of one person are not more people."
    )
    withheld = replicated.similarity_withheld
    return f"{words} {withheld}" if withheld else words


def _of_finding(
    test: ChoiceTest, replicated: ReplicatedTest | None, finding: Finding, named: str
) -> str:
    limits = test.pd_limits if replicated is None else replicated.pd_limits
    if finding is Finding.UNDECIDED:
        return "'Not significant' does not mean 'the same'. " + _more(test, replicated)
    if finding in (Finding.DIFFERENT, Finding.BEYOND_LIMIT):
        roughly = (
            f"How many people notice is known only roughly: between {100 * limits.low:.0f} % and "
            f"{100 * limits.high:.0f} % (95 % limits)."
        )
        open_yet = " Neither that this is below the agreed limit nor that it is above was shown."
        return roughly + (open_yet if finding is Finding.DIFFERENT else "")
    return (
        f"It does not say that the samples are identical{f' in {named}' if named else ''}: "
        f"{_upper(test, replicated)} {_of_limit(test, named)}"
    )


def _upper(test: ChoiceTest, replicated: ReplicatedTest | None) -> str:
    """How many may tell them apart at most; never less than a panel that guesses would show."""
    level = f"one-sided {100 * (1 - test.beta):g} % limit"
    apart = "of the assessors may tell them apart"
    if replicated is not None:
        return f"at most {_at_most(replicated.pd_upper)} {apart} ({level})."
    guessed = math.ceil(test.trials * test.protocol.guess)
    if test.two_sided or test.correct >= guessed:
        return f"at most {_at_most(test.pd_upper)} {apart} ({level})."
    limit = upper_limit(guessed, test.trials, test.beta)
    bound = float(test.protocol.distinguishers(limit))
    return (
        f"the count lies below guessing ({test.correct} correct, guessing gives about {guessed}), "
        f"so the bound is that of {guessed} correct: at most {_at_most(bound)} {apart} ({level})."
    )


def _at_most(share: float) -> str:
    """A bound in per cent, rounded up: never below the bound, and never 0 %."""
    return f"{max(math.ceil(round(100 * share, 9)), 1)} %"


def _of_limit(test: ChoiceTest, named: str) -> str:
    """To what the agreed limit belongs, and what carries it to another test."""
    owns = f"The agreed limit of {100 * test.pd_limit:g} % belongs to the {test.protocol.name} test"
    if named:
        return (
            f"{owns} and to {named}; no number of it holds for a test that does not name the "
            "attribute."
        )
    return (
        f"{owns}; for another test that names no attribute use the d-prime of "
        f"{test.dprime_limit:.2f}. {CARRIED}"
    )


def _more(test: ChoiceTest, replicated: ReplicatedTest | None) -> str:
    alone = replicated is None and test.p_below_guessing > WITHHELD
    start = test.trials if alone else 0
    size = int(
        next_deciding_size(
            test.protocol, np.array([start]), test.alpha, test.beta, test.pd_limit, test.two_sided
        )[0]
    )
    if size < 0:
        return "No panel of a size that could be assembled would keep these risks at this limit."
    if not alone:
        return f"A new session planned for {size} assessors with one answer each keeps both risks."
    return (
        f"A new session planned for {size} assessors ({size - test.trials} more than here) would "
        "have kept both risks. Adding assessors to this session until it decides is no such plan: "
        "it raises the risk of a wrong finding."
    )
