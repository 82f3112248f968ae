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
from ..release.study_desk import keep_study, not_used, the_study, withdrawn_same
from ..release.study_kinds import SessionsOf, Settings, StudyKind, StudySetting
from ..report.study_documents import StudyReport, drafted, drafted_rows, on_page
from ..report.workbooks import workbook
from ..sessions.study_file import study_headings
from ..store.repository import Repository
from ..store.study_archive import archive_study
from .batch_forms import recorded
from .frame import current_frame, day, desk, go, plain, show_faults
from .offered_sessions import offered_sessions
from .parts import choose, download, listed, pressed, scroll, show_figure, show_table
from .sign import hand
from .withdraw_form import withdraw_part
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


def study_of_file(kind: StudyKind, given: Settings, file: StudyFile | None = None) -> Study | None:
    """Ask for settings and file, and answer; None as long as something is missing.

    `given`: settings that the page knows already; they are not asked. `file`: where the page has
    asked for it.
    """
    asked = [each for each in kind.settings if each.key not in given]
    typed = _fields([each for each in asked if each.kind != "column"], None, kind.key)
    if file is None:
        file = uploaded(kind)
    if file is None:
        return None
    roles = _roles(kind, file)
    columns = [each for each in asked if each.kind == "column"]
    if columns:
        typed |= _fields(columns, kind.rows_of(file.content, roles), kind.key)
    settings = {**given, **typed}
    if lacking := kind.lacking(settings):
        st.info(plain(f"Nothing is proposed. Still to be agreed: {'; '.join(lacking)}."))
        return None
    in_order = tuple(sorted(settings.items()))
    study = drafted(kind.key, file.content, in_order, tuple(sorted(roles.items())))
    return replace(study, file=file.name)


def study_of_rows(
    kind: StudyKind,
    given: Settings,
    columns: tuple[str, ...],
    cells: tuple[tuple[object, ...], ...],
    source: str,
) -> Study | None:
    """The same of rows that the record holds; `source` says where they come from."""
    typed = _fields([each for each in kind.settings if each.key not in given], None, kind.key)
    settings = {**given, **typed}
    if lacking := kind.lacking(settings):
        st.info(plain(f"Nothing is proposed. Still to be agreed: {'; '.join(lacking)}."))
        return None
    study = drafted_rows(kind.key, columns, cells, tuple(sorted(settings.items())))
    return replace(study, file=source)


def uploaded(kind: StudyKind) -> StudyFile | None:
    """The file that was uploaded, a session on record, or the invented file where it was opened."""
    upload = st.file_uploader("CSV or XLSX", TYPES, key=f"study-file-{kind.key}")
    st.markdown(f"Columns: {kind.columns.asked()}.")
    if upload is not None:
        return StudyFile(name=upload.name, content=upload.getvalue())
    if kind.of_sessions is not None and (chosen := _session(kind.of_sessions, kind.key)):
        return chosen
    if current_frame().invented:
        if pressed("Open an invented study", f"study-demo-{kind.key}"):
            st.session_state[_INVENTED] = kind.key
        if st.session_state.get(_INVENTED) == kind.key:
            return invented_file(kind.invented)
    return None


def _session(of: SessionsOf, key: str) -> StudyFile | None:
    """A session on record as the data; None as long as none is chosen."""
    closed = of.there(desk())
    if not closed:
        return None
    there = {each.id: each for each in offered_sessions(closed, f"study-session-{key}")}
    chosen = st.selectbox(
        "Or a session on record",
        list(there),
        index=None,
        placeholder="none",
        format_func=lambda id: f"{there[id].details.title}, {day(there[id].closed_at[:10])}",
        key=f"study-session-{key}",
    )
    if chosen is None:
        return None
    content = of.rows(desk(), chosen).to_csv(index=False).encode()
    return StudyFile(name=f"session {chosen[:8]}", content=content)


def invented_file(name: str) -> StudyFile:
    """A file of the invented data."""
    return StudyFile(name=name, content=(current_frame().demo / name).read_bytes())


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


def before_data(kind: StudyKind, keys: Sequence[str], page: str) -> dict[str, float | str] | None:
    """Settings that are asked before any file; None as long as one that is needed is missing."""
    first = [each for each in kind.settings if each.key in keys]
    typed = _fields(first, None, page)
    return None if any(each.needed and each.key not in typed for each in first) else typed


def _fields(
    settings: Sequence[StudySetting], rows: pd.DataFrame | None, kind: str
) -> dict[str, float | str]:
    """The settings as they are typed; what is empty is left out."""
    typed: dict[str, float | str] = {}
    across = max(2, min(len(settings), 3))
    for start in range(0, len(settings), across):
        some = settings[start : start + across]
        for place, setting in zip(st.columns(across), some, strict=False):
            with place:
                value = _typed(setting, rows, f"study-{kind}-{setting.key}".replace(" ", "-"))
            if value is not None and value != "":
                typed[setting.key] = value
    return typed


def _typed(setting: StudySetting, rows: pd.DataFrame | None, key: str) -> float | str | None:
    if setting.kind == "number":
        return _number(setting, key)
    if setting.kind == "choice":
        words = {name: setting.named.get(name, name) for name in setting.choices}
        chosen = choose(
            setting.label, setting.choices, setting.default, key, words=words.__getitem__
        )
        return str(chosen)
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


def show_study(study: Study, *, kept: bool, key: str = "study", folded: bool = False) -> None:
    """Finding, pictures, documents, limits of the result; numbers folded, limits if wanted."""
    shown, report = study.shown(), StudyReport(study=study, kept=kept, printed_at=utc_now())
    st.subheader(plain(report.headline))
    for at, picture in enumerate(shown.pictures):
        show_figure(f"{key}-figure-{at}", on_page(picture), picture.words)
        st.markdown(plain(picture.words))
    if shown.because:
        listed(shown.because)
    row = st.container(horizontal=True)
    stem = "-".join(re.findall(r"[a-z0-9]+", study.title.casefold()))[:60] or "study"
    download("Report, PDF", partial(pdf_of, report), f"{stem}.pdf", f"{key}-pdf", place=row)
    sheets = partial(workbook, report.tables())
    download("Results, XLSX", sheets, f"{stem}.xlsx", f"{key}-xlsx", place=row)
    limits = "Limits of this result"
    if not folded:
        st.markdown(f"**{limits}**")
        listed(shown.cannot_tell)
    with st.expander(f"{limits}, numbers" if folded else "Numbers"):
        if folded:
            listed(shown.cannot_tell)
        for table in shown.tables:
            st.markdown(f"**{plain(table.heading)}**")
            scroll(table.named.table)


def show_kept(study: Study) -> None:
    """A study as it is on record, with what was asked and whether it is as it was written."""
    st.markdown(f"**{plain(_line(study))}**")
    if desk().verify_noun(study):
        st.error("The record of this study was changed outside this program: do not rely on it.")
    if study.withdrawn:
        st.error(plain(study.withdrawn_words))
    show_study(study, kept=True)
    report = StudyReport(study=study, kept=True, printed_at=utc_now())
    archive = partial(_archive, desk(), report)
    download("Archive, ZIP", archive, f"study-{study.key[:8]}.zip", "study-archive")
    with st.expander("What was asked, and the rows as read"):
        show_table([{"item": plain(item), "value": plain(words)} for item, words in report.asked()])
        scroll(study.table().table, 320)
    if not study.withdrawn:
        withdraw_part(study)


def _archive(store: Repository, report: StudyReport) -> bytes:
    """The archive; the record is handed over, since a download is made outside the page."""
    return archive_study(store, report.study, report=pdf_of(report))


def described(study: Study, *, product: str = "", batch: str = "", key: str = "study") -> Study:
    """The study with title, day, product, batch and who agreed the settings, as typed."""
    st.markdown("**Keep it on record**")
    kind = find_study(study.kind)
    (first, second, third), (fourth, fifth, _) = st.columns(3), st.columns(3)
    title = first.text_input("Title", key=f"{key}-title", placeholder=kind.name)
    held = second.date_input("Held on", value=date.today(), key=f"{key}-held")
    names = [_NONE, *(record.name for record in desk().nouns(ProductRecord))]
    of = choose("Product of the study", names, product or _NONE, f"{key}-product", place=third)
    number = fourth.text_input("Batch (optional)", value=batch, key=f"{key}-batch")
    agreed = fifth.text_input("Settings agreed by, before the data", key=f"{key}-agreed")
    return replace(
        study,
        title=title.strip() or kind.name.capitalize(),
        held_on=(held if isinstance(held, date) else date.today()).strftime(_DAYS),
        product="" if of == _NONE else of,
        batch=number.strip(),
        agreed_by=agreed.strip(),
    )


def keep_part(study: Study, key: str = "study") -> None:
    """The button that keeps a described study, or that it is on record already."""
    same = [each for each in desk().studies(kind=study.kind) if each.digest == study.digest]
    if same:
        st.markdown(plain(f"On record: {_line(same[0])}."))
        return
    with st.columns(2)[0]:
        signing = hand("Kept by", f"{key}-by", None, role="panel leader")
    if pressed("Keep on record", f"{key}-keep", primary=True, ready=signing.ready):
        with study_errors():
            signing.put_on_record()
            keep_study(desk(), study, who=signing.name, how=signing.how)
            recorded(f"{key}-title", f"{key}-batch", f"{key}-agreed")


def _line(study: Study) -> str:
    about = ", ".join(filter(None, (study.product, study.batch and f"batch {study.batch}")))
    line = f"{study.title}, {day(study.held_on)}{f', {about}' if about else ''}"
    gone = f", withdrawn on {day(study.withdrawn_on)}" if study.withdrawn else ""
    return f"{line}, kept by {study.kept_by}{gone}"


def standing(study: Study | None) -> Study | None:
    """The study; None, with a sentence, where these rows with these settings were withdrawn."""
    gone = None if study is None else withdrawn_same(desk(), study)
    if gone is not None:
        st.error(plain(not_used(gone)))
        return None
    return study


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
