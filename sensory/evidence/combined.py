"""Several sessions on one pair of products, joined on the axis of d-prime.

Why so
------
A triangle in March and a tetrad in May ask the same question of the same pair. Their counts enter
one likelihood; their estimates, p and shares that notice are never averaged, since these belong to
one test each. What asks for an attribute stands apart, and so does another reference: they are
other questions. Similarity is not concluded from a total: the same people come back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from ..base.arrays import Row
from ..base.checks import one_count, one_number, probability
from ..base.results import Table, digits, p_digits, several
from ..base.shown import Told
from ..choices.forced_choice import ChoiceTest
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
from .session_rows import SessionRow, counts_of, session_rows

FEWEST_FOR_SPREAD = 3
"""Sessions from which a scatter between them is estimated."""
_DRAWS = 2000
COMMON, BETWEEN = "one d-prime", "d-prime scatters between sessions"
_WITHIN, _BEYOND, _OPEN = "within", "beyond", "cannot tell"
SAME_PEOPLE = (
    "It takes the answers of all sessions for those of different people. Where the same assessors "
    "come back their answers go together, so similarity is not concluded from a total."
)
ONE_PAIR = (
    "It joins what was asked of one pair of products. Whether these were the same lots, of the "
    "same age, is not in the counts."
)
LOOKS = (
    "Limits of the total hold for one look. Whoever looks after each session and stops when they "
    "please needs the limits for all looks, which hold if the sessions share one d-prime."
)
TWO_ONLY = "With two sessions a scatter between them cannot be estimated; one d-prime is assumed."
DISTANCE = (
    "d-prime assumes that what is perceived scatters normally and alike in each test, and that "
    "assessors follow its decision rule."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class CombinedEvidence(Told):
    """Result of `combine_evidence`: tidy tables, handed out as copies.

    Attributes
    ----------
    dprime_limit, level, seed
        As given.
    sessions : DataFrame
        ``session date reference attribute protocol correct trials estimate low high``.
    groups : DataFrame
        What may be joined, the group with most answers first: ``reference attribute sessions
        trials model estimate low high level p p_heterogeneity spread spread_low spread_high
        common common_low common_high always_low always_high against_limit``. `estimate` is the
        d-prime of all sessions, or from three sessions on its mean over them, with `spread`,
        the standard deviation between them; `p` is exact for no difference in any session;
        the ``always`` limits hold at every look.
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
        return tuple(sentence for row in rows for sentence in self._of_group(row, len(rows)))

    def _of_group(self, row: Row, groups: int) -> Iterator[str]:
        name = f"{_called(row)}: " if groups > 1 else ""
        count = several(int(row["sessions"]), "session")
        mean = "on average " if row["model"] == BETWEEN else ""
        limits = f"{digits(row['low'], 3)} to {digits(row['high'], 3)}"
        yield (
            f"{name}{count} with {several(int(row['trials']), 'answer')} show {mean}a d-prime of "
            f"{digits(row['estimate'], 3)} ({limits}, {100 * self.level:g} %; exact p for no "
            f"difference {p_digits(row['p'])})."
        )
        if row["sessions"] > 1:
            differ = "differ more" if row["p_heterogeneity"] <= 1 - self.level else "do not differ"
            than = "than chance explains" if differ == "differ more" else "by more than chance"
            spread = ""
            if row["model"] == BETWEEN:
                low, high = digits(row["spread_low"], 2), digits(row["spread_high"], 2)
                spread = f"; standard deviation between them {digits(row['spread'], 2)} "
                spread += f"({low} to {high})"
            p = p_digits(row["p_heterogeneity"])
            yield f"{_begun(name, 'the sessions')} {differ} {than} (p {p}){spread}."
            low, high = digits(row["always_low"], 3), digits(row["always_high"], 3)
            if row["p_heterogeneity"] > 1 - self.level:
                words = f"limits that hold however often one looks: {low} to {high}."
            else:
                words = "limits that hold at every look take one d-prime and do not apply here."
            yield _begun(name, words)
        if self.dprime_limit is not None:
            words = _AGAINST[row["against_limit"]].format(limit=digits(self.dprime_limit, 3))
            yield _begun(name, words)
        if groups > 1:
            yield f"{name}not joined with the others, as {_why_apart(row)}."

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these counts do not answer, a sentence each."""
        rows = self._tables["groups"]
        two = (TWO_ONLY,) if (rows["sessions"] == 2).any() else ()
        return (*two, SAME_PEOPLE, ONE_PAIR, LOOKS, DISTANCE)

    def summary(self) -> Table:
        """One row a session, then one a group."""
        sessions = self._tables["sessions"].to_dict("records")
        rows = [
            (
                row["session"],
                row["protocol"],
                f"{row['correct']} of {row['trials']}",
                row["estimate"],
                row["low"],
                row["high"],
            )
            for row in sessions
        ]
        for row in self._tables["groups"].to_dict("records"):
            name = f"together{'' if len(self._tables['groups']) == 1 else f', {_called(row)}'}"
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


_AGAINST = {
    _WITHIN: "these limits all lie below the agreed d-prime of {limit}.",
    _BEYOND: "these limits all lie above the agreed d-prime of {limit}.",
    _OPEN: "the agreed d-prime of {limit} lies between these limits: it is open.",
}


def combine_evidence(
    results: Iterable[ChoiceTest] | pd.DataFrame,
    *,
    dprime_limit: float | None = None,
    level: float = 0.95,
    seed: int = 1,
) -> CombinedEvidence:
    """How far apart are two products, by all sessions in which they were compared?

    Parameters
    ----------
    results : results of `choice_test`, or DataFrame
        Or a table with one session a row: ``protocol correct trials`` and, where there are any,
        ``session date reference attribute``. Sessions are joined only where the reference is
        the same, and for tests that ask for an attribute where that is.
    dprime_limit : float, optional
        Agreed limit as d-prime.
    level : float
        Of all limits, two-sided.
    seed : int
        Of the simulated counts behind the p of heterogeneity.

    Raises
    ------
    ArgumentError
        No session; counts that cannot be; a two-sided comparison; a test that asks for an
        attribute without naming it.

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
    joined = [_joined(own, level, limit, seed) for own in groups.values()]
    joined.sort(key=lambda row: -int(row["trials"]))
    looks = [look for own in groups.values() for look in _looks(own, level)]
    tables = {
        "sessions": pd.DataFrame(_sessions(rows, level)),
        "groups": pd.DataFrame(joined),
        "looks": pd.DataFrame(looks),
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
            "protocol": row.protocol.name,
            "correct": row.correct,
            "trials": row.trials,
            "estimate": fit.estimate,
            "low": fit.low,
            "high": fit.high,
        }


def _joined(
    rows: list[SessionRow], level: float, limit: float | None, seed: int
) -> dict[str, float | str]:
    """One group with all that is known of it."""
    counts = counts_of(rows)
    common = common_dprime(counts, level)
    always = always_dprime(counts, level)
    all_right = bool((counts.correct == counts.trials).all())
    scatters = len(rows) >= FEWEST_FOR_SPREAD and not all_right
    fit, spread = common, (float("nan"),) * 3
    if scatters:
        wide = spread_dprime(counts, level)
        fit, spread = wide.mean, (wide.spread, wide.spread_low, wide.spread_high)
    several_there = len(rows) > 1 and not all_right
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


def _against(low: float, high: float, limit: float | None) -> str:
    if limit is None:
        return ""
    return _WITHIN if high < limit else _BEYOND if low > limit else _OPEN


def _begun(name: str, text: str) -> str:
    """The text behind the name of a group, or with a capital of its own."""
    return f"{name}{text}" if name else f"{text[:1].upper()}{text[1:]}"


def _called(row: Row) -> str:
    """What a group is called: what was asked, and against what."""
    asked = f"difference in {row['attribute']}" if row["attribute"] else "any difference"
    return f"{asked}, against {row['reference']}" if row["reference"] else asked


def _why_apart(row: Row) -> str:
    if row["attribute"]:
        return f"it asked for {row['attribute']}, not for any difference"
    return f"it was compared with {row['reference'] or 'a reference that is not named'}"
