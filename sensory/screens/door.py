"""What a stranger sees, and the way out for a leader who signed in."""

from __future__ import annotations

import streamlit as st

from . import provider
from .access import SIGN_IN, SIGN_OUT, Leader, Stranger


def stranger_page(stranger: Stranger) -> None:
    """A link to the sign-in, and nothing of the record."""
    st.title("Sign in")
    if not stranger.can_sign_in:
        st.markdown(
            "This program was started for one machine and listens to others. Start it with "
            "`sensory network`, which asks for a passcode."
        )
        return
    st.html(f'<a href="{SIGN_IN}" target="_self">Sign in with the passcode</a>')
    if provider.leaders():
        if st.user.is_logged_in:
            st.markdown("You are signed in, but not on the list of panel leaders.")
        elif st.button("Sign in with your account", key="provider"):
            st.login()


def way_out(leader: Leader) -> None:
    """Sign out, where there is something to sign out from."""
    if not leader.signed_in:
        return
    if provider.listed_leader():
        st.button("Sign out", key="sign-out", on_click=st.logout)
    else:
        link = f'<a href="{SIGN_OUT}" target="_self">Sign out</a>'
        st.html(f'<div style="text-align: right">{link}</div>')
