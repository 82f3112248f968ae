"""Several sessions on one pair of products, joined on the axis of d-prime.

Why so
------
A triangle in March and a tetrad in May ask the same question of the same pair. Their counts enter
one likelihood; their estimates, p and shares that notice are never averaged, since these belong to
one test each. Difference from control enters by the order of two scores within each assessor. What
asks for an attribute stands apart, and so does another reference: they are other questions.
Similarity is not concluded from a total: the same people come back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from ..base.checks import one_count, one_number, probability
from ..base.results import Table, digits, several
from ..base.shown import Told
from ..models.joint_dprime import (
    Counts,
    always_dprime,
    common_dprime,
    difference_p,
    heterogeneity,
    limits_of_sessions,
    spread_dprime,
)
from ..ratings.frames import KeptTable
from .combined_words import (
    ANY,
    BETWEEN,
    BEYOND,
    COMMON,
    OPEN,
    PLANNED,
    WITHIN,
    called,
    cannot_tell_of,
    group_says,
)
from .planned_looks import PlannedLooks
from .session_rows import Results, SessionRow, counts_of, session_rows

FEWEST_FOR_SPREAD = 3
"""Sessions from which a scatter between them is estimated."""
_DRAWS = 2000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class CombinedEvidence(Told):
    """Result of `combine_evidence`: tidy tables, handed out as copies.

    Attributes
    ----------
    dprime_limit, level, seed
        As given.
    sessions : DataFrame
        ``session date reference attribute protocol correct equal trials estimate low high``.
    groups : DataFrame
        What may be joined, the group with most answers first: ``reference attribute sessions
        trials model estimate low high level p p_heterogeneity spread spread_low spread_high
        common common_low common_high always_low always_high looks looks_done looks_planned
        planned_alpha planned_low planned_high planned_different why_not_planned
        against_limit``. `estimate` is the d-prime of all sessions, or from three sessions on its
        mean over them, with `spread`, the standard deviation between them; `p` is exact for no
        difference in any session; the ``always`` limits hold at every look, the ``planned`` ones
        at the looks of a plan; `looks` says which apply.
    looks : DataFrame
        ``reference attribute session date estimate low high always_low always_high``: one
        d-prime after each session.
    """

    dprime_limit: float | None
    level: float
    seed: int
    _tables: Mapping[str, pd.DataFrame]

    sessions = KeptTable()
    groups = KeptTable()
    looks = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What the sessions show together, group by group."""
        rows = self._tables["groups"].to_dict("records")
        return tuple(
            sentence
            for row in rows
            for sentence in group_says(row, len(rows), self.level, self.dprime_limit)
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these counts do not answer, a sentence each."""
        return cannot_tell_of(self._tables["groups"], self._tables["sessions"])

    def summary(self) -> Table:
        """One row a session, then one a group."""
        sessions = self._tables["sessions"].to_dict("records")
        rows = [
            (
                row["session"],
                row["protocol"],
                f"{row['correct']} of {row['trials']}"
                + (f", {row['equal']} alike" if row["equal"] else ""),
                row["estimate"],
                row["low"],
                row["high"],
            )
            for row in sessions
        ]
        for row in self._tables["groups"].to_dict("records"):
            name = f"together{'' if len(self._tables['groups']) == 1 else f', {called(row)}'}"
            numbers = (row["estimate"], row["low"], row["high"])
            rows.append((name, row["model"], str(row["trials"]), *numbers))
        columns = ("session", "test", "correct", "d-prime", "low", "high")
        return Table(columns=columns, rows=tuple(rows))

    def __repr__(self) -> str:
        first = self._tables["groups"].iloc[0]
        return (
            f"<CombinedEvidence: {several(len(self._tables['sessions']), 'session')}; d-prime "
            f"{digits(first['estimate'], 3)}, {digits(first['low'], 3)} to "
            f"{digits(first['high'], 3)}>"
        )


def combine_evidence(
    results: Results,
    *,
    dprime_limit: float | None = None,
    looks: PlannedLooks | None = None,
    looks_since: str = "",
    level: float = 0.95,
    seed: int = 1,
) -> CombinedEvidence:
    """How far apart are two products, by all sessions in which they were compared?

    Parameters
    ----------
    results : results of `choice_test` and of `difference_from_control`, or DataFrame
        Or a table with one session a row: ``protocol correct trials`` and, where there are any,
        ``session date reference attribute``. Sessions are joined only where the reference is
        the same, and for tests that ask for an attribute where that is. For difference from
        control `correct` are the assessors who scored the batch further from the labelled
        reference than the blind control, ``equal`` those who scored both alike.
    dprime_limit : float, optional
        Agreed limit as d-prime.
    looks : result of `planned_looks`, optional
        Looks that were agreed before the first session. Used for a group that holds sessions of
        its test only, and no more of them than were planned.
    looks_since : str
        Date (ISO 8601) on which these looks were agreed; only sessions of later dates count for
        them.
    level : float
        Of all limits, two-sided.
    seed : int
        Of the simulated counts behind the p of heterogeneity.

    Raises
    ------
    ArgumentError
        No session; counts that cannot be; a two-sided comparison; a test that asks for an
        attribute without naming it; difference from control with several batches, attributes or
        replicates.

    Notes
    -----
    The log-likelihood of d-prime is the sum of the binomial ones of all sessions; its limits are
    where it falls by half the chi-square quantile, relative to d-prime >= 0. From three
    sessions on each has its own d-prime, of a gamma distribution whose mean and standard
    deviation are estimated, with limits found in the same way; in simulated rows of three or five
    sessions of 30 they held the mean in 56 to 60 of 60 (`tests/calibration/test_evidence.py`). p
    for no difference is exact: the weighted sum of right answers, weights by the likelihood ratio
    of d-prime 1 against 0. p of heterogeneity compares the likelihood that a d-prime for each
    session adds with simulated counts. Limits for all looks come from a mixture of likelihoods over
    d-prime, half-normal with a standard deviation of 2; they hold where all sessions share one
    d-prime.

    Difference from control: both coded samples are compared with one labelled reference, so which
    was scored further away is the decision of a duo-trio test, on whatever scale the assessor
    uses; the share of equal scores gives the band within which distances were not told apart (see
    `models.distance_order`). Limits of three such sessions of 12, scores in whole points, held the
    d-prime in 93.0 to 98.3 % of 300 simulated rows (`tests/calibration/test_planned_looks.py`).

    Examples
    --------
    >>> from sensory.choices.forced_choice import choice_test
    >>> march, may = choice_test("triangle", 14, 30), choice_test("tetrad", 15, 24)
    >>> result = combine_evidence([march, may])
    >>> print(*result.says()[:2], sep="\\n")
    2 sessions with 54 answers show a d-prime of 1.4 (0.809 to 1.92, 95 %; exact p for no \
difference < 0.001).
    The sessions do not differ by more than chance (p 0.80).
    """
    level, seed = probability("level", level), one_count("seed", seed)
    limit = None if dprime_limit is None else one_number("dprime_limit", dprime_limit, 0.0, 10.0)
    rows = session_rows(results)
    groups: dict[tuple[str, str], list[SessionRow]] = {}
    for row in rows:
        groups.setdefault(row.group, []).append(row)
    planned = looks, looks_since
    joined = [_joined(own, level, limit, planned, seed) for own in groups.values()]
    joined.sort(key=lambda row: -int(row["trials"]))
    every_look = [look for own in groups.values() for look in _looks(own, level)]
    tables = {
        "sessions": pd.DataFrame(_sessions(rows, level)),
        "groups": pd.DataFrame(joined),
        "looks": pd.DataFrame(every_look),
    }
    return CombinedEvidence(
        dprime_limit=limit, level=level, seed=seed, _tables=MappingProxyType(tables)
    )


def _sessions(rows: list[SessionRow], level: float) -> Iterator[dict[str, object]]:
    for row, fit in zip(rows, limits_of_sessions(counts_of(rows), level), strict=True):
        yield {
            "session": row.session,
            "date": row.date,
            "reference": row.reference,
            "attribute": row.attribute,
            "protocol": row.test,
            "correct": row.correct,
            "equal": row.equal,
            "trials": row.trials,
            "estimate": fit.estimate,
            "low": fit.low,
            "high": fit.high,
        }


def _joined(
    rows: list[SessionRow],
    level: float,
    limit: float | None,
    planned: tuple[PlannedLooks | None, str],
    seed: int,
) -> dict[str, float | str]:
    """One group with all that is known of it."""
    counts = counts_of(rows)
    common = common_dprime(counts, level)
    always = always_dprime(counts, level)
    scatters = len(rows) >= FEWEST_FOR_SPREAD and not counts.all_right
    fit, spread = common, (float("nan"),) * 3
    if scatters:
        wide = spread_dprime(counts, level)
        fit, spread = wide.mean, (wide.spread, wide.spread_low, wide.spread_high)
    several_there = len(rows) > 1 and not counts.all_right
    return {
        "reference": rows[0].reference,
        "attribute": rows[0].attribute,
        "sessions": len(rows),
        "trials": int(counts.trials.sum()),
        "model": BETWEEN if scatters else COMMON,
        "estimate": fit.estimate,
        "low": fit.low,
        "high": fit.high,
        "level": level,
        "p": difference_p(counts),
        "p_heterogeneity": _p_apart(counts, level, seed) if several_there else 1.0,
        **dict(zip(("spread", "spread_low", "spread_high"), spread, strict=True)),
        "common": common.estimate,
        "common_low": common.low,
        "common_high": common.high,
        "always_low": always[0],
        "always_high": always[1],
        **_by_plan(rows, *planned, level),
        "against_limit": _against(fit.low, fit.high, limit),
    }


def _p_apart(counts: Counts, level: float, seed: int) -> float:
    return heterogeneity(counts, common_dprime(counts, level), draws=_DRAWS, seed=seed)


def _looks(rows: list[SessionRow], level: float) -> Iterator[dict[str, object]]:
    counts = counts_of(rows)
    for at, row in enumerate(rows, start=1):
        now = counts.first(at)
        fit, always = common_dprime(now, level), always_dprime(now, level)
        yield {
            "reference": row.reference,
            "attribute": row.attribute,
            "session": row.session,
            "date": row.date,
            "estimate": fit.estimate,
            "low": fit.low,
            "high": fit.high,
            "always_low": always[0],
            "always_high": always[1],
        }


def _by_plan(
    rows: list[SessionRow], plan: PlannedLooks | None, since: str, level: float
) -> dict[str, float | str]:
    """What planned looks say of a group, or why they do not apply to it."""
    rows = [row for row in rows if not since or row.date[:10] > since]
    why = _why_not(rows, plan, since)
    if plan is None or why:
        return {
            "looks": ANY,
            "looks_done": 0,
            "looks_planned": 0,
            **dict.fromkeys(("planned_alpha", "planned_low", "planned_high"), float("nan")),
            "planned_different": False,
            "why_not_planned": why,
        }
    done = plan.with_sizes([row.trials for row in rows])
    right = [row.correct for row in rows]
    low, high = done.limits(right, level)[-1]
    totals = [sum(right[: at + 1]) for at in range(len(right))]
    shown = any(total >= least for total, least in zip(totals, done.different_from, strict=True))
    return {
        "looks": PLANNED,
        "looks_done": len(rows),
        "looks_planned": len(plan.sizes),
        "planned_alpha": plan.alpha,
        "planned_low": low,
        "planned_high": high,
        "planned_different": shown,
        "why_not_planned": "",
    }


def _why_not(rows: list[SessionRow], plan: PlannedLooks | None, since: str) -> str:
    if plan is None:
        return ""
    if not rows:
        return f"looks were agreed on {since}; no session here is later."
    others = dict.fromkeys(row.test for row in rows if row.test != plan.protocol.name)
    if others:
        return (
            f"the looks were planned for {plan.protocol.name}; with {', '.join(others)} among the "
            "sessions their counts do not apply."
        )
    if len(rows) > len(plan.sizes):
        return (
            f"{len(plan.sizes)} looks were planned and {len(rows)} sessions are here, so the "
            "planned counts do not apply."
        )
    return ""


def _against(low: float, high: float, limit: float | None) -> str:
    if limit is None:
        return ""
    return WITHIN if high < limit else BEYOND if low > limit else OPEN
