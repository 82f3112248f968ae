"""Entry of the front end: opens the record, lists the pages, runs the one asked for."""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from sensory.screens import ballots, finding, plan, question, serve, sessions
from sensory.screens.frame import Frame, remember, shown_errors
from sensory.store.repository import Repository, open_store

HERE = Path(__file__).parent
RECORD = os.environ.get("SENSORY_RECORD", f"sqlite:///{HERE / '.data' / 'record.sqlite3'}")


@st.cache_resource(show_spinner=False)
def record(url: str) -> Repository:
    """One record for all visitors; it opens a connection for each action."""
    return open_store(url)


def main() -> None:
    """Run one page."""
    st.set_page_config(page_title="Against the reference", layout="wide")
    st.html("<style>.stMainBlockContainer { padding-top: 4.5rem; }</style>")
    pages = [
        st.Page(sessions.page, title="Sessions", url_path="sessions", default=True),
        st.Page(plan.page, title="Plan", url_path="plan"),
        st.Page(question.page, title="Question", url_path="question"),
        st.Page(serve.page, title="Serve", url_path="serve"),
        st.Page(ballots.page, title="Ballots", url_path="ballots"),
        st.Page(finding.page, title="Finding", url_path="finding"),
    ]
    chosen = st.navigation(pages, position="top")
    with shown_errors():
        remember(Frame(store=record(RECORD), demo=HERE / "demo_data"), pages)
        chosen.run()


if __name__ == "__main__":  # not in the worker process, which imports this file
    main()
