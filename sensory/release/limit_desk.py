"""Use cases of a limit: what sold batches say of it, what one costs, and agreeing it.

Why so
------
The limit lives in the release rule, which every session of a batch takes it from; agreeing one is
agreeing that rule with another limit, so it has the same name, role, day and reason in the journal.
A planned second tasting is made for one limit, so another limit makes its plan anew. A profile has
a margin for each attribute; one of them is set at a time, in both directions.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import pandas as pd

from ..base.errors import ArgumentError, RecordError
from ..base.spelling import key_of
from ..catalogue.tests import protocol_of
from ..choices.size import fair_pass_size, panel_size
from ..choices.two_stage import two_stage_plan
from ..evidence.carried_limit import share_that_notices
from ..evidence.consumer_limit import Unit
from ..evidence.history_limit import HistoryLimit, limit_from_history
from ..sessions.signing import TYPED
from .batch_records import BatchRecord, ProductRecord
from .batch_trend import attributes_of, choice_rows, rated_rows
from .batches import Disposition
from .product_desk import Desk, agree_rule, rule_of, the_product
from .rule import ReleaseRule
from .trend_words import earlier_left_out

_MOST = 400
"""Batches that are looked at together; the latest."""
_DIGITS, _MOST_PEOPLE, _MOST_IN_TWO = 4, 1000, 400
FAIR = 0.90
"""Chance with which an unchanged batch should pass (common practice, no source)."""
_KEPT = 32
Cells = tuple[object, ...]
_COUNTED, _ESTIMATED = ("batch", "protocol", "correct", "trials"), ("batch", "estimate", "se")
NO_RULE = (
    "Agree a release rule on the page Products first: it says by which test batches are judged."
)
VOTES = (
    "This rule goes by votes of graders and has no limit to agree: spiked samples say what must be "
    "called out."
)
MARGINS = (
    "The release rule tastes by profile. Its margins count in both directions, which the distances "
    "of sold batches are not read for: set a margin by what consumers accept."
)
BOTH_WAYS = (
    "The margin counts in both directions: what people said of samples with more of the attribute "
    "is taken to hold for less of it, and of this attribute alone."
)
MADE_ANEW = (
    "The second tasting is planned anew for this limit, in the same test and with the risks of the "
    "rule. It takes one d-prime for both tastings, and their answers for those of different people."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldBatches:
    """What batches sold without complaint say of a limit; None where they cannot be asked."""

    result: HistoryLimit | None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldRows:
    """The tastings of sold batches as a table, a batch a row."""

    columns: tuple[str, ...]
    cells: tuple[Cells, ...]


def takes_limit(rule: ReleaseRule) -> bool:
    """Whether there is a distance to agree; a rule by votes of graders has none."""
    return rule.by != "votes"


def unit_of(rule: ReleaseRule) -> Unit:
    """Unit in which a rule takes a limit, or a profile the margin of an attribute."""
    return "dprime" if rule.protocol else "points"


def assumed(rule: ReleaseRule) -> tuple[str, ...]:
    """What is assumed where a limit that people set goes into a rule, a sentence each."""
    margins = (BOTH_WAYS,) if rule.by == "margins" else ()
    return (*margins, MADE_ANEW) if rule.retest is not None else margins


def sold_without_complaint(desk: Desk, record: ProductRecord) -> list[BatchRecord]:
    """The latest batches that were released, of which nobody complained."""
    return [
        batch
        for batch in desk.batches(product=record.name, most=_MOST)
        if batch.decision is not None
        and batch.decision.disposition is Disposition.RELEASE
        and not batch.complaints
        and key_of(batch.reference)
    ]


def limit_of_sold(
    desk: Desk, record: ProductRecord, limits: tuple[float, ...] | None = None
) -> SoldBatches:
    """The distribution of their true distances, and what each limit would have stopped."""
    rule = rule_of(record)
    if rule is None:
        return SoldBatches(result=None, remarks=(NO_RULE,))
    if rule.by in ("margins", "votes"):
        return SoldBatches(result=None, remarks=(VOTES if rule.by == "votes" else MARGINS,))
    sold = sold_without_complaint(desk, record)
    cells = _cells(sold, rule)
    remarks = list[str]()
    if not (rule.protocol or rule.scatter):
        remarks.append(
            "Assessors are counted once the release rule states the scatter of the panel."
        )
    if (left := desk.how_many(product=record.name) - _MOST) > 0:
        remarks.append(earlier_left_out(left, "the product"))
    risks = rule.alpha, rule.beta, rule.scatter or 0.0
    return SoldBatches(
        result=_looked_at(cells, bool(rule.protocol), risks, limits), remarks=tuple(remarks)
    )


def sold_rows(desk: Desk, record: ProductRecord) -> SoldRows | None:
    """The batches that `limit_of_sold` looks at; None where they cannot be asked."""
    rule = rule_of(record)
    if rule is None or rule.by in ("margins", "votes"):
        return None
    cells = _cells(sold_without_complaint(desk, record), rule)
    return SoldRows(columns=_COUNTED if rule.protocol else _ESTIMATED, cells=cells)


def _cells(sold: list[BatchRecord], rule: ReleaseRule) -> tuple[Cells, ...]:
    return _counts(sold, rule) if rule.protocol else _estimates(sold, rule)


def _counts(sold: list[BatchRecord], rule: ReleaseRule) -> tuple[Cells, ...]:
    return tuple(
        (str(row["batch"]), rule.test, int(row["correct"]), int(row["trials"]))
        for row in choice_rows(sold, rule)
    )


def _estimates(sold: list[BatchRecord], rule: ReleaseRule) -> tuple[Cells, ...]:
    names = attributes_of(sold, rule)
    rows = rated_rows(sold, rule, names[0]) if names else []
    return tuple(
        (str(row["batch"]), float(row["estimate"]), float(row["se"]))
        for row in rows
        if row["se"] > 0
    )


@lru_cache(maxsize=_KEPT)
def _looked_at(
    cells: tuple[Cells, ...],
    counted: bool,
    risks: tuple[float, float, float],
    limits: tuple[float, ...] | None,
) -> HistoryLimit:
    """The history of these rows, computed once; tables are handed out as copies."""
    alpha, beta, scatter = risks
    frame = pd.DataFrame(list(cells), columns=list(_COUNTED if counted else _ESTIMATED))
    return limit_from_history(frame, limits=limits, scatter=scatter or None, alpha=alpha, beta=beta)


def limit_of_rule(rule: ReleaseRule, attribute: str = "") -> float | None:
    """The limit of a rule as a distance: d-prime, or points; of a profile that of an attribute."""
    if rule.by == "margins":
        return rule.margins.get(attribute)
    if rule.limit is None or rule.protocol is None:
        return rule.limit
    return float(rule.protocol.dprime(float(rule.protocol.pc_at(rule.limit))))


def with_limit(
    rule: ReleaseRule, distance: float, unit: Unit, assessors: int, attribute: str = ""
) -> ReleaseRule:
    """The rule with another limit, given as a distance.

    `assessors`: of a tasting; where a second one is planned, the most answers in both together.
    `attribute`: of a profile, whose margin it is.

    Raises RecordError where the rule cannot take one in that unit, or has no such attribute;
    ArgumentError where no plan in two tastings with so many answers keeps the risks.
    """
    if not takes_limit(rule):
        raise RecordError(VOTES)
    own = unit_of(rule)
    if own != unit:
        has, got = ("a d-prime", "points") if own == "dprime" else ("points", "a d-prime")
        raise RecordError(f"The release rule takes a limit in {has}; this one is in {got}.")
    if rule.by == "margins":
        if attribute not in rule.margins:
            raise RecordError(
                f"The release rule has margins for {', '.join(rule.margins)}; say which of them "
                f"this one is. Got {attribute or 'none'}."
            )
        margins = {**rule.margins, attribute: distance}
        return replace(rule, margins=margins, assessors=assessors)
    if rule.protocol is None:
        return replace(rule, limit=distance, assessors=assessors)
    share = round(share_that_notices(protocol_of(rule.test), distance), _DIGITS)
    if rule.retest is None:
        return replace(rule, limit=share, assessors=assessors)
    risks = {"alpha": rule.alpha, "beta": rule.beta, "pd_limit": share}
    plan = two_stage_plan(rule.protocol, most=assessors, **risks)
    return replace(rule, limit=share, assessors=plan.first, retest=plan)


def most_answers(rule: ReleaseRule, distance: float) -> int | None:
    """Answers in both tastings for which a plan is sought: a quarter more than one tasting needs.

    None for a rule without a second tasting, and where a plan would need more than 400.
    """
    if rule.retest is None or rule.protocol is None:
        return None
    share = round(share_that_notices(rule.protocol, distance), _DIGITS)
    try:
        once = panel_size(rule.protocol, alpha=rule.alpha, beta=rule.beta, pd=share).assessors
    except ArgumentError:  # more than can be planned for
        return None
    most = -(-5 * int(once) // 4)
    return most if most <= _MOST_IN_TWO else None


def fair_size(rule: ReleaseRule, chance: float = FAIR) -> int | None:
    """Assessors with whom an unchanged batch is released with that chance by the limit of a rule.

    From it on every larger number keeps it too: counts go in steps. None where no number up to
    1000 does, for a profile, with a second tasting, and in points without a scatter.

    >>> fair_size(ReleaseRule(test="TRIANGLE", limit=0.3, assessors=24))
    58
    """
    unknown = rule.limit is None or (rule.protocol is None and rule.scatter is None)
    if unknown or rule.retest is not None:
        return None

    def fair(assessors: int) -> bool:
        sized = replace(rule, assessors=assessors)
        return float(sized.characteristic([0.0]).passes[0]) >= chance

    if rule.protocol is not None:
        return _fair_counts(rule, fair, chance)
    if not fair(_MOST_PEOPLE):
        return None
    return bisect_left(range(2, _MOST_PEOPLE + 1), True, key=fair) + 2


def _fair_counts(rule: ReleaseRule, fair: Callable[[int], bool], chance: float) -> int | None:
    """The same of a choice test; None as well where what is similar is not released."""
    size = fair_pass_size(
        protocol_of(rule.test),
        chance=chance,
        beta=rule.beta,
        pd_limit=rule.limit or 0.0,
        rule="stable",
    )
    return size if size <= _MOST_PEOPLE and fair(size) else None


def agree_limit(
    desk: Desk,
    name: str,
    distance: float,
    *,
    unit: Unit,
    assessors: int,
    attribute: str = "",
    why: str,
    who: str,
    how: str = TYPED,
) -> ProductRecord:
    """Put a limit into the release rule of a product; `why` says what it rests on.

    Raises RecordError without a rule or a reason, for a limit that the rule cannot take, or from
    somebody who may not agree it.
    """
    record = the_product(desk, name)
    rule = rule_of(record)
    if rule is None:
        raise RecordError(NO_RULE)
    new = with_limit(rule, distance, unit, assessors, attribute)
    drift = record.product.drift_limit
    return agree_rule(desk, record.name, new, drift_limit=drift, who=who, why=why, how=how)
