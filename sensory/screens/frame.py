"""What every page shares: the record, the chosen session, and how an error is shown."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from ..base.errors import BallotError, Fault, RecordError, SensoryError
from ..base.results import several
from ..sessions.session import StoredSession
from ..sessions.signing import TYPED, Person
from .places import login

if TYPE_CHECKING:  # a booth loads no statistics
    from streamlit.navigation.page import StreamlitPage

    from ..release.product_desk import Desk

_MARKUP = frozenset(r"\`*_{}[]()#+!|<>~:$&")
# Where the browser's markdown would begin a link, an icon or a small picture.
_LOOKED_FOR = re.compile(
    r"(?<=:)(?=//|material/|(?!\d\d:)[\w+-]+:)|(?<=[wW]{3})(?=\.)|(?<=@)(?=[-\w])"
)
_JOINED = "\N{WORD JOINER}"
_FRAME, _PAGES, _CHOSEN, _BATCH = "frame", "pages", "session", "batch"


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The record, the folder of demo sessions, who came in and how, where the record is.

    `person` is None on one machine, where names are typed and nobody is proven to be anybody.
    """

    store: Desk
    demo: Path
    how: str = TYPED
    person: Person | None = None
    place: str = ""


def remember(frame: Frame, pages: Sequence[StreamlitPage]) -> None:
    """Keep the frame, and the leader's pages if there are any, for this run."""
    st.session_state[_FRAME] = frame
    st.session_state[_PAGES] = {page.title.lower(): page for page in pages}


def current_frame() -> Frame:
    """The frame of this run."""
    frame: Frame = st.session_state[_FRAME]
    return frame


def desk() -> Desk:
    """The record of this run."""
    return current_frame().store


CLOSING = "closing"
"""Under which key the page that closes a session says so, until the finding is on the screen."""


def go(name: str, session_id: str | None = None, *, batch: str | None = None) -> None:
    """Open another page, with a session or a batch chosen."""
    for key, value in ((_CHOSEN, session_id), (_BATCH, batch)):
        if value:
            st.session_state[key] = value
    key = _BATCH if name in ("batch", "trend") else _CHOSEN
    chosen = st.session_state.get(key)
    st.switch_page(st.session_state[_PAGES][name], query_params={key: chosen} if chosen else {})


def chosen_batch() -> str:
    """Number of the batch in the address, else of the one chosen last; empty for none."""
    number = st.query_params.get(_BATCH) or st.session_state.get(_BATCH) or ""
    st.session_state[_BATCH] = number
    if number and st.query_params.get(_BATCH) != number:
        st.query_params[_BATCH] = number
    return str(number)


def chosen_session() -> StoredSession:
    """The session in the address, which survives a reload; else the one chosen last.

    Without one the page stops and points to the list.
    """
    asked = st.query_params.get(_CHOSEN) or st.session_state.get(_CHOSEN)
    try:
        session = desk().session(asked or "")
    except RecordError as error:
        st.session_state.pop(_CHOSEN, None)
        st.info(plain(str(error)) if asked else "Choose a session first.")
        st.page_link(st.session_state[_PAGES]["sessions"], label="To the sessions")
        st.stop()
    st.session_state[_CHOSEN] = session.id
    if st.query_params.get(_CHOSEN) != session.id:
        st.query_params[_CHOSEN] = session.id
    return session


@contextmanager
def shown_errors() -> Iterator[None]:
    """Show an error of ours on the page instead of stopping it."""
    try:
        yield
    except BallotError as error:
        count = several(len(error.faults), "thing")
        st.error(f"{count} to mend before the ballots can be counted.")
        show_faults(error.faults)
    except SensoryError as error:
        st.error(plain(str(error)))


def show_faults(faults: Sequence[Fault]) -> None:
    """Faults as a table: where, what, how to mend."""
    columns = {"where": "place", "what": "problem", "what to do": "advice"}
    st.table(
        [
            {title: plain(getattr(fault, name)) for title, name in columns.items()}
            for fault in faults[:50]
        ]
    )
    if len(faults) > 50:
        st.markdown(f"and {len(faults) - 50} more")


def plain(text: str) -> str:
    """Text of users as it is: no markup, no link, no picture that the browser would fetch.

    Addresses and names of icons are looked for in the finished text, where no escape is left; a
    sign without a width in them keeps them text.

    >>> plain("2*3*4") == "2" + chr(92) + "*3" + chr(92) + "*4"
    True
    >>> [plain(text).count(_JOINED) for text in ("http://a.test", ":material/cake:", "10:31:07")]
    [1, 1, 0]
    """
    apart = _LOOKED_FOR.sub(_JOINED, text)
    return "".join(f"\\{letter}" if letter in _MARKUP else letter for letter in apart)


def title_of(session: StoredSession) -> str:
    """Its title as it is, or that it has none."""
    return plain(session.details.title or "Untitled session")


def minute(stamp: str) -> str:
    """A time of the record to the minute.

    >>> minute("2026-09-14T10:31:07.123+00:00")
    '2026-09-14 10:31 UTC'
    """
    return stamp[:16].replace("T", " ") + " UTC"


def who(session: StoredSession) -> str:
    """Who acts, for the journal: who signed in; else the leader named in the session."""
    person = current_frame().person
    return person.name if person else session.details.leader or acting()


def acting() -> str:
    """Who acts where no session names a leader: who signed in, or the login of this machine."""
    person = current_frame().person
    return person.name if person else login()
