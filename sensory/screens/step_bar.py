"""The head of a session's pages: which session it is, and the bar of its steps."""

from __future__ import annotations

import streamlit as st

from ..catalogue.columns import filled_lines
from ..catalogue.tests import name_of_test
from ..sessions.session import StoredSession
from ..sessions.steps import FINDING, Standing, State, next_step, standing, steps_of
from .frame import address, desk, minute, page_of, plain, title_of
from .parts import way

SIGNS = {State.DONE: "✓", State.NOW: "▸", State.LATER: "○"}
TITLES = {"question": "Question", "serve": "Serving", "ballots": "Ballots", "finding": "Finding"}
_MARKS = "Marks"
"""What training has instead of a finding."""
_ONWARD = {
    "question": "To the question",
    "serve": "Plan serving",
    "ballots": "To the ballots",
    "finding": "To the finding",
}


def session_head(session: StoredSession, there: Standing | None = None) -> None:
    """Title, test and times of a session, and its steps as links: done, now, later.

    `there` is where its ballots stand, if that is known already.
    """
    lines = len(filled_lines(desk().cells(session.id)))
    if there is None and lines:
        there = standing(desk(), session.id)
    test = name_of_test(session.question)
    facts = [test, f"{session.question.assessors} planned", f"session {session.id[:8]}"]
    if session.agreed:
        facts.append(f"agreed {minute(session.agreed_at)}")
    st.markdown(f"**{title_of(session)}** · {plain(' · '.join(facts))}")
    training = session.question.training is not None
    answered = there.answered if there else None
    planned = (there.served or there.planned) if there else 0
    with st.container(key="step-bar", horizontal=True, gap="medium"):
        for step in steps_of(session, lines=lines, answered=answered, planned=planned):
            title = _MARKS if training and step.name == FINDING else TITLES[step.name]
            name = f"{SIGNS[step.state]} {title}"
            label = f"{name} {step.note}".strip()
            st.page_link(
                page_of(step.name),
                label=f"**{label}**" if step.state is State.NOW else label,
                query_params=address(step.name, session.id),
            )


def step_after(session: StoredSession) -> str:
    """Name of the step that is next for a session, as it stands on record now."""
    return next_step(desk(), desk().session(session.id))


def onward(session: StoredSession, key: str = "onward") -> None:
    """The one way on from a page: to the step that is next."""
    name = step_after(session)
    marks = session.question.training is not None and name == FINDING
    way("To the marks" if marks else _ONWARD[name], key, name, session.id)
