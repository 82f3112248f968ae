"""Entry of the front end in a checkout, for ``streamlit run app.py``."""

import streamlit as st

from sensory.screens.server import SCRIPT, ways

app = st.App(SCRIPT, routes=ways())
