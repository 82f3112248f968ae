"""Home: what waits for whom, what runs, what to look at; one way to a new session, one field."""

from __future__ import annotations

from datetime import date

import streamlit as st

from ..base.results import several
from ..release.batch_records import ProductRecord
from ..release.day import (
    OpenSignal,
    Waiting,
    needs_a_look,
    open_signals,
    references_in_use,
    running,
    waiting,
)
from ..release.look_up import Hit, look_up
from .demo import invented_tiles, open_wished
from .frame import address, current_frame, day, desk, page_of, plain, shown_errors, title_of
from .parts import listed, way

_SHOWN = 10


def page() -> None:
    """Show the day, or what one field finds."""
    open_wished()
    title, find, new = st.columns([2, 4, 1.4], vertical_alignment="bottom")
    title.title("Today", anchor=False)
    wanted = find.text_input(
        "Find a batch, lot, session or assessor",
        key="find",
        placeholder="number, lot, title or name",
    )
    way("New session", "new-session", "new", place=new.container(horizontal_alignment="right"))
    with shown_errors():
        if wanted.strip():
            _hits(*look_up(desk(), wanted))
            return
        if desk().nouns(ProductRecord, most=1) or desk().sessions(1):
            _day()
        elif current_frame().invented:
            st.markdown("Choose what to try. Each opens as a session or a year of your own would.")
        else:
            st.markdown(
                "Nothing is on record yet. Open a session, enter a product, or look round in "
                "invented data first."
            )
        _invented()
    _foot()


def _day() -> None:
    left, right = st.columns([5, 3], gap="large")
    with left:
        _waiting()
    with right:
        _running()
    _look_here()


def _waiting() -> None:
    st.subheader("Waiting for somebody")
    batches = waiting(desk())
    if not batches:
        st.markdown("No batch waits for anybody.")
    for each in batches[:_SHOWN]:
        _waits(each)
    if len(batches) > _SHOWN:
        st.page_link(
            page_of("batches"), label=f"All {len(batches)} open batches",
            query_params=address("batches"),
        )  # fmt: skip


def _waits(each: Waiting) -> None:
    record = each.record
    name, step, button = st.columns([3, 4, 1.7], vertical_alignment="center")
    name.markdown(f"**{plain(record.name)}**  \n{plain(record.batch.product)}")
    step.markdown(f"{plain(each.step)}  \n{plain(each.whom)}, since {day(each.since)}")
    key = f"waits-{record.name}"
    way("Open", key, "batch", batch=record.name, primary=False, place=button)


def _running() -> None:
    st.subheader("Running sessions")
    sessions, more = running(desk())
    if not sessions:
        st.markdown("No session is open.")
    for each in sessions:
        name, button = st.columns([3, 2], vertical_alignment="center")
        name.markdown(f"**{title_of(each.session)}**  \n{plain(each.words)}")
        key = f"runs-{each.session.id}"
        way("Go on", key, each.step, each.session.id, primary=False, place=button)
    if more:
        older = several(more, "older open session")
        st.markdown(f"Not shown: {older}. All are on the page Sessions.")


def _look_here() -> None:
    today = date.today().isoformat()
    references = references_in_use(desk(), today)
    signals, more = _signals()
    if not references and not signals:
        return
    st.subheader("Look here")
    for signal in signals:
        words, button = st.columns([7, 1.6], vertical_alignment="center")
        line = f", {signal.line}" if signal.line else ""
        words.markdown(
            f"⚠ Batch **{plain(signal.batch)}**, {plain(signal.product)}{plain(line)}: "
            f"{plain(signal.words)}"
        )
        key = f"signal-{signal.place}-{signal.batch}"
        way("Open", key, "batch", batch=signal.batch, primary=False, place=button)
    if more:
        others = several(more, "other signal")
        st.markdown(f"Not shown: {others}. All are on the page Trend of their product.")
    for state in references:
        age, *rest = state.says()
        left = f" {rest[0]}" if state.days_left is not None and state.days_left >= 0 else ""
        sign = "⚠ " if needs_a_look(state) else ""
        st.markdown(f"{sign}Reference of {plain(state.reference.product)}: {plain(age + left)}")
        if state.problems:
            listed(state.problems)


def _signals() -> tuple[list[OpenSignal], int]:
    """Signals of the trend; computed anew only where a batch of late, what was acknowledged or
    the baseline has changed."""
    latest = desk().batches(most=_SHOWN)
    known = [(each.name, len(each.signals), each.base) for each in desk().nouns(ProductRecord)]
    print_of = (current_frame().place, *known, *((each.name, str(each.found)) for each in latest))
    kept = st.session_state.get("signals")
    if kept is None or kept[0] != print_of:
        kept = st.session_state["signals"] = (print_of, open_signals(desk()))
    signals: tuple[list[OpenSignal], int] = kept[1]
    return signals


def _hits(hits: list[Hit], more: list[str]) -> None:
    st.subheader("Found")
    if not hits:
        st.markdown("No match. A part of the number, the title or the name is enough.")
    for number, hit in enumerate(hits):
        words, button = st.columns([7, 1.6], vertical_alignment="center")
        on = f" · {day(hit.on)}" if hit.on else ""
        words.markdown(f"{hit.kind.capitalize()} **{plain(hit.name)}** · {plain(hit.about)}{on}")
        if hit.kind == "lot":
            key = f"hit-{number}"
            if button.button("Batches", key=key):
                st.session_state["find-batch"] = hit.name
                st.switch_page(page_of("batches"), query_params=address("batches"))
        else:
            to = "batch" if hit.batch else "finding"
            session = hit.session or None
            batch = hit.batch or None
            key = f"hit-{hit.kind}-{hit.batch or hit.session}"
            way("Open", key, to, session, batch=batch, primary=False, place=button)
    if more:
        st.markdown(f"Not shown: more {' and '.join(more)} with this text. Type more of it.")


def _invented() -> None:
    inside = current_frame().invented
    st.subheader("More invented data" if inside else "Try it with invented data")
    if not inside:
        st.markdown("They are kept in a record of their own, and left with one click.")
    invented_tiles(all_of_them=inside)


def _foot() -> None:
    row = st.container(horizontal=True)
    row.page_link(page_of("settings"), label="Settings", query_params=address("settings"))
    row.page_link(page_of("help"), label="Help", query_params=address("help"))
    if place := current_frame().place:
        st.markdown(f"The record is kept in {plain(place)}")
