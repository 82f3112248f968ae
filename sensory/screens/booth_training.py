"""What a booth shows in training after each sample: own marks beside the agreed ones."""

from __future__ import annotations

import streamlit as st

from ..sessions.booth_training import Learned, Marked
from ..sessions.booths import BoothVisit
from .components import Words
from .frame import plain

_SEEN = "booth-learned"
_BLUE, _SKY = "#0072B2", "#56B4E9"


def learns(here: BoothVisit) -> bool:
    """Whether the marks of the sample sent last wait to be looked at in this window."""
    return here.learned is not None and st.session_state.get(_SEEN) != here.learned.line


def go_on(here: BoothVisit, words: Words) -> None:
    """The way to the next sample; after a reload the marks are shown again, which harms nothing."""
    if here.learned is None:
        return
    st.markdown(words["training_taste"])
    # The line is in the key: a late second tap cannot pass over the next sample's marks.
    if st.button(
        words["training_next"], key=f"learned-{here.learned.line}", type="primary", width="stretch"
    ):
        st.session_state[_SEEN] = here.learned.line
        st.rerun()


def show_learned(here: BoothVisit, words: Words) -> None:
    """The marks of the sample sent last, each as a sentence and on its line; nothing in a test."""
    if here.learned is None:
        return
    st.subheader(words["training_of"].format(code=plain(here.learned.code)))
    for mark in here.learned.marks:
        st.markdown(_sentence(mark, words))
        st.html(_line(mark, here.learned))


def _sentence(mark: Marked, words: Words) -> str:
    named = {"attribute": plain(mark.attribute), "own": f"{mark.own:g}"}
    if mark.target is None:
        if mark.lowest is None or mark.highest is None:
            return str(words["training_few"].format(**named))
        span = {"low": f"{mark.lowest:g}", "high": f"{mark.highest:g}", "others": mark.others}
        return str(words["training_range"].format(**named, **span))
    low, high = mark.target.low, mark.target.high
    above, below = mark.own - high, low - mark.own
    key = "above" if above > 0 else "below" if below > 0 else "within"
    return str(
        words[f"training_{key}"].format(
            **named,
            target=f"{mark.target.intensity:g}",
            low=f"{low:g}",
            high=f"{high:g}",
            by=f"{max(above, below):.3g}",
        )
    )


def _line(mark: Marked, learned: Learned) -> str:
    """The line with the range as a band and the own mark; the sentence above says the same."""
    low, high = learned.scale

    def at(score: float) -> float:
        return 100 * (score - low) / (high - low)

    band, style = "", "position: absolute;"
    ends = (mark.lowest, mark.highest)
    if mark.target is not None:
        ends = (mark.target.low, mark.target.high)
        place = f"left: {at(mark.target.intensity):.2f}%; top: 4px; width: 2px; height: 16px;"
        band = f'<div style="{style} {place} background: #767676"></div>'
    if ends[0] is not None and ends[1] is not None:
        place = f"left: {at(ends[0]):.2f}%; width: {at(ends[1]) - at(ends[0]):.2f}%;"
        shade = f"background: {_SKY}; opacity: 0.45; min-width: 2px"
        band = f'<div style="{style} {place} top: 4px; height: 16px; {shade}"></div>{band}'
    rule = f'<div style="{style} left: 0; right: 0; top: 11px; height: 2px; background: #767676">'
    own = f"left: {at(mark.own):.2f}%; top: 0; width: 4px; height: 24px; margin-left: -2px;"
    dot = f'<div style="{style} {own} background: {_BLUE}; border-radius: 2px"></div>'
    return (
        '<div aria-hidden="true" style="position: relative; height: 24px; margin: 0 18px 12px">'
        f"{band}{rule}</div>{dot}</div>"
    )
