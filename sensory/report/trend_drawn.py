"""A trend in the form in which it is drawn, whatever its test, and what it shows in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from ..base.arrays import Name, Row
from ..base.errors import ArgumentError
from ..base.results import several
from ..models.binomial import clopper_pearson
from ..release.batch_trend import DIFFERENCE, ProductTrend, line_title
from ..release.choice_trend import ChoiceTrend
from ..release.trend import Trend
from ..release.trend_words import batch_count, by_itself, common_change
from .words import clipped, listed, number, percent

DAY = 86_400_000
"""Milliseconds."""
_NAME = 24
"""Letters of the number of a batch in a sentence."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """A trend as it is drawn, whatever its test; what is drawn of each line is made once.

    `points` hold ``line batch at value low high lower upper centre ewma signals``, `at` in
    milliseconds; `limits` are the agreed ones with `agreed` in words; `origin` is where a batch
    like the reference lies.
    """

    points: pd.DataFrame
    change: pd.DataFrame
    limits: tuple[float, ...]
    agreed: str
    origin: float
    origin_words: str
    title: str
    share: bool
    level: float

    @property
    def numbered(self) -> bool:
        """Whether the batches have a number in their order instead of a date."""
        return pd.api.types.is_integer_dtype(self.points["date"])

    @cached_property
    def rows(self) -> Mapping[Name, Sequence[Row]]:
        """The points of each line, a row each."""
        return _by_line(self.points)

    @cached_property
    def steps(self) -> Mapping[Name, Sequence[Row]]:
        """The rows of `change` of each line."""
        return _by_line(self.change)

    @cached_property
    def days(self) -> tuple[float, float]:
        """First and last moment, with air at both ends."""
        first, last = float(self.points["at"].min()), float(self.points["at"].max())
        air = max(0.02 * (last - first), DAY)
        return first - air, last + air

    @cached_property
    def heights(self) -> tuple[float, float]:
        """Lowest and highest mark, with air for the numbers beside the points."""
        marks = self.points[["low", "high", "lower", "upper", "ewma"]].to_numpy(float)
        marks = np.concatenate([marks[np.isfinite(marks)], self.limits, [self.origin]])
        low, high = float(marks.min()), float(marks.max())
        air = 0.08 * (high - low or 1.0)
        if self.share:
            return max(low - air, 0.0), min(high + air, 1.0)
        return low - air, high + air


def _by_line(frame: pd.DataFrame) -> dict[Name, list[Row]]:
    """Rows as dictionaries, from whole columns: `to_dict` looks each cell up by itself."""
    names, lines = list(frame), dict[Name, list[Row]]()
    for cells in zip(*(frame[name].tolist() for name in names), strict=True):
        row = dict(zip(names, cells, strict=True))
        lines.setdefault(row["line"], []).append(row)
    return lines


def drawn_trend(trend: ProductTrend) -> Drawn:
    """The trend as it is drawn.

    Raises ArgumentError where it has no result.
    """
    if trend.shown is None:
        raise ArgumentError(f"trend must have a result; it has none: {' '.join(trend.remarks)}")
    return _drawn(trend.shown, trend.attribute)


@lru_cache(maxsize=16)
def _drawn(result: Trend | ChoiceTrend, attribute: str) -> Drawn:
    """Figure and sentences of a trend, and each rerun of its page, share it."""
    if isinstance(result, ChoiceTrend):
        return _of_choices(result)
    return _of_scores(result, attribute)


def _of_scores(result: Trend, attribute: str) -> Drawn:
    limit = () if result.limit is None else (result.limit,)
    limits = limit if attribute == DIFFERENCE else (*(-size for size in limit), *limit)
    return Drawn(
        points=_dated(result.points.assign(value=lambda rows: rows["estimate"])),
        change=result.change,
        limits=limits,
        agreed=f"agreed limit {number(result.limit)}",
        origin=0.0,
        origin_words="like the reference",
        title="beyond the reference" if attribute == DIFFERENCE else f"{attribute}, batch - ref.",
        share=False,
        level=result.level,
    )


def _of_choices(result: ChoiceTrend) -> Drawn:
    points, protocol = result.points, result.protocol
    trials, lower, upper = points["trials"], points["lower"], points["upper"]
    low, high = clopper_pearson(points["correct"], trials, result.level)
    points = points.assign(
        value=points["pc"],
        low=low,
        high=high,
        lower=((lower - 0.5) / trials).where(lower > 0),
        upper=((upper + 0.5) / trials).where(upper < trials),
        ewma=np.nan,
    )
    guess, limit = float(protocol.guess), result.pd_limit
    at = () if limit is None else (float(protocol.pc_at(limit)),)
    return Drawn(
        points=_dated(points),
        change=result.change,
        limits=at,
        agreed=f"agreed limit: {percent(limit or 0.0)} notice",
        origin=guess,
        origin_words=f"guessing {percent(guess)}",
        title="correct answers",
        share=True,
        level=result.level,
    )


def _dated(points: pd.DataFrame) -> pd.DataFrame:
    if pd.api.types.is_integer_dtype(points["date"]):  # in their order, a day each
        return points.assign(at=points["date"] * float(DAY))
    moments = pd.to_datetime(points["date"], utc=True)
    origin = pd.Timestamp(0, tz="UTC")
    return points.assign(at=(moments - origin) / pd.Timedelta(milliseconds=1))


def lines_shown(drawn: Drawn, most: int | None) -> list[Name]:
    """The lines in their order; of too many those in which a change or a signal shows."""
    points = drawn.points
    every = list(dict.fromkeys(points["line"]))
    if most is None or len(every) <= most:
        return every
    clear = set(drawn.change.loc[drawn.change["clear"].astype(bool), "line"])
    signals = points[points["signals"] != ""]["line"].value_counts()
    shown = sorted(every, key=lambda line: (line not in clear, -int(signals.get(line, 0))))[:most]
    return [line for line in every if line in shown]


def trend_sentences(trend: ProductTrend, *, most: int | None = None) -> tuple[str, ...]:
    """What the chart shows, in words that need no statistics; `most` as in `trend_figure`."""
    if trend.shown is None:
        return ("There is no chart yet: too few batches with a finding.", *trend.remarks)
    result, drawn = trend.shown, drawn_trend(trend)
    changes = {row["line"]: row for row in result.change.to_dict("records")}
    rows = {row["line"]: row for row in result.lines.to_dict("records")}
    shown = lines_shown(drawn, most)
    sentences = []
    for line in (line for line in rows if line in shown):
        title = "" if len(rows) == 1 else f"{clipped(line_title(line), 40)}: "
        points = drawn.points[drawn.points["line"] == line]
        sentences.append(
            f"{title}{_where(result, rows[line])} {_outside(points)} "
            f"{_moved(drawn, changes.get(line))} {_against(points, drawn)}"
        )
    sentences += common_change(result.change, result.points)
    if left := len(rows) - len(shown):
        sentences.append(f"Not shown here, with less to see: {several(left, 'line')}.")
    return (*sentences, *trend.explained, *trend.remarks)


def step_words(drawn: Drawn, moved: Row) -> str:
    """From where to where the level steps, and with which batch."""
    values = (moved["before"], moved["after"])
    before, after = (percent(value) if drawn.share else f"{value:.2f}" for value in values)
    return f"level moves from {before} to {after} with batch {clipped(str(moved['batch']), _NAME)}"


def _where(result: Trend | ChoiceTrend, row: Row) -> str:
    if isinstance(result, ChoiceTrend):
        return (
            f"{batch_count(row['batches'])}; {percent(row['pc'])} of the answers were correct, "
            f"guessing alone gives {percent(float(result.protocol.guess))}."
        )
    side = "above" if row["estimate"] >= 0 else "below"
    return (
        f"{batch_count(row['batches'])}; on average they lie {abs(row['estimate']):.2f} points "
        f"{side} the reference."
    )


def _outside(points: pd.DataFrame) -> str:
    """Which batches signal by themselves, and where only the weighted mean does."""
    odd = points["signals"].map(by_itself).astype(bool)
    names = [clipped(str(batch), _NAME) for batch in points.loc[odd, "batch"]]
    sentence = "None stands out from what is usual."
    if names:
        verb = "stands" if len(names) == 1 else "stand"
        sentence = f"{len(names)} {verb} out from what is usual: {listed(names)}."
    apart = points.loc[(points["signals"] != "") & ~odd, "batch"]
    if apart.empty:
        return sentence
    last = clipped(str(apart.iloc[-1]), _NAME)
    return (
        f"{sentence} The mean of the latest batches was unusual at {len(apart)} more, last at "
        f"{last}."
    )


def _moved(drawn: Drawn, row: Row | None) -> str:
    if row is None:
        return "Too few batches to look for a change."
    if not row["clear"]:
        return "No clear change."
    between = " and ".join(clipped(str(row[name]), _NAME) for name in ("first", "last"))
    where = "" if row["first"] == row["last"] else f" (it lies between {between})"
    return f"The {step_words(drawn, row)}{where}."


def _against(points: pd.DataFrame, drawn: Drawn) -> str:
    if not drawn.limits:
        return "No limit was agreed."
    counts = points["against_limit"].value_counts()
    within, beyond, untold = (
        int(counts.get(word, 0)) for word in ("within", "beyond", "cannot tell")
    )
    return (
        f"Shown to lie within the agreed limit: {within} of {len(points)}; beyond it: {beyond}; "
        f"cannot be told by one tasting: {untold}."
    )
