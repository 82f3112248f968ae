"""What to serve to whom, under which code: the plan, its checklist, sheets, booths and board."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from ..base.languages import languages
from ..base.results import several
from ..catalogue.tests import find_kind
from ..panel.vocabulary_desk import asked_standards
from ..release.plant_desk import the_plant
from ..report.serving_sheets import key_pdf
from ..serving.chance import new_seed
from ..serving.lines import ballot_lines
from ..serving.plan import ServingPlan
from ..serving.planning import serving_plan
from ..sessions.booth_plans import (
    FINISH,
    plan_again,
    serve,
    served_plan,
    to_be_planned_again,
    was_tasted,
)
from ..sessions.booth_sittings import done_with, next_sitting, not_done_with, start_sitting
from ..sessions.session import StoredSession
from ..sessions.steps import Way
from .arrangement import arrangement_fields, other_than_agreed
from .board import absence_panel, show_board, show_checklist
from .booth_links import booths_panel
from .cautions import minors_panel, reactions_panel, servings_panel
from .exclusions import before_serving, may_hand_out, sheets_to_serve
from .frame import chosen_session, desk, plain, shown_errors, who
from .inviting import with_invited
from .parts import act, choose, download, scroll, way
from .served import after_serving
from .step_bar import onward, session_head


def page() -> None:
    """Plan the serving of the chosen session, then hand out what it needs."""
    session = chosen_session()
    st.title("Serving")
    session_head(session)
    if not session.agreed:
        st.info("The question comes first: agree it, then plan the serving.")
        onward(session)
        return
    with shown_errors():
        plan = served_plan(desk(), session.id)
        if plan is None:
            _make(session)
        else:
            _hand_out(session, plan)


def _make(session: StoredSession) -> None:
    here, question = session.id, session.question
    kind = find_kind(question.protocol)
    if desk().cells(here):
        st.info(
            "This session has ballots already, typed or loaded: it needs no serving plan. A plan "
            "belongs into a new session, before anything is tasted."
        )
        onward(session)
        return
    st.markdown(
        "A plan balances orders and codes, prints the sheets and opens booths. Ballots on paper "
        "can also be typed without one."
    )
    left, right = st.columns(2, gap="large")
    with left:
        label, planned = "Assessors, one a line (or only how many)", str(question.assessors)
        typed = _names(st.text_area(label, value=planned, key=f"people-{here}"))
        people = with_invited(session, typed)
        samples = _samples(session)
        replicates = int(st.number_input("How often each", 1, 10, 1, key=f"times-{here}"))
    with right:
        known, (usual, *_) = languages(), the_plant(desk()).defaults.languages
        languages_here = list(known)
        key = f"language-{here}"
        language = choose(
            "Language of the ballots", languages_here, usual, key, words=known.__getitem__
        )
        seed = st.session_state.setdefault(f"seed-{here}", new_seed())
        st.markdown("Orders and codes come from a secret random seed, which is kept with the plan.")
    pairs = kind.pairs(question.settings) if kind.pairs else []
    arranged = arrangement_fields(session, people, samples, replicates * max(len(pairs), 1))
    if arranged is None:
        return
    with shown_errors():
        plan = serving_plan(
            kind,
            arranged.people,
            seed=seed,
            samples=pairs or samples,
            sets=len(pairs) or arranged.sets,
            replicates=replicates,
            target=question.target,
            **arranged.more,
        )
        _put_on_record(session, plan, language, arranged.break_minutes)


def _put_on_record(
    session: StoredSession, plan: ServingPlan, language: str, break_minutes: int
) -> None:
    st.markdown(f"**{plan.balance_words}**")
    other_than_agreed(session, plan)
    rows, leader = ballot_lines(plan), who(session)
    put = partial(serve, desk(), session.id, plan, rows, language=language, who=leader)
    ready = partial(put, break_minutes=break_minutes)
    act("Save plan", "plan-serving", ready, primary=True)


def _samples(session: StoredSession) -> list[str] | None:
    if not find_kind(session.question.protocol).by_name:
        return None
    agreed = session.question.settings
    names = _lines(str(agreed.get("samples", "")).replace(";", "\n"))
    first = str(agreed.get("control") or agreed.get("reference") or "A")
    typed = st.text_area(
        "Samples, one a line",
        value="\n".join(names or [first]),
        key=f"samples-{session.id}",
        help="The names are for the key and the finding; booths and ballots show codes only.",
    )
    return _lines(typed)


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _names(text: str) -> int | list[str]:
    lines = _lines(text)
    return int(lines[0]) if len(lines) == 1 and lines[0].isdecimal() else lines


def _hand_out(session: StoredSession, plan: ServingPlan) -> None:
    reactions_panel(session)
    _standards(session)
    if session.details.care.stopped or not may_hand_out(session):
        show_checklist(session)
    if session.details.care.stopped:
        after_serving(session, plan)
        return
    if session.details.care.smelling_only:
        st.warning("These samples are smelled only. Nobody tastes them.")
    if to_be_planned_again(session):
        _again(session)
        return
    if not may_hand_out(session):
        before_serving(session, plan)
        _people(session, plan)
        return
    left, right = st.columns([3, 2], gap="large")
    with left:
        show_checklist(session)
        _on_from_here(session)
        sittings_panel(session)
        show_board(session)
        if not session.closed:
            absence_panel(session)
    with right:
        _sheets(session, plan)
        if not session.closed:
            booths_panel(session)
        before_serving(session, plan)
        _people(session, plan)
    after_serving(session, plan)


def _standards(session: StoredSession) -> None:
    """Reference standards that cannot be used today, while something can still be served."""
    today, asked = date.today().isoformat(), asked_standards(desk(), session.question)
    lacking = [why for each in asked if (why := each.lacks(today))]
    if lacking and not session.closed:
        st.warning(plain(f"Reference standards, see Products: {'; '.join(lacking)}."))


def _people(session: StoredSession, plan: ServingPlan) -> None:
    """How much each is served today, and who is a minor."""
    servings_panel(session)
    minors_panel(session, plan)


def _on_from_here(session: StoredSession) -> None:
    """The way to the ballots; at booths that are not open yet, opening them comes first."""
    booths = session.serving.booths if session.serving else {}
    if session.closed:
        onward(session)
    elif booths or session.details.way != Way.BOOTHS:
        way("To the ballots", "onward", "ballots", session.id)


def _again(session: StoredSession) -> None:
    """A plan whose key can be computed is made again, or its session is finished without it."""
    why = "Anybody can compute the key of this plan from the codes of one booth: its seed is short."
    if was_tasted(desk(), session.id):
        st.error(f"{why} Its booths are stopped. {FINISH}")
        way("To the ballots", "to-ballots", "ballots")
        return
    st.error(
        f"{why} Its booths are stopped until the serving is planned again. Orders and codes "
        "change: discard cups and sheets of the old plan. Links, consents, allergens and "
        "exclusions stay."
    )
    again = partial(plan_again, desk(), session.id, who=who(session))
    act("Plan serving again", "plan-again", again, primary=True)


def _sheets(session: StoredSession, plan: ServingPlan) -> None:
    st.subheader("Sheets")
    st.markdown("The key and the preparation sheet name the samples: keep them off the booths.")
    makers = {**sheets_to_serve(session, plan), "Key": lambda: key_pdf(plan, session.details)}
    row = st.container(horizontal=True)
    for name, make in makers.items():
        file, key = name.lower().replace(" ", "-"), f"sheet-{name.split()[0].lower()}"
        download(f"{name}, PDF", make, f"{file}-{session.id[:8]}.pdf", key, place=row)
    with st.expander("The plan, with its key"):
        st.markdown(f"{several(len(plan.assessors), 'assessor')}, seed {plan.seed}.")
        scroll(plan.summary())


def sittings_panel(session: StoredSession) -> None:
    """Which sitting the booths are in, and the button for the next; nothing for one sitting."""
    if session.serving is None or session.serving.breaks is None or session.closed:
        return
    breaks, last = session.serving.breaks, session.serving.design.sittings
    if breaks.minutes:
        st.markdown(
            f"**{last} sittings**; after each a break of at least {breaks.minutes} min, "
            "counted from an assessor's own last ballot."
        )
    else:
        _led(session, breaks.started, last)


@st.fragment(run_every=5.0)
def _led(session: StoredSession, started: int, last: int) -> None:
    """Who is done with the sitting that is open, and the button for the next one."""
    done, people = done_with(desk(), session.id, started)
    st.markdown(
        f"**Sitting {started} of {last}** is open: {done} of {people} assessors are done with it"
        + ("." if started == last else " and wait.")
    )
    following = next_sitting(session)
    if not following:
        return
    sure = True
    if missing := not_done_with(desk(), session.id, started):
        st.markdown(f"Not done yet: {plain(', '.join(missing))}.")
        label = f"Start sitting {following} before they are done"
        sure = st.checkbox(label, key=f"start-before-{following}")
    # The number is in the key: a late second tap cannot start the sitting after it.
    start = partial(start_sitting, desk(), session.id, following, who=who(session))
    act(f"Start sitting {following}", f"start-sitting-{following}", start, ready=sure)
