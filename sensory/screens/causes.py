"""What explains the batches: the parts of Trend that name causes."""

from __future__ import annotations

import streamlit as st

from ..evidence.causes import BatchCauses
from ..release.batch_causes import ProductCauses
from ..report.evidence_figures import causes_figure
from .frame import plain
from .parts import listed, scroll, show_figure

_WIDE = 760


def causes_part(causes: ProductCauses) -> None:
    """Causes of the latest twelve months in sentences."""
    st.subheader("Likely causes")
    st.markdown("Of the batches made in the latest twelve months.")
    result = causes.result
    if result is None:
        st.markdown(" ".join(map(plain, causes.remarks)))
        return
    listed(result.says())


def causes_in_full(causes: ProductCauses, result: BatchCauses) -> None:
    """The same as picture and numbers, what would tell more, and what the batches cannot tell."""
    if len(result.causes):
        words = "; ".join((*result.says(), *result.doubts))
        show_figure("causes-figure", causes_figure(result, _WIDE), words, "content")
        scroll(result.summary())
    if told := [each.words for each in result.proposals]:
        st.markdown("**Which batches would tell more?**")
        listed(told)
    st.markdown("**What these batches cannot tell**")
    listed((*result.cannot_tell, *causes.remarks, *result.remarks))
