"""A kept study is withdrawn here: it stays on record, and nothing rests on it any more."""

from __future__ import annotations

import streamlit as st

from ..release.studies import Study
from ..release.study_desk import withdraw_study
from ..sessions.signing import Right
from .frame import desk
from .parts import act
from .sign import hand

_WHAT = (
    "A withdrawn study stays on record with its rows. Lists and reports say that it was withdrawn, "
    "and these rows with these settings are not used for a limit or a shelf life any more. This "
    "cannot be taken back."
)


def withdraw_part(study: Study) -> None:
    """The form that withdraws a study, folded."""
    with st.expander("Withdraw this study", key="study-withdraw-form"):
        st.markdown(_WHAT)
        why = st.text_input("Why it is withdrawn", key="study-withdraw-why")
        signing = hand("Withdrawn by", "study-withdraw-by", Right.AGREE, role="head of quality")

        def withdraw() -> None:
            signing.put_on_record()
            withdraw_study(desk(), study.key, who=signing.name, why=why, how=signing.how)

        act("Withdraw the study", "study-withdraw", withdraw, ready=why.strip() and signing.ready)
