"""Who needs attention, and why: one sentence each, with the chance of a false name under control.

[1] Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.

Why so
------
A leader who is sent to talk to somebody without cause loses the panel's trust, so `alpha` is the
risk that in a whole year, looked at `looks` times, anybody at all is named without cause. Each
reason gets an equal share of it, and Holm divides a share among assessors and attributes [1].
Months in which nobody is named cost little beside it. An assessor is named for being below a
limit that the plant agreed, not for being the last of the panel: somebody always is. Attendance
is no test; it is told as it is.

How often anybody was named in a year of monthly looks where nobody had given cause: in 13 of
1,000 simulated years of a sound panel of ten, 1.3 % (95 % limits 0.7 to 2.2 %), where the rule
allows 5 %. How soon somebody was named who had, in 100 years each; in the last column in how many
of them any of the nine sound assessors was named. A month holds four triangle sessions
of two tests each and two profiles of five attributes and two replicates, scatter 0.7 on a scale of
0 to 10
(`python -m tests.calibration.test_panel_attention 1000 0` and `100 1,2,3,4,5,6`; 1,000 as a
calibration). Rows begin with the same seeds, so the last column has mostly the same years.

| the tenth assessor | named by month 3 | 6 | 9 | 12 | median month | a sound one named |
|---|---|---|---|---|---|---|
| drifts by 0.1 a month in an attribute | 0 % | 0 % | 0 % | 12 % | later | 1 |
| drifts by 0.2 a month in an attribute | 0 % | 1 % | 29 % | 96 % | 10 | 1 |
| is reversed on an attribute | 99 % | 100 % | 100 % | 100 % | 2 | 1 |
| tires in month 7, scatter x 1.5 | 0 % | 0 % | 94 % | 97 % | 9 | 1 |
| tires in month 7, scatter x 2 | 0 % | 0 % | 100 % | 100 % | 7 | 1 |
| guesses throughout | 76 % | 100 % | 100 % | 100 % | 3 | 1 |
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats, Row
from ..base.checks import one_count, probability
from ..base.results import p_digits, several
from ..base.shown import Shown
from ..models.multiplicity import holm
from .history import History
from .sensitivity import Sensitivity, sensitivity
from .steadiness import Steadiness, steadiness

LESS, APART, TIRED = "less sensitive", "hardly follows the panel", "tired"
REVERSED, FOLLOWS, REPEATS, DRIFTS = "reversed", "hardly follows", "poor repeatability", "drifts"
REASONS = (LESS, APART, TIRED, REVERSED, FOLLOWS, REPEATS, DRIFTS)
"""The first three of an assessor as a whole, the others in an attribute."""

SOUND_YEARS, NAMED_WITHOUT_CAUSE = 1000, 13
"""Simulated years of a sound panel of ten, and in how many of them anybody was named."""
_COLUMNS = ("assessor", "attribute", "reason", "p", "p_adjusted", "says")
_WHOLE = {APART: "p_follows", TIRED: "p_tired"}
_P = {REVERSED: "p_reversed", FOLLOWS: "p_follows", REPEATS: "p_repeats", DRIFTS: "p_drift"}


@dataclass(frozen=True, slots=True, kw_only=True)
class AttentionLimits:
    """Limits behind the reasons: conventions of the plant, no source.

    `least_sensitivity`: share of the others' d-prime.
    `least_slope`: on the others' means.
    `most_ratio`: own scatter of replicates to the others'.
    """

    least_sensitivity: float = 0.75
    least_slope: float = 0.5
    most_ratio: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Attention(Shown):
    """Result of `attention`.

    Attributes
    ----------
    alpha, looks : float, int
        As given.
    past : History
    choices : Sensitivity or None
        None without a forced choice.
    scored : Steadiness
    """

    alpha: float
    looks: int
    past: History
    choices: Sensitivity | None
    scored: Steadiness
    _reasons: pd.DataFrame

    @property
    def reasons(self) -> pd.DataFrame:
        """``assessor attribute reason p p_adjusted says``, the clearest first."""
        return self._reasons.copy()

    def says(self) -> tuple[str, ...]:
        """A sentence for each reason."""
        return tuple(self._reasons["says"])

    def of(self, name: str) -> tuple[str, ...]:
        """The sentences on one assessor."""
        return tuple(self._reasons[self._reasons["assessor"] == name]["says"])

    def summary(self) -> pd.DataFrame:
        """Who needs attention, and why."""
        return self._reasons[["assessor", "attribute", "reason", "says"]].copy()

    def __repr__(self) -> str:
        named = self._reasons["assessor"].nunique()
        return f"<Attention: {named} of {several(len(self.past.names), 'assessor')}>"


def attention(
    past: History,
    *,
    limits: AttentionLimits | None = None,
    alpha: float = 0.05,
    looks: int = 12,
    level: float = 0.95,
) -> Attention:
    """Who needs attention, and why?

    Parameters
    ----------
    past : History
        See `history`; a year of it says most.
    limits : AttentionLimits, optional
    alpha : float
        Risk that in `looks` looks anybody is named without cause.
    looks : int
        How often a year the panel is looked at.
    level : float
        Of the limits of the shrunken estimates.

    Raises
    ------
    ArgumentError
        For impossible numbers.

    Notes
    -----
    Limits are those of `sensitivity` and `steadiness`, where their coverage stands: 95 % limits
    of sensitivity held in 87 to 92 % (`tests/calibration/test_panel_limits.py`). Nobody is named by
    them: that goes by the p.

    Examples
    --------
    >>> from sensory.panel.history import history
    >>> attention(history([]))
    <Attention: 0 of 0 assessors>
    """
    agreed = limits or AttentionLimits()
    alpha, looks = probability("alpha", alpha), one_count("looks", looks, at_least=1)
    answers = past.answers
    choices = None
    if len(answers):
        choices = sensitivity(answers, least=agreed.least_sensitivity, level=level)
    scored = steadiness(
        past, least_slope=agreed.least_slope, most_ratio=agreed.most_ratio, level=level
    )
    share = alpha / looks / len(REASONS)
    rows = _choice_reasons(choices, share) if choices else []
    rows += _score_reasons(scored, share)
    rows = sorted(_once(rows), key=lambda row: (row[3], row[0], row[1]))
    return Attention(
        alpha=alpha,
        looks=looks,
        past=past,
        choices=choices,
        scored=scored,
        _reasons=pd.DataFrame(rows, columns=list(_COLUMNS)),
    )


Reason = tuple[str, str, str, float, float, str]


def _adjusted(p: Floats) -> Floats:
    adjusted = np.full(len(p), np.nan)
    tested = np.isfinite(p)
    if tested.any():
        adjusted[tested] = np.minimum(holm(p[tested]), 1.0)
    return adjusted


def _choice_reasons(choices: Sensitivity, share: float) -> list[Reason]:
    table = choices.assessors
    adjusted = _adjusted(table["p"].to_numpy(float))
    return [
        (str(row["assessor"]), "", LESS, row["p"], p, _less(row))
        for row, p in zip(table.to_dict("records"), adjusted, strict=True)
        if p <= share
    ]


def _score_reasons(scored: Steadiness, share: float) -> list[Reason]:
    rows: list[Reason] = []
    for table, reasons in ((scored.together, _WHOLE), (scored.assessors, _P)):
        for reason, column in reasons.items():
            adjusted = _adjusted(table[column].to_numpy(float))
            for place in np.flatnonzero(adjusted <= share):
                row = table.iloc[place].to_dict() | {"since": scored.lately_since}
                who, attribute = str(row["assessor"]), str(row.get("attribute", ""))
                p = float(adjusted[place])
                rows.append((who, attribute, reason, row[column], p, _WORDS[reason](row)))
    return rows


def _once(rows: list[Reason]) -> list[Reason]:
    """Who is reversed, or hardly follows the panel at all, is not told so of each attribute."""
    told = {(row[0], row[1], row[2]) for row in rows}
    return [
        row
        for row in rows
        if row[2] != FOLLOWS or not told & {(row[0], row[1], REVERSED), (row[0], "", APART)}
    ]


def _less(row: Row) -> str:
    return (
        f"{row['assessor']} is less sensitive than the panel: {row['correct']} of "
        f"{row['answers']} correct, where {row['expected']:.0f} are expected; "
        f"{row['estimate']:.1f} times the panel's d' ({row['low']:.1f} to {row['high']:.1f})."
    )


def _reversed(row: Row) -> str:
    return (
        f"{row['assessor']} scores {row['attribute']} the other way round: "
        f"{row['slope']:+.1f} for each point of the panel, in {_sessions(row)}."
    )


def _follows(row: Row) -> str:
    return (
        f"{row['assessor']} hardly follows the panel in {row['attribute']}: {row['slope']:.1f} "
        f"points for each of the panel's, in {_sessions(row)}."
    )


def _repeats(row: Row) -> str:
    return (
        f"{row['assessor']}: poor repeatability on {row['attribute']}. Own replicates scatter by "
        f"{row['sd']:.1f}, those of the others by {row['others_sd']:.1f}."
    )


def _apart(row: Row) -> str:
    return (
        f"{row['assessor']} hardly follows the panel in any attribute: {row['slope']:.1f} points "
        "for each of the panel's."
    )


def _tired(row: Row) -> str:
    more = float(row["sd_lately"]) / float(row["sd_before"])
    return (
        f"{row['assessor']} repeats worse than before: own replicates scatter {more:.1f} times "
        f"as much since {row['since']}."
    )


def _drifts(row: Row) -> str:
    way = "upwards" if float(row["drift"]) > 0 else "downwards"
    return (
        f"{row['assessor']} drifts {way} in {row['attribute']}: "
        f"{abs(float(row['drift'])):.2g} a month against the others "
        f"(p {p_digits(float(row['p_drift']))})."
    )


def _sessions(row: Row) -> str:
    return several(int(float(row["sessions"])), "session")


_WORDS: dict[str, Callable[[Row], str]] = {
    APART: _apart,
    REVERSED: _reversed,
    FOLLOWS: _follows,
    REPEATS: _repeats,
    TIRED: _tired,
    DRIFTS: _drifts,
}
