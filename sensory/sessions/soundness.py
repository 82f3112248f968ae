"""Nothing is shown, decided or archived of a record that was changed outside the program.

Why so
------
Whoever changes a record counts on nobody asking. So finding, report, decision and archive check
the session that they speak of, in some milliseconds, and the record as a whole is checked once a
day. A rewrite of the last entries with all their hashes shows only beside a hash that was kept
elsewhere: reports print the newest one, and each sound check can add it to a file of the plant's
choice (`store.daily`).
"""

from __future__ import annotations

from ..base.errors import RecordError
from .session import Check
from .store import Store


def refuse_changed(store: Store, session_id: str, what: str) -> None:
    """Check one session; `what` is refused of it where it is not as it was written.

    Raises RecordError with the first thing that is wrong.
    """
    refuse_wrong(store.verify(session_id), what)


def refuse_wrong(wrong: list[str], what: str) -> None:
    """RecordError where something is wrong; `what` as in 'The finding'."""
    if wrong:
        more = f" And {len(wrong) - 1} more." if len(wrong) > 1 else ""
        raise RecordError(
            f"{what} is not given: the record was changed outside this program. {wrong[0]}{more} "
            "Check the record on the page Sessions, and restore it from a backup."
        )


def last_check(store: Store) -> Check | None:
    """The latest check of the whole record; None before the first."""
    return store.last_check()
