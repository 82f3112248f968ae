"""Inputs that the question page is made of."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from ..catalogue.question import Question
from ..report.words import number, percent
from ..sessions.session import Sample, SessionDetails, StoredSession
from ..sessions.workflow import limit_as_dprime, limit_from_dprime


def text_field(session: StoredSession, name: str, label: str, value: str) -> str:
    """A text input whose value is the record's until it is edited."""
    return str(st.text_input(label, value=value, key=field_key(session, name)))


def field_key(session: StoredSession, name: str) -> str:
    """The key of an input: one a field and session."""
    return f"q-{name}-{session.id}"


def level_field(session: StoredSession, name: str) -> float:
    """alpha or beta, with what it means."""
    meaning = {
        "alpha": "alpha: risk of finding a difference where there is none",
        "beta": "beta: risk of finding similarity where the difference is at the limit",
    }
    return float(
        st.number_input(
            meaning[name],
            min_value=0.001,
            max_value=0.5,
            step=0.01,
            format="%.3f",
            value=getattr(session.question, name),
            key=field_key(session, name),
        )
    )


def limit_input(session: StoredSession, question: Question) -> float:
    """The agreed limit as a share of this test; carried over by d-prime when the test changes."""
    in_pd, in_dprime = "share of assessors who notice (this test only)", "d-prime (any test)"
    unit = st.radio(
        "The agreed limit is given as",
        [in_pd, in_dprime],
        key=field_key(session, "unit"),
        horizontal=True,
    )
    agreed = session.question
    limit, dprime = agreed.pd_limit, limit_as_dprime(agreed)
    if question.protocol != agreed.protocol:
        limit = round(limit_from_dprime(question.protocol, dprime), 6)
    if unit == in_pd:
        now = min(max(limit, 0.001), 0.999)
        typed = st.number_input(
            "Agreed limit: share of assessors who may notice, 0.30 for 30 %",
            min_value=0.001,
            max_value=0.999,
            step=0.05,
            format="%.3f",
            value=now,
            key=field_key(session, f"pd_limit-{question.protocol}"),
        )
        limit = limit if typed == now else float(typed)
    else:
        now = min(max(dprime, 0.01), 10.0)
        typed = st.number_input(
            "Agreed limit: d-prime",
            min_value=0.01,
            max_value=10.0,
            step=0.1,
            format="%.2f",
            value=now,
            key=field_key(session, f"dprime_limit-{question.protocol}"),
        )
        if typed != now:
            limit = round(limit_from_dprime(question.protocol, float(typed)), 6)
    dprime = limit_as_dprime(replace(question, pd_limit=limit))
    st.markdown(
        f"In this test {percent(limit, 1)} of assessors who notice is a d-prime of "
        f"{number(dprime)}."
    )
    return limit


def details_form(session: StoredSession) -> SessionDetails:
    """Samples and circumstances, for the report."""
    details = session.details
    with st.expander("Samples and serving, for the report"):
        columns = st.columns(2)
        samples = []
        for column, sample in zip(columns, details.samples, strict=True):
            with column:
                role = "reference" if sample.letter == "A" else "sample compared"
                st.markdown(f"**{sample.letter}: {role}**")
                samples.append(_sample(session, sample))
        fields = {
            "held_on": "Tasted on",
            "place": "Place",
            "assessors": "Assessors: experience",
            "information": "What assessors were told",
            "conditions": "Conditions of serving",
            "deviations": "Deviations from the standard",
            "decides": "Who decides (role)",
        }
        typed: dict[str, Any] = {
            name: text_field(session, f"details-{name}", label, getattr(details, name))
            for name, label in fields.items()
        }
    title = st.session_state.get(field_key(session, "title"), details.title)
    leader = st.session_state.get(field_key(session, "leader"), details.leader)
    return replace(details, title=title, leader=leader, samples=tuple(samples), **typed)


def _sample(session: StoredSession, sample: Sample) -> Sample:
    labels = {
        "name": "Name",
        "batch": "Batch",
        "made_on": "Made on",
        "storage": "Storage",
        "preparation": "Portion, vessel, temperature",
        "allergens": "Allergens",
    }
    return replace(
        sample,
        **{
            name: text_field(session, f"{sample.letter}-{name}", label, getattr(sample, name))
            for name, label in labels.items()
        },
    )
