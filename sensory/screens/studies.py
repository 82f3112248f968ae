"""Studies that are no session: asked, read, shown, kept on record and opened again."""

from __future__ import annotations

import streamlit as st

from ..release.all_studies import STUDIES
from .batch_forms import say_recorded
from .parts import pressed
from .study import (
    close_study,
    described,
    keep_part,
    kept_studies,
    opened_study,
    show_kept,
    show_study,
    standing,
    study_errors,
    study_of_file,
)

_CARE = (
    "Samples are cleared before anybody tastes them: allergens, and what was added. A taint that "
    "may harm is for food law and those licensed to judge it, not for a panel."
)
OFFERED = ("threshold", "recipes", "lot pairs", "graders", "ring")
"""Kinds that are asked here; the others have pages of their own."""


def page() -> None:
    """A study that a list has opened, else the question, the file and the answer."""
    st.title("Studies")
    say_recorded()
    with study_errors():
        opened = opened_study()
        if opened is not None:
            show_kept(opened)
            if pressed("Close the study", "study-close"):
                close_study()
                st.rerun()
            return
    st.markdown(
        "Questions that take a study of their own, from a file with one answer a row; a threshold "
        "also from a closed session with rising sets."
    )
    chosen = st.radio(
        "What do you want to know?",
        OFFERED,
        format_func=lambda name: STUDIES[name].question,
        key="study",
    )
    st.markdown(_CARE)
    with study_errors():
        study = standing(study_of_file(STUDIES[chosen or OFFERED[0]], {}))
        if study is not None:
            show_study(study, kept=False)
            keep_part(described(study))
    kept_studies("studies")
