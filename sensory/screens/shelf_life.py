"""How long does a stored product stay as agreed? First food safety's date, then the data."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from ..base.records import utc_now
from ..base.version import __version__
from ..evidence.shelf_choices import shelf_life_from_choices
from ..evidence.shelf_consumers import shelf_life_from_consumers
from ..evidence.shelf_life import ShelfLife, in_words
from ..evidence.shelf_plan import BASIC, REVERSED, storage_plan
from ..evidence.shelf_scores import shelf_life_from_scores
from ..models.censored_times import SHAPES
from ..release.shelf_report import ShelfReport, plan_tables
from ..report.shelf_figures import shelf_life_figure, storage_figure
from ..report.workbooks import workbook
from ..sessions.storage_file import WANTED, SeriesKind, StorageSeries, read_storage_series
from .frame import current_frame, plain, shown_errors
from .parts import choose, download, listed, scroll, show_figure
from .worker import pdf_of

_TYPES = ["csv", "txt", "tsv", "xlsx"]
PRODUCT = "shelf-product"
"""Key of the product: who comes from Products has chosen it."""
_MOST_LIKELY = "most likely of the three"
_NO_LIMIT = (
    "No limit yet. It is a decision of your plant, taken before tasting; nothing is proposed."
)
_SAFETY_FIRST = (
    "First the date of food safety: no shelf life is later, however good the product tastes, and "
    "nothing older is tasted."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What is asked before any data: which product, until when it is safe, how it was stored."""

    product: str
    safe: date
    start: date
    storage: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Agreed:
    """The agreed limit in words, and the call that finds the time at which it is reached."""

    words: str
    find: Callable[..., ShelfLife]
    by: str


def page() -> None:
    """Food safety's date, the data with the agreed limit, the finding; a plan below."""
    st.title("Shelf life")
    st.markdown(
        "After how long in storage is a product no longer as agreed: by panel scores, by "
        "consumers, or by choice tests."
    )
    with shown_errors():
        if current_frame().invented:
            _invented()
        asked = _asked()
        if asked is None:
            st.info(_SAFETY_FIRST)
        else:
            _data(asked)
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
    series = about["series"][kind]
    st.session_state.update(
        {
            PRODUCT: about["product"],
            "shelf-safe": date.fromisoformat(about["safety_date"]),
            "shelf-start": date.fromisoformat(about["start"]),
            "shelf-storage": about["storage"],
            "shelf-by": about["agreed_by"],
            "shelf-demo": kind,
            f"shelf-limit-{SeriesKind(kind).name}": series["limit"],
        }
    )


def _asked() -> _Asked | None:
    """Food safety's date and the start of storage; None while one of them is missing."""
    first, second, third, fourth = st.columns(4)
    safe = first.date_input("Food safety: safe to eat until", value=None, key="shelf-safe")
    start = second.date_input("Stored from", value=None, key="shelf-start")
    product = third.text_input("Product", key=PRODUCT)
    storage = fourth.text_input(
        "Batch and storage", key="shelf-storage", placeholder="batch, temperature, light, package"
    )
    if safe is None or start is None:
        return None
    return _Asked(product=product, safe=safe, start=start, storage=storage)


def _data(asked: _Asked) -> None:
    """The series and its limit; what it shows."""
    read = _series()
    if read is None:
        return
    name, series = read
    weeks = ", weeks taken as 7 days" if series.times_in_weeks else ""
    st.markdown(f"{plain(name)}: {series.kind.value.lower()}, {len(series.rows)} rows{weeks}.")
    agreed = _LIMITS[series.kind]()
    if agreed is None:
        st.info(_NO_LIMIT)
        return
    result = agreed.find(series.rows, safety_date=asked.safe, start=asked.start)
    _found(
        ShelfReport(
            result=result,
            product=asked.product,
            kind=series.kind.value,
            data=f"{name}, {len(series.rows)} rows",
            limit=agreed.words,
            agreed_by=agreed.by,
            storage_conditions=asked.storage,
            printed_at=utc_now(),
            version=__version__,
        )
    )


def _series() -> tuple[str, StorageSeries] | None:
    """The file that was uploaded, else the invented series that was opened."""
    upload = st.file_uploader("Series over storage time, CSV or XLSX", _TYPES, key="shelf-upload")
    if upload is not None:
        return upload.name, read_storage_series(upload.getvalue())
    kind = st.session_state.get("shelf-demo")
    if kind and current_frame().invented:
        file = str(_about()["series"][kind]["file"])
        return file, read_storage_series(current_frame().demo / file)
    st.markdown("The columns say what the series is:")
    listed(f"{kind.value}: {columns}." for kind, columns in WANTED.items())
    st.markdown("Days of storage count from the first day; a column of weeks is read too.")
    return None


def _limit(label: str, kind: SeriesKind, **bounds: Any) -> tuple[float | None, str, DeltaGenerator]:
    """The limit, who agreed it, and room for what else was agreed."""
    left, middle, right = st.columns(3)
    value = left.number_input(label, value=None, key=f"shelf-limit-{kind.name}", **bounds)
    return value, middle.text_input("Agreed by, before tasting", key="shelf-by"), right


def _limit_of_scores() -> _Agreed | None:
    label = "Agreed limit of the mean"
    limit, by, room = _limit(label, SeriesKind.SCORES, format="%.2f", step=0.1)
    side = room.radio("Worse is", ["higher", "lower"], horizontal=True, key="shelf-worse")
    if limit is None:
        return None
    worse = str(side or "higher")
    find = partial(shelf_life_from_scores, limit=limit, worse=worse)
    return _Agreed(words=f"{limit:g}, {worse} is worse", find=find, by=by)


def _limit_of_consumers() -> _Agreed | None:
    label = "Share of consumers that may reject, %"
    limit, by, room = _limit(label, SeriesKind.CONSUMERS, min_value=1.0, max_value=90.0, step=5.0)
    names = [_MOST_LIKELY, *(shape.name for shape in SHAPES)]
    key = "shelf-distribution"
    chosen = choose("Distribution, as agreed before", names, _MOST_LIKELY, key, place=room)
    if limit is None:
        return None
    distribution = None if chosen == _MOST_LIKELY else chosen
    find = partial(shelf_life_from_consumers, share=limit / 100, distribution=distribution)
    return _Agreed(words=f"{limit:g} % reject", find=find, by=by)


def _limit_of_choices() -> _Agreed | None:
    label = "Agreed d-prime"
    limit, by, _ = _limit(label, SeriesKind.CHOICES, min_value=0.05, max_value=6.0, step=0.1)
    if limit is None:
        return None
    find = partial(shelf_life_from_choices, dprime_limit=limit)
    return _Agreed(words=f"d-prime {limit:g}", find=find, by=by)


_LIMITS: Mapping[SeriesKind, Callable[[], _Agreed | None]] = {
    SeriesKind.SCORES: _limit_of_scores,
    SeriesKind.CONSUMERS: _limit_of_consumers,
    SeriesKind.CHOICES: _limit_of_choices,
}


def _found(report: ShelfReport) -> None:
    """The finding in its sentence, the picture, what it rests on; numbers folded."""
    result = report.result
    headline, *rest = result.says()
    st.subheader(plain(headline))
    words = " ".join(result.says())
    show_figure("shelf-figure", shelf_life_figure(result, "container"), words)
    st.markdown(plain(result.picture_words()))
    listed(rest)
    row = st.container(horizontal=True)
    stem = re.sub(r"\W+", "-", f"shelf-life-{report.product}".casefold()).strip("-")
    download("Report, PDF", partial(pdf_of, report), f"{stem}.pdf", "shelf-pdf", place=row)
    sheets = partial(workbook, report.tables())
    download("Results, XLSX", sheets, f"{stem}.xlsx", "shelf-xlsx", place=row)
    st.markdown("Nothing of this page is kept on record: download the report.")
    st.markdown("**Limits of this result**")
    listed(result.cannot_tell)
    with st.expander("Numbers"):
        scroll(result.summary())


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
