"""A press is not lost where another run of the page overtakes its own."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest


def overtaken_page():
    import streamlit as st

    from sensory.screens.frame import PRESSED
    from sensory.screens.parts import pressed

    if st.session_state.pop("overtake", False):
        st.rerun()  # as a cell that arrives does
    label = st.session_state.get("label", "Close ballots")
    if pressed(label, "close", ready=st.session_state.get("ready", True)):
        st.markdown("closed")
    st.session_state.pop(PRESSED, None)  # as the end of a run of the app does


@pytest.mark.parametrize(
    ("meanwhile", "closes"),
    [
        ({}, True),
        ({"overtake": True}, True),
        ({"overtake": True, "label": "Close with 3 of 6"}, False),
        ({"overtake": True, "ready": False}, False),
    ],
)
def test_press_of_an_overtaken_run(meanwhile, closes):
    page = AppTest.from_function(overtaken_page).run()
    for name, value in meanwhile.items():
        page.session_state[name] = value
    page.button(key="close").click().run()
    assert bool(page.markdown) is closes
    page.session_state["label"] = "Close ballots"
    assert not page.run().markdown  # once is enough
