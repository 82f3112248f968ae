"""Inputs that the question page is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

import streamlit as st

from ..catalogue.question import Question
from ..sessions.open_points import OpenPoint
from ..sessions.session import Sample, SessionDetails, StoredSession
from .ask import asked
from .frame import plain

_OF_SAMPLE = {
    "name": "Name",
    "batch": "Batch",
    "made_on": "Made on",
    "storage": "Storage",
    "preparation": "Portion, vessel, temperature",
    "allergens": "Allergens",
}
_MARKED = "allergens"
_OF_DETAILS = {
    "held_on": "Tasted on",
    "place": "Place",
    "assessors": "Assessors: experience",
    "information": "What assessors were told",
    "conditions": "Conditions of serving",
    "deviations": "Deviations from the standard",
}
Record = TypeVar("Record", Sample, SessionDetails)


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
    now, key, what = getattr(session.question, name), field_key(session, name), asked(name)
    typed = st.number_input(meaning[name], 0.001, 0.5, now, 0.01, "%.3f", key=key, help=what)
    return float(typed)


def needed(points: Sequence[OpenPoint], field: str) -> None:
    """What is still open, at the field that answers it."""
    for point in points:
        if point.field == field:
            st.markdown(f":orange-background[▲ missing] {plain(point.says)}")


def allergen_fields(session: StoredSession) -> tuple[Sample, ...]:
    """The allergens of the samples; Serving takes them from here."""
    samples, columns = [], st.columns(2)
    for at, sample in enumerate(session.details.samples):
        label = f"Allergens in {_called(session, sample)} ('none' if none)"
        with columns[at % 2]:
            allergens = text_field(session, f"{sample.letter}-allergens", label, sample.allergens)
        samples.append(replace(sample, allergens=allergens))
    return tuple(samples)


def details_form(session: StoredSession, *, allergens: bool = True) -> SessionDetails:
    """Samples and circumstances, for the report; `allergens`: whether they are asked for here."""
    details = session.details
    of_sample = {name: label for name, label in _OF_SAMPLE.items() if allergens or name != _MARKED}
    with st.expander("Samples and serving, for the report"):
        samples, columns = [], st.columns(2)
        for at, sample in enumerate(details.samples):
            with columns[at % 2]:
                st.markdown(f"**{plain(_called(session, sample))}**")
                samples.append(_edited(session, sample, f"{sample.letter}-", of_sample))
        edited = _edited(session, details, "details-", _OF_DETAILS)
    title = st.session_state.get(field_key(session, "title"), details.title)
    leader = st.session_state.get(field_key(session, "leader"), details.leader)
    decides = st.session_state.get(field_key(session, "decides"), details.decides)
    return replace(edited, title=title, leader=leader, decides=decides, samples=tuple(samples))


def _called(session: StoredSession, sample: Sample) -> str:
    """The letter of a sample and what it is; in training its name."""
    if session.question.training is not None:
        return f"{sample.letter}, {sample.name}"
    return f"{sample.letter}, {'reference' if sample.letter == 'A' else 'sample compared'}"


def _edited(session: StoredSession, record: Record, stem: str, labels: dict[str, str]) -> Record:
    texts: dict[str, Any] = {
        name: text_field(session, f"{stem}{name}", label, getattr(record, name))
        for name, label in labels.items()
    }
    return replace(record, **texts)


Stored = TypeVar("Stored", SessionDetails, Question)


def merged(stored: Stored, shown: Stored, typed: Stored) -> Stored:
    """The record as it is stored, with the fields that this window changed since it last drew them:
    of two windows on one session each writes only what was typed in it."""
    touched = {
        entry.name: getattr(typed, entry.name)
        for entry in fields(typed)
        if getattr(typed, entry.name) != getattr(shown, entry.name)
    }
    return replace(stored, **touched)
