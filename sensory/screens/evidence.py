"""Several sessions on one axis, as a part of the pages of a batch and of a product."""

from __future__ import annotations

import streamlit as st

from ..evidence.combined import CombinedEvidence
from ..report.evidence_figures import evidence_figure
from .parts import listed, scroll, show_figure

_WIDE, _DRAWN = 560, 14


def evidence_part(heading: str, result: CombinedEvidence | None, key: str) -> None:
    """What choice tests show together in sentences; picture and numbers folded."""
    if result is None:
        return
    st.subheader(heading)
    listed(result.says())
    with st.expander("Each session, and what these cannot tell", key=key):
        if len(result.sessions) <= _DRAWN:
            words = " ".join(result.says())
            show_figure(f"{key}-figure", evidence_figure(result, _WIDE), words, "content")
        scroll(result.summary())
        listed(result.cannot_tell)
