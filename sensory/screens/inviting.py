"""Who is invited to a session: ticked from the register, or from those who came last."""

from __future__ import annotations

import streamlit as st

from ..base.results import several
from ..panel.invitation import MOST_ALCOHOL, MOST_SITTINGS, Invitee, invitees
from ..panel.register import panels_of, the_register
from ..sessions.regulars import regular_assessors
from ..sessions.session import StoredSession
from .frame import desk, plain
from .parts import choose

_ANY = "any product"


def with_invited(session: StoredSession, people: int | list[str]) -> int | list[str]:
    """Assessors who are ticked, with those whose names are typed."""
    register = the_register(desk())
    if register:
        chosen = _from_register(session)
    else:
        regulars = regular_assessors(desk())
        if not regulars:
            return people
        label = "Regular assessors: tick who comes"
        chosen = st.pills(label, regulars, selection_mode="multi", key="regulars")
    if not chosen:
        return people
    typed = [] if isinstance(people, int) else people
    return list(dict.fromkeys([*chosen, *typed]))


def _from_register(session: StoredSession) -> list[str]:
    """Those who are qualified and rested, the most rested first; the others with a reason."""
    register, here = the_register(desk()), session.id
    left, right = st.columns(2)
    with left:
        panel = choose("Panel", panels_of(register), "", f"panel-{here}")
    products = dict.fromkeys(each.product for member in register for each in member.qualified)
    with right:
        product = choose("Qualified for", [_ANY, *products], _ANY, f"qualified-{here}")
    week = left.number_input("Sittings a week, at most", 1, 50, MOST_SITTINGS, key=f"week-{here}")
    day = right.number_input(
        "Servings with alcohol a day, at most", 1, 50, MOST_ALCOHOL, key=f"alcohol-{here}"
    )
    listed = invitees(
        desk(),
        here,
        register,
        panel=panel,
        product="" if product == _ANY else product,
        most_sittings=int(week),
        most_alcohol=int(day),
    )
    offered = {each.assessor.person: each for each in listed if each.proposed}
    _not_proposed([each for each in listed if not each.proposed])
    return st.pills(
        "Invite: the most rested first",
        list(offered),
        selection_mode="multi",
        key=f"invited-{here}",
        format_func=lambda name: _with_sittings(offered[name]) if name in offered else name,
    )


def _with_sittings(invitee: Invitee) -> str:
    if not invitee.sittings:
        return invitee.assessor.person
    return f"{invitee.assessor.person} ({several(invitee.sittings, 'sitting')} this week)"


def _not_proposed(others: list[Invitee]) -> None:
    if others:
        lines = [f"- {plain(each.assessor.person)}: {plain('; '.join(each.reasons))}"
                 for each in others]  # fmt: skip
        with st.expander(f"Not proposed: {len(others)}"):
            st.markdown("\n".join(lines))
