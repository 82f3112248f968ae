"""What explains the batches: the part of Trend that names causes."""

from __future__ import annotations

import streamlit as st

from ..release.cause_desk import product_causes
from ..report.evidence_figures import causes_figure
from .frame import desk, plain
from .parts import listed, scroll, show_figure

_WIDE = 760


def causes_part(product: str, attribute: str) -> None:
    """Causes of the latest twelve months in sentences; picture, numbers and doubts folded."""
    causes = product_causes(desk(), product, attribute=attribute)
    if causes is None:
        return
    st.subheader("Likely causes")
    st.markdown("Of the batches made in the latest twelve months.")
    result = causes.result
    if result is None:
        st.markdown(" ".join(map(plain, causes.remarks)))
        return
    listed(result.says())
    told = [each.words for each in result.proposals]
    if told:
        st.markdown("**Which batches would tell more?**")
        listed(told)
    with st.expander("Causes in numbers, and what these batches cannot tell"):
        if len(result.causes):
            words = "; ".join((*result.says(), *result.doubts))
            show_figure("causes-figure", causes_figure(result, _WIDE), words, "content")
            scroll(result.summary())
        listed((*result.cannot_tell, *causes.remarks, *result.remarks))
