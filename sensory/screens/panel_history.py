"""Who of the panel needs attention, and one assessor in pictures, from the sessions on record."""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache
from operator import is_

import pandas as pd
import streamlit as st

from ..base.languages import languages
from ..base.records import digest_of, utc_now
from ..base.results import several
from ..base.spelling import same_person
from ..panel.attention import NAMED_WITHOUT_CAUSE, SOUND_YEARS, Attention, attention
from ..panel.feedback import FeedbackSheets, feedback
from ..panel.history import history
from ..panel.months import own_dprime, own_repeatability, reproducibility, smallest_now
from ..report.panel_figures import (
    correlation_chart,
    dprime_chart,
    own_lines,
    repeatability_chart,
)
from ..sessions.sitting import ABSENT, Sitting
from ..store.repository import Repository
from .frame import current_frame, desk, plain
from .line_graders import graders_part
from .parts import choose, download, listed, show_figure
from .worker import pdf_of

CHOSEN = "assessor"
_PERIODS = {"12 months": 365, "3 months": 91, "all sessions": 0}
_USUAL = "12 months"
_OFTEN_AWAY, _FEWEST_AWAY = 1 / 3, 3
"""Share of sittings missed, and how many at least, from which on it is told: common practice."""


def looked_at() -> Attention:
    """The panel of the chosen period; read anew when anything was written, and worked out anew
    when a sitting of it was."""
    since = _since(str(st.session_state.get("panel-period") or _USUAL))
    newest = desk().newest()
    return _attention(desk(), current_frame().place, newest.sha256 if newest else "", since)


def work_out(store: Repository) -> None:
    """Work the usual period out beforehand; the next look at the page finds it."""
    _judged(_Same(store.sittings(since=_since(_USUAL))))


def _since(period: str) -> str:
    days = _PERIODS[period]
    return (date.today() - timedelta(days=days)).isoformat() if days else ""


@st.cache_resource(max_entries=8, show_spinner=False)
def _attention(_store: Repository, place: str, newest: str, since: str) -> Attention:
    """What depends on the record, its newest entry and the period only."""
    return _judged(_Same(_store.sittings(since=since)))


class _Same:
    """Sittings that equal no others, even if they say the same: told apart without reading."""

    def __init__(self, sittings: list[Sitting]):
        self.sittings = sittings

    def __hash__(self) -> int:
        return hash(tuple(map(id, self.sittings)))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Same) or len(self.sittings) != len(other.sittings):
            return False
        return all(map(is_, self.sittings, other.sittings))


@lru_cache(maxsize=8)
def _judged(these: _Same) -> Attention:
    """Most of what is written touches no sitting: the record hands out the very same again."""
    return attention(history(these.sittings))


def token_of(name: str) -> str:
    """What stands in the address instead of a name."""
    return digest_of(same_person(name))[:16]


def chosen_assessor(panel: Attention) -> str:
    """The assessor in the address; empty for none."""
    asked = st.query_params.get(CHOSEN)
    names = {token_of(name): name for name in panel.past.names}
    return names.get(str(asked), "") if asked else ""


def attention_part(panel: Attention) -> None:
    """Who needs attention and why, then the assessors as a table, then the panel itself."""
    past = panel.past
    if not past.names:
        return
    st.subheader("Who needs attention?")
    choose("Period", list(_PERIODS), "12 months", "panel-period")
    away = _often_away(past.attendance)
    if panel.says() or away:
        for sentence in panel.says():
            st.warning(plain(sentence))
        listed(away)
    else:
        st.markdown("Nobody stands out.")
    st.markdown(
        f"{several(len(past.names), 'assessor')}, {several(len(past.sittings), 'session')}. "
        f"The rule is laid out for a chance of {100 * panel.alpha:g} % in a year of monthly looks "
        f"that anybody is named without cause; in {NAMED_WITHOUT_CAUSE} of {SOUND_YEARS} simulated "
        "years of a sound panel of ten somebody was. "
        "Judged only where the panel discriminates; who is not named is not shown to be steady."
    )
    _open(panel)
    with st.expander("The assessors in numbers"):
        st.dataframe(_numbers(panel), hide_index=True, width="stretch")
    with st.expander("What this panel can see"):
        _panel_itself(panel)
    graders_part(panel.past.sittings)


def _often_away(attendance: pd.DataFrame) -> list[str]:
    rows = attendance[
        (attendance["absent"] >= _FEWEST_AWAY)
        & (attendance["absent"] > _OFTEN_AWAY * attendance["expected"])
    ]
    return [
        f"{row['assessor']} came to {row['came']} of {row['expected']} sessions."
        for row in rows.to_dict("records")
    ]


def _open(panel: Attention) -> None:
    names = sorted(panel.past.names, key=str.casefold)
    chosen = st.selectbox(
        "Look at one assessor", names, index=None, key="assessor-open", placeholder="name"
    )
    if chosen:
        st.query_params[CHOSEN] = token_of(chosen)
        st.rerun()


def _numbers(panel: Attention) -> pd.DataFrame:
    """An assessor a row; shrunken estimates with their limits."""
    table = panel.past.attendance.set_index("assessor")[["came", "absent", "late"]]
    if panel.choices is not None:
        choices = panel.choices.assessors.set_index("assessor")
        table["times the panel's d'"] = choices.apply(_with_limits, axis=1)
    scored = panel.scored.assessors
    if len(scored):
        by_name = scored.groupby("assessor")
        table["points per panel point"] = by_name["estimate"].median().round(2)
        table["scatter against the others"] = by_name["ratio"].median().round(2)
    named = panel.reasons.groupby("assessor")["reason"].agg(lambda each: ", ".join(set(each)))
    table["needs attention"] = named
    return table.fillna("").reset_index()


def _with_limits(row: pd.Series) -> str:
    if pd.isna(row["estimate"]):
        return ""
    return f"{row['estimate']:.2f} ({row['low']:.2f} to {row['high']:.2f})"


def _panel_itself(panel: Attention) -> None:
    """Smallest differences now, and the panel's own reproducibility."""
    now = smallest_now(panel.past)
    if now.empty:
        st.markdown("No profile or difference from control with replicates in this period.")
        return
    st.markdown(
        "Smallest difference from the reference that a session of this panel shows with 80 % "
        "power, over its latest sessions. *Plan* offers the scatter behind it."
    )
    shown = now.rename(
        columns={
            "estimate": "smallest difference",
            "interaction": "sd assessor x sample",
            "error": "sd of replicates",
        }
    )
    st.dataframe(shown.round(2), hide_index=True, width="stretch")
    if not st.toggle("Reproducibility over the months", key="panel-months"):
        return
    result = reproducibility(panel.past)
    if result.months.empty:
        st.markdown("Too few scores a month for an intraclass correlation.")
        return
    words = "Intraclass correlation of the panel's mean by month and attribute, with 95 % limits."
    show_figure("chart-correlation", correlation_chart(result), words, "content")
    st.dataframe(result.summary(), hide_index=True, width="stretch")
    if len(result.control):
        st.markdown("Panel mean of the reference, and its scatter between sessions:")
        st.dataframe(result.control.round(2), hide_index=True, width="stretch")


def one_assessor(panel: Attention, name: str) -> None:
    """One assessor in three pictures."""
    if st.button("Back to the panel", key="assessor-back"):
        st.query_params.pop(CHOSEN, None)
        st.session_state.pop("assessor-open", None)
        st.rerun()
    st.subheader(plain(name))
    sentences = panel.of(name)
    for sentence in sentences:
        st.warning(plain(sentence))
    row = panel.past.attendance.set_index("assessor").loc[name]
    late = f", {row['late']} of them late" if row["late"] else ""
    st.markdown(f"Came to {row['came']} of {row['expected']} sessions{late}.")
    if not sentences:
        st.markdown("Nothing stands out; with few sessions that says little.")
    if change := panel.scored.lately(name):
        st.markdown(change)
    left, right = st.columns(2, gap="large")
    with left:
        _dprime(panel, name)
    with right:
        _repeatability(panel, name)
    _lines(panel, name)
    _feedback(panel, name)


def _feedback(panel: Attention, name: str) -> None:
    """The sheet of this assessor for one session: own answers beside the panel's."""
    sessions = [
        each for each in panel.past.of(name)[::-1] if each.came[_place(each, name)] != ABSENT
    ]
    if not sessions or name.startswith("erased "):
        return
    st.markdown("**Feedback sheet**")
    left, right = st.columns(2)
    known = {each.session: f"{each.held_on} {each.title}".strip() for each in sessions}
    with left:
        key = choose("Session", list(known), "", "feedback-session", words=known.__getitem__)
    with right:
        names = languages()
        language = choose("Language", list(names), "en", "feedback-language",
                          words=names.__getitem__)  # fmt: skip

    def sheet() -> bytes:
        own = feedback(desk().session(key), desk().sitting(key), name, language=language)
        return pdf_of(FeedbackSheets(sheets=(own,), printed_at=utc_now()))

    download("Feedback sheet, PDF", sheet, f"feedback-{key[:8]}.pdf", "feedback-one")


def _place(sitting: Sitting, name: str) -> int:
    return list(map(same_person, sitting.assessors)).index(same_person(name))


def _dprime(panel: Attention, name: str) -> None:
    st.markdown("**Forced choice: own d' over time**")
    frame = own_dprime(panel.choices, name) if panel.choices is not None else None
    if frame is None or frame.empty:
        st.markdown("No session in which the others discriminated.")
        return
    words = "; ".join(
        f"{r['month']}: own {r['estimate']:.1f}, panel {r['panel']:.1f}"
        for r in frame.to_dict("records")
    )
    show_figure("chart-dprime", dprime_chart(frame), words)
    st.markdown("Drawn towards the panel where a month holds few answers; bars are 95 % limits.")


def _repeatability(panel: Attention, name: str) -> None:
    st.markdown("**Scores: own repeatability**")
    frame = own_repeatability(panel.past, name)
    if frame.empty:
        st.markdown("No session with replicates.")
        return
    out = int(frame["out"].sum())
    words = f"{several(len(frame), 'session')}, {out} beyond the limit."
    show_figure("chart-repeatability", repeatability_chart(frame), words)
    st.markdown(
        f"{words} Dashed: limit from the own earlier sessions, crossed by chance about once in 400."
    )


def _lines(panel: Attention, name: str) -> None:
    rated = [each for each in panel.past.of(name) if each.attributes]
    if not rated:
        return
    st.markdown("**Own means over the panel's**")
    latest = rated[::-1]
    key = choose(
        "Session",
        [each.session for each in latest],
        latest[0].session,
        "assessor-sitting",
        words={each.session: f"{each.held_on} {each.title}".strip() for each in latest}.__getitem__,
    )
    sitting = next(each for each in latest if each.session == key)
    places = st.columns(3)
    for at, (attribute, chart) in enumerate(own_lines(sitting, name).items()):
        with places[at % 3]:
            words = f"{attribute}: own mean and the mean of the others for each sample."
            show_figure(f"chart-own-lines-{at}", chart, words)
