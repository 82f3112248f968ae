"""Sessions with rising sets as the data of a threshold study, in place of a file."""

from __future__ import annotations

import pandas as pd

from ..base.errors import RecordError
from ..catalogue.kind import KINDS
from ..catalogue.tests import find_kind
from ..catalogue.threshold_read import threshold_rows
from ..sessions.search import ALL
from ..sessions.session import StoredSession
from ..sessions.soundness import refuse_changed
from ..sessions.store import Store
from ..sessions.workflow import checked_ballots


def threshold_sessions(store: Store) -> list[StoredSession]:
    """Closed sessions with rising sets, the newest first."""
    rising = [key for key, kind in KINDS.items() if kind.sets_of is not None]
    return [
        each
        for each in store.sessions(ALL, tests=rising)
        if each.closed and find_kind(each.question.protocol).sets_of is not None
    ]


def session_rows(store: Store, session_id: str) -> pd.DataFrame:
    """Its answers as the rows of a study: ``assessor concentration correct``, cells as text.

    Raises RecordError for a session that is not closed, has no rising sets, or was changed outside
    this program.
    """
    refuse_changed(store, session_id, "The study")
    session = store.session(session_id)
    if not session.closed or find_kind(session.question.protocol).sets_of is None:
        raise RecordError("Only a closed session with rising sets can be taken for a threshold.")
    rows = threshold_rows(checked_ballots(store, session_id).rows)
    return pd.DataFrame({name: [f"{cell}" for cell in rows[name]] for name in rows})
