"""Another file in the place of a faulty one, in the same session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..base.errors import RecordError
from ..catalogue.columns import Cells
from .store import Store


def replace_ballots(
    store: Store, session_id: str, cells: Cells, *, remarks: Sequence[str] = (), who: str, why: str
) -> int:
    """Put the ballots of a file in the place of those that the session has, in one action.

    Cells that the new file does not have are taken out; the journal keeps what stood there.
    `remarks` are those about the form of the new file. Returns how many cells changed.

    Raises RecordError when the ballots are closed, were sent from booths, or belong to a serving
    plan.
    """
    with store.action(who=who, why=why) as act:
        session, there = act.session(session_id), act.cells(session_id)
        if session.closed:
            raise RecordError("The ballots are closed; reopen the session with a reason.")
        if session.serving is not None:
            raise RecordError(
                "These ballots are served by a plan, which a file cannot replace. Open a new "
                "session for the file."
            )
        changes = {line: dict.fromkeys(texts, "") for line, texts in there.items()}
        for line, texts in cells.items():
            changes[line] = changes.get(line, {}) | dict(texts)
        details = replace(session.details, file_remarks="\n".join(remarks))
        act.put(replace(session, details=details), expect=session, what="described")
        return act.write_lines(session_id, changes)
