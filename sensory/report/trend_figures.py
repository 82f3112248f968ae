"""Charts of the release of batches: batches over time, and what the rule does to them.

Each line of production has a panel of its own, all with the same axes. What stands out has
another shape and its number beside it, so that the chart reads without its colours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import several
from ..decisions.batch_trend import DIFFERENCE, NO_LINE, ProductTrend, line_title
from ..decisions.choice_trend import ChoiceTrend
from ..decisions.release import ReleaseRule
from ..decisions.trend import Trend
from ..decisions.trend_words import batch_count, common_change
from ..models.binomial import clopper_pearson
from .figure_parts import BLUE, FONT, GREY, ORANGE, PALETTE, axis, values
from .words import clipped, listed, number, percent

BATCH, STANDS_OUT = "batch, with its own 95 % limits", "stands out"
_GREEN, _SKY = PALETTE[2], PALETTE[4]
_MEAN, _LEVEL, _RANGE = "weighted mean of the latest", "usual level", "usual range"
_DAY = 86_400_000
_TICKS = 7
_LABEL, _NAMED = 12, 6
"""Letters of a number beside a batch, and how many batches of a panel have it; the rest is in
the table."""
_DENSE = 60
"""Batches of a line from which their own limits are drawn fainter and the points smaller."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Drawn:
    """A trend as it is drawn, whatever its test.

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
    def days(self) -> tuple[float, float]:
        """First and last moment, with air at both ends."""
        first, last = float(self.points["at"].min()), float(self.points["at"].max())
        air = max(0.02 * (last - first), _DAY)
        return first - air, last + air

    @property
    def heights(self) -> tuple[float, float]:
        """Lowest and highest mark, with air for the numbers beside the points."""
        if self.share:
            return 0.0, 1.0
        marks = self.points[["low", "high", "lower", "upper", "ewma"]].to_numpy(float)
        marks = np.concatenate([marks[np.isfinite(marks)], self.limits, [self.origin]])
        low, high = float(marks.min()), float(marks.max())
        air = 0.08 * (high - low or 1.0)
        return low - air, high + air


def trend_figure(
    trend: ProductTrend,
    width: int = 640,
    *,
    height: int | None = None,
    most: int | None = None,
) -> alt.VConcatChart | None:
    """Batches over time against what is usual and what was agreed, one panel a line.

    Parameters
    ----------
    trend : ProductTrend
    width : int
        Pixels of a panel.
    height : int, optional
        Pixels of a panel; fewer where there are many lines, if not given.
    most : int, optional
        Panels at the most; lines in which something shows come before the others.

    Returns
    -------
    VConcatChart or None
        None where there are too few batches for a chart.

    Notes
    -----
    Scores: batch less reference with its own limits, the chart's limits, and the weighted mean
    of the latest batches. Choices: proportion correct with exact limits; the usual range ends
    half an answer beyond the last usual count, so that what lies outside is unusual.
    """
    if trend.result is None:
        return None
    drawn = _drawn(trend)
    lines = _lines(drawn, most)
    tall = height or max(110, 210 - 30 * len(lines))
    panels = [
        _panel(drawn, line, first=line == lines[0], last=line == lines[-1]).properties(
            width=width, height=tall
        )
        for line in lines
    ]
    chart: Any = alt.vconcat(*panels, spacing=12).resolve_scale(
        color="independent", shape="independent", strokeDash="independent"
    )
    return chart.configure(font=FONT).configure_view(stroke=GREY, strokeOpacity=0.3)


def trend_sentences(trend: ProductTrend, *, most: int | None = None) -> tuple[str, ...]:
    """What the chart shows, in words that need no statistics; `most` as in `trend_figure`."""
    if trend.result is None:
        return ("There is no chart yet: too few batches with a finding.", *trend.remarks)
    result, drawn = trend.result, _drawn(trend)
    changes = {row["line"]: row for row in result.change.to_dict("records")}
    rows = result.lines.to_dict("records")
    shown = _lines(drawn, most)
    said = []
    for row in rows:
        line = row["line"]
        if line not in shown:
            continue
        title = "" if len(rows) == 1 else f"{clipped(line_title(line), 40)}: "
        points = drawn.points[drawn.points["line"] == line]
        parts = (
            _where(result, row),
            _outside(points),
            _moved(drawn, changes.get(line)),
            _against(points, drawn),
        )
        said.append(title + " ".join(part for part in parts if part))
    said += list(common_change(result.change, result.points))
    if len(rows) > len(shown):
        said.append(f"Not shown here, with less to see: {several(len(rows) - len(shown), 'line')}.")
    return (*said, *trend.remarks)


def trend_words(trend: ProductTrend) -> str:
    """The chart in words, for people who do not see it."""
    if trend.result is None:
        return " ".join(trend_sentences(trend))
    points = _drawn(trend).points
    days = [_day(at) for at in (points["at"].min(), points["at"].max())]
    return (
        f"Chart of {batch_count(len(points))} made from {days[0]} to {days[1]}. "
        f"{' '.join(trend_sentences(trend))}"
    )


def characteristic_figure(
    rule: ReleaseRule, width: int | str = "container", height: int = 240
) -> alt.LayerChart | None:
    """Chance that a batch passes, is held or rejected, against its true difference.

    None where no formula knows it: for a profile, and for difference from control without
    the scatter of the assessors.
    """
    limit = rule.limit or 0.0
    far = min(1.0, max(0.5, 2.5 * limit)) if rule.protocol else 2 * limit
    try:
        found = rule.characteristic(np.linspace(0.0, far, 81))
    except ArgumentError:
        return None
    what = {
        "release recommended": (found.passes, _GREEN, [1, 0]),
        "held": (found.holds, GREY, [2, 3]),
        "rejected or reworked": (found.rejects, ORANGE, [8, 4]),
    }
    names = [name for name, (chances, _, _) in what.items() if chances.max() > 0]
    rows = [
        {"truth": float(truth), "chance": float(chance), "what": name}
        for name in names
        for truth, chance in zip(found.truths, what[name][0], strict=True)
    ]
    ways = _scales("what", {name: (what[name][1], what[name][2]) for name in names}, "top")
    share = rule.protocol is not None
    x = alt.X(
        "truth:Q",
        title="share of people who truly notice"
        if share
        else "true difference beyond the blind control, points",
        scale=alt.Scale(domain=[0, far], nice=False),
        axis=axis(format="%" if share else "~g", grid=False, tickCount=6),
    )
    y = alt.Y(
        "chance:Q",
        title="chance",
        scale=alt.Scale(domain=[0, 1]),
        axis=axis(format="%", tickCount=5, grid=False),
    )
    curves = alt.Chart(values(rows)).mark_line(strokeWidth=3).encode(x=x, y=y, **ways)
    chart: Any = alt.layer(curves, *_agreed_mark(rule, height)).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def _agreed_mark(rule: ReleaseRule, height: int) -> tuple[Any, Any]:
    limit = float(rule.limit or 0.0)
    text = percent(limit) if rule.protocol else f"{limit:g} points"
    data = values([{"truth": limit, "text": f"agreed limit {text}"}])
    mark = alt.Chart(data).mark_rule(color=GREY, strokeDash=[8, 4], size=2).encode(x="truth:Q")
    right = rule.protocol is not None and limit > 0.5
    words = alt.Chart(data).mark_text(
        align="right" if right else "left", dx=-6 if right else 6, color=GREY, fontSize=12
    )
    return mark, words.encode(x="truth:Q", y=alt.value(height / 2), text="text:N")


def _drawn(trend: ProductTrend) -> _Drawn:
    if isinstance(trend.result, ChoiceTrend):
        return _of_choices(trend.result)
    if isinstance(trend.result, Trend):
        return _of_scores(trend.result, trend.attribute)
    raise ArgumentError(f"trend must have a result; it has none: {' '.join(trend.remarks)}")


def _of_scores(result: Trend, attribute: str) -> _Drawn:
    points = result.points.assign(value=lambda rows: rows["estimate"])
    limits: tuple[float, ...] = ()
    if result.limit is not None:
        both = attribute != DIFFERENCE
        limits = (-result.limit, result.limit) if both else (result.limit,)
    return _Drawn(
        points=_dated(points),
        change=result.change,
        limits=limits,
        agreed=f"agreed limit {number(result.limit)}",
        origin=0.0,
        origin_words="like the reference",
        title="beyond the reference" if attribute == DIFFERENCE else f"{attribute}, batch - ref.",
        share=False,
        level=result.level,
    )


def _of_choices(result: ChoiceTrend) -> _Drawn:
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
    return _Drawn(
        points=_dated(points),
        change=result.change,
        limits=at,
        agreed=f"agreed limit {percent(limit or 0.0)} notice",
        origin=guess,
        origin_words=f"guessing {percent(guess)}",
        title="correct answers",
        share=True,
        level=result.level,
    )


def _dated(points: pd.DataFrame) -> pd.DataFrame:
    moments = pd.to_datetime(points["date"], utc=True)
    origin = pd.Timestamp(0, tz="UTC")
    return points.assign(at=(moments - origin) / pd.Timedelta(milliseconds=1))


def _lines(drawn: _Drawn, most: int | None) -> list[Any]:
    """The lines in their order; of too many those in which a change or a signal shows."""
    points = drawn.points
    every = list(dict.fromkeys(points["line"]))
    if most is None or len(every) <= most:
        return every
    clear = set(drawn.change.loc[drawn.change["clear"].astype(bool), "line"])
    signals = points[points["signals"] != ""]["line"].value_counts()
    shown = sorted(every, key=lambda line: (line not in clear, -int(signals.get(line, 0))))[:most]
    return [line for line in every if line in shown]


def _panel(drawn: _Drawn, line: Any, *, first: bool, last: bool) -> Any:
    """One line of production."""
    points = drawn.points[drawn.points["line"] == line]
    change = drawn.change[drawn.change["line"] == line].to_dict("records")
    moved = next((row for row in change if row["clear"]), None)
    x = _days_axis(drawn, labels=last)
    low, high = drawn.heights
    y = alt.Y(
        "y:Q",
        title=drawn.title,
        scale=alt.Scale(domain=[low, high], nice=False),
        axis=axis(grid=False, tickCount=5, format="%" if drawn.share else "~g", titleLimit=150),
    )
    rules = _rules(drawn, points, x, y, last)
    batches = _batches(points, x, y, first)
    alone = line == NO_LINE and drawn.points["line"].nunique() == 1
    title = "All batches" if alone else line_title(line)
    title = title if moved is None else f"{title}: {_step(drawn, moved)}"
    layers = [*([] if moved is None else _band(points, moved, x)), rules, batches]
    return (
        alt.layer(*layers)
        .resolve_scale(color="independent", strokeDash="independent", shape="independent")
        .properties(
            title=alt.TitleParams(
                text=title, anchor="start", color=GREY, fontSize=12, fontWeight="bold", limit=600
            )
        )
    )


def _days_axis(drawn: _Drawn, *, labels: bool) -> alt.X:
    first, last = drawn.days
    ticks, written = _ticks(first, last)
    return alt.X(
        "at:T",
        title=None,
        scale=alt.Scale(type="utc", domain=[first, last], nice=False),
        axis=axis(values=ticks, format=written, grid=False, labels=labels, labelOverlap=True),
    )


def _ticks(first: float, last: float) -> tuple[list[float], str]:
    """Days to be named: firsts of months over a longer time, else days."""
    span = (last - first) / _DAY
    if span <= 75:
        step = max(1, round(span / _TICKS))
        start = int(first // _DAY) + 1
        return [day * _DAY for day in range(start, int(last // _DAY) + 1, step)], "%-d %b"
    step = max(1, round(span / 30.4 / _TICKS))
    at, ticks = datetime.fromtimestamp(first / 1000, UTC), []
    month = at.year * 12 + at.month  # the first of the following one
    while (tick := datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC).timestamp() * 1000) <= last:
        ticks.append(tick)
        month += step
    return ticks, "%b %Y"


def _rules(drawn: _Drawn, points: pd.DataFrame, x: alt.X, y: alt.Y, legend: bool) -> Any:
    """Usual level and range, weighted mean, the reference itself, the agreed limit."""
    first, last = drawn.days
    looks: dict[str, tuple[str, list[int]]] = {
        drawn.agreed: (ORANGE, [8, 4]),
        _RANGE: (GREY, [2, 3]),
        _LEVEL: (GREY, [1, 0]),
        _MEAN: (_GREEN, [1, 0]),
        drawn.origin_words: (_SKY, [5, 2]),
    }
    straight = [("origin", drawn.origin_words, drawn.origin)]
    straight += [(f"agreed {at}", drawn.agreed, at) for at in drawn.limits]
    rows = [
        {"at": at, "y": height, "what": what, "part": part}
        for part, what, height in straight
        for at in (first, last)
    ]
    columns = (("lower", _RANGE), ("upper", _RANGE), ("centre", _LEVEL), ("ewma", _MEAN))
    steps = [
        {"at": row["at"], "y": row[column], "what": what, "part": column}
        for column, what in columns
        for row in points.to_dict("records")
        if np.isfinite(row[column])
    ]
    there = {row["what"] for row in (*rows, *steps)}
    ways = _scales("what", {name: one for name, one in looks.items() if name in there}, legend)
    kinds = ("linear", [row for row in (*rows, *steps) if row["what"] != _RANGE])
    ranges = ("step", [row for row in steps if row["what"] == _RANGE])
    return alt.layer(
        *(
            alt.Chart(values(data))
            .mark_line(interpolate=interpolate, strokeWidth=1.6, clip=True)
            .encode(x=x, y=y, detail="part:N", **ways)
            for interpolate, data in (kinds, ranges)
            if data
        )
    )


def _scales(
    name: str, looks: Mapping[str, tuple[str, list[int]]], legend: bool | str
) -> dict[str, Any]:
    """Colour and dash of named lines, with one legend for both."""
    names = list(looks)
    orient: Any = legend if isinstance(legend, str) else "bottom"
    shown = _legend(orient) if legend else None
    colour = alt.Scale(domain=names, range=[one[0] for one in looks.values()])
    dash = alt.Scale(domain=names, range=[one[1] for one in looks.values()])
    return {
        "color": alt.Color(f"{name}:N", sort=names, title=None, scale=colour, legend=shown),
        "strokeDash": alt.StrokeDash(f"{name}:N", sort=names, title=None, scale=dash, legend=shown),
    }


def _legend(orient: Any) -> alt.Legend:
    return alt.Legend(
        title=None,
        orient=orient,
        direction="horizontal",
        labelColor=GREY,
        labelFontSize=12,
        labelLimit=260,
        symbolSize=120,
    )


def _batches(points: pd.DataFrame, x: alt.X, y: alt.Y, legend: bool) -> Any:
    """A point a batch with its own limits; what stands out has another shape and its number."""
    named = set(_spread(points))
    rows = [
        {
            "at": row["at"],
            "y": row["value"],
            "low": row["low"],
            "high": row["high"],
            "batch": str(row["batch"]),
            "shows": row["signals"] or "nothing unusual",
            "state": STANDS_OUT if row["signals"] else BATCH,
            "label": clipped(str(row["batch"]), _LABEL) if at in named else "",
            "side": "above" if row["value"] >= row["centre"] else "below",
        }
        for at, row in enumerate(points.to_dict("records"))
    ]
    looks = {BATCH: (BLUE, "circle"), STANDS_OUT: (ORANGE, "triangle-up")}
    shown = _legend("top") if legend else None
    ways: dict[str, Any] = {}
    for channel, kind, of in (("color", alt.Color, 0), ("shape", alt.Shape, 1)):
        scale = alt.Scale(domain=list(looks), range=[one[of] for one in looks.values()])
        ways[channel] = kind("state:N", sort=list(looks), title=None, scale=scale, legend=shown)
    dense = len(rows) > _DENSE
    size = 30 if dense else 56
    base = alt.Chart(values(rows))
    tooltip = [
        alt.Tooltip("batch:N"),
        alt.Tooltip("at:T", title="made on", format="%Y-%m-%d"),
        alt.Tooltip("y:Q", title="value", format=".3g"),
        alt.Tooltip("shows:N"),
    ]
    bar = base.mark_rule(color=BLUE, opacity=0.22 if dense else 0.45, clip=True).encode(
        x=x, y=alt.Y("low:Q"), y2="high:Q"
    )
    point = base.mark_point(filled=True, opacity=1, size=size).encode(
        x=x, y=y, tooltip=tooltip, **ways
    )
    words = (
        base.transform_filter(f"datum.side == '{side}'")
        .mark_text(color=GREY, fontSize=11, dy=dy)
        .encode(x=x, y=f"{end}:Q", text="label:N")
        for side, end, dy in (("above", "high", -7), ("below", "low", 8))
    )
    return alt.layer(bar, point, *words)


def _spread(points: pd.DataFrame) -> Iterator[int]:
    """Places of the batches that get their number: those that stand out, with room between.

    Points beyond the limits of the chart come first, then the others in the order of time.
    """
    rows = points.reset_index(drop=True)
    room = 0.1 * float(max(rows["at"].max() - rows["at"].min(), 1.0))
    outside = (rows["value"] > rows["upper"]) | (rows["value"] < rows["lower"])
    told = rows["signals"] != ""
    taken: list[float] = []
    for place in [*np.flatnonzero(told & outside), *np.flatnonzero(told & ~outside)]:
        at = float(rows["at"][place])
        if len(taken) < _NAMED and all(abs(at - other) >= room for other in taken):
            taken.append(at)
            yield int(place)


def _band(points: pd.DataFrame, moved: Mapping[Any, Any], x: alt.X) -> list[Any]:
    """Where the step lies, with its interval: from the batch before its first possible place."""
    numbered = points.reset_index(drop=True)
    places = {batch: place for place, batch in enumerate(numbered["batch"])}
    first, last = places[moved["first"]], places[moved["last"]]
    left, right = float(numbered["at"][max(first - 1, 0)]), float(numbered["at"][last])
    data = values([{"at": left, "to": right, "middle": (left + right) / 2, "text": "change"}])
    band = alt.Chart(data).mark_rect(color=PALETTE[5], opacity=0.3)
    word = alt.Chart(data).mark_text(color=GREY, fontSize=11, baseline="bottom", dy=-3)
    return [
        band.encode(x=x, x2="to:T"),
        word.encode(x=alt.X("middle:T"), y=alt.value("height"), text="text:N"),
    ]


def _step(drawn: _Drawn, moved: Mapping[Any, Any]) -> str:
    before, after = (_amount(moved[name], drawn.share) for name in ("before", "after"))
    return f"level moves from {before} to {after} with batch {moved['batch']}"


def _amount(value: float, share: bool) -> str:
    return percent(value) if share else f"{value:.2f}"


def _day(at: float) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).date().isoformat()


def _where(result: Trend | ChoiceTrend, row: Mapping[Any, Any]) -> str:
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
    names = [str(batch) for batch in points.loc[points["signals"] != "", "batch"]]
    if not names:
        return "None stands out from what is usual."
    verb = "stands" if len(names) == 1 else "stand"
    return f"{len(names)} {verb} out from what is usual: {listed(names)}."


def _moved(drawn: _Drawn, row: Mapping[Any, Any] | None) -> str:
    if row is None:
        return "Too few batches to look for a change."
    if not row["clear"]:
        return "No clear change."
    between = f"between {row['first']} and {row['last']}"
    where = "" if row["first"] == row["last"] else f" (it lies {between})"
    return f"The {_step(drawn, row)}{where}."


def _against(points: pd.DataFrame, drawn: _Drawn) -> str:
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
