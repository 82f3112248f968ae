"""What of a tasting can harm: cautions, clearance, substances, minors, adverse reactions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import streamlit as st

from ..serving.plan import ServingPlan
from ..sessions.care import ADULT, SUBSTANCES, SUSPICIONS, UNITS, Care, Substance, care_in_words
from ..sessions.minors import minors_of, state_adult, state_minor
from ..sessions.open_points import OpenPoint
from ..sessions.reactions import report_reaction, take_up, unwell
from ..sessions.servings import servings_of_the_day
from ..sessions.session import CAUTIONS, StoredSession
from ..sessions.signing import Right
from ..sessions.workflow import describe
from .batch_forms import recorded
from .fields import field_key, needed
from .frame import desk, minute, plain, shown_errors, who
from .parts import act, pressed, scroll
from .sign import hand

_NOTHING = "nothing of the kind"
_SIGNS = {
    "cleared": ("Cleared for tasting by", "Cleared on", "Record the clearance"),
    "smelling": ("Smelling allowed by food safety: who?", "Allowed on", "Record the permission"),
}
_ADULT, _FILED, _NOT_FILED = "of age", "a minor, consent on file", "a minor, no consent on file"


def cautions_fields(session: StoredSession, points: Sequence[OpenPoint]) -> dict[str, bool]:
    """The questions that have to be answered with yes, with the answers so far."""
    answers = {}
    for caution in CAUTIONS:
        before = session.cautions.get(caution.key)
        with st.container():  # a mark that goes moves no other field
            answer = st.radio(
                caution.asks,
                ["yes", "no"],
                index=None if before is None else int(not before),
                key=field_key(session, f"caution-{caution.key}"),
                horizontal=True,
                help=caution.advice,
            )
            if answer is not None:
                answers[caution.key] = answer == "yes"
            if answer == "no":
                st.warning(f"Not served. {caution.advice}")
            elif answer is None:
                needed(points, f"caution-{caution.key}")
    return answers


def care_fields(session: StoredSession) -> Care:
    """What the samples hold, and who cleared them; as it is typed."""
    care = session.details.care
    typed = _clearance(session, care)
    contains = _substances(session, care)
    most = care.most
    if contains:
        most = st.number_input(
            "Highest number of servings a person and day (empty: none agreed)",
            1, 500, care.most, key=field_key(session, "care-most"),
        )  # fmt: skip
    return replace(typed, contains=contains, most=None if most is None else int(most))


def _clearance(session: StoredSession, care: Care) -> Care:
    options = [_NOTHING, *SUSPICIONS]
    at = options.index(care.suspected) if care.suspected else 0
    key = field_key(session, "care-suspected")
    chosen = st.selectbox("Suspected in a sample", options, index=at, key=key)
    suspected = "" if chosen == _NOTHING else str(chosen)
    if suspected != care.suspected:
        care = care.suspect(suspected)
    if suspected:
        st.error(
            f"A {suspected} is suspected: these samples are **not tasted**. They may be smelled "
            "only where food safety allows it by name."
        )
    signed = [(label, words) for label, words in care_in_words(care)[:3:2] if words]
    for label, words in signed:
        st.markdown(f"{label}: {plain(words)}.")
    if not signed or st.checkbox("Clear anew", key=field_key(session, "care-anew")):
        _sign(session, care)
    return care


def _sign(session: StoredSession, care: Care) -> None:
    """Food safety clears the samples, or allows them to be smelled, in its own name."""
    name = "smelling" if care.suspected else "cleared"
    asks, day, button = _SIGNS[name]
    by_key, on_key = (field_key(session, f"care-{name}-{part}") for part in ("by", "on"))
    by = hand(asks, by_key, Right.CLEAR, role="food safety")
    chosen = st.date_input(day, value=date.today(), key=on_key)
    on = chosen.isoformat() if isinstance(chosen, date) else ""
    evidence = ""
    if not care.suspected:
        evidence = st.text_input(
            "What the clearance rests on",
            key=field_key(session, "care-evidence"),
            placeholder="such as: residue test passed",
        )
    if pressed(button, f"care-{name}", ready=by.ready and on):
        new = replace(care, cleared_by=by.name, cleared_on=on, evidence=evidence)
        if care.suspected:
            new = replace(care, smelling_by=by.name, smelling_on=on)
        with shown_errors():
            by.put_on_record()
            details = replace(session.details, care=new)
            describe(desk(), session.id, details=details, who=by.name, how=by.how)
            recorded(by_key, on_key, field_key(session, "care-evidence"))


def _substances(session: StoredSession, care: Care) -> tuple[Substance, ...]:
    known = {substance.kind: substance for substance in care.contains}
    chosen = st.multiselect(
        "The samples contain",
        list(SUBSTANCES),
        default=list(known),
        format_func=SUBSTANCES.__getitem__,
        key=field_key(session, "care-contains"),
        help="Assessors are warned before they consent, in the language of the ballots.",
    )
    return tuple(
        _substance(session, known.get(kind) or Substance(kind=kind))
        for kind in SUBSTANCES
        if kind in chosen
    )


def _substance(session: StoredSession, now: Substance) -> Substance:
    kind, name = now.kind, now.name
    if kind == "special":
        key = field_key(session, "care-special-name")
        label = "Name of the special ingredient, in the language of the ballots"
        name = st.text_input(label, value=name, key=key)
    left, right = st.columns(2)
    start: Any = now.amount
    label = f"{SUBSTANCES[kind].capitalize()} in one serving, {UNITS[kind]}"
    amount = left.number_input(
        label, 0.0, 1e6, start, key=field_key(session, f"care-{kind}-amount")
    )
    key = field_key(session, f"care-{kind}-age")
    age = right.number_input("Not below the age of", 1, 99, now.age, key=key)
    return Substance(kind=kind, name=name, amount=amount, age=int(age))


def reactions_panel(session: StoredSession) -> None:
    """One click for an adverse reaction; while one is open, who takes it up."""
    care = session.details.care
    if care.unwell:
        _take_up(session)
    elif care.stopped:
        st.error("This session was ended after an adverse reaction: nothing more is served.")
    report = partial(report_reaction, desk(), session.id, who=who(session))
    act("Somebody feels unwell", "report-reaction", report, ready=not care.unwell)


def _take_up(session: StoredSession) -> None:
    with st.container(border=True):
        for at, name in unwell(desk(), session):
            whom = plain(name) if name else "somebody"
            st.error(
                f"**Adverse reaction: {whom}, {minute(at)}.** Nothing more is served. Look after "
                "the person first; call the emergency number where it is serious."
            )
        here = session.id
        by = st.text_input("Taken up by", key=f"unwell-by-{here}")
        done = st.text_input(
            "What was done, without names and nothing about health",
            key=f"unwell-done-{here}",
            help="It stays in the journal. What the person felt belongs into the accident record.",
        )
        ends, goes = "The tasting ends", "The tasting goes on"
        then = st.radio("And then", [ends, goes], index=None, key=f"unwell-then-{here}")
        ready = by.strip() and done.strip() and then is not None
        take = partial(take_up, desk(), here, by=by, done=done, goes_on=then == goes)
        act("Take it up", "take-up", partial(take, who=who(session)), primary=True, ready=ready)


def minors_panel(session: StoredSession, plan: ServingPlan) -> None:
    """Who is a minor, and whether the guardian's consent is on file."""
    minors = minors_of(desk(), session.id)
    with st.expander(f"Minors: {len(minors)}", expanded=any(not on for on in minors.values())):
        if session.details.care.adults_only:
            st.markdown(f"Nobody below {ADULT} is served: the samples are for adults only.")
        for name, on in minors.items():
            words = f"consent of {on}" if on else "no consent on file, **not served**"
            st.markdown(f"- {plain(name)}: {words}")
        here = session.id
        person = st.selectbox("Assessor", plan.assessors, key=f"minor-{here}")
        choices = [_ADULT, _FILED, _NOT_FILED]
        state = st.radio("This assessor is", choices, index=None, key=f"minor-state-{here}")
        day = ""
        if state == _FILED:
            label = "Day of the guardian's consent"
            chosen = st.date_input(label, value=None, key=f"minor-on-{here}")
            day = chosen.isoformat() if isinstance(chosen, date) else ""
        ready = state is not None and (state != _FILED or day)
        if pressed("Record it", "minor-record", ready=ready):
            with shown_errors():
                by = who(session)
                if state == _ADULT:
                    state_adult(desk(), here, person, who=by)
                else:
                    state_minor(desk(), here, person, consent_on=day, who=by)
                st.rerun()


def servings_panel(session: StoredSession) -> None:
    """Servings a person here and today, with the amounts where they are stated."""
    care, people = session.details.care, servings_of_the_day(desk(), session.id)
    if not people:
        return
    most = max(person.today for person in people)
    above = [person.assessor for person in people if person.above]
    words = f"Servings today: up to {most} a person"
    with st.expander(words, expanded=bool(care.contains)):
        if above:
            st.error(f"More than {care.most} servings today: {plain(', '.join(above))}.")
        if care.contains:
            warned = ", ".join(substance.called for substance in care.contains)
            st.markdown(f"Assessors are warned of: {plain(warned)}.")
        scroll(
            [
                {"assessor": person.assessor, "this session": person.here, "today": person.today}
                | dict(person.amounts)
                for person in people
            ]
        )
