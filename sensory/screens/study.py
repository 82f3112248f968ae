"""The road of a study, the same on every page: settings, file, result, on record, found again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from ..base.errors import BallotError, SensoryError
from ..base.records import utc_now
from ..base.results import several
from ..release.all_studies import find_study
from ..release.batch_records import ProductRecord
from ..release.studies import Study
from ..release.study_desk import keep_study, the_study
from ..release.study_kinds import Settings, StudyKind, StudySetting
from ..report.study_documents import StudyReport, drafted, on_page
from ..report.workbooks import workbook
from ..sessions.study_file import study_headings
from ..store.study_archive import archive_study
from .batch_forms import recorded
from .frame import current_frame, day, desk, go, plain, show_faults
from .parts import choose, download, listed, pressed, scroll, show_figure, show_table
from .sign import hand
from .worker import pdf_of

OPENED = "study-opened"
"""Where a page that lists studies leaves the key of the one to show."""
TYPES = ["csv", "txt", "tsv", "xlsx"]
_NONE = "none"
_INVENTED = "study-demo"
_DAYS = "%Y-%m-%d"
_MOST = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyFile:
    """A file of a study: its name and its bytes."""

    name: str
    content: bytes


@contextmanager
def study_errors() -> Iterator[None]:
    """Show what stands against a study in the words of its rows."""
    try:
        yield
    except BallotError as error:
        count = several(len(error.faults), "error")
        st.error(f"{count} to fix in the file before it can be counted.")
        show_faults(error.faults)
    except SensoryError as error:
        st.error(plain(str(error)))


def study_of_file(kind: StudyKind, given: Settings) -> Study | None:
    """Ask for settings and file, and answer; None as long as something is missing.

    `given`: settings that the page knows already; they are not asked.
    """
    asked = [each for each in kind.settings if each.key not in given]
    typed = _fields(kind, [each for each in asked if each.kind != "column"], None)
    file = _file(kind)
    if file is None:
        return None
    roles = _roles(kind, file)
    columns = [each for each in asked if each.kind == "column"]
    if columns:
        typed |= _fields(kind, columns, kind.rows_of(file.content, roles))
    settings = {**given, **typed}
    if lacking := kind.lacking(settings):
        st.info(plain(f"Still to be agreed: {'; '.join(lacking)}."))
        return None
    in_order = tuple(sorted(settings.items()))
    study = drafted(kind.key, file.content, in_order, tuple(sorted(roles.items())))
    return replace(study, file=file.name)


def _file(kind: StudyKind) -> StudyFile | None:
    """The file that was uploaded, else the invented one where it was opened."""
    upload = st.file_uploader("CSV or XLSX", TYPES, key=f"study-file-{kind.key}")
    st.markdown(f"Columns: {kind.columns.asked()}.")
    if upload is not None:
        return StudyFile(name=upload.name, content=upload.getvalue())
    if current_frame().invented:
        if pressed("Open an invented study", f"study-demo-{kind.key}"):
            st.session_state[_INVENTED] = kind.key
        if st.session_state.get(_INVENTED) == kind.key:
            path = current_frame().demo / kind.invented
            return StudyFile(name=kind.invented, content=path.read_bytes())
    return None


def _roles(kind: StudyKind, file: StudyFile) -> dict[str, str]:
    """What was said of columns whose headings nobody knows; asked where a needed one is missing."""
    headings = study_headings(file.content, kind.columns)
    missing = [name for name in kind.columns.needed if name not in headings.values()]
    if not missing:
        return {}
    st.markdown("Which column is which?")
    row = st.columns(len(missing))
    open_to = [text for text, name in headings.items() if not name]
    roles = {}
    for place, name in zip(row, missing, strict=True):
        key = f"study-role-{kind.key}-{name}"
        words = kind.columns.words[name][0]
        heading = place.selectbox(words, open_to, index=None, key=key)
        if heading:
            roles[name] = heading
    return roles


def _fields(
    kind: StudyKind, settings: Sequence[StudySetting], rows: pd.DataFrame | None
) -> dict[str, float | str]:
    """The settings as they are typed; what is empty is left out."""
    typed: dict[str, float | str] = {}
    for start in range(0, len(settings), 2):
        for place, setting in zip(st.columns(2), settings[start : start + 2], strict=False):
            with place:
                value = _typed(kind, setting, rows)
            if value is not None and value != "":
                typed[setting.key] = value
    return typed


def _typed(kind: StudyKind, setting: StudySetting, rows: pd.DataFrame | None) -> float | str | None:
    key = f"study-{kind.key}-{setting.key}"
    if setting.kind == "number":
        return _number(setting, key)
    if setting.kind == "choice":
        return str(choose(setting.label, setting.choices, setting.default, key))
    if setting.kind == "day":
        on = st.date_input(setting.label, value=None, key=key)
        return on.strftime(_DAYS) if isinstance(on, date) else None
    if setting.kind == "column" and rows is not None:
        names = [name for name in dict.fromkeys(rows[setting.choices[0]].str.strip()) if name]
        return choose(setting.label, names, None, key) if names else None
    return st.text_input(setting.label, key=key, placeholder=setting.hint).strip()


def _number(setting: StudySetting, key: str) -> float | None:
    scale = 100 if setting.share else 1
    now = None if setting.default is None else scale * float(setting.default)
    value = st.number_input(
        setting.label, setting.low, setting.high, value=now, step=setting.step, key=key
    )
    return None if value is None else float(value) / scale


# What a study shows.


def show_study(study: Study, *, kept: bool) -> None:
    """Finding, pictures, documents, limits of the result; numbers folded."""
    shown = study.shown()
    st.subheader(plain(shown.sentence))
    for at, picture in enumerate(shown.pictures):
        show_figure(f"study-figure-{at}", on_page(picture), picture.words)
    if shown.because:
        listed(shown.because)
    report = StudyReport(study=study, kept=kept, printed_at=utc_now())
    row = st.container(horizontal=True)
    stem = "-".join(re.findall(r"[a-z0-9]+", study.title.casefold()))[:60] or "study"
    download("Report, PDF", partial(pdf_of, report), f"{stem}.pdf", "study-pdf", place=row)
    sheets = partial(workbook, report.tables())
    download("Results, XLSX", sheets, f"{stem}.xlsx", "study-xlsx", place=row)
    st.markdown("**Limits of this result**")
    listed(shown.cannot_tell)
    with st.expander("Numbers"):
        for table in shown.tables:
            st.markdown(f"**{plain(table.heading)}**")
            scroll(table.named.table)


def show_kept(study: Study) -> None:
    """A study as it is on record, with what was asked and whether it is as it was written."""
    st.markdown(f"**{plain(_line(study))}**")
    if desk().verify_noun(study):
        st.error("The record of this study was changed outside this program: do not rely on it.")
    show_study(study, kept=True)
    report = StudyReport(study=study, kept=True, printed_at=utc_now())
    archive = partial(_archive, report)
    download("Archive, ZIP", archive, f"study-{study.key[:8]}.zip", "study-archive")
    with st.expander("What was asked, and the rows as read"):
        show_table([{"item": plain(item), "value": plain(words)} for item, words in report.asked()])
        scroll(study.table().table, 320)


def _archive(report: StudyReport) -> bytes:
    return archive_study(desk(), report.study, report=pdf_of(report))


def described(study: Study, *, product: str = "", batch: str = "") -> Study:
    """The study with title, day, product, batch and who agreed the settings, as typed."""
    st.markdown("**Keep it on record**")
    left, right = st.columns(2)
    kind = find_study(study.kind)
    title = left.text_input("Title", key="study-title", placeholder=kind.name)
    held = right.date_input("Held on", value=date.today(), key="study-held")
    names = [_NONE, *(record.name for record in desk().nouns(ProductRecord))]
    of = choose("Product", names, product or _NONE, "study-product", place=left)
    number = right.text_input("Batch (optional)", value=batch, key="study-batch")
    agreed = left.text_input("Settings agreed by (optional)", key="study-agreed")
    return replace(
        study,
        title=title.strip() or kind.name.capitalize(),
        held_on=(held if isinstance(held, date) else date.today()).strftime(_DAYS),
        product="" if of == _NONE else of,
        batch=number.strip(),
        agreed_by=agreed.strip(),
    )


def keep_part(study: Study) -> None:
    """The button that keeps a described study, or that it is on record already."""
    same = [each for each in desk().studies(kind=study.kind) if each.digest == study.digest]
    if same:
        st.markdown(plain(f"On record: {_line(same[0])}."))
        return
    signing = hand("Kept by", "study-by", None, role="panel leader")
    if pressed("Keep on record", "study-keep", primary=True, ready=signing.ready):
        with study_errors():
            signing.put_on_record()
            keep_study(desk(), study, who=signing.name, how=signing.how)
            recorded("study-title", "study-batch", "study-agreed")


def _line(study: Study) -> str:
    about = ", ".join(filter(None, (study.product, study.batch and f"batch {study.batch}")))
    return f"{study.title}, {day(study.held_on)}{f', {about}' if about else ''}, kept by " + (
        study.kept_by
    )


# Studies on record.


def kept_studies(
    key: str, *, product: str = "", batch: str = "", kinds: Sequence[str] = (), most: int = _MOST
) -> None:
    """Studies on record, each with its finding and the way to it; nothing where there is none."""
    there = [
        each
        for each in desk().studies(product=product, batch=batch)
        if not kinds or each.kind in kinds
    ]
    if not there:
        return
    st.subheader("Studies on record")
    for study in there[:most]:
        st.markdown(f"**{plain(_line(study))}**: {plain(study.shown().sentence)}")
        if pressed("Open the study", f"{key}-{study.key}"):
            open_study(study)
    if len(there) > most:
        st.markdown(f"and {len(there) - most} older ones on the page Studies")


def open_study(study: Study) -> None:
    """Show a study on the page Studies."""
    st.session_state[OPENED] = study.key
    go("studies")


def opened_study() -> Study | None:
    """The study that a list has opened; None as long as none is."""
    key = st.session_state.get(OPENED) or st.query_params.get("study")
    if not key:
        return None
    st.query_params["study"] = key
    return the_study(desk(), str(key))


def close_study() -> None:
    """Back to the question."""
    st.session_state.pop(OPENED, None)
    st.query_params.pop("study", None)
