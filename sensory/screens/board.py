"""The checklist of a serving, the live board, and absence in one place."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..sessions.booth_plans import add_late, did_not_come
from ..sessions.checklist import checklist
from ..sessions.exclusions import not_today
from ..sessions.live_board import At, LiveBoard, Seat, live_board
from ..sessions.session import StoredSession
from ..sessions.steps import counted
from .booth_links import add_link
from .frame import clock, desk, plain, shown_errors, who
from .parts import act, pressed
from .step_bar import SIGNS


def show_checklist(session: StoredSession) -> None:
    """The points of the checklist, each with its sign and what is to be done."""
    lines = [
        f"{SIGNS[item.state]} **{item.name}:** {plain(item.words)}"
        for item in checklist(desk(), session.id)
    ]
    st.subheader("Checklist")
    st.markdown("  \n".join(lines))


def show_board(session: StoredSession, *, counts: bool = True) -> None:
    """The board, which refreshes by itself; with its counts where the page has none."""
    st.subheader("Live board")
    _board(session, _whole(live_board(desk(), session.id)), counts)


Whole = tuple[tuple[tuple[str, str], ...], bool]


def _whole(board: LiveBoard) -> Whole:
    """What changes the rest of the page: who is absent, and whether all ballots are in."""
    return board.absent, board.complete


@st.fragment(run_every=5.0)
def _board(session: StoredSession, whole: Whole, counts: bool) -> None:
    """One row a seat. A reaction, an absence or the last ballot draws the whole page anew."""
    board = live_board(desk(), session.id)
    felt = desk().session(session.id).details.care.unwell != session.details.care.unwell
    if felt or _whole(board) != whole:
        st.rerun()
    if counts:
        st.markdown(f"**{board.words}**")
    if board.seats:
        st.table([_row(seat, board) for seat in board.seats], hide_index=True)


_SIGNS = {At.WAITING: "○", At.TASTING: "▸", At.SENT: "✓"}


def _row(seat: Seat, board: LiveBoard) -> dict[str, str]:
    state = "answered" if seat.at == At.SENT and not board.booths else str(seat.at)
    state = f"{_SIGNS.get(seat.at, '–')} {state}"
    return {
        "seat": str(seat.number),
        "name": plain(seat.name),
        "ballots": counted(seat.sent, seat.expected) if seat.expected else "–",
        "state": f"{state}, came late" if seat.late and not seat.absent else state,
        "since": clock(seat.since),
    }


def absence_panel(session: StoredSession) -> None:
    """Not today, did not come, the way back from both, and who comes late."""
    board = live_board(desk(), session.id)
    seats = {seat.name: seat for seat in board.seats}
    with st.expander("Absent, or late", expanded=bool(board.absent)):
        st.markdown("No reason is asked, and none is kept.")
        name = st.selectbox(
            "Assessor",
            list(seats),
            index=None,
            placeholder="Choose who",
            format_func=lambda name: f"{name}: {seats[name].at}",
            key=f"absent-{session.id}",
        )
        with st.container(horizontal=True):
            _absence(session, seats.get(str(name)))
        _late(session)


def _absence(session: StoredSession, seat: Seat | None) -> None:
    by, here, name = who(session), session.id, seat.name if seat else ""
    stay_away = partial(not_today, desk(), here, name, who=by)
    strike = partial(did_not_come, desk(), here, name, who=by)
    there = seat is not None and not seat.absent
    act("Not today", "not-today", stay_away, ready=there and seat and seat.at != At.SENT)
    act("Did not come", "did-not-come", strike, ready=there)
    act("Undo", "undo-absence", partial(_undo, session, seat), ready=seat and seat.absent)


def _undo(session: StoredSession, seat: Seat | None) -> None:
    if seat is not None and seat.at == At.NOT_TODAY:
        not_today(desk(), session.id, seat.name, taken_back=True, who=who(session))
    elif seat is not None:
        _seated(session, seat.name)


def _late(session: StoredSession) -> None:
    """Somebody who came late gets the orders that were served least."""
    name, button = st.columns([3, 2], vertical_alignment="bottom")
    late = name.text_input("Late arrival: name", key=f"late-{session.id}")
    if pressed("Add late arrival", "seat-late", ready=late.strip(), place=button):
        with shown_errors():
            _seated(session, " ".join(late.split()))
            st.rerun()


def _seated(session: StoredSession, name: str) -> None:
    token = add_late(desk(), session.id, name, who=who(session))
    add_link(session, name, token)
