"""Grading at the line: from checked grades to a decision on each batch.

Why so
------
Which vote stops a batch follows from the graders' own rates of the day, on the samples whose truth
is known; the batches' grades have no part in it. Where no number of votes keeps both risks, a batch
is called out or in only where its own vote keeps the risk of that call, else it stays open.

A rate is (x + 1/2) / (n + 1), the mean under Jeffreys' prior. Votes are independent given the rates
and so are the graders, so the chance of so many votes, averaged over what the samples leave open of
every rate, is that of these means.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Interval, Table, several
from ..base.spelling import key_of, same_person
from ..evidence.graders import GraderCheck, check_graders
from ..evidence.grading_rule import ALONE, STANDARD, GradingRule, grading_rule, share_words
from ..models.binomial import clopper_pearson
from .defects import Defect, typed_defects
from .grading_known import AS_BEFORE, known_of, known_samples
from .grading_truth import grades_out, truth_of
from .kind import KINDS, KnownTruth
from .outcome import Comparison, Counts, Figure, NamedDefect, NamedTable, Outcome, Span
from .outcome_words import SCOPE, overall
from .question import Question

Row = dict[str, Any]
_LEVEL, _KNOWN = 0.95, 20
_CALLED = {Finding.DIFFERENT: "out", Finding.SIMILAR: "in", Finding.UNDECIDED: "open"}
_EACH = (
    "Each risk is that of one batch: of many good batches some are stopped, by the share agreed."
)
_AVERAGED = (
    "Rates of graders: half a sample added to each count, the mean by Jeffreys' prior. So the risk "
    "of one batch takes in what so few samples leave open of the rates; the batches of a session "
    "share it."
)
_SHOWN = (
    *("grader", "hits", "spiked", "hit_low", "hit_high"),
    *("false_alarms", "controls", "false_low", "false_high"),
)
_BY_ITSELF = (
    "No number of votes keeps both risks: a batch is called out or in only where its own votes "
    "keep the risk of that call, else it stays open."
)
_NO_BATCH = "No batch was among the samples: this session speaks of the graders only."
_GRADED = "A grade says what graders call it; a defect that nobody named may be there all the same."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Graded:
    """One batch: votes, its chances among good batches and at the limit, and the decision."""

    sample: str
    votes: int
    graders: int
    grade: str
    good: float
    bad: float
    finding: Finding
    named: Counter[str]


def read_grading(
    rows: Sequence[Row], question: Question, before: Mapping[str, KnownTruth] | None = None
) -> Outcome:
    """In or out, batch by batch, by the vote that keeps the agreed risks; and what graders see.

    Alpha is the largest agreed chance that a good batch is stopped, beta that one at the limit
    passes. A grader counts who graded a blind control and a spiked sample at the least, today or on
    the days `before`.

    Raises ArgumentError where nobody graded both.
    """
    kind, settings = KINDS[question.protocol], question.settings
    grades, out = kind.listed(settings, "grades"), grades_out(kind, settings)
    frame = _frame(rows, question, grades)
    check = check_graders(frame, scale=grades, out=out)
    known = known_of(check.graders, before or {})
    if known.empty:
        raise ArgumentError(
            "nobody graded both a blind control and a spiked sample, so no vote can be weighed."
        )
    days = int(kind.setting(settings, "known_days")) if before else 0
    rule, told = _rule(known, question), known_samples(known, days)
    batches = [
        _graded(str(name), part, known, out, grades, rule, question)
        for name, part in _batches(frame, question)
    ]
    listed = typed_defects(str(kind.setting(settings, "defects")))
    findings = [each.finding for each in batches]
    finding = overall(findings) if findings else Finding.UNDECIDED
    return Outcome(
        test=question.protocol,
        finding=finding,
        sentence=_sentence(batches),
        because=_because(rule, told if days else ""),
        counts=Counts(answers=len(rows), assessors=frame["grader"].nunique()),
        alpha=question.alpha,
        beta=question.beta,
        tables=tuple(_tables(batches, rule)),
        figure=_figure(batches) if batches else None,
        comparisons=tuple(_compared(each) for each in batches),
        warnings=(*_blind(told, rule), *_severe(batches, listed)),
        cannot_tell=(
            *_at_worst(known, told, rule),
            *((AS_BEFORE,) if days else ()),
            *(ALONE, STANDARD, _EACH, _GRADED, SCOPE),
        ),
        notes=(
            *_left_out(check, known),
            *(line for line in check.cannot_tell if line != STANDARD),
            _AVERAGED,
        ),
        panel_says=check.says(),
        panel_tables=(
            NamedTable("Graders", _plain(check.graders[list(_SHOWN)])),
            NamedTable("Agreement of graders", _plain(check.pairs)),
        ),
        defects=tuple(_named(batches, listed)),
    )


def planned_grading(question: Question) -> tuple[str, ...]:
    """Whether so many graders with the assumed rates keep both risks, and how well these are known.

    >>> import sensory.catalogue.tests
    >>> planned_grading(Question(protocol="GRADING", assessors=3, beta=0.1))[1].split(":")[0]
    "2 votes 'out' of 3 stop a batch"
    """
    kind = KINDS[question.protocol]
    hit, false = (
        float(kind.setting(question.settings, key)) for key in ("hits_assumed", "false_assumed")
    )
    people, days = question.assessors, int(kind.setting(question.settings, "known_days"))
    rule = grading_rule(
        np.full(people, hit),
        np.full(people, false),
        good_stopped=question.alpha,
        bad_passed=question.beta,
    )
    hits = round(hit * _KNOWN)
    low, high = (100 * float(end) for end in clopper_pearson(hits, _KNOWN, _LEVEL))
    return (
        f"Assumed: a grader calls {share_words(hit)} of samples at the limit out, and "
        f"{share_words(false)} of good ones.",
        *rule.says(),
        f"A grader who finds {hits} of {_KNOWN} spiked samples is known to find {low:.0f} to "
        f"{high:.0f} %: spiked samples and blind controls of many days show what graders see.",
        *((f"Those of the {several(days, 'day')} before count as well.",) if days else ()),
        ALONE,
    )


def _frame(rows: Sequence[Row], question: Question, grades: list[str]) -> pd.DataFrame:
    kind, settings = KINDS[question.protocol], question.settings
    return pd.DataFrame(
        {
            "grader": str(row["assessor"]),
            "sample": str(row["sample"]),
            "grade": grades[row["answer"] - 1],
            "truth": truth_of(str(row["sample"]), kind, settings),
            "defect": str(row.get("defect") or ""),
        }
        for row in rows
    )


def _batches(frame: pd.DataFrame, question: Question) -> list[tuple[object, pd.DataFrame]]:
    """The batches with their grades, as in the plan; those that it does not list by name."""
    listed = KINDS[question.protocol].listed(question.settings, "samples")
    places = {same_person(name): place for place, name in enumerate(listed)}
    parts = frame.query("truth == ''").groupby("sample")
    return sorted(parts, key=lambda part: places.get(same_person(str(part[0])), len(places)))


def _rates(known: pd.DataFrame) -> tuple[Floats, Floats]:
    """Means under Jeffreys' prior."""
    hit = (known["hits"] + 0.5) / (known["spiked"] + 1)
    false = (known["false_alarms"] + 0.5) / (known["controls"] + 1)
    return hit.to_numpy(float), false.to_numpy(float)


def _rule(known: pd.DataFrame, question: Question) -> GradingRule:
    hit, false = _rates(known)
    return grading_rule(hit, false, good_stopped=question.alpha, bad_passed=question.beta)


def _graded(
    sample: str,
    part: pd.DataFrame,
    known: pd.DataFrame,
    out: tuple[str, ...],
    grades: list[str],
    rule: GradingRule,
    question: Question,
) -> _Graded:
    """`rule` is that of all graders who count; a batch that some of them left out has its own."""
    counted = part[part["grader"].isin(known.index)]
    votes, people = int(counted["grade"].isin(out).sum()), len(counted)
    places = sorted(grades.index(grade) for grade in part["grade"])
    good, bad, finding = 1.0, 1.0, Finding.UNDECIDED
    if people:
        if people < len(known):
            rule = _rule(known.loc[counted["grader"]], question)
        good = 1.0 if not votes else float(rule.rules["good_stopped"].iloc[votes - 1])
        bad = 1.0 if votes == people else float(rule.rules["bad_passed"].iloc[votes])
        finding = _decided(rule, votes, good, bad)
    return _Graded(
        sample=sample,
        votes=votes,
        graders=people,
        grade=grades[places[len(places) // 2]],
        good=good,
        bad=bad,
        finding=finding,
        named=Counter(name for name in part["defect"] if name),
    )


def _decided(rule: GradingRule, votes: int, good: float, bad: float) -> Finding:
    """Out or in by the rule; without a rule, where the call keeps its own risk."""
    if rule.votes is not None:
        return Finding.DIFFERENT if votes >= rule.votes else Finding.SIMILAR
    if good <= rule.good_stopped:
        return Finding.DIFFERENT
    return Finding.SIMILAR if bad <= rule.bad_passed else Finding.UNDECIDED


def _sentence(batches: Sequence[_Graded]) -> str:
    if not batches:
        return _NO_BATCH
    parts = []
    for finding, words in _CALLED.items():
        names = [_line(each) for each in batches if each.finding is finding]
        if names:
            parts.append(f"{words}: {', '.join(names)}")
    sentence = "; ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _line(batch: _Graded) -> str:
    if batch.finding is Finding.SIMILAR:
        return batch.sample
    told = f"{batch.votes} of {several(batch.graders, 'vote')}"
    return f"{batch.sample} ({', '.join([told, *batch.named])})"


def _tables(batches: Sequence[_Graded], rule: GradingRule) -> Iterator[NamedTable]:
    columns = ("sample", "decision", "votes out", "graders", "grade", "defects named")
    rows = tuple(
        (
            each.sample,
            _CALLED[each.finding],
            each.votes,
            each.graders,
            each.grade,
            ", ".join(f"{name} by {count}" for name, count in each.named.most_common()),
        )
        for each in batches
    )
    yield NamedTable("Batches", Table(columns=columns, rows=rows))
    heads = ("votes that stop", "good batches stopped", "batches at the limit passed")
    votes = tuple((int(a), b, c) for a, b, c in rule.rules.to_numpy().tolist())
    yield NamedTable("Votes", Table(columns=heads, rows=votes))


def _figure(batches: Sequence[_Graded]) -> Figure:
    return Figure(
        axis="share of graders who called it out",
        origin=None,
        shares=True,
        spans=tuple(
            Span(label=each.sample, estimate=each.votes / each.graders, limits=_limits(each))
            for each in batches
            if each.graders
        ),
    )


def _limits(batch: _Graded) -> Interval:
    low, high = clopper_pearson(batch.votes, batch.graders, _LEVEL)
    return Interval(low=float(low), high=float(high), level=_LEVEL)


def _compared(batch: _Graded) -> Comparison:
    """`p`: chance that a good batch gets as many votes; `p_within`: one at the limit as few."""
    return Comparison(
        sample=batch.sample,
        attribute="",
        finding=batch.finding,
        estimate=batch.votes / batch.graders if batch.graders else float("nan"),
        limits=_limits(batch) if batch.graders else None,
        p=batch.good,
        p_within=batch.bad,
        why="" if batch.graders else "no grader who counts graded it",
    )


def _because(rule: GradingRule, told: str) -> str:
    """The rule, and on what it rests where that is more than the session itself."""
    words = _BY_ITSELF if rule.votes is None else " ".join(rule.says())
    return f"{words} The graders' rates stand on {told}." if told else words


def _blind(told: str, rule: GradingRule) -> Iterator[str]:
    """That no rule keeps both risks, and on how little that may stand."""
    if rule.votes is None:
        yield f"{' '.join(rule.says())} This is judged by {told}."


def _severe(batches: Sequence[_Graded], listed: Sequence[Defect]) -> Iterator[str]:
    """Defects that must not be overlooked, in batches that are not called out."""
    severe = {key_of(each.name): each for each in listed if each.severity != "minor"}
    for batch in batches:
        for name, count in batch.named.items():
            defect = severe.get(key_of(name))
            if defect and batch.finding is not Finding.DIFFERENT:
                yield (
                    f"{batch.sample} is not called out, and {several(count, 'grader')} named "
                    f"{defect.name}, a {defect.severity} defect. Agreed for it: {defect.action}."
                )


def _at_worst(known: pd.DataFrame, told: str, rule: GradingRule) -> Iterator[str]:
    """The risks if every rate lay at the bad end of its limits."""
    if rule.votes is None:
        return
    worst = grading_rule(known["hit_low"], known["false_high"]).rules.iloc[rule.votes - 1]
    yield (
        f"The risks stand on {told}. If every rate lay at the bad end of its "
        f"limits, {share_words(worst['good_stopped'])} of good batches would be stopped and "
        f"{share_words(worst['bad_passed'])} of those at the limit would pass."
    )


def _left_out(check: GraderCheck, known: pd.DataFrame) -> Iterator[str]:
    absent = [str(name) for name in check.graders["grader"] if name not in known.index]
    if absent:
        yield (
            f"Not counted among the votes, for want of a control or a spiked sample: "
            f"{', '.join(absent)}."
        )


def _named(batches: Sequence[_Graded], listed: Sequence[Defect]) -> Iterator[NamedDefect]:
    by_name = {key_of(each.name): each for each in listed}
    for batch in batches:
        for name, count in batch.named.most_common():
            known = by_name.get(key_of(name))
            yield NamedDefect(
                sample=batch.sample,
                defect=name,
                severity=known.severity if known else "",
                action=known.action if known else "",
                by=count,
                graders=batch.graders,
            )


def _plain(frame: pd.DataFrame) -> Table:
    rows = (
        tuple(None if cell != cell else cell for cell in row)
        for row in frame.itertuples(index=False, name=None)
    )
    return Table(columns=tuple(frame.columns), rows=tuple(rows))
