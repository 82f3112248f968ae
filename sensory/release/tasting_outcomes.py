"""What the tastings of a batch show, from the outcomes that their sessions left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from math import inf, isfinite

from ..base.errors import ArgumentError, RecordError
from ..base.findings import Finding
from ..base.records import utc_now
from ..base.spelling import key_of
from ..catalogue.outcome import Outcome
from ..catalogue.tests import find_kind
from ..sessions.finding import outcome_of_session
from ..sessions.session import StoredSession
from .batch_parts import part_of
from .batch_records import BatchRecord, ProductRecord, Tasting
from .batches import AttributeLimit
from .disposition import BatchFinding, batch_finding
from .product_desk import Desk, rule_for, state_of_reference
from .rule import ReleaseRule


def as_it_closed(
    desk: Desk,
    record: BatchRecord,
    tasting: Tasting,
    session: StoredSession,
    outcome: Outcome,
) -> Tasting:
    """The tasting with the numbers and the finding that its closed session left.

    Raises RecordError for a test that says nothing about a release.
    """
    done = replace(tasting, held_on=held_on(session), finding=outcome.finding)
    if outcome.counts.trials:
        return replace(done, correct=outcome.counts.correct, trials=outcome.counts.trials)
    if find_kind(outcome.test).release is None:
        raise RecordError(f"A {outcome.test} session says nothing about a release.")
    compared = outcome.of_batch(record.name)
    if compared:
        done = replace(
            done,
            sample=compared[0].sample,
            differences={
                each.attribute: (each.estimate, each.se)
                for each in compared
                if isfinite(each.estimate) and isfinite(each.se)
            },
        )
    named = {
        each.defect: (each.by, each.graders)
        for each in outcome.defects
        if key_of(each.sample) == key_of(record.name)
    }
    done = replace(done, defects=named)
    rule = rule_for(desk, record)
    return done if rule is None else replace(done, finding=_of_sample(outcome, rule, done.sample))


def _of_sample(outcome: Outcome, rule: ReleaseRule, sample: str) -> Finding:
    """What it shows of the batch; of all its samples where the rule cannot read it."""
    try:
        return part_of(outcome, rule, sample).finding
    except ArgumentError:
        return outcome.finding


def held_on(session: StoredSession) -> str:
    """The day of a tasting: as its session says, else when it closed."""
    try:
        return date.fromisoformat(session.details.held_on).isoformat()
    except ValueError:
        return session.closed_at[:10]


def finding_of(
    desk: Desk, record: BatchRecord, *, known: Mapping[str, Outcome] | None = None
) -> BatchFinding | None:
    """What the release rule says of a batch as it stands; None without a rule.

    The latest tasting of the rule's test counts, the ones before it are its attempts; of
    other tests the latest is put beside it. `known` are outcomes not yet on record, by session.

    Where a mean of the batch lies outside the range that the product agrees for the attribute, a
    reason says so; the rule does not decide by it.

    Raises SensoryError when an outcome cannot be read, a tasting was held at other risks than
    agreed, or before the reference was made.
    """
    rule = rule_for(desk, record)
    if rule is None:
        return None
    day = record.latest.held_on if record.latest else utc_now()[:10]
    state = state_of_reference(desk, record.reference, day, served=record.latest is not None)
    if record.tastings and record.reference and state is None:
        raise RecordError(
            f"The reference {record.reference} is not on record, or was made after {day}."
        )
    over = [tasting for tasting in record.tastings if tasting.over]
    own = [tasting for tasting in over if tasting.test == rule.test]
    others = [tasting for tasting in over if tasting.test != rule.test and tasting.finding]
    beside = {tasting.test: tasting for tasting in others}
    now = own.pop() if own and not own[-1].aborted else None
    chosen = [now, *beside.values()] if now else []
    outcomes = [_outcome(desk, tasting, known) for tasting in chosen]
    ruled = batch_finding(
        outcomes,
        rule=rule,
        clearance=record.clearance,
        panel=_panel(outcomes),
        earlier=[None if each.aborted else _outcome(desk, each, known) for each in own],
        sample=next((each.sample for each in chosen if each.trials is None), None),
        reference=state,
        batch=record.batch,
    )
    product = desk.noun(ProductRecord, record.batch.product)
    ranges = product.product.attributes if product else ()
    samples = [tasting.sample or record.name for tasting in chosen]
    outside = [
        sentence
        for outcome, sample in zip(outcomes, samples, strict=True)
        for sentence in outside_range(outcome, sample, ranges)
    ]
    return replace(ruled, reasons=(*ruled.reasons, *outside))


def outside_range(outcome: Outcome, sample: str, ranges: Sequence[AttributeLimit]) -> Iterator[str]:
    """Where the mean of a sample lies outside the range of an attribute, a sentence each."""
    agreed = {key_of(limit.attribute): limit for limit in ranges}
    for mean in outcome.means:
        limit = agreed.get(key_of(mean.attribute))
        if limit is None or key_of(mean.sample) != key_of(sample):
            continue
        low = -inf if limit.low is None else limit.low
        high = inf if limit.high is None else limit.high
        if low <= mean.estimate <= high:
            continue
        above = mean.estimate > high
        whole = mean.limits.low > high if above else mean.limits.high < low
        yield (
            f"{mean.attribute}: the mean of {sample} is {mean.estimate:.2f}, "
            f"{'above' if above else 'below'} its range ({_range(limit)}); its limits of "
            f"{mean.limits.low:.2f} to {mean.limits.high:.2f} "
            f"{'lie wholly outside' if whole else 'reach into it'}."
        )


def _range(limit: AttributeLimit) -> str:
    if limit.low is None:
        return f"up to {limit.high:g}"
    return f"from {limit.low:g}" if limit.high is None else f"{limit.low:g} to {limit.high:g}"


def _outcome(desk: Desk, tasting: Tasting, known: Mapping[str, Outcome] | None) -> Outcome:
    if known and tasting.session in known:
        return known[tasting.session]
    return outcome_of_session(desk, desk.session(tasting.session))


def _panel(outcomes: Sequence[Outcome]) -> dict[str, float] | None:
    """The smallest differences of all scorecards, by attribute; those of the rule's test first."""
    smallest: dict[str, float] = {}
    for outcome in reversed(outcomes):
        smallest |= outcome.smallest_differences
    return smallest or None
