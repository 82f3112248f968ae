"""How many assessors for margins, from a scatter of the panel that is on record or typed."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..catalogue.kind import TestKind
from ..catalogue.typed_lists import in_words
from ..panel.history import history
from ..panel.months import scatter_now
from ..ratings.profile_plan import ProfilePlan, profile_plan
from ..ratings.scatter import PanelScatter, Scatter
from ..report.words import number, percent
from ..sessions.learned import Learned, learned_from, sessions_to_learn_from
from ..sessions.session import StoredSession
from .ask import asked
from .frame import desk, plain
from .offered_sessions import offered_sessions
from .parts import show_table

_NONE = (
    "There is no closed session with this test on record to learn the panel's scatter from. Type "
    "the two standard deviations of an earlier profile of this panel."
)
_PANEL = "panel"
_EMPTY = "No margin yet. It is a decision of your plant, taken before tasting; nothing is proposed."


def margins_plan(kind: TestKind, people: int) -> dict[str, Any]:
    """Ask for scatter and margins, show the number; the settings for a session with this plan."""
    st.subheader("How many assessors for the margins?")
    earlier = sessions_to_learn_from(desk(), kind.key)
    panel = _of_panel(kind)
    if not earlier and panel is None:
        st.info(_NONE)
    earlier = offered_sessions(earlier, "plan-earlier")
    key = _earlier(earlier, panel is not None) if earlier or panel else ""
    chosen = next((each for each in earlier if each.id == key), None)
    known = panel if key == _PANEL else _learned(chosen)
    if known is None:
        return {}
    margins = _margins(kind, known, key)
    left, right = st.columns(2)
    samples = left.number_input("Samples, with the reference", 2, 30, 2, key="plan-samples")
    replicates = right.number_input("Scores of each sample", 1, 10, 1, key="plan-replicates")
    if not margins:
        st.info(_EMPTY)
        return {}
    numbers = {"samples": int(samples), "replicates": int(replicates)}
    _shown(profile_plan(known.panel, margins=margins, **numbers), people)
    return {} if not key else {"attributes": "; ".join(margins), "margins": margins}


def _learned(chosen: StoredSession | None) -> Learned | None:
    return _typed() if chosen is None else learned_from(desk(), chosen)


def _of_panel(kind: TestKind) -> Learned | None:
    """What the latest sessions together know of the panel's scatter; None where nothing is."""
    of_test = [each for each in desk().sittings() if each.test == kind.key]
    panel = scatter_now(history(of_test))
    return Learned(panel=panel, margins={}) if panel.scatter else None


def _earlier(sessions: list[StoredSession], panel: bool) -> str:
    """From what the scatter is learned: a session, the panel, or nothing where it is typed."""
    names = {each.id: f"{each.details.held_on} {each.details.title}".strip() for each in sessions}
    names |= {_PANEL: "the panel, over its latest sessions"} if panel else {}
    return str(
        st.selectbox(
            "Scatter of the panel",
            [*names, ""],
            format_func=lambda key: names.get(key) or "type two standard deviations",
            key="plan-earlier",
        )
    )


def _typed() -> Learned | None:
    """The two standard deviations as typed, alike for every attribute; None while one is empty."""
    first, second, third = st.columns(3)
    interaction = first.number_input(
        "Assessor x sample: standard deviation, in points", 0.0, 1e6, None, key="plan-interaction"
    )
    error = second.number_input(
        "Repeatability: standard deviation, in points", 0.0, 1e6, None, key="plan-error"
    )
    many = int(third.number_input("Attributes", 1, 100, 1, key="plan-attributes"))
    if interaction is None or error is None:
        return None
    names = [f"attribute {place}" for place in range(1, many + 1)]
    scatter: Scatter = dict.fromkeys(names, (float(interaction), float(error)))
    return Learned(panel=PanelScatter(scatter=scatter), margins={})


def _margins(kind: TestKind, known: Learned, learned: str) -> dict[str, float]:
    """The margins as typed; those agreed for the earlier session stand there first."""
    label = "Margins: one number for all, or 'sweet 1; sour 0.8'"
    key = f"plan-margins-{learned}"
    typed = st.text_input(label, value=in_words(known.margins), key=key, help=asked("margin"))
    return kind.margins({"attributes": "; ".join(map(str, known.panel.scatter)), "margins": typed})


def _shown(plan: ProfilePlan, people: int) -> None:
    st.markdown(f"**{plan.says(people)}**")
    for note in plan.notes:
        st.markdown(plain(note))
    show_table(
        [
            {
                "attribute": plain(str(row["attribute"])),
                "margin": number(row["margin"]),
                "assessors for it alone": number(row["alone"]) or "more than 2,000",
                "chance": percent(float(row["chance"] or 0.0)),
                "least difference (Dunnett)": number(row["dunnett"]),
                "(Tukey)": number(row["tukey"]),
            }
            for row in plan.summary(max(people, 2)).records()
        ]
    )
    st.markdown(
        f"Chance and least significant difference are those of {max(people, 2)} assessors, by the "
        "scatter as estimated; a margin is kept with a risk of 5 % in each attribute."
    )
    with st.expander("With more or fewer scores of each sample"):
        show_table(
            [
                {
                    "scores of each sample": number(times),
                    "assessors": number(size) or "more than 2,000",
                    "servings of each sample": number(servings),
                }
                for times, size, servings in plan.by_replicates().rows
            ]
        )
