"""Before the first ballot: cautions, consent, and who does not taste today.

Why so
------
What takes a ballot away is asked about once, and has a way back: 'Not today' stood beside 'Begin',
and a slip of the finger sent an assessor home.
"""

from __future__ import annotations

import streamlit as st

from ..sessions.booths import BoothVisit, consent
from ..sessions.exclusions import stop_today, taste_after_all
from ..sessions.minors import say_minor
from .components import Words, show_signal
from .frame import desk, plain


def show_cautions(token: str, here: BoothVisit, words: Words) -> None:
    """What is read before tasting, and the ways on: taste, not today, a minor."""
    st.title(words["welcome"].format(assessor=plain(here.assessor)))
    st.subheader(words["before"])
    if here.allergens:
        st.warning(words["caution_allergens"].format(allergens=plain(here.allergens)))
    *warned, general, last = here.told
    for text in warned:
        st.warning(plain(text))
    if warned:
        st.markdown(words["caution_no_reason"])
    if here.smelling:
        st.warning(last)
    st.markdown("\n".join(f"- {text}" for text in (general, last)))
    agreed = st.checkbox(words[_consent_key(here)], key="booth-consent")
    if st.button(words["begin"], key="booth-begin", type="primary", disabled=not agreed):
        consent(desk(), token)
        st.rerun()
    if asked_twice("booth-not-today", words, "not_today"):
        consent(desk(), token, wants=False)
        st.rerun()
    if not here.minor and st.button(words["minor"], key="booth-minor"):
        say_minor(desk(), token)
        st.rerun()
    show_signal("signal-cautions", words["offline"])


def show_excused(token: str, here: BoothVisit, words: Words) -> None:
    """Thanks, and the way back for who told it here."""
    st.title(words["excused"])
    if here.refused and st.button(words["after_all"], key="booth-after-all"):
        taste_after_all(desk(), token)
        st.rerun()


def show_stop(token: str, words: Words) -> None:
    """The way out for who has begun: what was sent stays."""
    if asked_twice("booth-stop", words, "not_today", sure="stop_today_sure"):
        stop_today(desk(), token)
        st.rerun()


def asked_twice(key: str, words: Words, what: str, *, sure: str = "") -> bool:
    """Whether something that ends a ballot was pressed, and pressed again at the question.

    `what`: key of the words of the button; `sure`: of the question, where it has words of its own.
    """
    asks = f"{key}-asks"
    if not st.session_state.get(asks):
        if st.button(words[what], key=key):
            st.session_state[asks] = True
            st.rerun()
        return False
    st.warning(words[sure or f"{what}_sure"])
    with st.container(horizontal=True):
        certain = st.button(words[what], key=f"{key}-sure")
        back = st.button(words["back"], key=f"{key}-back")
    if certain or back:
        st.session_state[asks] = False
    if back:
        st.rerun()
    return certain


def _consent_key(here: BoothVisit) -> str:
    """Which sentence is ticked: of adults or minors, for tasting or for smelling."""
    return f"consent{'_smell' * here.smelling}{'_minor' * here.minor}"
