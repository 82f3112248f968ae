"""How many assessors for margins, from a scatter of the panel that is on record or typed."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..catalogue.kind import TestKind, in_words
from ..ratings.profile_plan import ProfilePlan, Scatter, profile_plan
from ..report.words import number, percent
from ..sessions.learned import Learned, learned_from, sessions_to_learn_from
from ..sessions.session import StoredSession
from .ask import asked
from .frame import desk, plain
from .parts import show_table

_NONE = (
    "There is no closed session with this test on record to learn the panel's scatter from. Type "
    "the two standard deviations of an earlier profile of this panel."
)
_EMPTY = "No margin yet. It is a decision of your plant, taken before tasting; nothing is proposed."


def margins_plan(kind: TestKind, people: int) -> dict[str, Any]:
    """Ask for scatter and margins, show the number; the settings for a session with this plan."""
    st.subheader("How many assessors for the margins?")
    earlier = sessions_to_learn_from(desk(), kind.key)
    if not earlier:
        st.info(_NONE)
    chosen = _earlier(earlier) if earlier else None
    known = _typed() if chosen is None else learned_from(desk(), chosen)
    if known is None:
        return {}
    margins = _margins(kind, known, chosen)
    left, right = st.columns(2)
    samples = left.number_input("Samples, with the reference", 2, 30, 2, key="plan-samples")
    replicates = right.number_input("Scores of each sample", 1, 10, 1, key="plan-replicates")
    if not margins:
        st.info(_EMPTY)
        return {}
    _shown(
        profile_plan(
            known.scatter, margins=margins, samples=int(samples), replicates=int(replicates)
        ),
        people,
        known,
    )
    return {} if chosen is None else {"attributes": "; ".join(margins), "margins": margins}


def _earlier(sessions: list[StoredSession]) -> StoredSession | None:
    """The session that the scatter is learned from; None where it is typed."""
    names = {each.id: f"{each.details.held_on} {each.details.title}".strip() for each in sessions}
    chosen = st.selectbox(
        "Scatter of the panel",
        [*names, ""],
        format_func=lambda key: names.get(key) or "type two standard deviations",
        key="plan-earlier",
    )
    return next((each for each in sessions if each.id == chosen), None)


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
    return Learned(scatter=scatter, margins={}, notes=())


def _margins(kind: TestKind, known: Learned, chosen: StoredSession | None) -> dict[str, float]:
    """The margins as typed; those agreed for the earlier session stand there first."""
    label = "Margins: one number for all, or 'sweet 1; sour 0.8'"
    key = f"plan-margins-{chosen.id if chosen else ''}"
    typed = st.text_input(label, value=in_words(known.margins), key=key, help=asked("margin"))
    return kind.margins({"attributes": "; ".join(map(str, known.scatter)), "margins": typed})


def _shown(plan: ProfilePlan, people: int, known: Learned) -> None:
    st.markdown(f"**{plan.says(people)}**")
    for note in known.notes:
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
        f"Chance and least significant difference are those of {max(people, 2)} assessors. The "
        "scatter is an estimate; a margin is kept with a risk of 5 % in each attribute."
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
