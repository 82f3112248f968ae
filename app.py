"""Entry of the front end in a checkout, for ``streamlit run app.py`` on this machine."""

import streamlit as st

from sensory.screens.server import OWN_MACHINE, SCRIPT, ways

app = st.App(SCRIPT, routes=ways(), middleware=OWN_MACHINE)
