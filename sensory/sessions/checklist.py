"""What a serving needs before, while and after people taste, and which of it is done."""

from __future__ import annotations

from dataclasses import dataclass

from .allergens import declared_allergens, undeclared
from .live_board import LiveBoard, live_board
from .serving import Serving
from .session import StoredSession
from .steps import State
from .store import Store

PLAN, ALLERGENS, PRINT, TASTE, CONFIRM = ("Plan", "Allergens", "Print", "Taste", "Confirm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One point of the checklist; `words` say what is done, or what is to be done."""

    name: str
    state: State
    words: str


def checklist(store: Store, session_id: str) -> tuple[Item, ...]:
    """The five points in their order; one is now, until all are done.

    Whether something was printed nobody records: it counts as done once somebody tastes.

    Raises RecordError where the plan on record cannot be read.
    """
    session = store.session(session_id)
    serving, board = session.serving, live_board(store, session_id)
    begun = bool(board.sent) or any(seat.since for seat in board.seats)
    confirmed = bool(serving and serving.confirmed)
    declared = serving is not None and not undeclared(session)
    return _in_order(
        (PLAN, serving is not None, _plan(serving)),
        (ALLERGENS, declared, _allergens(session)),
        (PRINT, begun, "Kitchen sheet, labels, ballots or booth cards."),
        (TASTE, session.closed or board.complete, _taste(board)),
        (CONFIRM, confirmed, "Served as planned." if confirmed else "Served as planned?"),
    )


def _in_order(*points: tuple[str, bool, str]) -> tuple[Item, ...]:
    now = next((name for name, done, _ in points if not done), "")
    return tuple(
        Item(
            name=name,
            state=State.DONE if done else State.NOW if name == now else State.LATER,
            words=words,
        )
        for name, done, words in points
    )


def _plan(serving: Serving | None) -> str:
    return serving.plan.balance_words if serving else "Who is served what, in which order."


def _allergens(session: StoredSession) -> str:
    if session.serving is None:
        return "Of every sample."
    if missing := undeclared(session):
        return f"Missing: {', '.join(missing)}."
    texts = dict.fromkeys(declared_allergens(session).values())
    if len(texts) == 1:
        return f"{next(iter(texts))} (all samples)."
    return f"{'; '.join(texts)}."


def _taste(board: LiveBoard) -> str:
    return "All ballots are in." if board.complete else "See the live board."
