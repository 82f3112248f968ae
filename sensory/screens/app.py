"""The script that the server runs for each visitor: who is it, and which pages are theirs?

It imports by full names, since Streamlit runs it as a script; ``app.py`` at the top level of a
checkout calls the same `main`.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import streamlit as st

from sensory.screens.access import Booth, Leader, Visitor, visitor
from sensory.screens.door import stranger_page, way_out
from sensory.screens.frame import Frame, remember, shown_errors
from sensory.screens.places import DEMO, kept_in, record_url
from sensory.store.repository import Repository, open_store

if TYPE_CHECKING:
    from streamlit.navigation.page import StreamlitPage


@st.cache_resource(show_spinner=False)
def record(url: str) -> Repository:
    """One record for all visitors; it opens a connection for each action."""
    return open_store(url)


@st.cache_resource(show_spinner=False)
def filled(url: str) -> int:
    """Once a start: what sessions of an older release show is kept with them."""
    from sensory.sessions.filling import fill_outcomes

    return fill_outcomes(record(url), who="this program")


def main() -> None:
    """Run one page of those that this visitor may see; no other is registered."""
    st.set_page_config(page_title="Against the reference", layout="wide")
    st.html("<style>.stMainBlockContainer { padding-top: 4.5rem; }</style>")
    who = visitor()
    pages = pages_of(who)
    chosen = st.navigation(pages, position="top")
    with shown_errors():
        if isinstance(who, Leader):
            url = record_url()
            filled(url)
            frame = Frame(store=record(url), demo=DEMO, how=who.how, place=kept_in(url))
            remember(frame, pages)
            way_out(who)
        elif isinstance(who, Booth):
            remember(Frame(store=record(record_url()), demo=DEMO), ())
        chosen.run()


def pages_of(who: Visitor) -> list[StreamlitPage]:
    """The pages of a visitor; only a leader's load the statistics."""
    if isinstance(who, Leader):
        return _leader_pages()
    if isinstance(who, Booth):
        from sensory.screens import booth

        return [st.Page(partial(booth.page, who.token), title="Booth", url_path="booth")]
    return [st.Page(partial(stranger_page, who), title="Sign in", url_path="welcome")]


def _leader_pages() -> list[StreamlitPage]:
    from sensory.screens import (
        ballots,
        batch,
        batches,
        finding,
        plan,
        product,
        question,
        serve,
        sessions,
        trend,
    )

    modules = (
        *(sessions, plan, question, serve, ballots, finding),
        *(batches, batch, trend, product),
    )
    names = [module.__name__.rpartition(".")[2] for module in modules]
    return [
        st.Page(module.page, title=name.title(), url_path=name, default=name == "sessions")
        for name, module in zip(names, modules, strict=True)
    ]


if __name__ == "__main__":  # not in the worker process, which imports this file
    main()
