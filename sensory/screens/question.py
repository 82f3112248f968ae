"""The question and its risks: agreed here, then frozen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import streamlit as st

from ..base.results import several
from ..base.spelling import name_and_role
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, kinds, protocol_of
from ..choices.protocols import Protocol
from ..report.words import number, percent
from ..sessions.attempts import IN_TWO, planned_second
from ..sessions.care import Care, care_in_words
from ..sessions.finding import attempts_on_record
from ..sessions.open_points import OpenPoint, Part, counted, open_points
from ..sessions.session import Sample, StoredSession
from ..sessions.signing import Right
from ..sessions.workflow import (
    agree,
    describe,
    limit_as_dprime,
)
from .cautions import care_fields, cautions_fields
from .fields import (
    allergen_fields,
    details_form,
    field_key,
    level_field,
    merged,
    needed,
    text_field,
)
from .frame import chosen_session, current_frame, desk, go, minute, plain, shown_errors, who
from .limits import asked_again, limit_input
from .method_form import (
    method_panel,
    risks_panel,
    settings_agreed,
    settings_fields,
    vocabulary_field,
)
from .parts import act, choose, show_table
from .sign import typed_hand
from .step_bar import onward, session_head, step_after
from .training_session import show_training, training_question

_WHY = (
    ("what_changed", "What differs between the samples?"),
    ("decision", "What depends on the answer?"),
)
_ACTIONS = (
    ("if_different", "If different, we will"),
    ("if_beyond", "If beyond the limit, we will (empty: the same)"),
    ("if_similar", "If similar, we will"),
    ("if_undecided", "If the session cannot tell, we will"),
)
_RULES = (
    ("exclusion_rule", "Who is excluded, by which rule?"),
    ("retest_rule", "When is a retest allowed?"),
)
_TEXTS = (*_WHY, *_ACTIONS, *_RULES)


def page() -> None:
    """Show the question: to fill in, or frozen."""
    session = chosen_session()
    st.title("Question")
    session_head(session)
    left, right = st.columns([3, 2], gap="large")
    if session.agreed:
        with left:
            _frozen(session)
            _details_afterwards(session)
        with right:
            _panel(session.question)
            onward(session)
        return
    with left:
        points = open_points(session)
        question = _asked(session, points)
        cautions, care, samples = _safety(session, points)
        details = details_form(session, allergens=False)
        both = zip(details.samples, samples, strict=True)
        named = tuple(replace(sample, allergens=typed.allergens) for sample, typed in both)
        details = replace(details, care=care, samples=named)
    typed = replace(session, question=question, details=details, cautions=cautions)
    session = _saved(session, typed)
    if open_points(session) != points:
        st.rerun()  # the marks stand above what was typed just now
    with right:
        _panel(session.question)
        _agree(session)


def _panel(question: Question) -> None:
    kind = find_kind(question.protocol)
    if question.training is not None:
        return
    if kind.protocol and question.pd_limit is None:
        st.subheader("What this session can find")
        st.markdown("The chances are shown once a limit is given.")
    elif kind.protocol:
        risks_panel(question)
    else:
        method_panel(kind, question)


def _saved(session: StoredSession, typed: StoredSession) -> StoredSession:
    """Write what was typed in this window and nothing else; say when another one changed it."""
    key = f"shown-{session.id}"
    shown: StoredSession = st.session_state.get(key, session)
    touched = {
        name: met for name, met in typed.cautions.items() if shown.cautions.get(name) is not met
    }
    with shown_errors():
        session = describe(
            desk(),
            session.id,
            details=merged(session.details, shown.details, typed.details),
            question=merged(session.question, shown.question, typed.question),
            cautions=session.cautions | touched,
            who=who(typed),
        )
        # Only now: a run that is interrupted before must find the change again.
        st.session_state[key] = typed
    now = (session.details, session.question, session.cautions)
    if now != (typed.details, typed.question, typed.cautions):
        st.warning("This session was changed in another window. Reload the page to see it all.")
    return session


def _asked(session: StoredSession, points: Sequence[OpenPoint]) -> Question:
    if session.question.training is None:
        return _question(session, points)
    training_question(session, points)
    return session.question


def _question(session: StoredSession, points: Sequence[OpenPoint]) -> Question:
    with st.container(key="part-why"):
        st.subheader(Part.WHY)
        asked = _why(session, points)
    with st.container(key="part-how"):
        st.subheader(Part.HOW)
        return _how(session, asked, points)


def _why(session: StoredSession, points: Sequence[OpenPoint]) -> Question:
    """What is tasted and why, what will be done at each finding, and who decides."""
    texts: dict[str, Any] = {}
    st.text_input("Title", value=session.details.title, key=field_key(session, "title"))
    for fields in (_WHY, _ACTIONS[:2], _ACTIONS[2:], _RULES):
        for column, field in zip(st.columns(2), fields, strict=True):
            with column:
                texts |= _typed(session, [field])
                needed(points, field[0])
    left, right = st.columns(2)
    with left:
        leader = session.details.leader
        st.text_input("Panel leader", value=leader, key=field_key(session, "leader"))
        needed(points, "leader")
    with right:
        text_field(session, "decides", "Who decides (role)", session.details.decides)
        needed(points, "decides")
    return replace(session.question, **texts)


def _how(session: StoredSession, asked: Question, points: Sequence[OpenPoint]) -> Question:
    """The test, its number, its risks and its limit."""
    kind, planned = _test(session)
    letters = "" if kind.protocol else f" {kind.letters}"
    st.markdown(f"The ballot asks: *{kind.asks}* ({kind.standard}){letters}")
    if kind.protocol:
        asked = _attribute(session, asked, kind.protocol)
    left, right = st.columns(2)
    with left:
        alpha = level_field(session, "alpha")
    with right:
        beta = level_field(session, "beta") if kind.similarity else asked.beta
    asked = replace(asked, protocol=kind.key, assessors=planned, alpha=alpha, beta=beta)
    if kind.protocol:
        asked = replace(asked, pd_limit=limit_input(session, asked))
    else:
        asked = replace(
            asked,
            settings=settings_fields(session, kind),
            vocabulary=vocabulary_field(session, kind),
        )
    needed(points, "settings")
    return asked


def _typed(session: StoredSession, texts: Sequence[tuple[str, str]]) -> dict[str, Any]:
    asked = session.question
    return {name: text_field(session, name, label, getattr(asked, name)) for name, label in texts}


def _test(session: StoredSession) -> tuple[TestKind, int]:
    now = find_kind(session.question.protocol)
    names = [kind.name for kind in kinds() if bool(kind.protocol) is bool(now.protocol)]
    left, right = st.columns(2)
    chosen = choose("Test", names, now.name, field_key(session, "protocol"), place=left)
    label = f"{'Assessors' if find_kind(chosen).counts_people else 'Ballots'} planned"
    planned = right.number_input(
        label, 1, 5000, session.question.assessors, key=field_key(session, "assessors")
    )
    return find_kind(chosen), int(planned)


def _attribute(session: StoredSession, asked: Question, protocol: Protocol) -> Question:
    """The question with what only a test of a named attribute needs."""
    blank = replace(asked, attribute="", target="B", two_sided=False)
    if not protocol.asks_attribute:
        return blank
    key = field_key(session, "attribute")
    attribute = st.text_input("Attribute asked about", value=asked.attribute, key=key)
    if not protocol.takes_target:
        return replace(blank, attribute=attribute)
    choices = {
        "the sample compared (B), known beforehand": ("B", False),
        "the reference (A), known beforehand": ("A", False),
        "not known beforehand: two-sided": ("B", True),
    }
    sides = list(choices)[: 3 if protocol.reversible else 2]
    stated = (asked.target, asked.two_sided)
    now = next((words for words in sides if choices[words] == stated), sides[0])
    key = field_key(session, f"target-{len(sides)}")
    chosen = choose("Which sample is expected to have more of it?", sides, now, key)
    target, two_sided = choices[chosen]
    return replace(asked, attribute=attribute, target=target, two_sided=two_sided)


def _safety(
    session: StoredSession, points: Sequence[OpenPoint]
) -> tuple[dict[str, bool], Care, tuple[Sample, ...]]:
    """Clearance, substances and allergens, and the cautions to be answered with yes."""
    with st.container(key="part-safety"):
        st.subheader(Part.SAFETY)
        with st.container():
            care = care_fields(session)
            needed(points, "care")
        samples = allergen_fields(session)
        return cautions_fields(session, points), care, samples


def _details_afterwards(session: StoredSession) -> None:
    """What is known after tasting only: the question is frozen, the circumstances are not."""
    if session.closed:
        st.markdown("To change samples or serving now, open the ballots again on *Finding*.")
    else:
        _saved(session, replace(session, details=details_form(session)))


def _agree(session: StoredSession) -> None:
    st.subheader("Agree")
    points = open_points(session)
    if entered := len(desk().cells(session.id)):
        st.markdown(
            f"{several(entered, 'ballot')} entered already: the report will say that the record "
            "does not show a limit chosen before tasting."
        )
    if session.question.retest_rule == IN_TWO:
        st.info(
            "One of two tastings of a plan: the counts of the plan decide, on the page Batch. What "
            "stands here beside the question is for a session that is read alone."
        )
    earlier = attempts_on_record(desk(), session)
    if earlier and not planned_second(session, earlier):
        st.warning(
            f"{several(len(earlier), 'session')} on this batch with this test stand on record. "
            "This one will be shown as a further attempt, with its true risk."
        )
    dprime = session.question.settings.get("dprime_limit")
    if not (sure := asked_again(session, session.question, dprime)):
        st.markdown("May more than half of the assessors notice? Confirm the limit.")
    if points:
        st.markdown(f"**{counted(points)}.** Each is marked at its field.")
    frozen = "alpha, beta, the limit and the actions"
    if session.question.training is not None:
        frozen = "attributes, samples and targets"
    st.markdown(f"After this, {frozen} can no longer be changed.")
    signing = typed_hand(session.details.leader, Right.AGREE, role="panel leader")

    def freeze() -> None:
        if not points and sure:
            signing.put_on_record()
        agree(desk(), session.id, who=signing.name, how=signing.how)

    signs = signing.ready or current_frame().person is None  # else it is said why not
    label = "Agree and freeze the question"
    act(label, "agree", freeze, primary=True, ready=signs and sure, then=partial(_on, session))


def _on(session: StoredSession) -> None:
    go(step_after(session), session.id)


def _frozen(session: StoredSession) -> None:
    question = session.question
    kind = find_kind(question.protocol)
    agreed_by = plain(name_and_role(session.agreed_by, session.agreed_role))
    st.markdown(f"Agreed by {agreed_by} at {minute(session.agreed_at)}; frozen.")
    if question.training is not None:
        show_training(session)
        return
    rows = [
        ("title", session.details.title),
        ("test", kind.name),
        *((label, getattr(question, name)) for name, label in _TEXTS),
        ("alpha", number(question.alpha)),
        ("beta", number(question.beta)),
        *(_choice_agreed(question) if kind.protocol else settings_agreed(kind, question)),
        ("definitions", question.vocabulary.words if question.vocabulary else ""),
        (f"{'assessors' if kind.counts_people else 'ballots'} planned", str(question.assessors)),
        *((label.lower(), words) for label, words in care_in_words(session.details.care)),
        ("SHA-256", session.digest),
    ]
    show_table([{"": label, " ": plain(text)} for label, text in rows if text])


def _choice_agreed(question: Question) -> list[tuple[str, str]]:
    side = "not known beforehand, two-sided" if question.two_sided else f"sample {question.target}"
    limit = (
        f"{percent(question.limit, 1)} of assessors notice, d-prime "
        f"{number(limit_as_dprime(question))}"
    )
    return [
        ("attribute", question.attribute),
        ("more expected in", side if protocol_of(question.protocol).takes_target else ""),
        ("agreed limit", limit),
    ]
