"""Picture of a ticked list: how often each word was ticked, sample by sample."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..ratings.ticked import TickedWords
from .figure_parts import (
    GREY,
    PALETTE,
    SHAPES,
    Look,
    Spec,
    along,
    column,
    dressed,
    legend,
    marks,
    told_apart,
)

_STEP = 26


def ticks_figure(result: TickedWords, width: int | str = 560) -> Spec:
    """A row a word, those most often ticked on top; a point a sample."""
    counts = result.counts
    rows = [
        {
            "word": str(row["attribute"]),
            "sample": str(row["sample"]),
            "share": float(row["ticks"]) / float(row["of"]),
        }
        for row in counts.to_dict("records")
    ]
    order = [str(row[0]) for row in result.summary().rows]
    looks: dict[str, Look] = {
        sample: (PALETTE[at % len(PALETTE)], SHAPES[at % len(SHAPES)])
        for at, sample in enumerate(result.samples)
    }
    y = along("word:N", None, sort=order, ticks=False, domain=False, labelLimit=180)
    share = {"domain": [0, 1]}
    x = along("share:Q", "share of answers in which it was ticked", share, format="%", tickCount=5)
    span = {"y": y, "x": column("share:Q", aggregate="min"),
            "x2": column("share", aggregate="max")}  # fmt: skip
    where = {"y": y, "x": x, **told_apart("sample", looks, legend(), "shape")}
    layers = [
        marks("rule", rows, span, color=GREY, size=1),
        marks("point", rows, where, filled=True, size=90, opacity=0.9),
    ]
    return dressed({"layer": layers}, width=width, height=_STEP * len(order) + 90)


TICKED_PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    TickedWords: {"ticks": ticks_figure}
}
