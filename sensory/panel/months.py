"""One assessor, and the panel itself, over the months.

Why so
------
d-prime of one person in one month rests on a handful of answers: it is drawn towards the panel
like the estimate of the whole period, and shown with its limits, or it would jump between 0 and
infinity. A control chart of repeatability takes its limits from the assessor's own past, not from
the panel: whom it shows has changed, not whom it likes less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.results import several
from ..base.shown import Shown
from ..base.spelling import same_person
from ..models.pooling import shrunken_slope
from ..models.steadiness import chi_limits
from ..ratings.frames import records
from ..ratings.intraclass import intraclass_table
from ..ratings.scatter import PanelScatter
from ..sessions.sitting import Sitting
from .history import History
from .sensitivity import Sensitivity, told_slopes

_FEWEST_MEANS, _FEWEST_RATERS = 5, 2
_LATEST = 6
_BASE, _LEAST = 12, 4
_SPREAD = 0.3
"""Spread of assessors that a month allows for at least: an estimate near 0 is no proof of none."""


def own_dprime(choices: Sensitivity, name: str) -> pd.DataFrame:
    """d-prime of one assessor and of the others, by month.

    Returns
    -------
    DataFrame
        ``month sessions answers panel estimate low high``: root mean square d-prime of the
        others over the sessions that count, and the assessor's, shrunken, with its limits.

    Notes
    -----
    Mean and spread of the panel count as known, and the spread as 0.3 at least: where it came out
    near 0 and was taken at its word, 95 % limits held 66 to 69 %. Coverage of 95 % limits, months
    of four sessions of three triangles at d-prime 2, 80 panels each: 94 and 99 % with a true spread
    of 0.2 (8 assessors, 2 months) and 0.1 (12, 6 months), 98 % with 0.3
    (`tests/calibration/test_panel_limits.py`).
    """
    table = choices.sessions
    mine = table[table["judged"] & (table["assessor"].map(same_person) == same_person(name))]
    rows = []
    for month, part in mine.groupby(mine["held_on"].str[:7]):
        told = told_slopes(part)
        spread = max(choices.spread, _SPREAD)
        value, low, high = shrunken_slope(told, choices.mean, spread, choices.level)
        panel = float(np.sqrt(np.mean(part["dprime"] ** 2)))
        answers = int(part["trials"].sum())
        own = (max(end, 0.0) * panel for end in (value, low, high))
        rows.append((month, len(part), answers, panel, *own))
    return pd.DataFrame(
        rows, columns=["month", "sessions", "answers", "panel", "estimate", "low", "high"]
    )


def own_repeatability(past: History, name: str) -> pd.DataFrame:
    """Own scatter of replicates, sitting by sitting, with limits from the assessor's own past.

    Returns
    -------
    DataFrame
        ``session held_on sd df centre high out``: in units of the panel's scatter of each
        attribute; `centre` and `high` (99.73 %) from the first sittings of the period, half of
        them but no more than 12 and no fewer than 4; `out` where `sd` lies above.
    """
    scores = past.scores
    scores = scores[scores["sd_df"] > 0]
    squares = (scores["sd"] ** 2 * scores["sd_df"]).groupby(scores["attribute"]).sum()
    unit = (squares / scores["sd_df"].groupby(scores["attribute"]).sum()) ** 0.5
    mine = scores[scores["assessor"].map(same_person) == same_person(name)]
    scaled = (mine["sd"] / mine["attribute"].map(unit.to_dict()).astype(float)) ** 2 * mine["sd_df"]
    keys = [mine["session"], mine["held_on"]]
    frame = pd.DataFrame(
        {"squares": scaled.groupby(keys).sum(), "df": mine["sd_df"].groupby(keys).sum()}
    ).reset_index()
    frame = frame.sort_values(["held_on", "session"], ignore_index=True)
    base = slice(0, max(min(_BASE, len(frame) // 2), _LEAST))
    df = frame["df"].to_numpy(float)
    if not len(frame):
        return frame.assign(sd=[], centre=[], high=[], out=[]).drop(columns="squares")
    centre = float(np.sqrt(frame["squares"][base].sum() / df[base].sum()))
    sd = np.sqrt(frame["squares"].to_numpy(float) / df)
    high = centre * chi_limits(df)
    return frame.drop(columns="squares").assign(sd=sd, centre=centre, high=high, out=sd > high)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Reproducibility(Shown):
    """Result of `reproducibility`.

    Attributes
    ----------
    months : DataFrame
        ``month attribute kind targets assessors estimate low high level``: intraclass correlation
        of one assessor (level counted) and of the panel's mean, with limits.
    control : DataFrame
        ``attribute sessions mean sd low high``: the panel's mean of the blind control or the
        reference over the sittings, and how it scatters between them.
    """

    _months: pd.DataFrame
    _control: pd.DataFrame

    @property
    def months(self) -> pd.DataFrame:
        """A row a month, attribute and kind."""
        return self._months.copy()

    @property
    def control(self) -> pd.DataFrame:
        """A row an attribute."""
        return self._control.copy()

    def summary(self) -> pd.DataFrame:
        """The months, rounded for reading."""
        return self.months.round(2)

    def __repr__(self) -> str:
        return f"<Reproducibility: {several(self._months['month'].nunique(), 'month')}>"


_KINDS = {"ICC(A,1)": "one assessor", "ICC(C,k)": "mean of the panel"}


def reproducibility(past: History, *, level: float = 0.95) -> Reproducibility:
    """How well does the panel reproduce itself, month by month?

    Intraclass correlations and their limits (95 %) are those of pingouin, of the assessors who
    scored every sample of the month. Samples of two sittings are two samples, whatever their name.
    These limits hold in 94.6 to 95.3 % of simulated panels of 8 x 5 and 12 x 10
    (`tests/calibration/test_rated_limits.py`); those of the scatter of the control are exact for
    normal means.
    """
    cells: dict[tuple[str, str], list[tuple[str, str, float]]] = {}
    controls: dict[str, list[float]] = {}
    for sitting in past.sittings:
        people = [same_person(name) for name in sitting.assessors]
        for scores in sitting.attributes:
            means = np.array(scores.means, float)
            rows = cells.setdefault((sitting.held_on[:7], scores.attribute), [])
            rows += [
                (f"{sitting.session} {column}", who, float(means[place, column]))
                for place, who in enumerate(people)
                for column in range(means.shape[1])
                if np.isfinite(means[place, column])
            ]
            if sitting.control:
                own = means[:, sitting.samples.index(sitting.control)]
                if np.isfinite(own).any():
                    controls.setdefault(scores.attribute, []).append(float(np.nanmean(own)))
    months = [row for key, rows in cells.items() for row in _correlations(*key, rows, level)]
    columns = [
        "month",
        "attribute",
        "kind",
        "targets",
        "assessors",
        "estimate",
        "low",
        "high",
        "level",
    ]
    return Reproducibility(
        _months=pd.DataFrame(months, columns=columns),
        _control=pd.DataFrame(
            [_control(name, means, level) for name, means in controls.items() if len(means) > 1],
            columns=["attribute", "sessions", "mean", "sd", "low", "high"],
        ),
    )


def _correlations(
    month: str, attribute: str, rows: list[tuple[str, str, float]], level: float
) -> list[tuple[object, ...]]:
    frame = pd.DataFrame(rows, columns=["sample", "assessor", "score"])
    wide = frame.pivot(index="sample", columns="assessor", values="score").dropna(axis=1)
    if wide.size < _FEWEST_MEANS or wide.shape[1] < _FEWEST_RATERS or wide.shape[0] < 3:
        return []
    table = intraclass_table(wide.to_numpy(dtype=float))
    return [
        (month, attribute, kind, *wide.shape, row["estimate"], row["low"], row["high"], level)
        for row in records(table)
        if (kind := _KINDS.get(row["kind"]))
    ]


def _control(name: str, means: list[float], level: float) -> tuple[object, ...]:
    many, sd = len(means), float(np.std(means, ddof=1))
    low, high = chi_limits(np.array([many - 1.0]), level)[0]
    return name, many, float(np.mean(means)), sd, sd / high, sd / low


def smallest_now(past: History, *, latest: int = _LATEST) -> pd.DataFrame:
    """The smallest difference from the reference that this panel can see now, by attribute.

    Returns
    -------
    DataFrame
        ``attribute sessions assessors estimate interaction error``: root mean square over the
        latest sittings, with the standard deviations of assessor x sample and of error from
        which a plan starts; the first where there were no replicates is both together.
    """
    panel = past.panel.dropna(subset=["smallest"])
    known = {each.session: each for each in past.sittings}
    rows = []
    for attribute, part in panel.groupby("attribute", sort=False):
        part = part.sort_values(["held_on", "session"]).tail(latest)
        both, error = _scatter([known[key] for key in part["session"]], str(attribute))
        smallest = float(np.sqrt(np.mean(part["smallest"] ** 2)))
        people = int(part["assessors"].median())
        rows.append((str(attribute), len(part), people, smallest, both, error))
    columns = ["attribute", "sessions", "assessors", "estimate", "interaction", "error"]
    return pd.DataFrame(rows, columns=columns)


def scatter_now(past: History) -> PanelScatter:
    """The scatter from which a plan starts, of attributes scored in complete sittings."""
    now = smallest_now(past).dropna(subset=["interaction"]).to_dict("records")
    seen = ", ".join(f"{row['attribute']} {row['estimate']:.2g}" for row in now)
    return PanelScatter(
        scatter={
            str(row["attribute"]): (float(row["interaction"]), float(row["error"])) for row in now
        },
        notes=(f"Smallest difference that this panel sees now, with 80 % power: {seen}.",),
    )


def _scatter(sittings: Sequence[Sitting], attribute: str) -> tuple[float, float]:
    """Standard deviations of assessor x sample and of error, over complete sittings together."""
    squares = free = within = within_df = repeats = 0.0
    for sitting in sittings:
        for scores in sitting.attributes:
            means = np.array(scores.means, float)
            means = means[np.isfinite(means).all(1)]
            if scores.attribute != attribute or min(means.shape) < 2:
                continue
            left = means - means.mean(0) - means.mean(1, keepdims=True) + means.mean()
            df = float((means.shape[0] - 1) * (means.shape[1] - 1))
            squares, free = squares + float((left**2).sum()), free + df
            sd_df = np.array(scores.sd_df)
            own = np.array(scores.sd, float)
            within += float(np.nansum(own**2 * sd_df))
            within_df += float(sd_df.sum())
            repeats += df * (1 + float(sd_df.mean()) / means.shape[1])
    if not free:
        return np.nan, np.nan
    error = within / within_df if within_df else 0.0
    between = squares / free - error / (repeats / free)
    return float(np.sqrt(max(between, 0.0))), float(np.sqrt(error))
