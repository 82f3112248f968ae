"""The assessors on the page Panel: the register, and the form of an entry."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

import streamlit as st

from ..base.errors import ArgumentError
from ..base.languages import languages
from ..base.results import several
from ..panel.assessors import Assessor, Membership, Qualification, Role
from ..panel.register import (
    change_assessor,
    enter_assessor,
    panels_of,
    take_regulars,
    the_register,
)
from ..sessions.regulars import regular_assessors
from .frame import acting, desk, plain, shown_errors
from .parts import act, choose

_USUAL, _SOON = "panel", 30
_DONE = "assessor-done"


def assessors_part() -> None:
    """The register of the panel, one line a person; add and change entries."""
    _empty_fields()
    with shown_errors():
        register = the_register(desk())
        if register:
            st.subheader("Assessors")
            _lapsing(register)
            with st.expander(f"Register: {several(len(register), 'assessor')}"):
                st.table([_row(each) for each in register], hide_index=True)
        else:
            st.markdown("No assessor is in the register yet.")
            _regulars()
        left, right = st.columns(2, gap="large")
        with left, st.expander("Add an assessor"):
            _add(register)
        if register:
            with right, st.expander("Change an assessor"):
                _change(register)


def _row(assessor: Assessor) -> dict[str, str]:
    names = languages()
    return {
        "name": plain(assessor.person),
        "panels": plain("; ".join(f"{each.panel}: {each.role}" for each in assessor.panels)),
        "since": assessor.entered_on,
        "qualified for": plain("; ".join(map(_qualified, assessor.qualified))),
        "languages": ", ".join(names[code] for code in assessor.languages),
        "not this sample": plain(", ".join(assessor.not_these)),
    }


def _qualified(each: Qualification) -> str:
    on = f" (trained: {', '.join(each.attributes)})" if each.attributes else ""
    return f"{each.product}{on} since {each.since}" + (f" until {each.until}" if each.until else "")


def _lapsing(register: Sequence[Assessor]) -> None:
    """Qualifications that end soon, or have ended."""
    today = date.today().isoformat()
    for assessor in register:
        for each in assessor.qualified:
            if each.until and each.until < today:
                words = f"{assessor.person}: the qualification for {each.product} ended"
                st.warning(plain(f"{words} on {each.until}."))
            elif each in assessor.lapsing(today, _SOON):
                words = f"{assessor.person}: the qualification for {each.product} ends"
                st.warning(plain(f"{words} on {each.until}: requalify."))


def _regulars() -> None:
    """Those who came to the latest sessions, to be taken over at once."""
    names = regular_assessors(desk())
    if names:
        st.markdown(f"{several(len(names), 'person')} came to the latest sessions.")

        def take() -> None:
            take_regulars(desk(), panel=_USUAL, who=acting())

        act("Take them into the register", "take-regulars", take)


def _add(register: Sequence[Assessor]) -> None:
    with st.form("add-assessor"):
        name = st.text_input("Name", key="assessor-name")
        known = panels_of(register)
        panel = st.text_input(
            "Panel", value=known[0] if known else _USUAL, key="assessor-panel",
            help="Of a site or a shift, in the plant's words.",
        )  # fmt: skip
        role = choose("Role", list(Role), Role.CANDIDATE, "assessor-role")
        codes = _languages("assessor-languages", ())
        pressed = st.form_submit_button("Add assessor", key="assessor-add")
    if pressed:
        with shown_errors():
            if not name.strip():
                raise ArgumentError("Type the name of the assessor.")
            enter_assessor(desk(), name, panel=panel, role=role, languages=codes, who=acting())
            _done("Added.")


def _change(register: Sequence[Assessor]) -> None:
    known = {each.key: each for each in register}
    chosen = st.selectbox(
        "Assessor",
        list(known),
        index=None,
        format_func=lambda key: known[key].person if key in known else "",
        key="assessor-chosen",
    )
    if chosen is None:
        return
    old = known[chosen]
    with st.form(f"change-{chosen}"):
        panels = _panels(old)
        codes = _languages(f"languages-{chosen}", old.languages)
        qualified = _lines(
            "Qualified for, one a line: product; since; until; attributes trained",
            map(_as_typed, old.qualified),
            f"qualified-{chosen}",
        )
        nots = _lines(
            "Not this sample, one a line; no reason, nothing about health", old.not_these,
            f"not-{chosen}",
        )  # fmt: skip
        pressed = st.form_submit_button("Save changes", key="assessor-save", type="primary")
    if pressed:
        with shown_errors():
            new = replace(
                old,
                panels=tuple(_membership(line) for line in panels),
                languages=codes,
                qualified=tuple(map(_qualification, qualified)),
                not_these=tuple(nots),
            )
            change_assessor(desk(), old, new, who=acting())
            _done("Saved.")


def _panels(old: Assessor) -> list[str]:
    return _lines(
        f"Panels, one a line: name; role ({', '.join(Role)})",
        (f"{each.panel}; {each.role}" for each in old.panels),
        f"panels-{old.key}",
    )


def _lines(label: str, now: Iterable[str], key: str) -> list[str]:
    typed = st.text_area(label, "\n".join(now), key=key)
    return [line.strip() for line in str(typed).splitlines() if line.strip()]


def _as_typed(each: Qualification) -> str:
    typed = (each.product, each.since, each.until, ", ".join(each.attributes))
    return "; ".join(typed).rstrip("; ")


def _membership(line: str) -> Membership:
    panel, _, role = map(str.strip, line.rpartition(";"))
    if role not in list(Role):
        raise ArgumentError(f"Panels: {line!r} needs a role, one of {', '.join(Role)}.")
    return Membership(panel=panel, role=Role(role))


def _qualification(line: str) -> Qualification:
    parts = [part.strip() for part in line.split(";")]
    if not 2 <= len(parts) <= 4:
        raise ArgumentError(
            f"Qualified for: {line!r} must be a product and a date, as in 'sloe cordial; "
            "2026-02-01', and if wanted the date until which it holds, and attributes trained."
        )
    product, since, until, trained = (*parts, "", "")[:4]
    attributes = tuple(name for part in trained.split(",") if (name := part.strip()))
    return Qualification(product=product, since=since, until=until, attributes=attributes)


def _languages(key: str, now: Sequence[str]) -> tuple[str, ...]:
    known = languages()
    chosen = st.multiselect(
        "Languages", list(known), list(now), format_func=known.__getitem__, key=key
    )
    return tuple(chosen)


def _done(what: str) -> None:
    st.session_state[_DONE] = what
    st.rerun()


def _empty_fields() -> None:
    """After a form was recorded its fields are empty; set before they are drawn."""
    if what := st.session_state.pop(_DONE, ""):
        st.toast(what)
        st.session_state["assessor-chosen"] = None
        st.session_state["assessor-name"] = ""
