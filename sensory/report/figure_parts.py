"""What the charts share: colours, font, axes, and how one becomes SVG."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import altair as alt

FONT = "Open Sans"
FONTS = Path(__file__).parent / "fonts"
GREY, BLUE, ORANGE = "#7b7b7b", "#0072B2", "#D55E00"
PALETTE = (BLUE, ORANGE, "#009E73", "#CC79A7", "#56B4E9", "#E69F00", GREY)


def as_svg(chart: alt.LayerChart | alt.FacetChart | alt.VConcatChart) -> bytes:
    """The chart as SVG with text as text, in the font that ships with the package."""
    converter = _converter()
    return converter.vegalite_to_svg(json.dumps(chart.to_dict())).encode()


@lru_cache(maxsize=1)
def _converter() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(FONTS))
    return vl_convert


def values(rows: Sequence[Mapping[str, object]]) -> alt.InlineData:
    return alt.InlineData(values=list(rows))


def axis(**options: Any) -> alt.Axis:
    return alt.Axis(
        labelColor=GREY,
        titleColor=GREY,
        domainColor=GREY,
        tickColor=GREY,
        labelFontSize=12,
        titleFontSize=12,
        titleFontWeight="normal",
        **options,
    )
