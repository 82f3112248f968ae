"""Pictures of training: the marks of one session, and how errors shrink from session to session."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from ..base.errors import ArgumentError
from ..panel.training import TrainingProgress
from ..panel.training_rule import Criterion
from ..sessions.trained import TrainingSitting
from .figure_parts import (
    BLUE,
    GREY,
    LONG,
    ORANGE,
    SKY,
    Spec,
    along,
    column,
    dressed,
    heading,
    legend,
    marks,
    told_apart,
)

_IN, _OUT, _FREE = "within the range", "outside the range", "no target agreed"
_HIGH, _WIDE, _TALL = 44, 640, 230
_COLUMNS = {
    Criterion.ACCURACY: ("error", "targets", "off the target, points"),
    Criterion.REPEATABILITY: ("sd", "sd_df", "own replicates, points"),
    Criterion.AGREEMENT: ("distance", "samples", "off the others, points"),
}


def marks_figure(trained: TrainingSitting, attribute: str, width: int | str = "container") -> Spec:
    """Each mark on one attribute, a row a sample: target as an upright, accepted range as a band.

    Raises ArgumentError where nobody marked the attribute.
    """
    own = [each for each in trained.samples if each.attribute == attribute]
    if not own:
        raise ArgumentError(f"nobody has marked {attribute!r}: nothing to draw.")
    points, bands = [], []
    for each in own:
        if each.target is not None:
            row = {"sample": each.sample, "low": each.low, "high": each.high}
            bands.append({**row, "target": each.target})
        for name, scores in zip(trained.assessors, each.scores, strict=True):
            for mark in scores:
                state = _FREE
                if each.low is not None and each.high is not None:
                    state = _IN if each.low <= mark <= each.high else _OUT
                points.append({"sample": each.sample, "who": name, "mark": mark, "state": state})
    order = [each.sample for each in own]
    y = along("sample:N", None, sort=order, ticks=False, domain=False, labelLimit=180)
    x = along("mark:Q", None, {"domain": list(trained.scale)}, grid=False, tickCount=6)
    looks = {_IN: (BLUE, "circle"), _OUT: (ORANGE, "diamond"), _FREE: (GREY, "square")}
    met = {state: look for state, look in looks.items() if state in {p["state"] for p in points}}
    ways = told_apart("state", met, legend(), "shape")
    span = {"y": y, "x": column("low:Q"), "x2": column("high")}
    where = {"y": y, "x": x, **ways, "tooltip": [column("who:N"), column("mark:Q")]}
    layers = [
        marks("bar", bands, span, color=SKY, opacity=0.35, height=22),
        marks("tick", bands, {"y": y, "x": column("target:Q")}, color=GREY, thickness=2, size=22),
        marks("point", points, where, filled=True, size=90, opacity=0.85),
    ]
    title = heading(attribute)
    return dressed({"layer": layers, "title": title}, width=width, height=_HIGH * len(own) + 70)


def learning_curve(
    result: TrainingProgress, criterion: str = Criterion.ACCURACY, attribute: str = ""
) -> Spec:
    """One criterion session by session: a line an assessor, a panel an attribute, and the limit.

    With an `attribute` it is one panel, as wide as the page.

    Raises ArgumentError where no session has a number of it.
    """
    column_of, _, axis = _COLUMNS[Criterion(criterion)]
    frame = result.curve.dropna(subset=[column_of])
    frame = frame[frame["attribute"] == attribute] if attribute else frame
    if frame.empty:
        raise ArgumentError(f"no session with a number of {criterion}: nothing to draw.")
    order = result.curve.drop_duplicates("session")
    days = dict(zip(order["session"], range(1, len(order) + 1), strict=True))
    states = result.states
    limit = float(states[states["criterion"] == criterion]["limit"].iloc[0])
    trained, top = set(result.trained), 1.1 * max(limit, float(frame[column_of].max()))
    x = along("session:O", "session", labelAngle=0, ticks=False)
    y = along("points:Q", axis, {"domain": [0, top]}, grid=False, tickCount=4)
    looks: Mapping[str, tuple[str, Any]] = {"trained": (BLUE, [1, 0]), "not yet": (ORANGE, LONG)}
    ways = told_apart("state", looks, legend(symbolType="stroke", symbolSize=300))
    charts = []
    for of, part in frame.groupby("attribute", sort=False):
        rows = [
            {"session": days[row["session"]], "who": str(row["assessor"]),
             "points": float(row[column_of]),
             "state": "trained" if row["assessor"] in trained else "not yet"}
            for row in part.to_dict("records")
        ]  # fmt: skip
        where = {"x": x, "y": y, **ways, "detail": column("who:N")}
        ends = {row["who"]: row for row in rows if row["state"] == "not yet"}
        last = list(ends.values())
        name = {"x": x, "y": y, "text": column("who:N")}
        agreed = {"y": column("points:Q")}
        layers = [
            marks("rule", [{"points": limit}], agreed, color=GREY, strokeDash=LONG, size=2),
            marks("line", rows, where, strokeWidth=2, point={"filled": True, "size": 50}),
            marks("text", last, name, align="left", dx=8, color=GREY, fontSize=11),
        ]
        charts.append({"layer": layers, "title": heading(str(of))})
    if attribute:
        return dressed(charts[0], width="container", height=_TALL)
    sized = [{**chart, "width": _WIDE, "height": _TALL} for chart in charts]
    return dressed({"vconcat": sized})


def curve_words(result: TrainingProgress, criterion: str = Criterion.ACCURACY) -> str:
    """The curves in words, for people who do not see them."""
    column_of = _COLUMNS[Criterion(criterion)][0]
    frame = result.curve.dropna(subset=[column_of])
    parts = []
    for (name, attribute), part in frame.groupby(["assessor", "attribute"], sort=False):
        numbers = ", ".join(f"{value:.2g}" for value in part[column_of])
        parts.append(f"{name}, {attribute}: {numbers}")
    return f"{str(criterion).capitalize()} by session, points. {'; '.join(parts)}."


TRAINING_PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    TrainingProgress: {
        str(criterion): partial(learning_curve, criterion=criterion)
        for criterion in (Criterion.ACCURACY, Criterion.REPEATABILITY, Criterion.AGREEMENT)
    }
}
