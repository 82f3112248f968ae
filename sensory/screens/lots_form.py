"""How many lots of each recipe, and how many assessors a pair: a part of the page Plan."""

from __future__ import annotations

import streamlit as st

from ..choices.protocols import Protocol
from ..evidence.lots_plan import plan_lots
from ..report.evidence_figures import lots_plan_figure
from .frame import shown_errors
from .parts import listed, scroll, show_figure

_WHY = (
    "A session compares two lots. Whether a recipe is the same takes several lots of each, a pair "
    "of them a session; more assessors do not stand in for lots. The study 'Is the new recipe the "
    "same, by choice tests over several lots?' reads the counts."
)
_SHARES = (0.5, 1.0, 2.0)


def lots_part(protocol: Protocol, people: int, pd_limit: float) -> None:
    """The plan for the test and the limit of the page; asks how far lots scatter."""
    with st.expander("Several lots of each recipe", key="plan-lots"), shown_errors():
        st.markdown(_WHY)
        between = st.number_input(
            "How far lots of one recipe lie apart: standard deviation as d-prime",
            0.0,
            2.0,
            value=None,
            step=0.1,
            key="plan-lot-sd",
        )
        if between is None:
            st.markdown("Nothing is proposed: it follows from lots that were compared before.")
            return
        limit = float(protocol.dprime(float(protocol.pc_at(pd_limit))))
        sizes = sorted({min(200, max(2, round(people * share))) for share in _SHARES})
        plan = plan_lots(protocol, dprime_limit=limit, lot_sd=between, assessors=sizes)
        listed(plan.says())
        show_figure("plan-lots-figure", lots_plan_figure(plan, "container"), plan.says()[0])
        scroll(plan.summary())
        listed(plan.cannot_tell)
