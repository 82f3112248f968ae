"""How long does a stored product stay as agreed? First food safety's date, then the data."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import streamlit as st

from ..base.results import several
from ..evidence.shelf_life import in_words
from ..evidence.shelf_plan import BASIC, REVERSED, storage_plan
from ..release.storage_sessions import stored_sessions
from ..release.storage_studies import BEFORE, STORAGE_STUDIES, plan_tables
from ..release.study_kinds import StudyKind
from ..report.shelf_figures import storage_figure
from ..report.workbooks import workbook
from ..sessions.storage_file import WANTED, SeriesKind, read_storage_series
from .batch_forms import say_recorded
from .frame import current_frame, desk, plain, shown_errors
from .parts import choose, download, listed, scroll, show_figure
from .study import (
    TYPES,
    StudyFile,
    before_data,
    described,
    invented_file,
    keep_part,
    kept_studies,
    show_study,
    standing,
    study_errors,
    study_of_file,
    study_of_rows,
)

PRODUCT = "shelf-product"
"""Where Products leaves the name of the product."""
_FIRST = STORAGE_STUDIES[SeriesKind.SCORES]
_FROM_FILE, _FROM_RECORD = "a file", "sessions on record"
_STORED = (
    "Taken are closed sessions whose samples name this batch: choice tests, difference from "
    "control, profiles. The day of each less the day stored from is its storage time."
)
_SAFETY_FIRST = (
    "First the date of food safety: no shelf life is later, however good the product tastes, and "
    "nothing older is tasted."
)


def page() -> None:
    """Food safety's date, the data with the agreed limit, the finding; a plan below."""
    st.title("Shelf life")
    say_recorded()
    st.markdown(
        "After how long in storage is a product no longer as agreed: by panel scores, by "
        "consumers, or by choice tests."
    )
    with study_errors():
        if current_frame().invented:
            _invented()
        before = before_data(_FIRST, BEFORE, "shelf")
        if before is None:
            st.info(_SAFETY_FIRST)
        else:
            _data(before)
    kept_studies("shelf-study", kinds=[kind.key for kind in STORAGE_STUDIES.values()], most=4)
    with st.expander("Plan a storage trial"), shown_errors():
        _plan()


def _about() -> Mapping[str, Any]:
    """What is known of the invented series."""
    text = (current_frame().demo / "shelf_life.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def _invented() -> None:
    """An invented batch stored for half a year, asked in three ways."""
    st.markdown("**An invented cordial, stored for half a year.** Open its series of:")
    row = st.container(horizontal=True)
    for at, kind in enumerate(_about()["series"]):
        row.button(kind, key=f"shelf-demo-{at}", on_click=_fill, args=(kind,))


def _fill(kind: str) -> None:
    """Every field as it was in the invented trial."""
    about = _about()
    limit = f"study-shelf-{SeriesKind(kind).name.casefold()}-limit"
    st.session_state.update(
        {
            PRODUCT: about["product"],
            "study-shelf-safe": date.fromisoformat(about["safety_date"]),
            "study-shelf-start": date.fromisoformat(about["start"]),
            "study-shelf-storage": about["storage"],
            "shelf-agreed": about["agreed_by"],
            "shelf-demo": kind,
            "shelf-source": _FROM_FILE,
            limit: about["series"][kind]["limit"],
        }
    )


def _data(before: Mapping[str, float | str]) -> None:
    """The series, its limit, what it shows, and the way onto the record."""
    sources = (_FROM_FILE, _FROM_RECORD)
    source = st.radio("Where are the data?", sources, horizontal=True, key="shelf-source")
    if source == _FROM_RECORD:
        _sessions(before)
    else:
        _file(before)


def _sessions(before: Mapping[str, float | str]) -> None:
    """A stored batch: its closed sessions as a series, and what they show."""
    row = st.columns(2)
    number = row[0].text_input("Batch that was stored", key="shelf-stored").strip()
    if not number:
        st.markdown(_STORED)
        return
    known = stored_sessions(desk(), number, str(before["start"]))
    listed(known.remarks)
    if not known.series:
        st.info(plain(f"No closed session of batch {known.batch} can be used. {_STORED}"))
        return
    names = [each.name for each in known.series]
    with row[1]:
        chosen = choose("Question", names, names[0], "shelf-question")
    series = next(each for each in known.series if each.name == chosen)
    st.markdown(f"{several(series.sessions, 'session')}: {plain(series.name)}.")
    kind, source = _unasked(series.kind, before), f"closed sessions of batch {known.batch}"
    study = standing(study_of_rows(kind, before, series.columns, series.cells, source))
    if study is not None:
        show_study(study, kept=False, key="shelf")
        about = {"product": known.product, "batch": known.batch}
        keep_part(described(study, **about, key="shelf"), key="shelf")


def _unasked(series: SeriesKind, before: Mapping[str, float | str]) -> StudyKind:
    """The kind without what was asked before the data and left empty."""
    kind = STORAGE_STUDIES[series]
    left = {key for key in BEFORE if key not in before}
    return replace(kind, settings=tuple(each for each in kind.settings if each.key not in left))


def _file(before: Mapping[str, float | str]) -> None:
    """A file with the series, and what it shows."""
    file = _series()
    if file is None:
        return
    series = read_storage_series(file.content)
    weeks = ", weeks taken as 7 days" if series.times_in_weeks else ""
    st.markdown(f"{plain(file.name)}: {series.kind.value.lower()}, {len(series.rows)} rows{weeks}.")
    study = standing(study_of_file(_unasked(series.kind, before), before, file))
    if study is not None:
        show_study(study, kept=False, key="shelf")
        product = str(st.session_state.get(PRODUCT) or "")
        keep_part(described(study, product=product, key="shelf"), key="shelf")


def _series() -> StudyFile | None:
    """The file that was uploaded, else the invented series that was opened."""
    upload = st.file_uploader("Series over storage time, CSV or XLSX", TYPES, key="shelf-upload")
    if upload is not None:
        return StudyFile(name=upload.name, content=upload.getvalue())
    kind = st.session_state.get("shelf-demo")
    if kind and current_frame().invented:
        return invented_file(str(_about()["series"][kind]["file"]))
    st.markdown("The columns say what the series is:")
    listed(f"{kind.value}: {columns}." for kind, columns in WANTED.items())
    st.markdown("Days of storage count from the first day; a column of weeks is read too.")
    return None


def _plan() -> None:
    """Days on which samples are put away, taken out and tasted, and how many there are."""
    st.markdown(_SAFETY_FIRST)
    left, middle, right = st.columns(3)
    safe = left.date_input("Safe to eat until", value=None, key="shelf-plan-safe")
    start = middle.date_input("First samples put away on", value=None, key="shelf-plan-start")
    design = right.radio("Design", [BASIC, REVERSED], horizontal=True, key="shelf-plan-design")
    expected = left.number_input(
        "Expected shelf life, days", 3, 3650, value=None, key="shelf-plan-expected"
    )
    people = middle.number_input("People at a tasting", 1, 1000, 10, key="shelf-plan-people")
    times = right.number_input("Storage times", 3, 20, 7, key="shelf-plan-times")
    if safe is None or start is None or expected is None:
        return
    plan = storage_plan(
        str(design or BASIC),
        safety_date=safe,
        start=start,
        expected_days=int(expected),
        assessors=int(people),
        times=int(times),
    )
    listed(plan.says())
    words = f"Last tasting on {in_words(plan.sessions[-1])}."
    show_figure("shelf-plan-figure", storage_figure(plan, "container"), words)
    scroll(plan.summary())
    sheets = partial(workbook, plan_tables(plan))
    download("Pull dates, XLSX", sheets, "storage-trial.xlsx", "shelf-plan-xlsx")
