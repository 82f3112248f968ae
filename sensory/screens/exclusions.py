"""Before serving: the allergens of each sample, and who is not served what."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from ..catalogue.tests import find_kind
from ..panel.vocabulary_desk import asked_standards
from ..release.plant_desk import the_plant
from ..report.serving_sheets import ballots_pdf, labels_pdf, preparation_pdf
from ..serving.ballot_line import NOT_THIS_SAMPLE
from ..serving.cups import rows_to_serve, to_serve
from ..serving.plan import ServingPlan
from ..sessions.allergens import NONE, allergens_in, declared_allergens, served_samples, undeclared
from ..sessions.exclusions import (
    allergens_by_line,
    declare_allergens,
    exclude,
    excluded_samples,
)
from ..sessions.session import StoredSession
from .frame import desk, plain, shown_errors, who
from .parts import act, listed, scroll


def may_hand_out(session: StoredSession) -> bool:
    """Whether sheets and booths may be handed out: all is declared, or booths are open already."""
    booths = bool(session.serving and session.serving.booths)
    return session.closed or booths or not undeclared(session)


def before_serving(session: StoredSession, plan: ServingPlan) -> None:
    """The allergens of each sample, and who is not served which."""
    missing, called = undeclared(session), sample_labels(session)
    st.subheader("Before serving")
    if session.closed:
        _declared(session)
        return
    if missing:
        st.warning(
            "Sheets and booths wait: the allergens of each sample have to be declared first. "
            f"Missing: {plain(', '.join(called[sample] for sample in missing))}. "
            f"Where there are none, write '{NONE}'."
        )
    _telling(session, plan)
    with shown_errors():
        _declare(session, bool(missing))
    with shown_errors():
        _exclude(session, plan)


def sample_labels(session: StoredSession) -> dict[str, str]:
    """What each served sample is called on the page.

    Letters of a test of two samples, and the A of a method that has one, go with the name in
    the description of the session; without one, A is the reference, B the sample compared.
    """
    serving = find_kind(session.question.protocol).serving
    means = {"A": "reference"} if serving.compares_two or serving.has_a else {}
    means |= {"B": "sample compared"} if serving.compares_two else {}
    names = {sample.letter.strip(): sample.name.strip() for sample in session.details.samples}
    return {
        letter: f"{letter} ({names.get(letter) or means[letter]})" if letter in means else letter
        for letter in served_samples(session)
    }


def _telling(session: StoredSession, plan: ServingPlan) -> None:
    """Say so where the allergens themselves could tell samples apart, or name one."""
    declared = declared_allergens(session)
    texts = [text.casefold() for text in declared.values() if text]
    kind = find_kind(session.question.protocol)
    scored = {declared.get(row.sample, "").casefold() for row in plan.rows if row.scored} - {""}
    if kind.protocol is None and not kind.together and len(scored) > 1:
        st.info(
            "The samples do not all declare the same. A ballot shows the allergens of its own "
            "samples, so an assessor may tell by them which one it holds."
        )
    long = [name for name in declared if len(name) > 2]
    if named := [name for name in long if any(name.casefold() in text for text in texts)]:
        st.warning(
            "Assessors read the allergens, and there is the name of a sample in them: "
            f"{plain(', '.join(named))}."
        )


def _declared(session: StoredSession) -> dict[str, str]:
    declared, called = declared_allergens(session), sample_labels(session)
    listed(f"{called[name]}: {text or 'not declared'}" for name, text in declared.items())
    return declared


def _declare(session: StoredSession, missing: bool) -> None:
    declared, called = _declared(session), sample_labels(session)
    with st.expander("Declare the allergens of each sample", expanded=missing):
        typed = {
            name: st.text_input(
                plain(called[name]),
                value=text,
                placeholder=f"such as milk; sulphites. Or {NONE}",
                key=f"allergens-{session.id}-{at}",
            )
            for at, (name, text) in enumerate(declared.items())
        }
        declare = partial(declare_allergens, desk(), session.id, typed, who=who(session))
        act("Declare", "declare-allergens", declare, primary=missing)


def _exclude(session: StoredSession, plan: ServingPlan) -> None:
    here, excluded = session.id, excluded_samples(desk(), session.id)
    count = f": {', '.join(map(plain, excluded))}" if excluded else ""
    with st.expander(f"Not this sample, for an assessor{count}"):
        st.markdown("No reason is asked, and none is kept. Who is away today: see the live board.")
        person = st.selectbox("Assessor", plan.assessors, key=f"excluded-{here}")
        called = sample_labels(session)
        before = list(excluded.get(person, ()))
        state = "-".join(str(list(called).index(name)) for name in before)
        marked = st.multiselect(
            "Not for this assessor",
            list(called),
            default=before,
            format_func=lambda name: f"{NOT_THIS_SAMPLE}: {called[name]}",
            key=f"marked-{here}-{plan.assessors.index(person)}-{state}",
        )
        keep = partial(exclude, desk(), here, person, marked, who=who(session))
        act("Keep", "keep-excluded", keep, ready=set(marked) != set(before))
        if excluded:
            scroll(
                [
                    {"assessor": name}
                    | {label: NOT_THIS_SAMPLE * (key in barred) for key, label in called.items()}
                    for name, barred in excluded.items()
                ]
            )


def sheets_to_serve(session: StoredSession, plan: ServingPlan) -> dict[str, Callable[[], bytes]]:
    """Sheets without what is not served, with the allergens that were declared."""
    store = desk()
    cells = store.cells(session.id)
    rows = rows_to_serve(plan, cells, excluded_samples(store, session.id))
    declared, details = declared_allergens(session), session.details
    serving, question = session.serving, session.question
    breaks = serving.breaks if serving else None
    held = allergens_by_line(store, session.id)
    labels = the_plant(store).defaults.labels
    return {
        "Preparation": lambda: preparation_pdf(
            plan,
            details,
            rows=rows,
            allergens=declared,
            question=question,
            standards=asked_standards(store, question),
        ),
        "Labels": lambda: labels_pdf(plan, rows=rows, sheet=labels),
        "Paper ballots": lambda: ballots_pdf(
            to_serve(cells),
            question,
            details,
            serving.language if serving else "en",
            plan=plan,
            rows=rows,
            break_minutes=breaks.minutes if breaks else 0,
            allergens=held,
            warm_up_allergens=allergens_in(session, [plan.design.warm_up]),
            session=session.id[:8],
        ),
    }
