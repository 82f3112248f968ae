"""What a session can find, beside its question."""

from __future__ import annotations

import streamlit as st

from ..base.results import several
from ..catalogue.question import Question
from ..choices.risks import SessionRisks
from ..report.words import percent
from ..sessions.workflow import planned_risks
from .frame import shown_errors


def risks_panel(question: Question) -> None:
    """Chances and counts of the planned session."""
    st.subheader("What this session can find")
    with shown_errors():
        risks = planned_risks(question)
        for column, (name, chance, when) in zip(
            st.columns(2),
            (
                ("Fair pass", risks.fair_pass, "if nothing changed"),
                ("Wrong pass", risks.wrong_pass, "if the limit is reached"),
            ),
            strict=True,
        ):
            with column, st.container(border=True, height="stretch"):
                st.markdown(f"{name}\n## {percent(chance, 1)}\n{when}")
        st.markdown(
            f"If nothing changed, the session shows similarity with a chance of "
            f"**{percent(risks.fair_pass, 1)}**. If {percent(question.pd_limit, 1)} of the "
            f"assessors can notice, it does so with a risk of **{percent(risks.wrong_pass, 1)}**, "
            f"and it finds the difference with a chance of **{percent(risks.power, 1)}**."
        )
        st.markdown(_counts(risks))


def _counts(risks: SessionRisks) -> str:
    answers = several(risks.trials, "answer")
    what = "for one sample" if risks.two_sided else "correct"
    similar, critical = risks.similar_count, risks.critical_count
    parts = [
        f"{similar} or fewer {what} show similarity"
        if similar is not None
        else "no outcome can show similarity",
        f"{critical} or more show a difference"
        if critical is not None
        else "no outcome can show a difference",
    ]
    words = f"Of {answers}, " + " and ".join(parts) + ". "
    if similar is not None and critical is not None and critical <= similar:
        words += (
            f"From {critical} to {similar} both hold: a difference that can be perceived, and is "
            "below the limit. "
        )
    if risks.deciding_size == risks.trials:
        return words + "Every outcome decides."
    if risks.deciding_size is None:
        return words + "No panel of a possible size would always decide at this limit."
    return words + (
        f"In between the session cannot tell; with **{risks.deciding_size} ballots** every "
        "outcome would decide."
    )
