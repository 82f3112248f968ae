"""What the charts share: colours, font, axes, legends, and how one becomes SVG.

Colours are from Okabe and Ito's palette for colour-blind readers; shape and dash say the
same again. Text and rules are mid-grey, so that they stand on a light and a dark page.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar

import altair as alt

FONT = "Open Sans"
FONTS = Path(__file__).parent / "fonts"
GREY, BLUE, ORANGE = "#7b7b7b", "#0072B2", "#D55E00"
PALETTE = (BLUE, ORANGE, "#009E73", "#CC79A7", "#56B4E9", "#E69F00", GREY)
GREEN, PINK, SKY, AMBER = PALETTE[2:6]
SOLID, LONG, SHORT = [1, 0], [8, 4], [2, 3]
"""Dashes."""

Rows = Sequence[Mapping[str, object]]
Channel = TypeVar("Channel", alt.X, alt.Y)
Look = tuple[str, Any]
"""Colour, and dash or shape."""


def as_svg(chart: alt.LayerChart | alt.FacetChart | alt.ConcatChart | alt.VConcatChart) -> bytes:
    """The chart as SVG with text as text, in the font that ships with the package."""
    return str(_converter().vegalite_to_svg(json.dumps(chart.to_dict()))).encode()


@cache
def _converter() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(FONTS))
    return vl_convert


def drawn_from(rows: Rows) -> alt.Chart:
    return alt.Chart(alt.InlineData(values=list(rows)))


def dressed(chart: Any, *, framed: bool = False, **size: Any) -> Any:
    """In our font, with a faint frame round each panel or with none."""
    frame = {"stroke": GREY, "strokeOpacity": 0.3} if framed else {"stroke": None}
    return chart.properties(**size).configure(font=FONT).configure_view(**frame)


def along(
    channel: type[Channel],
    field: str,
    title: str | None,
    scale: Mapping[str, Any] | None = None,
    **ticks: Any,
) -> Channel:
    """Where marks lie: a field, its title, options of its scale, and its axis in grey."""
    ticks |= dict.fromkeys(("labelColor", "titleColor", "domainColor", "tickColor"), GREY)
    ticks |= {"labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": "normal"}
    options: dict[str, Any] = {} if scale is None else {"scale": alt.Scale(**scale)}
    if sort := ticks.pop("sort", None):
        options["sort"] = sort
    return channel(field, title=title, axis=alt.Axis(**ticks), **options)


def legend(**options: Any) -> alt.Legend:
    return alt.Legend(**{"title": None, "orient": "top", "labelColor": GREY, **options})


def told_apart(
    field: str,
    looks: Mapping[str, Look],
    shown: alt.Legend | None,
    second: Literal["strokeDash", "shape"] = "strokeDash",
) -> dict[str, Any]:
    """Colour and dash (or shape) of named things, with one legend for both."""
    names, ways = list(looks), {}
    for channel, at in (("color", 0), (second, 1)):
        scale = alt.Scale(domain=names, range=[look[at] for look in looks.values()])
        kind = {"color": alt.Color, "strokeDash": alt.StrokeDash, "shape": alt.Shape}[channel]
        ways[channel] = kind(f"{field}:N", sort=names, title=None, scale=scale, legend=shown)
    return ways


def chance_curves(rows: Rows, looks: Mapping[str, Look], x: alt.X, shown: alt.Legend) -> alt.Chart:
    """Chances against the truth, each curve with its colour and dash."""
    y = along(alt.Y, "chance:Q", "chance", {"domain": [0, 1]}, format="%", tickCount=5, grid=False)
    curves = drawn_from(rows).mark_line(strokeWidth=3)
    return curves.encode(x=x, y=y, **told_apart("what", looks, shown))


def upright(
    field: str,
    places: Sequence[float],
    words: str,
    *,
    colour: str = GREY,
    dash: Sequence[int] = LONG,
    y: float = 0,
    **beside: Any,
) -> list[alt.Chart]:
    """A rule at each place, with words beside the first."""
    x = f"{field}:Q"
    rule = drawn_from([{field: place} for place in places])
    marks = [rule.mark_rule(color=colour, strokeDash=list(dash), size=2).encode(x=x)]
    if words:
        text = drawn_from([{field: places[0], "text": words}])
        text = text.mark_text(color=GREY, fontSize=12, **beside)
        marks.append(text.encode(x=x, y=alt.value(y), text="text:N"))
    return marks
