"""The page Panel: the assessors, then who may sign, with which role, and how they come in."""

from __future__ import annotations

from dataclasses import replace
from typing import NoReturn

import streamlit as st

from ..base.errors import ArgumentError
from ..sessions.signing import Person, Right
from ..sessions.staff import active_people, change_person, enter_person, note_passcode
from . import provider
from .access import kept
from .assessors import assessors_part
from .frame import acting, current_frame, desk, plain, shown_errors
from .panel_history import attention_part, chosen_assessor, looked_at, one_assessor
from .panel_month import panel_month_part
from .parts import show_table
from .passcode import Keeper, check_passcode
from .patience import Patience
from .screening import one_person, screened, screening_part
from .training import training_part

_TYPED = (
    "On this machine names are typed, not proven: whoever sits here may choose any of them, and "
    "the journal says so. Started with `sensory network`, the program has each person sign in "
    "with a passcode, and signs with that identity."
)
_ROLE_HELP = "In the plant's words. Several are separated by commas."
_DONE = "people-done"
_tries = Patience()


def page() -> None:
    """List who signs; add, change and put out of use; change the own passcode."""
    st.title("Panel")
    with shown_errors():
        panel = looked_at()
        if name := chosen_assessor(panel):
            one_assessor(panel, name)
            return
        if member := screened():
            one_person(member)
            return
        attention_part(panel)
        screening_part(panel)
        training_part()
        panel_month_part()
    assessors_part()
    st.subheader("Who may sign?")
    if current_frame().invented:
        st.info("Who signs is kept in your own record. Leave the invented data first.")
        return
    _empty_fields()
    keeper, me = kept(), current_frame().person
    if keeper is None:
        st.info(_TYPED)
    with shown_errors():
        people = active_people(desk())
        if people:
            show_table([_row(person, keeper) for person in people])
        else:
            st.markdown("Nobody is on record yet. The first name that signs is put on record.")
        if keeper is not None and me is not None:
            _own_passcode(keeper, me)
        if me is None or Right.MANAGE in me.may:
            left, right = st.columns(2, gap="large")
            with left:
                _add(keeper)
            with right:
                _change(people, keeper)
        else:
            st.markdown("People are added and changed by those who may manage people.")


def _row(person: Person, keeper: Keeper | None) -> dict[str, str]:
    row = {
        "name": plain(person.name),
        "role": plain(", ".join(person.roles)),
        "may": "; ".join(right.words for right in person.may) or "record complaints",
    }
    if keeper is not None:
        comes_in = person.key in keeper.able()
        given = "passcode given, not yet changed" if keeper.given(person.key) else "yes"
        row["can sign in"] = given if comes_in else "no passcode yet"
    return row


def _add(keeper: Keeper | None) -> None:
    st.subheader("Add a person")
    with st.form("add-person"):
        name = st.text_input("Name", key="person-name")
        roles = st.text_input(
            "Role", key="person-roles", placeholder="release officer", help=_ROLE_HELP
        )
        may = _may("person-may", ())
        passcode = "" if keeper is None else _first_passcode("person-passcode")
        pressed = st.form_submit_button("Add person", key="person-add", type="primary")
    if not pressed:
        return
    with shown_errors():
        new = _typed(name, roles, passcode, may)
        entered = enter_person(desk(), new, who=acting())
        if keeper is not None and passcode:
            _give(keeper, entered, passcode)
        st.session_state[_DONE] = "Added."
        st.rerun()


def _change(people: list[Person], keeper: Keeper | None) -> None:
    if not people:
        return
    st.subheader("Change a person")
    known = {person.key: person for person in people}
    chosen = st.selectbox(
        "Person",
        list(known),
        index=None,
        format_func=lambda key: known[key].name if key in known else "",
        key="person-chosen",
    )
    if chosen is None:
        return
    old, key, me = known[chosen], f"change-{chosen}", current_frame().person
    own = me is not None and me.key == chosen  # which asks for the present passcode, above
    with st.form(f"change-{chosen}"):
        now = ", ".join(old.roles)
        roles = st.text_input("Role", value=now, key=f"{key}-roles", help=_ROLE_HELP)
        may = _may(f"{key}-may", old.may)
        passcode = "" if keeper is None or own else _first_passcode(f"{key}-passcode")
        account = "" if keeper is None else _account(keeper, old, f"{key}-account")
        row = st.container(horizontal=True)
        save = row.form_submit_button("Save changes", key="person-save", type="primary")
        remove = row.form_submit_button("Remove from the list", key="person-out")
        st.markdown("The journal keeps what was signed. A name is erased on the page Sessions.")
    with shown_errors():
        if save:
            _saved(old, _typed(old.name, roles, passcode, may), keeper, passcode, account)
        if remove:
            _removed(old, keeper)


def _typed(name: str, roles: str, passcode: str, may: tuple[Right, ...]) -> Person:
    """The person of a form; what is missing or too short is said before anything is written."""
    if not name.strip() or not roles.strip():
        raise ArgumentError("Type the name and the role.")
    if passcode:
        check_passcode(passcode)
    return Person(name=name, roles=tuple(roles.split(",")), may=may)


def _saved(
    old: Person, typed: Person, keeper: Keeper | None, passcode: str, account: str
) -> NoReturn:
    able = None if keeper is None else keeper.able()
    new = replace(old, roles=typed.roles, may=typed.may)
    changed = change_person(desk(), old, new, who=acting(), able=able)
    if keeper is not None and account != keeper.provider_of(old.key):
        keeper.link(old.key, account)
    if keeper is not None and passcode:
        _give(keeper, changed, passcode)
    st.session_state[_DONE] = "Saved."
    st.rerun()


def _removed(old: Person, keeper: Keeper | None) -> NoReturn:
    able = None if keeper is None else keeper.able()
    change_person(desk(), old, replace(old, active=False), who=acting(), able=able)
    if keeper is not None:
        keeper.drop(old.key)
    st.session_state[_DONE] = "Removed."
    st.rerun()


def _may(key: str, now: tuple[Right, ...]) -> tuple[Right, ...]:
    """A box for each right."""
    st.markdown("May")
    return tuple(
        right
        for right in Right
        if st.checkbox(right.words, value=right in now, key=f"{key}-{right.value}")
    )


def _first_passcode(key: str) -> str:
    return st.text_input(
        "First passcode, at least 8 characters",
        type="password",
        key=key,
        help="Tell it to the person, who chooses another before signing anything.",
    )


def _give(keeper: Keeper, person: Person, passcode: str) -> None:
    """Set a passcode for somebody else."""
    with desk().action(who=acting()) as done:
        note_passcode(done, person, own=False)
        keeper.set_passcode(person.key, passcode, given=True)


def _account(keeper: Keeper, person: Person, key: str) -> str:
    """The name by which the provider vouches for a person, where there is a provider."""
    now = keeper.provider_of(person.key)
    if not provider.leaders():
        return now
    offered = ["", *sorted(provider.leaders() | ({now} if now else set()))]
    return str(st.selectbox("Account at the provider", offered, offered.index(now), key=key))


def _own_passcode(keeper: Keeper, me: Person) -> None:
    given = keeper.given(me.key)
    if given:
        st.warning("Somebody else chose your passcode. Choose your own before you sign.")
    with st.expander("Change your passcode", expanded=given), st.form("own-passcode"):
        old = st.text_input("Present passcode", type="password", key="own-old")
        new = st.text_input("New passcode, at least 8 characters", type="password", key="own-new")
        again = st.text_input("New passcode again", type="password", key="own-again")
        st.markdown("It ends all your sign-ins, this one too: sign in again with the new one.")
        pressed = st.form_submit_button("Change passcode", key="own-change")
    if pressed:
        with shown_errors():
            _check_own(keeper, me, old, new, again)
            with desk().action(who=me.name) as done:
                note_passcode(done, me, own=True)
                keeper.set_passcode(me.key, new, given=False)
            st.rerun()


def _check_own(keeper: Keeper, me: Person, old: str, new: str, again: str) -> None:
    """Refuse a new passcode that was mistyped or is no other, and whoever is not its person."""
    if new != again:
        raise ArgumentError("The two new passcodes differ; nothing was changed.")
    check_passcode(new)
    if new == old:
        raise ArgumentError("Choose another passcode than the present one.")
    if wait := _tries.begin(me.key):
        raise ArgumentError(f"Too many wrong tries. Wait {wait:.0f} s before the next.")
    if not keeper.right(me.key, old):
        raise ArgumentError("The present passcode is another one; nothing was changed.")
    _tries.forgive(me.key)


def _empty_fields() -> None:
    """After a form was recorded its fields are empty; set before they are drawn."""
    if done := st.session_state.pop(_DONE, ""):
        st.toast(done)
        st.session_state["person-chosen"] = None
        for name in ("name", "roles", "passcode"):
            st.session_state[f"person-{name}"] = ""
        for right in Right:
            st.session_state[f"person-may-{right.value}"] = False
