"""Forced choice: from the counts of a session to its outcome."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.results import Cell, Interval, Table
from ..choices.forced_choice import ChoiceTest
from ..choices.protocols import Protocol
from ..choices.replicates import ReplicatedTest
from ..choices.session_finding import SessionFinding, session_finding
from ..choices.verdicts import WITHHELD
from ..models.binomial import lower_tail
from .choice_ballot import ChoiceBallot, tally
from .outcome import QUANTITIES, Comparison, Counts, Figure, Level, NamedTable, Outcome, Span
from .question import Question

_Row = tuple[str, Cell, float | None, float | None, float | None]
_ESTIMATE, _UPPER = "estimate, 95 % limits", "upper limit for similarity"


def read_choices(
    protocol: Protocol, ballots: Sequence[ChoiceBallot], question: Question
) -> Outcome:
    """The outcome of checked ballots, by assessor where somebody answered twice.

    Raises ArgumentError as in `session_finding`.
    """
    counted = tally(ballots)
    shown = session_finding(
        protocol,
        counted.correct,
        counted.trials,
        alpha=question.alpha,
        beta=question.beta,
        pd_limit=question.limit,
        two_sided=question.two_sided,
        by_assessor=counted.by_assessor,
        planned=question.assessors,
        attribute=question.attribute,
    )
    counts = Counts(
        answers=counted.trials,
        assessors=counted.assessors,
        missing=counted.missing,
        guesses=counted.guesses,
        correct=counted.correct,
        trials=counted.trials,
        orders=counted.orders,
        replicated=shown.replicated is not None,
    )
    return choice_outcome(shown, counts)


def outcome_of_choices(shown: SessionFinding) -> Outcome:
    """The outcome of a finding that stands by itself."""
    test, replicated = shown.test, shown.replicated
    counts = Counts(
        answers=test.trials,
        assessors=test.trials if replicated is None else replicated.assessors,
        correct=test.correct,
        trials=test.trials,
        replicated=replicated is not None,
    )
    return choice_outcome(shown, counts)


def outcome_of_test(test: ChoiceTest) -> Outcome:
    """The outcome of a test of one session, one answer a person."""
    shown = session_finding(
        test.protocol,
        test.correct,
        test.trials,
        alpha=test.alpha,
        beta=test.beta,
        pd_limit=test.pd_limit,
        two_sided=test.two_sided,
    )
    return outcome_of_choices(shown)


def choice_outcome(shown: SessionFinding, counts: Counts) -> Outcome:
    """The outcome with the counts that go with it."""
    test, replicated = shown.test, shown.replicated
    pooled = replicated is None
    return Outcome(
        test=test.protocol.key,
        finding=shown.finding,
        sentence=shown.sentence,
        because=shown.because,
        counts=counts,
        alpha=test.alpha,
        beta=test.beta,
        limit=test.pd_limit,
        tables=(NamedTable("The numbers", _table(shown, counts)),),
        figure=choice_figure(test, replicated),
        comparisons=(
            Comparison(
                sample="B",
                attribute="",
                finding=shown.finding,
                estimate=float(test.pd if replicated is None else replicated.pd),
                limits=_plain(test.pd_limits if replicated is None else replicated.pd_limits),
                p=float(test.p_difference),
                upper=float(test.pd_upper if replicated is None else replicated.pd_upper),
                p_within=float(test.p_similarity) if pooled else None,
                margin=test.pd_limit,
                two_sided=test.two_sided,
            ),
        ),
        warnings=shown.warnings,
        turned=not test.two_sided and turned_round(test.correct, test.trials, test.protocol),
        cannot_tell=shown.cannot_tell,
        notes=("p: exact binomial. Limits: Clopper-Pearson, 95 %, carried to pd and d-prime.",)
        if pooled
        else (
            "p: exact binomial, of all answers together. Estimates and limits: chance-corrected "
            "beta-binomial by assessor, profile likelihood.",
        ),
    )


def turned_round(correct: int, trials: int, protocol: Protocol) -> bool:
    """Whether so few correct answers can hardly come from guessing."""
    return float(lower_tail(correct, trials, float(protocol.guess))) <= WITHHELD


def _table(shown: SessionFinding, counts: Counts) -> Table:
    """Every number; none is rounded."""
    rows = [*_counts(shown, counts), *_estimates(shown), *_tests(shown)]
    rows.append(("finding", shown.finding.value, None, None, None))
    return Table(columns=QUANTITIES, rows=tuple(rows))


def _counts(shown: SessionFinding, counts: Counts) -> list[_Row]:
    test = shown.test
    words: list[tuple[str, Cell]] = [
        ("test", test.protocol.name),
        ("answers counted", test.trials),
        ("answers for B" if test.two_sided else "correct answers", test.correct),
        ("answers missing", counts.missing),
        ("answers marked as guesses", counts.guesses),
        ("assessors", counts.assessors),
        ("guess probability", float(test.protocol.guess)),
    ]
    return [(name, value, None, None, None) for name, value in words]


def _estimates(shown: SessionFinding) -> list[_Row]:
    test, replicated = shown.test, shown.replicated
    if replicated is not None:
        upper, lower = replicated.pd_upper, replicated.pd_lower
        listed = [_row(row) for row in replicated.summary().rows[:2]]
    else:
        upper, lower = test.pd_upper, test.pd_lower
        listed = [_row(row[:5]) for row in test.summary().rows]
        if test.two_sided:
            listed[0] = ("proportion of answers for B", *listed[0][1:])
    level = 1 - test.alpha / (2 if test.two_sided else 1)
    return [
        *listed,
        ("distinguishers, upper limit", upper, None, upper, 1 - test.beta),
        ("distinguishers, lower limit", lower, lower, None, level),
        ("agreed limit, distinguishers", test.pd_limit, None, None, None),
        ("agreed limit, d-prime", test.dprime_limit, None, None, None),
    ]


def _tests(shown: SessionFinding) -> list[_Row]:
    test, risks, replicated = shown.test, shown.risks, shown.replicated
    limit = f"at {test.pd_limit:g} distinguishers"
    what = "commoner choice" if test.two_sided else "correct answers"
    rows: list[tuple[str, Cell]] = [
        ("p of the difference test", test.p_difference),
        ("alpha", test.alpha),
        ("beta", test.beta),
        (f"{what} needed for a difference", test.critical_count),
    ]
    if not test.two_sided:
        rows.append(("chance of so few correct by guessing", test.p_below_guessing))
    if replicated is not None:
        rows.append(("p that assessors are alike", replicated.p_overdispersion))
    else:
        rows += [
            ("p of the similarity test", test.p_similarity),
            (f"{what} allowed for similarity", test.similar_count),
            ("p of the test that it is beyond the limit", test.p_beyond),
            (f"{what} needed to be beyond the limit", test.beyond_count),
            ("chance of a fair pass, nothing changed", risks.fair_pass),
            (f"risk of a wrong pass (beta error), {limit}", risks.wrong_pass),
            ("risk of a false alarm (alpha error), nothing changed", risks.false_alarm),
            (f"power, {limit}", risks.power),
            (f"risk of a wrong rejection (beyond the limit), {limit}", risks.wrong_rejection),
        ]
    return [(name, value, None, None, None) for name, value in rows]


def _row(cells: tuple[Cell, ...]) -> _Row:
    name, estimate, low, high, level = cells
    return (str(name), estimate, _number(low), _number(high), _number(level))


def _number(cell: Cell) -> float | None:
    return None if cell is None else float(cell)


def _plain(limits: Interval) -> Interval:
    return Interval(low=float(limits.low), high=float(limits.high), level=float(limits.level))


def choice_figure(test: ChoiceTest, replicated: ReplicatedTest | None = None) -> Figure:
    """Guess level, estimate with its limits, and the agreed limit, as proportions correct.

    The first row is the two-sided 95 % interval; the second reaches up to the one-sided limit
    that decides on similarity, judged by assessor where somebody answered more than once.
    """
    guess, agreed = float(test.protocol.guess), float(test.pc_at_limit)
    upper = float(max(test.pc_upper, 1 - test.pc_upper) if test.two_sided else test.pc_upper)
    low = 1 - upper if test.two_sided else min(guess, upper)
    ends = (upper, 1 - upper) if test.two_sided else (upper,)
    if replicated is not None:
        upper = float(test.protocol.pc_at(round(replicated.pd_upper, 6)))
        ends = (upper,)
    level, what = 1 - test.beta, "named B" if test.two_sided else "were correct"
    return Figure(
        axis="proportion of answers for B" if test.two_sided else "proportion of correct answers",
        shares=True,
        origin=None,
        spans=(
            Span(label=_ESTIMATE, estimate=float(test.pc), limits=_plain(test.pc_limits)),
            Span(
                label=f"{_UPPER} ({100 * level:.0f} %)",
                estimate=None,
                limits=Interval(low=low, high=upper, level=level),
                ends=ends,
            ),
        ),
        levels=(
            Level(at=(guess,), says=f"guessing {100 * guess:.0f} %", agreed=False),
            Level(
                at=(agreed, 1 - agreed) if test.two_sided else (agreed,),
                says=f"agreed limit {100 * agreed:.0f} % ({100 * test.pd_limit:.0f} % notice)",
                agreed=True,
            ),
        ),
        says=f"{100 * test.pc:.0f} % of the answers {what}, "
        f"95 % limits {100 * test.pc_limits.low:.0f} % to {100 * test.pc_limits.high:.0f} %; "
        f"guessing gives {100 * guess:.0f} %, the agreed limit is {100 * agreed:.0f} %.",
    )
