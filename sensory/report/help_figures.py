"""A picture for each word of the trade, drawn from worked examples."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from ..choices.protocols import TRIANGLE
from ..models.binomial import clopper_pearson, lower_tail
from .figure_parts import (
    BLUE,
    GREY,
    ORANGE,
    SHORT,
    SKY,
    Look,
    Rows,
    Spec,
    along,
    column,
    dressed,
    legend,
    marks,
    told_apart,
    upright,
)

WIDE, HIGH = 620, 240
LIMIT, FEW, MANY = 0.30, 24, 66
DIFFERENT_FROM, SIMILAR_TO, SIMILAR_OF_MANY, SEEN = 13, 8, 28, 12
"""Counts of the examples, with alpha and beta of 5 %: 24 and 66 triangles, a limit of 30 %."""
_SEED = 11


def picture_of_word(key: str, width: int | str = WIDE) -> Spec:
    """The picture of a word of the trade by its key in `WORDS`."""
    return dressed(_DRAWN[key](), width=width, height=HIGH)


def counted(trials: int, pc: float, inside: range) -> tuple[Rows, float]:
    """The chance of each number of correct answers, and the chance of those in a range."""
    counts = np.arange(trials + 1)
    chances = np.diff(lower_tail(counts, trials, pc), prepend=0.0)
    rows = [
        {"count": int(count), "chance": float(chance), "counts": "yes" if count in inside else "no"}
        for count, chance in zip(counts, chances, strict=True)
        if chance > 1e-4
    ]
    return rows, float(chances[[count for count in counts if count in inside]].sum())


def _bars(trials: int, pc: float, inside: range, words: str) -> Spec:
    rows, share = counted(trials, pc, inside)
    looks = {f"{words}: {100 * share:.1f} %": ORANGE, "other counts": SKY}
    named = dict(zip(("yes", "no"), looks, strict=True))
    colour = column(
        "what:N",
        sort=list(looks),
        title=None,
        scale={"domain": list(looks), "range": list(looks.values())},
        legend=legend(labelLimit=500),
    )
    where = {
        "x": along("count:O", f"correct answers of {trials}", labelAngle=0),
        "y": along("chance:Q", "chance", format="%", tickCount=4, grid=False),
        "color": colour,
    }
    return marks("bar", [{**row, "what": named[str(row["counts"])]} for row in rows], where)


def _alpha() -> Spec:
    inside = range(DIFFERENT_FROM, FEW + 1)
    return _bars(FEW, 1 / 3, inside, f"{DIFFERENT_FROM} or more, called different")


def _beta() -> Spec:
    inside, pc = range(SIMILAR_OF_MANY + 1), 1 / 3 + LIMIT * 2 / 3
    return _bars(MANY, pc, inside, f"{SIMILAR_OF_MANY} or fewer, called similar")


def _fair_pass() -> Spec:
    return _bars(FEW, 1 / 3, range(SIMILAR_TO + 1), f"{SIMILAR_TO} or fewer, called similar")


def _p() -> Spec:
    return _bars(FEW, 1 / 3, range(SEEN, FEW + 1), f"{SEEN} or more")


def _distinguishers() -> Spec:
    looks: dict[str, Look] = {
        "notice: 30 right": (BLUE, "circle"),
        "guess: 23 right": (SKY, "square"),
        "guess: 47 wrong": (ORANGE, "cross"),
    }
    notice, lucky, wrong = looks
    people = [notice] * 30 + [lucky] * 23 + [wrong] * 47
    rows = [{"across": at % 20, "down": at // 20, "what": what} for at, what in enumerate(people)]
    where = {
        "x": column("across:O", axis=None),
        "y": column("down:O", axis=None),
        **told_apart("what", looks, legend(symbolSize=120, labelLimit=300), "shape"),
    }
    return marks("point", rows, where, filled=True, size=170, opacity=1)


def _dprime() -> Spec:
    apart = float(TRIANGLE.dprime(1 / 3 + LIMIT * 2 / 3))
    looks: dict[str, Look] = {"reference": (BLUE, [1, 0]), "batch": (ORANGE, [8, 4])}
    at = np.linspace(-3.5, apart + 3.5, 141)
    rows = [
        {"at": float(x), "high": float(np.exp(-((x - centre) ** 2) / 2)), "what": name}
        for name, centre in zip(looks, (0.0, apart), strict=True)
        for x in at
    ]
    where = {
        "x": along("at:Q", "what is perceived, in standard deviations of one tasting", grid=False),
        "y": column("high:Q", axis=None),
        **told_apart("what", looks, legend(symbolSize=300)),
    }
    span = [{"low": 0.0, "up": apart, "at": apart / 2, "high": 1.05, "text": f"d' {apart:.2f}"}]
    level = column("high:Q")
    arrow = {"x": column("low:Q"), "x2": column("up"), "y": level}
    word = {"x": column("at:Q"), "y": level, "text": column("text:N")}
    return {
        "layer": [
            marks("line", rows, where, strokeWidth=3),
            marks("rule", span, arrow, color=GREY, size=2),
            marks("text", span, word, color=GREY, fontSize=12, dy=-8),
        ]
    }


_Span = tuple[float, float, float]
"""Estimate, lower and upper limit."""


def _held(spans: Mapping[str, _Span], title: str, edges: Mapping[float, str], **axis: str) -> Spec:
    """Points with their ranges, held against one edge or two."""
    rows = [
        {"row": name, "at": at, "low": low, "high": high} for name, (at, low, high) in spans.items()
    ]
    y = along("row:N", None, sort=list(spans), ticks=False, domain=False, labelLimit=300)
    x = along("low:Q", title, {"zero": False}, grid=False, **axis)
    layers = [
        marks("rule", rows, {"x": x, "x2": column("high"), "y": y}, color=BLUE, size=3),
        marks("point", rows, {"x": column("at:Q"), "y": y}, color=BLUE, filled=True, size=110,
              opacity=1),
    ]  # fmt: skip
    for edge, words in edges.items():
        layers += upright("low", [edge], words, colour=ORANGE, align="left", dx=5, dy=-6)
    return {"layer": layers}


def _limit() -> Spec:
    spans = {
        "within the limit": (0.05, 0.0, 0.24),
        "open": (0.27, 0.05, 0.47),
        "beyond the limit": (0.62, 0.36, 0.83),
    }
    return _held(spans, "share of people who notice", {LIMIT: "agreed limit 30 %"}, format="%")


def _margin() -> Spec:
    spans = {"sour": (0.1, -0.4, 0.6), "sweet": (-0.7, -1.3, -0.1), "cooked": (1.7, 1.2, 2.2)}
    edges = {-1.0: "margin", 1.0: "margin"}
    return _held(spans, "batch less reference, in points of the scale", edges)


def _limits() -> Spec:
    correct = np.random.default_rng(_SEED).binomial(FEW, 1 / 3 + LIMIT * 2 / 3, 20)
    low, high = clopper_pearson(correct, FEW, 0.95)
    notice = [np.maximum(0.0, (each - 1 / 3) * 1.5) for each in (correct / FEW, low, high)]
    spans = {
        str(at): (float(mid), float(down), float(up))
        for at, (mid, down, up) in enumerate(zip(*notice, strict=True), start=1)
    }
    return _held(spans, "share of people who notice", {LIMIT: "the truth, 30 %"}, format="%")


def _blind_control() -> Spec:
    looks: dict[str, Look] = {"blind control": (BLUE, "circle"), "batch": (ORANGE, "triangle-up")}
    names = ("Ada", "Bo", "Cem", "Dora", "Eli", "Fay")
    scores = dict(zip(names, ((1, 3), (0, 2), (2, 4), (1, 2), (3, 5), (1, 4)), strict=True))
    rows = [
        {"name": name, "score": score, "what": what}
        for name, pair in scores.items()
        for what, score in zip(looks, pair, strict=True)
    ]
    y = along("name:N", None, sort=list(scores), ticks=False, domain=False)
    x = along("score:Q", "score: how far from the open reference", {"domain": [0, 6]}, grid=False)
    point = {"x": x, "y": y, **told_apart("what", looks, legend(), "shape")}
    join = {"x": x, "y": y, "detail": column("name:N")}
    return {
        "layer": [
            marks("line", rows, join, color=GREY, strokeDash=SHORT),
            marks("point", rows, point, filled=True, size=130, opacity=1),
        ]
    }


def _baseline() -> Spec:
    made = np.random.default_rng(_SEED).normal(0.1, 0.25, 26) + np.repeat([0.0, 1.0], [20, 6])
    first = made[:20]
    centre = float(first.mean())
    reach = 3 * float(np.abs(np.diff(first)).mean()) / 1.128
    looks: dict[str, Look] = {"as usual": (BLUE, "circle"), "signal": (ORANGE, "triangle-up")}
    usual, signal = looks
    rows = [
        {"batch": at, "value": float(value),
         "what": signal if abs(value - centre) > reach else usual}
        for at, value in enumerate(made, start=1)
    ]  # fmt: skip
    y = along("value:Q", "points from the reference", grid=False)
    x = along("batch:Q", "batch", {"nice": False}, grid=False, tickCount=13)
    where = {"x": x, "y": y, **told_apart("what", looks, legend(), "shape")}
    edges = [{"value": centre - reach}, {"value": centre + reach}]
    return {
        "layer": [
            marks("point", rows, where, filled=True, size=90, opacity=1),
            marks("rule", edges, {"y": column("value:Q")}, color=GREY, strokeDash=SHORT, size=2),
            marks("rule", [{"value": centre}], {"y": column("value:Q")}, color=GREY, size=2),
            *upright("batch", [20.5], "baseline ends here", align="right", dx=-5, dy=-6),
        ]
    }


_DRAWN: dict[str, Callable[[], Spec]] = {
    "alpha": _alpha,
    "beta": _beta,
    "fair-pass": _fair_pass,
    "distinguishers": _distinguishers,
    "d-prime": _dprime,
    "limit": _limit,
    "margin": _margin,
    "limits": _limits,
    "p": _p,
    "blind-control": _blind_control,
    "baseline": _baseline,
}
