"""Sessions that were closed before it was kept what they showed: read once, and kept.

So is what each assessor did in them.
"""

from __future__ import annotations

from ..base.errors import SensoryError
from ..base.version import __version__
from ..catalogue.outcome_json import outcome_to_json
from .finding import outcome_of_session
from .outcome_names import without_names
from .outcomes import check_ballots
from .sitting import sitting_of
from .store import Store
from .trained import trained_of
from .workflow import keep_answers


def fill_outcomes(store: Store, *, who: str) -> int:
    """Keep what closed sessions show where that is not on record, each in an action of its own.

    What cannot be read is left as it is; its page says why.

    `who`: who opens the record; the journal names the version of the program as well.

    Returns how many were written.
    """
    written = 0
    for session_id in store.without_outcome():
        session, cells = store.session(session_id), store.cells(session_id)
        if session.question.training is not None:
            continue
        try:
            outcome = outcome_of_session(store, session, cells)
        except SensoryError:
            continue
        with store.action(who=who, why=f"read by version {__version__}") as act:
            act.unchanged(session, cells)
            act.keep_outcome(session_id, without_names(outcome_to_json(outcome), cells))
        written += 1
    return written


def fill_sittings(store: Store, *, who: str) -> int:
    """Keep what each assessor did in closed sessions where that is not on record, training too.

    What cannot be read is left as it is.

    Returns how many were written.
    """
    written = 0
    for session_id in store.without_sitting():
        session, cells = store.session(session_id), store.cells(session_id)
        training = session.question.training is not None
        if training and store.training(session_id) is not None:
            continue
        try:
            checked = check_ballots(cells, session.question)
            trained = trained_of(session, checked) if training else None
            sitting = None if training else sitting_of(session, cells, checked)
        except SensoryError:
            continue
        with store.action(who=who, why=f"read by version {__version__}") as act:
            act.unchanged(session, cells)
            keep_answers(act, sitting, trained)
        written += 1
    return written
