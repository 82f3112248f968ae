"""The plant's numbers for screening, on the page Settings."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..panel.qualification import keep_screening_rules, the_screening_rules
from ..panel.series import ScreeningRules, Series
from ..panel.series_plan import KINDS, rule_of
from .frame import acting, desk, shown_errors
from .parts import act, listed

_SHARES = (
    ("unfit", "Triangles: share right of somebody who should fail"),
    ("fit", "Triangles: share right of somebody who should pass"),
    ("alpha", "Triangles: nominal risk that the former passes"),
    ("beta", "Triangles: nominal risk that the latter fails"),
    ("tastes", "Basic tastes: share of right matches needed"),
    ("odours", "Odours: share of right names needed"),
    ("pairs", "Scale use: share of pairs of cups needed in order"),
    ("reach", "Scale use: share of the scale to be used"),
)
_COUNTS = (
    ("most", "Triangles at most", 1, 500),
    ("inversions", "Ranking: pairs allowed the wrong way round", 0, 60),
    ("requalify", "Months until assessors are screened again", 1, 60),
)


def screening_rules_form() -> None:
    """The numbers with their sources; series that have begun keep theirs."""
    now = the_screening_rules(desk())
    with st.expander("Screening of assessors"):
        st.markdown("Conventions of the plant. A series that has begun keeps its numbers.")
        columns = st.columns(3)
        given: dict[str, float] = {}
        for at, (name, label) in enumerate(_SHARES):
            given[name] = columns[at % 3].number_input(
                label, 0.001, 1.0, float(getattr(now, name)), 0.05, key=f"screening-{name}",
                format="%.3f",
            )  # fmt: skip
        counts = {
            name: int(columns[at].number_input(label, low, high, getattr(now, name),
                                               key=f"screening-{name}"))
            for at, (name, label, low, high) in enumerate(_COUNTS)
        }  # fmt: skip
        listed(_sources())
        with shown_errors():

            def save() -> None:
                new = ScreeningRules(**given, **counts)  # type: ignore[arg-type]
                rule_of(Series.TRIANGLES, new, KINDS[Series.TRIANGLES].samples)
                keep_screening_rules(desk(), new, who=acting())

            act("Save rules of screening", "screening-save", partial(save))


def _sources() -> list[str]:
    """Where the usual numbers come from, a line a series."""
    usual = ScreeningRules()
    lines = [
        f"{KINDS[series].title}: {rule_of(series, usual, KINDS[series].samples).source}."
        for series in Series
    ]
    return [*lines, "Months until screened again: common practice, no source."]
