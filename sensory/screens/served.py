"""Was it served as planned? Confirmed in a click, or what was served instead."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from ..catalogue.tests import find_kind
from ..serving.ballot_line import BallotLine
from ..serving.plan import ServingPlan
from ..sessions.booth_ballots import ballots_of
from ..sessions.booth_plans import lines_of
from ..sessions.served import (
    HAPPENED,
    LEFT_OUT,
    confirm_served,
    not_served,
    possible_servings,
    served_after_all,
    served_otherwise,
)
from ..sessions.served_beside_plan import Served, came, served_beside_plan
from ..sessions.session import StoredSession
from .frame import desk, shown_errors, who
from .parts import act, listed

_SHOWN = 12
_PLANNED = "as planned after all"


def show_served(served: Served | None) -> None:
    """What the finding says of the serving; nothing where there was no plan."""
    if served is not None:
        st.subheader("Served as planned?")
        listed(served.lines, _SHOWN, ", in the ballots")


def after_serving(session: StoredSession, plan: ServingPlan) -> None:
    """The confirmation, once there are ballots, and what was otherwise."""
    cells = desk().cells(session.id)
    served = served_beside_plan(session, cells)
    show_served(served)
    if session.closed:
        st.markdown("To change this, open the ballots again on *Finding*, with a reason.")
        return
    with shown_errors():
        if came(cells):
            all_of_it = "All else" if served and served.departures else "All"
            confirm = partial(confirm_served, desk(), session.id, who=who(session))
            act(f"{all_of_it} was served as planned", "confirm-served", confirm)
        with st.expander("Something was served otherwise"):
            _otherwise(session, plan)


def _otherwise(session: StoredSession, plan: ServingPlan) -> None:
    here = session.id
    left, right = st.columns(2)
    person = left.selectbox("Assessor", plan.assessors, key=f"served-who-{here}")
    mine = lines_of(desk(), here, person)
    ballots = ballots_of(session, mine)
    seat = plan.assessors.index(person)
    number = right.selectbox(
        "Ballot",
        range(len(ballots)),
        format_func=lambda at: _ballot_label(at, ballots[at]),
        key=f"served-ballot-{here}-{seat}",
    )
    offered = _offered(session, mine, ballots[number])
    place = f"{here}-{seat}-{number}"
    what = st.selectbox(
        "What happened", offered, index=None, placeholder="Choose", key=f"served-what-{place}"
    )
    why = st.text_input("Reason, without names and nothing about health", key=f"served-why-{place}")
    ready = what is not None and (what in (_PLANNED, LEFT_OUT) or why.strip())
    changes = offered[what] if what else {}
    state = partial(_stated, session, ballots[number][0].row, str(what), changes, why)
    act("Put it on record", "serve-otherwise", state, ready=ready)


def _stated(session: StoredSession, row: int, what: str, served: dict[int, str], why: str) -> None:
    by = who(session)
    if what in HAPPENED:
        not_served(desk(), session.id, row, what, why=why, who=by)
    elif what == _PLANNED:
        served_after_all(desk(), session.id, row, who=by)
    else:
        served_otherwise(desk(), session.id, served, why=why, who=by)


def _offered(
    session: StoredSession, lines: Sequence[BallotLine], ballot: Sequence[BallotLine]
) -> dict[str, dict[int, str]]:
    """What can be stated of a ballot, with the rows that it changes."""
    offered: dict[str, dict[int, str]] = {}
    together = find_kind(session.question.protocol).together
    for line in () if ballot[0].not_served else ballot:
        code, single = " ".join(line.codes), line.served_column == "sample"
        for other in (ballot if together else lines) if single else ():
            if other.sample != line.sample and not other.not_served:
                offered[f"cup {code} exchanged with {' '.join(other.codes)}"] = {
                    line.row: other.sample,
                    other.row: line.sample,
                }
        if not together:
            under = f"in cup {code}: " if single else ""
            for serving in possible_servings(session):
                if serving != line.served:
                    offered[f"served {under}{serving}"] = {line.row: serving}
    return {**offered, **{what: {} for what in HAPPENED}, _PLANNED: {}}


def _ballot_label(at: int, ballot: Sequence[BallotLine]) -> str:
    codes = " ".join(code for line in ballot for code in line.codes)
    now = ", ".join(line.served for line in ballot)
    return f"{at + 1}: {codes} ({ballot[0].not_served or now})"
