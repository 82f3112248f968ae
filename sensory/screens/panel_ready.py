"""The page Panel worked out where nobody waits: once a page was drawn, and after each closing.

Why so
------
To read 2,000 sittings for the first time and to judge 60 assessors takes a second of a core, and
half a second after each closing. A thread of the server does it beforehand, with the caches that
the page itself uses; where it has not come to it yet, the page works it out as ever.
"""

from __future__ import annotations

from contextlib import suppress
from threading import Event

from ..base.errors import SensoryError
from ..store.repository import Repository

WANTED = Event()
"""Set when a session was closed here."""
_PATIENCE = 60.0


def keep_ready(record: Repository, drawn: Event, stop: Event) -> None:
    """Work the panel out after a leader's first page was drawn, and whenever it is wanted; for a
    thread."""
    drawn.wait()
    WANTED.set()
    while not stop.is_set():
        if WANTED.wait(_PATIENCE):
            WANTED.clear()
            _work_out(record)


def _work_out(record: Repository) -> None:
    from .panel_history import work_out  # not before a page was drawn

    with suppress(SensoryError):  # the page itself says what is wrong
        work_out(record)
