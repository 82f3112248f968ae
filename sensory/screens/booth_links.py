"""Links of the booths: where they lead, their cards, and new ones."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import streamlit as st

from ..base.errors import ArgumentError
from ..base.records import digest_of
from ..release.plant_desk import keep_booth_address, the_plant
from ..report.serving_sheets import booth_cards_pdf
from ..sessions.booth_plans import open_booths
from ..sessions.session import StoredSession
from ..sessions.steps import Way
from .access import kept
from .addresses import booth_address, offered_address
from .frame import current_frame, desk, plain, who
from .parts import download, pressed

_OPEN_AT = "booths-open-at"
"""Address that this window has shown or kept last: only what is typed over it is kept anew."""


def booths_panel(session: StoredSession) -> None:
    """Where booths are open, the links, and their cards while they are on the screen."""
    st.subheader("Booths")
    booths = session.serving.booths if session.serving else {}
    address = _address(session)
    _links(session, booths, ready=address)
    tokens = st.session_state.get(_key(session))
    if not tokens or not address:
        return
    links = {name: link_to(address, token) for name, token in tokens.items()}
    language = session.serving.language if session.serving else "en"
    cards = partial(booth_cards_pdf, links, language)
    download("Booth cards, PDF", cards, f"booth-cards-{session.id[:8]}.pdf", "sheet-cards")
    with st.expander("Links, one an assessor: shown once", expanded=True):
        st.table([{"assessor": plain(name), "link": link} for name, link in links.items()])


def add_link(session: StoredSession, name: str, token: str) -> None:
    """Show the link of somebody who came late beside the others."""
    shown = st.session_state.get(_key(session)) or {}
    st.session_state[_key(session)] = {**shown, name: token}


def _key(session: StoredSession) -> str:
    return f"links-{session.id}"


def link_to(address: str, token: str) -> str:
    """The link of a booth, at the address that booths reach."""
    return f"{address}/?booth={token}" + "&invented=1" * current_frame().invented


def _address(session: StoredSession) -> str:
    """The address that links carry, to be changed; empty while there is none that works."""
    network = kept() is not None
    usual = offered_address(str(st.context.url or ""), network=network)
    if network:  # booths elsewhere: what the leader changed once holds for every later session
        usual = the_plant(desk()).booths_at or usual
    typed = st.text_input(
        "Booths open at",
        value=usual,
        key=f"address-{session.id}",
        help="Links and QR codes carry this address of the machine that runs the program. In the "
        "network mode a changed address is kept for later sessions.",
    )
    if not network:
        st.markdown(
            "This program serves this machine only. For tablets and phones, start it with "
            "`sensory network`."
        )
    if not typed.strip() and not network:
        return "http://127.0.0.1"  # pages that no browser has opened
    try:
        address = booth_address(typed, network=network)
    except ArgumentError as error:
        st.error(plain(str(error)))
        return ""
    if network and address != st.session_state.setdefault(_OPEN_AT, usual):
        keep_booth_address(desk(), address, who=who(session))
        st.session_state[_OPEN_AT] = address
    return address


def _links(session: StoredSession, booths: Mapping[str, str], *, ready: str) -> None:
    """The button for the links; new ones are asked about first, since the old ones end."""
    if booths:
        # The links on record are in the key: each set of links is asked about anew.
        sure = st.checkbox("The old links stop working", key=f"useless-{digest_of(booths)[:12]}")
        # Under another key than the first time: a late second tap ends no link.
        asked = pressed("New links for all booths", "new-links", ready=sure and ready)
    else:
        first = session.details.way == Way.BOOTHS
        asked = pressed("Open booths", "open-booths", primary=first, ready=ready)
    if asked:
        st.session_state[_key(session)] = open_booths(desk(), session.id, who=who(session))
        st.rerun()
