"""Invented sessions and an invented year, in a record of their own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from ..base.errors import SensoryError
from ..release.batch_records import ProductRecord
from ..sessions.copies import open_copy_of
from ..sessions.workflow import new_session_id, open_session, read_prepared
from .frame import current_frame, desk, go, shown_errors, try_invented
from .parts import pressed

FIRST = {
    "suspect_batch": ("Suspect batch", "24 triangles: may this batch go out?"),
    "reformulation": ("Reformulation", "66 triangles: is less sugar undetectable?"),
    "new_supplier": ("New supplier", "32 duo-trios: and if the session cannot tell?"),
}
OTHERS = {
    "mistakes": ("Typed in a hurry", "18 triangles with eight kinds of mistakes."),
    "pressing": ("New press", "A profile: six attributes, ten assessors, twice."),
    "line_grading": ("Line grading", "Six batches, three graders, spiked samples."),
    "taint": ("Taint", "Six rising concentrations, twelve assessors."),
    "gasket": ("Worn gasket", "Difference from control: two batches."),
    "aftertaste": ("Aftertaste", "Four sweetenings in order."),
    "shop_light": ("Shop light", "A - not A, 24 assessors, both samples each."),
    "new_thickener": ("Lingering ginger", "60 same-different pairs, one each."),
    "water": ("Two waters", "Graded by sureness, two products at once."),
    "words": ("Which words?", "16 assessors tick a list of words at three pressings."),
}
_YEAR = (
    "A year of batches",
    "Two lines, some 120 batches, three things that went wrong; and grading at a third line.",
)
_PANEL = (
    "A year of a panel",
    "Ten assessors, 48 sessions and a training: who needs attention, who is trained?",
)
_WISHED = "invented-wish"


def open_wished() -> None:
    """After a click that led here: open what was wished for, in the record of invented data."""
    wished = st.session_state.pop(_WISHED, "")
    if not wished or not current_frame().invented:
        return
    with shown_errors():
        if wished == "year":
            _open_year()
        elif wished == "panel":
            _open_panel()
        else:
            _open_session(wished)


def invented_tiles(*, all_of_them: bool) -> None:
    """What can be tried, a click each."""
    years = {"year": _YEAR, "panel": _PANEL}
    _tiles(FIRST | years, primary=False)
    if all_of_them:
        others = list(OTHERS.items())
        _tiles(dict(others[:5]), primary=False)
        _tiles(dict(others[5:]), primary=False)


def _tiles(prepared: dict[str, tuple[str, str]], *, primary: bool) -> None:
    for column, (name, (title, words)) in zip(
        st.columns(max(len(prepared), 4)), prepared.items(), strict=False
    ):
        with column, st.container(border=True, height="stretch"):
            st.markdown(f"**{title}**  \n{words}")
            if pressed("Open", f"demo-{name}", primary=primary):
                try_invented()
                st.session_state[_WISHED] = name
                st.rerun()


def _open_session(name: str) -> None:
    """Open the session; a copy that nobody has agreed yet is used again."""
    prepared = read_prepared(current_frame().demo, name)
    untouched = open_copy_of(desk(), prepared["details"], prepared["question"])
    session = untouched or open_session(
        desk(), new_session_id(), **prepared, who="demo", why=f"demo data {name}"
    )
    go("ballots" if name == "mistakes" else "question", session.id)


def _open_year() -> None:
    from ..release.prepared_year import load_year  # Today itself loads no statistics

    if not any(product.name for product in desk().nouns(ProductRecord)):
        bar = st.progress(0.0, "Putting a year on record")
        st.session_state[_WISHED] = "year"  # a run that overtakes this one begins again
        try:
            load_year(desk(), current_frame().demo, who="demo", progress=_by_the_month(bar))
        except SensoryError:
            del st.session_state[_WISHED]
            raise
        del st.session_state[_WISHED]
        bar.empty()
    go("batches")


def _open_panel() -> None:
    from ..panel.prepared_panel import load_panel
    from ..panel.register import the_register

    if not the_register(desk(), gone=True):
        with st.spinner("Putting a year of a panel on record"):
            load_panel(desk(), current_frame().demo, today=date.today().isoformat(), who="demo")
    go("people")


def _by_the_month(bar: DeltaGenerator) -> Callable[[str, float], None]:
    """Move the bar when another month of the year begins; the page is not asked more often."""
    reached = ""

    def moved(day: str, share: float) -> None:
        nonlocal reached
        if day[:7] != reached:
            reached = day[:7]
            bar.progress(share, f"Putting a year on record: {date.fromisoformat(day):%B %Y}")

    return moved
