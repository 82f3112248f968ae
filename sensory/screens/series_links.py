"""The booth of a series on the leader's page: its link, and what was told there."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from ..base.errors import ArgumentError
from ..base.languages import languages
from ..panel.series import TakenSeries
from ..panel.series_booth import open_series_booth, state_guardian, state_of_age
from ..release.plant_desk import the_plant
from .access import kept
from .addresses import booth_address, offered_address
from .booth_links import link_to
from .frame import acting, clock, desk, plain
from .parts import act, choose


def series_booth_part(taken: TakenSeries) -> None:
    """Open the booth, show its link once, and say what the candidate told there."""
    booth, shown = taken.booth, st.session_state.get(_key(taken), "")
    _minor(taken)
    if booth and booth.stopped:
        st.error(
            f"The candidate felt unwell at the booth ({clock(booth.stopped)}). Look after them "
            "first; nothing more is asked there. A new link goes on with the series."
        )
    elif booth and booth.refused:
        st.warning("The candidate does not want to taste today. No reason is asked.")
    elif booth:
        told = f"consent given {clock(booth.consented)}" if booth.consented else "no consent yet"
        st.markdown(f"Booth open: {told}.")
        _watch(taken)
    with st.expander("Booth", expanded=bool(shown)):
        if shown:
            st.markdown("The link of the candidate; it is shown in this window only.")
            st.code(shown, language=None)
        if not taken.waits_for_guardian:
            _open(taken)
        if not (taken.minor or (booth and booth.consented)):
            stated = partial(state_guardian, desk(), taken, who=acting())
            act("Candidate is under 18", f"series-minor-{taken.key}", stated)


def _minor(taken: TakenSeries) -> None:
    """Of a candidate under 18: what is needed before anything is tasted, and what is on record."""
    if not taken.minor:
        return
    if taken.guardian_on:
        entries = [each for each in desk().noun_entries(taken) if each.what == "minor"]
        by = f", put there by {plain(entries[-1].who)}" if entries else ""
        st.markdown(f"Under 18; guardian's written consent of {taken.guardian_on} on record{by}.")
    else:
        st.warning(
            "The candidate is under 18. Nothing is tasted before a guardian's written consent is "
            "on record; the law of your place decides whether and how minors may taste. Keep the "
            "form itself on paper."
        )
        day = st.date_input(
            "Guardian's written consent of (day on the form)", None, max_value="today",
            key=f"guardian-{taken.key}",
        )  # fmt: skip
        on = day.isoformat() if isinstance(day, date) else ""
        record = partial(state_guardian, desk(), taken, on, who=acting())
        act("Record consent", f"guardian-record-{taken.key}", record, ready=bool(on))
    if not (taken.booth and taken.booth.consented):
        of_age = partial(state_of_age, desk(), taken, who=acting())
        act("Candidate is of age", f"guardian-of-age-{taken.key}", of_age)


def _key(taken: TakenSeries) -> str:
    return f"series-link-{taken.key}"


def _open(taken: TakenSeries) -> None:
    names = languages()
    language = choose(
        "Language of the booth", list(names), taken.booth.language if taken.booth else "en",
        f"booth-language-{taken.key}", words=names.__getitem__,
    )  # fmt: skip
    network = kept() is not None
    usual = offered_address(str(st.context.url or ""), network=network)
    if network:
        usual = the_plant(desk()).booths_at or usual
    typed = st.text_input("Booths open at", usual, key=f"series-address-{taken.key}")
    try:
        address = booth_address(typed, network=network) if typed.strip() else "http://127.0.0.1"
    except ArgumentError as error:
        st.error(plain(str(error)))
        return
    words = "New link; the old one ends" if taken.booth else "Open booth"
    act(words, f"series-booth-{taken.key}-{taken.booth.token[:8] if taken.booth else ''}",
        partial(_opened, taken, language, address))  # fmt: skip


def _opened(taken: TakenSeries, language: str, address: str) -> None:
    _, token = open_series_booth(desk(), taken, language=language, who=acting())
    st.session_state[_key(taken)] = link_to(address, token)


@st.fragment(run_every=5.0)
def _watch(taken: TakenSeries) -> None:
    """Answers that came in meanwhile are shown."""
    now = desk().noun(TakenSeries, taken.key)
    if now is not None and now != taken:
        st.rerun()
