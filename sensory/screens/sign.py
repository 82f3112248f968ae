"""Who signs: the person who signed in, or, on one machine, a name that is chosen or typed.

Why so
------
On one machine nobody is proven to be anybody, and the form says so: names are chosen among the
people on record, or typed, which puts them on record. In the network mode the form offers
nobody: whoever is signed in signs, or is told why not.
"""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from ..sessions.signing import Person, Right
from ..sessions.staff import active_people, enter_person, who_is
from .access import kept
from .frame import current_frame, desk, plain

_OTHER = "Somebody else"
_NOT_PROVEN = "On this machine names are typed, not proven. The journal says so."


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """Who is about to sign.

    `name`: empty as long as nobody may.
    `role`: of a name that is not on record yet.
    `how`: how far the name is proven.
    `right`: what is signed; None where everybody on record may.
    """

    name: str
    role: str
    how: str
    right: Right | None

    @property
    def ready(self) -> bool:
        """Whether somebody may sign."""
        return bool(self.name.strip())

    def put_on_record(self) -> None:
        """Put a name that was typed on one machine among the people who sign."""
        if current_frame().person is not None or not (self.ready and self.role.strip()):
            return
        if who_is(active_people(desk()), self.name) is None:
            may = (self.right,) if self.right else ()
            person = Person(name=self.name, roles=(self.role,), may=may)
            enter_person(desk(), person, who=self.name)


def hand(label: str, key: str, right: Right | None, *, role: str, asked: str = "") -> Hand:
    """Ask who signs, or say who is signed in.

    Parameters
    ----------
    label : str
        Of the field, as in 'Decided by'.
    role : str
        The usual role of a new name.
    asked : str
        The role that a rule asks for; new names get it.
    """
    person = current_frame().person
    if person is not None:
        return _of_the_person(person, right, asked)
    offered = [
        each.name
        for each in active_people(desk())
        if (right is None or right in each.may) and each.role_for(asked) is not None
    ]
    chosen: str | None = _OTHER
    if offered:
        chosen = st.selectbox(label, [*offered, _OTHER], index=None, key=f"{key}-who")
    if chosen != _OTHER:
        st.markdown(_NOT_PROVEN)
        return Hand(name=chosen or "", role="", how=current_frame().how, right=right)
    name = st.text_input(label if not offered else "Name", key=key)
    held = asked or st.text_input("Role", value=role, key=f"{key}-role")
    st.markdown(_NOT_PROVEN)
    return Hand(name=name if held.strip() else "", role=held, how=current_frame().how, right=right)


def typed_hand(name: str, right: Right, *, role: str) -> Hand:
    """The same for a name that is typed elsewhere on the page."""
    person = current_frame().person
    if person is not None:
        return _of_the_person(person, right, "")
    if name.strip():
        st.markdown(f"Agreed by {plain(name)}. {_NOT_PROVEN}")
    return Hand(name=name, role=role, how=current_frame().how, right=right)


def _of_the_person(person: Person, right: Right | None, asked: str) -> Hand:
    """The hand of who is signed in, with what stands against it."""
    against, keeper = "", kept()
    role = person.role_for(asked)
    if right is not None and right not in person.may:
        against = f"You may not {right.words}. Who may stands on the page Panel."
    elif role is None:
        against = f"The rule names {asked} to sign; you are {', '.join(person.roles)}."
    elif keeper is not None and keeper.given(person.key):
        against = "Somebody else chose your passcode. Choose your own on the page Panel first."
    if against:
        st.info(plain(against))
    else:
        st.markdown(f"You sign as **{plain(person.name)}**, {plain(role or '')}.")
    name = "" if against else person.name
    return Hand(name=name, role="", how=current_frame().how, right=right)
