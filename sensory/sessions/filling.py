"""Sessions that were closed before it was kept what they showed: read once, and kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ..base.errors import SensoryError
from ..base.version import __version__
from ..catalogue.lines import Cells
from .session import StoredSession
from .store import Store


def fill_outcomes(
    store: Store, compute: Callable[[StoredSession, Cells], dict[str, Any]], *, who: str = ""
) -> int:
    """Keep what closed sessions showed where that is not on record, each in an action of its own.

    What cannot be read is left as it is; its page says why.

    Parameters
    ----------
    store : Store
    compute : callable
        From session and ballots to what is kept, as plain data.
    who : str
        Who opens the record; the journal names the version of the program as well.

    Returns
    -------
    int
        How many were written.
    """
    written = 0
    for session_id in store.without_outcome():
        session, cells = store.session(session_id), store.cells(session_id)
        try:
            plain = compute(session, cells)
        except SensoryError:
            continue
        with store.action(who=who, why=f"read by version {__version__}") as act:
            act.unchanged(session, cells)
            act.keep_outcome(session_id, plain)
        written += 1
    return written
