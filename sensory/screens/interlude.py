"""What a booth shows before a ballot: a warm-up sample, or a break between two sittings."""

from __future__ import annotations

import streamlit as st

from ..sessions.booth_sittings import Halt
from ..sessions.booths import leave_warm_up, tasted, visit
from .components import Words
from .frame import desk, plain


def show_halt(token: str, halt: Halt, words: Words, *, smelling: bool = False) -> None:
    """The warm-up sample with its code, or the break until it is over."""
    if halt.sittings > 1:
        st.markdown(words["sitting_of"].format(number=halt.sitting, all=halt.sittings))
    if halt.kind == "break":
        st.title(words["break"])
        _wait(token, words)
        return
    st.title(words["warm_up"])
    st.markdown(words["warm_up_smell" if smelling else "warm_up_asks"])
    with st.container(border=True, width="content"):
        st.markdown(f"## {plain(halt.code)}")
    if halt.allergens:
        st.warning(words["warm_up_allergens"].format(allergens=plain(halt.allergens)))
    # The code is in the key: a late second tap cannot hit the next warm-up sample.
    done = words["warm_up_smelled" if smelling else "warm_up_done"]
    if st.button(done, key=f"warm-up-{halt.code}", type="primary"):
        tasted(desk(), token, halt.code)
        st.rerun()
    if halt.allergens and st.button(words["warm_up_leave"], key=f"leave-warm-up-{halt.code}"):
        leave_warm_up(desk(), token, halt.code)
        st.rerun()


@st.fragment(run_every=5.0)
def _wait(token: str, words: Words) -> None:
    here = visit(desk(), token)
    halt = here.halt if here and not here.closed else None
    if halt is None or halt.kind != "break":
        st.rerun()
    elif halt.minutes is None:
        st.info(words["break_leader"])
    else:
        st.info(words["break_minutes"].format(minutes=halt.minutes))
