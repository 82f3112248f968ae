"""A training session on its own pages: its question, and the marks as they come in."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from ..panel.training_desk import the_training_rule
from ..panel.training_spread import Spread, spreads
from ..release.tastings import reopen_and_note
from ..report.training_figures import marks_figure
from ..sessions.open_points import OpenPoint
from ..sessions.outcomes import check_ballots
from ..sessions.session import StoredSession
from ..sessions.trained import trained_of, training_of
from .fields import field_key, needed
from .frame import desk, go, plain, who
from .parts import act, listed, show_figure, show_table, way


def training_question(session: StoredSession, points: Sequence[OpenPoint]) -> None:
    """What is trained, to be looked through before it is agreed; title and leader are typed."""
    details = session.details
    st.text_input("Title", value=details.title, key=field_key(session, "title"))
    st.text_input("Panel leader", value=details.leader, key=field_key(session, "leader"))
    needed(points, "leader")
    show_training(session)
    needed(points, "settings")


def show_training(session: StoredSession) -> None:
    """Attributes, samples and targets of a training session."""
    question, training = session.question, training_of(session)
    rows = [
        ("attributes", str(question.settings.get("attributes", ""))),
        ("samples", str(question.settings.get("samples", ""))),
        ("definitions", question.vocabulary.words if question.vocabulary else "none"),
        ("ballots planned", str(question.assessors)),
    ]
    st.markdown("**Training:** nothing of this session counts as a result.")
    show_table([{"": label, " ": plain(text)} for label, text in rows])
    if not training.targets:
        st.markdown("No target is agreed: each assessor sees the range of the others.")
        return
    show_table(
        [
            {
                "sample": plain(each.sample),
                "attribute": plain(each.attribute),
                "target": f"{each.intensity:g}",
                "accepted": f"{each.low:g} to {each.high:g}",
            }
            for each in training.targets
        ]
    )


def marks_part(session: StoredSession) -> None:
    """Who still spreads, sample by sample, with a picture for each attribute."""
    cells = desk().cells(session.id)
    trained = trained_of(session, check_ballots(cells, session.question))
    if not trained.samples:
        st.markdown("No mark has come in yet.")
        return
    rule = the_training_rule(desk())
    spread = spreads(trained, rule)
    away = [line for each in spread if (line := _away(each))]
    st.subheader("Who still spreads?")
    listed(away or ["Nobody is to be named so far."])
    for attribute in dict.fromkeys(each.attribute for each in spread):
        own = [each for each in spread if each.attribute == attribute]
        words = "; ".join(
            f"{each.sample}: marks from {each.lowest:g} to {each.highest:g}" for each in own
        )
        show_figure(f"marks-{attribute}", marks_figure(trained, attribute), words)
    st.markdown(
        "Band: accepted range; upright: target. Without a target somebody is named whose mean "
        f"lies more than {100 * rule.agreement:g} % of the scale from the mean of the others, once "
        "two others have marked the sample."
    )
    with st.expander("All numbers"):
        show_table([_row(each) for each in spread])


def _away(each: Spread) -> str:
    """Who lies outside on a sample; empty for nobody."""
    if not each.away:
        return ""
    names = ", ".join(f"{name} ({mean:.1f})" for name, mean in each.away)
    beside = f"target {each.target:g}" if each.target is not None else f"mean {each.mean:.1f}"
    return f"{each.attribute}, {each.sample} ({beside}): {names}."


def _row(each: Spread) -> dict[str, str]:
    return {
        "attribute": plain(each.attribute),
        "sample": plain(each.sample),
        "marks": str(each.marks),
        "mean": f"{each.mean:.2f}",
        "range": f"{each.lowest:g} to {each.highest:g}",
        "target": "" if each.target is None else f"{each.target:g}",
    }


def closed_training(session: StoredSession) -> None:
    """The marks of a closed training session, the way to the learning curve, and back."""
    st.markdown("**Training:** nothing of this session counts as a result.")
    way("To the learning curve", "to-progress", "training")
    marks_part(session)
    with st.expander("Reopen the ballots"):
        why = st.text_input("Reason", key=f"why-{session.id}")
        reopen = partial(reopen_and_note, desk(), session.id, who=who(session), why=why)
        act("Reopen ballots", "reopen", reopen, then=partial(go, "ballots"))
