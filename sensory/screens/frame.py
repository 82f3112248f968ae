"""What every page shares: the record, the chosen session, and how an error is shown."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
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

    from ..store.repository import Repository

_MARKUP = frozenset(r"\`*_{}[]()#+!|<>~:$&")
# Where the browser's markdown would begin a link, an icon or a small picture.
_LOOKED_FOR = re.compile(
    r"(?<=:)(?=//|material/|(?!\d\d:)[\w+-]+:)|(?<=[wW]{3})(?=\.)|(?<=@)(?=[-\w])"
)
_JOINED = "\N{WORD JOINER}"
_FRAME, _PAGES, _CHOSEN, _BATCH = "frame", "pages", "session", "batch"
_INVENTED = "invented"
_OFFERED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The record, the folder of demo sessions, who came in and how, where the record is.

    `person` is None on one machine, where names are typed and nobody is proven to be anybody.
    `invented`: whether the record is that of invented data, apart from the own one.
    """

    store: Repository
    demo: Path
    how: str = TYPED
    person: Person | None = None
    place: str = ""
    invented: bool = False


def remember(frame: Frame, pages: Mapping[str, StreamlitPage]) -> None:
    """Keep the frame, and the leader's pages by name if there are any, for this run."""
    st.session_state[_FRAME] = frame
    st.session_state[_PAGES] = dict(pages)


def among_invented() -> bool:
    """Whether this visitor looks round in invented data; the address keeps it over a reload."""
    if st.query_params.get(_INVENTED):
        st.session_state[_INVENTED] = True
    here = bool(st.session_state.get(_INVENTED))
    if here and not st.query_params.get(_INVENTED):
        st.query_params[_INVENTED] = "1"
    return here


def try_invented() -> None:
    """From the next run on this visitor looks round in invented data."""
    _forget_chosen()
    st.session_state[_INVENTED] = True


def leave_invented() -> None:
    """From the next run on this visitor is in the own record again."""
    _forget_chosen()
    st.session_state.pop(_INVENTED, None)
    st.query_params.pop(_INVENTED, None)


def _forget_chosen() -> None:
    for key in (_CHOSEN, _BATCH):
        st.session_state.pop(key, None)
        st.query_params.pop(key, None)


def current_frame() -> Frame:
    """The frame of this run."""
    frame: Frame = st.session_state[_FRAME]
    return frame


def desk() -> Repository:
    """The record of this run."""
    return current_frame().store


PRESSED = "pressed"
"""Buttons pressed in runs that were overtaken, by key, until a run comes to its end."""
CLOSING = "closing"
"""Under which key the page that closes a session says so, until the finding is on the screen."""


def go(name: str, session_id: str | None = None, *, batch: str | None = None) -> None:
    """Open another page, with a session or a batch chosen."""
    for key, value in ((_CHOSEN, session_id), (_BATCH, batch)):
        if value:
            st.session_state[key] = value
    st.switch_page(page_of(name), query_params=address(name))


def page_of(name: str) -> StreamlitPage:
    """A page of this run by its name."""
    page: StreamlitPage = st.session_state[_PAGES][name]
    return page


def address(name: str, session_id: str | None = None) -> dict[str, str]:
    """What stands in the address of a page, so that a reload shows the same again."""
    asked = {_INVENTED: "1"} if st.session_state.get(_INVENTED) else {}
    key = _BATCH if name in ("batch", "trend") else _CHOSEN
    chosen = session_id or st.session_state.get(key)
    return asked | ({key: str(chosen)} if chosen else {})


def chosen_batch() -> str:
    """Number of the batch in the address, else of the one chosen last; empty for none."""
    number = st.query_params.get(_BATCH) or st.session_state.get(_BATCH) or ""
    st.session_state[_BATCH] = number
    if number and st.query_params.get(_BATCH) != number:
        st.query_params[_BATCH] = number
    return str(number)


def chosen_session() -> StoredSession:
    """The session in the address, which survives a reload; else the one chosen last.

    Without one the page stops and offers the latest sessions.
    """
    asked = st.query_params.get(_CHOSEN) or st.session_state.get(_CHOSEN)
    try:
        session = desk().session(asked or "")
    except RecordError as error:
        st.session_state.pop(_CHOSEN, None)
        _choose_one(plain(str(error)) if asked else "Choose a session first.")
        st.stop()
    st.session_state[_CHOSEN] = session.id
    if st.query_params.get(_CHOSEN) != session.id:
        st.query_params[_CHOSEN] = session.id
    return session


def _choose_one(why: str) -> None:
    """The latest sessions to choose from, and the way to a new one."""
    st.title("Which session?")
    st.info(why)
    latest = desk().sessions(_OFFERED)
    for session in latest:
        label = f"{session.details.title or 'Untitled session'}, {minute(session.created_at)}"
        if st.button(plain(label), key=f"choose-{session.id}"):
            st.session_state[_CHOSEN] = session.id
            st.query_params[_CHOSEN] = session.id
            st.rerun()
    if st.button("New session", key="choose-new", type="primary"):
        go("new")
    if latest:
        st.page_link(page_of("sessions"), label="All sessions", query_params=address("sessions"))


@contextmanager
def shown_errors() -> Iterator[None]:
    """Show an error of ours on the page instead of stopping it."""
    try:
        yield
    except BallotError as error:
        count = several(len(error.faults), "error")
        st.error(f"{count} to fix before the ballots can be counted.")
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


def minute(stamp: str, zone: tzinfo | None = None) -> str:
    """A time of the record to the minute, as people write it, on the clock of this machine.

    >>> minute("2026-09-14T10:31:07.123+00:00", UTC)
    '14 Sep 2026, 10:31'
    """
    at = datetime.fromisoformat(stamp)
    local = (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(zone)
    return f"{local.day} {local:%b %Y, %H:%M}"


def clock(stamp: str, zone: tzinfo | None = None) -> str:
    """Hour and minute of a time of the record, on the clock of this machine; empty for none.

    >>> clock("2026-09-14T10:31:07.123+00:00", UTC), clock("")
    ('10:31', '')
    """
    return minute(stamp, zone).rpartition(", ")[2] if stamp else ""


def day(stamp: str) -> str:
    """A date of the record as people write it; a text that is none stays as it is.

    >>> day("2026-09-04"), day("in spring"), day("")
    ('4 Sep 2026', 'in spring', '')
    """
    try:
        on = date.fromisoformat(stamp)
    except ValueError:
        return stamp
    return f"{on.day} {on:%b %Y}"


def who(session: StoredSession) -> str:
    """Who acts, for the journal: who signed in; else the leader named in the session."""
    person = current_frame().person
    return person.name if person else session.details.leader or acting()


def acting() -> str:
    """Who acts where no session names a leader: who signed in, or the login of this machine."""
    person = current_frame().person
    return person.name if person else login()
