"""Sittings on the Serve page: the break that the leader ends."""

from __future__ import annotations

import streamlit as st

from ..base.records import StoredSession
from ..booth_plans import BREAKS
from ..booth_sittings import next_sitting, start_sitting
from .frame import current_frame, who


def sittings_panel(session: StoredSession) -> None:
    """Which sitting the booths are in, and the button for the next; nothing for one sitting."""
    breaks = session.serving.get(BREAKS)
    if not breaks or session.closed:
        return
    last = session.serving["plan"]["design"]["sittings"]
    if breaks["minutes"]:
        st.markdown(
            f"**{last} sittings**; after each a break of at least {breaks['minutes']} min, "
            "counted from an assessor's own last ballot."
        )
        return
    started = breaks["started"]
    st.markdown(f"**Sitting {started} of {last}** is open; booths that are done with it wait.")
    following = next_sitting(session)
    # The number is in the key: a late second tap cannot start the sitting after it.
    if following and st.button(f"Start sitting {following}", key=f"start-sitting-{following}"):
        start_sitting(current_frame().store, session.id, following, who=who(session))
        st.rerun()
