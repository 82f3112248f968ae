"""What is asked, and with which risks? Agreed here, then frozen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from ..base.records import CAUTIONS, Question, Sample, SessionDetails, StoredSession
from ..choices.risks import SessionRisks
from ..protocols import PROTOCOLS, find_protocol
from ..report.words import count_or_none, number, percent
from ..workflow import (
    agree,
    describe,
    limit_as_dprime,
    limit_from_dprime,
    missing_in_question,
    planned_risks,
    unmet_cautions,
)
from .frame import chosen_session, current_frame, go, shown_errors, who

_TEXTS = (
    ("what_changed", "What differs between the two samples?"),
    ("decision", "Which decision hangs on it?"),
    ("if_different", "If different, we will"),
    ("if_similar", "If similar, we will"),
    ("if_undecided", "If the session cannot tell, we will"),
    ("exclusion_rule", "Who is excluded, by which rule?"),
    ("retest_rule", "When is a retest allowed?"),
)


def page() -> None:
    """Show the question: to fill in, or frozen."""
    session = chosen_session()
    st.title("What is asked, and with which risks?")
    left, right = st.columns([3, 2], gap="large")
    if session.agreed:
        with left:
            _frozen(session)
        with right:
            _risks(session.question)
            if st.button("To the ballots", key="to-ballots", type="primary"):
                go("ballots")
        return
    with left:
        question = _question(session)
        cautions = _cautions(session)
        details = _details(session)
    with shown_errors():
        session = describe(
            current_frame().store,
            session.id,
            details=details,
            question=question,
            cautions=cautions,
            who=details.leader or who(session),
        )
    with right:
        _risks(question)
        _agree(session)


def _question(session: StoredSession) -> Question:
    asked = session.question
    st.text_input("Title", value=session.details.title, key=_key(session, "title"))
    texts: dict[str, Any] = {}
    for name, label in _TEXTS[:2]:
        texts[name] = _text(session, name, label, getattr(asked, name))
    names = [entry.name for entry in PROTOCOLS.values()]
    first, second = st.columns(2)
    with first:
        chosen = st.selectbox(
            "Test",
            names,
            index=names.index(find_protocol(asked.protocol).name),
            key=_key(session, "protocol"),
        )
        protocol = find_protocol(chosen)
    with second:
        assessors = st.number_input(
            "Ballots planned",
            min_value=1,
            max_value=5000,
            value=asked.assessors,
            key=_key(session, "assessors"),
        )
    st.markdown(f"The ballot asks: *{protocol.asks}* ({protocol.standard})")
    extra = _attribute(session, protocol.asks_attribute, protocol.takes_target)
    alpha, beta = _level(session, "alpha", "alpha"), _level(session, "beta", "beta")
    question = replace(asked, protocol=protocol.key, assessors=int(assessors), **texts, **extra)
    question = replace(question, alpha=alpha, beta=beta)
    question = replace(question, pd_limit=_limit(session, question))
    rest: dict[str, Any] = {}
    with st.expander("What will be done, and the rules", expanded=not asked.if_different):
        rest = {
            name: _text(session, name, label, getattr(asked, name)) for name, label in _TEXTS[2:]
        }
    return replace(question, **rest)


def _attribute(session: StoredSession, asks: bool, takes_target: bool) -> dict[str, Any]:
    """What only a test of a named attribute needs."""
    asked = session.question
    if not asks:
        return {"attribute": "", "target": "B", "two_sided": False}
    attribute = st.text_input(
        "Attribute asked about", value=asked.attribute, key=_key(session, "attribute")
    )
    if not takes_target:
        return {"attribute": attribute, "target": "B", "two_sided": False}
    choices = {
        "the sample compared (B), known beforehand": ("B", False),
        "the reference (A), known beforehand": ("A", False),
        "not known beforehand: two-sided": ("B", True),
    }
    now = list(choices.values()).index((asked.target, asked.two_sided))
    said = st.selectbox(
        "Which sample is expected to have more of it?",
        list(choices),
        index=now,
        key=_key(session, "target"),
    )
    target, two_sided = choices[said]
    return {"attribute": attribute, "target": target, "two_sided": two_sided}


def _level(session: StoredSession, name: str, label: str) -> float:
    meaning = {
        "alpha": "alpha: risk of finding a difference where there is none",
        "beta": "beta: risk of finding similarity where the difference is at the limit",
    }
    return float(
        st.number_input(
            meaning[label],
            min_value=0.001,
            max_value=0.5,
            step=0.01,
            format="%.3f",
            value=getattr(session.question, name),
            key=_key(session, name),
        )
    )


def _limit(session: StoredSession, question: Question) -> float:
    in_pd, in_dprime = "share of assessors who notice (this test only)", "d-prime (any test)"
    unit = st.radio(
        "The agreed limit is given as",
        [in_pd, in_dprime],
        key=_key(session, "unit"),
        horizontal=True,
    )
    if unit == in_pd:
        limit = st.number_input(
            "Agreed limit: share of assessors who may notice",
            min_value=0.01,
            max_value=0.99,
            step=0.05,
            format="%.3f",
            value=session.question.pd_limit,
            key=_key(session, "pd_limit"),
        )
        dprime = limit_as_dprime(replace(question, pd_limit=float(limit)))
        st.markdown(f"In this test that is a d-prime of {number(dprime)}.")
        return float(limit)
    dprime = st.number_input(
        "Agreed limit: d-prime",
        min_value=0.1,
        max_value=5.0,
        step=0.1,
        format="%.2f",
        value=round(limit_as_dprime(session.question), 2),
        key=_key(session, "dprime_limit"),
    )
    limit = limit_from_dprime(question.protocol, float(dprime))
    st.markdown(f"In this test that is {percent(limit, 1)} of assessors who notice.")
    return round(limit, 6)


def _cautions(session: StoredSession) -> dict[str, bool]:
    answers = {}
    unmet = unmet_cautions(session)
    with st.expander("Cautions before anybody tastes", expanded=bool(unmet)):
        for caution in CAUTIONS:
            before = session.cautions.get(caution.key)
            said = st.radio(
                caution.asks,
                ["yes", "no"],
                index=None if before is None else 0 if before else 1,
                key=_key(session, f"caution-{caution.key}"),
                horizontal=True,
                help=caution.advice,
            )
            if said is not None:
                answers[caution.key] = said == "yes"
            if said == "no":
                st.warning(f"Not served. {caution.advice}")
    return answers


def _details(session: StoredSession) -> SessionDetails:
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
            name: _text(session, f"details-{name}", label, getattr(details, name))
            for name, label in fields.items()
        }
    title = st.session_state.get(_key(session, "title"), details.title)
    leader = st.session_state.get(_key(session, "leader"), details.leader)
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
            name: _text(session, f"{sample.letter}-{name}", label, getattr(sample, name))
            for name, label in labels.items()
        },
    )


def _risks(question: Question) -> None:
    st.subheader("What this session can find")
    with shown_errors():
        risks = planned_risks(question)
        fair, wrong = st.columns(2)
        _chance(fair, "Fair pass", risks.fair_pass, "if nothing changed")
        _chance(wrong, "Wrong pass", risks.wrong_pass, "if the limit is reached")
        st.markdown(
            f"If nothing changed, the session shows similarity with a chance of "
            f"**{percent(risks.fair_pass, 1)}**. If {percent(question.pd_limit, 1)} of the "
            f"assessors can notice, it does so with a risk of **{percent(risks.wrong_pass, 1)}**, "
            f"and it finds the difference with a chance of **{percent(risks.power, 1)}**."
        )
        st.markdown(_counts(risks))


def _chance(column: Any, name: str, chance: float, when: str) -> None:
    with column, st.container(border=True):
        st.markdown(f"{name}\n## {percent(chance, 1)}\n{when}")


def _counts(risks: SessionRisks) -> str:
    words = (
        f"Of {risks.trials} answers, {count_or_none(risks.similar_count)} or fewer correct show "
        f"similarity and {count_or_none(risks.critical_count)} or more show a difference. "
    )
    if risks.deciding_size == risks.trials:
        return words + "Every outcome decides."
    if risks.deciding_size is None:
        return words + "No panel of a possible size would always decide at this limit."
    return words + (
        f"In between the session cannot tell; with **{risks.deciding_size} ballots** every "
        "outcome would decide."
    )


def _agree(session: StoredSession) -> None:
    st.subheader("Agree")
    st.text_input("Panel leader", value=session.details.leader, key=_key(session, "leader"))
    waiting = [*missing_in_question(session.question), *unmet_cautions(session)]
    if waiting:
        st.markdown("Still open:\n" + "\n".join(f"- {line}" for line in waiting))
    st.markdown("After this, alpha, beta, the limit and the actions can no longer be changed.")
    if st.button("Agree and freeze the question", key="agree", type="primary"):
        with shown_errors():
            agree(current_frame().store, session.id, who=session.details.leader)
            go("ballots")


def _frozen(session: StoredSession) -> None:
    question = session.question
    st.markdown(
        f"Agreed by {session.agreed_by} at {session.agreed_at[:16].replace('T', ' ')} UTC; frozen."
    )
    rows = [("title", session.details.title)]
    rows += [("test", find_protocol(question.protocol).name)]
    rows += [(label, getattr(question, name)) for name, label in _TEXTS]
    rows += [
        ("attribute", question.attribute),
        ("alpha", number(question.alpha)),
        ("beta", number(question.beta)),
        (
            "agreed limit",
            f"{percent(question.pd_limit, 1)} of assessors notice, d-prime "
            f"{number(limit_as_dprime(question))}",
        ),
        ("ballots planned", str(question.assessors)),
        ("SHA-256", session.digest),
    ]
    st.table([{"": label, " ": text} for label, text in rows if text], hide_index=True)


def _text(session: StoredSession, name: str, label: str, value: str) -> str:
    return str(st.text_input(label, value=value, key=_key(session, name)))


def _key(session: StoredSession, name: str) -> str:
    return f"q-{name}-{session.id}"
