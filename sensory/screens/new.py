"""A new session: what is tasted against what, what is asked, how many come, who decides."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import streamlit as st

from ..base.results import several
from ..base.spelling import same_person
from ..catalogue.checking import check_lines
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, kinds
from ..choices.advice import QUESTIONS
from ..choices.advice import Question as Wanted
from ..release.file_shapes import keep_shape
from ..release.new_sessions import (
    NEWEST_BATCHES,
    Choices,
    Wish,
    choices,
    expected_risks,
    start_session,
    tests_for,
)
from ..report.words import percent
from ..sessions.file_kinds import kind_of_file, settings_of_file
from ..sessions.file_shape import FileShape
from ..sessions.files import read_cells
from ..sessions.lines import cells_of_file
from ..sessions.steps import Way
from ..sessions.template import template_xlsx
from .frame import acting, desk, go, show_faults, shown_errors
from .import_file import import_assistant, told
from .parts import act, choose, download

PLANNED = "planned"
"""Where the page Plan leaves the test and the number that were planned there."""
_EARLIER = (
    f"Listed are the newest {NEWEST_BATCHES} batches of the product. Type the number of any other."
)
_TYPES = ["csv", "txt", "tsv", "xlsx"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """Ballots of a file: which test, their cells, the samples that they name."""

    test: str
    title: str
    cells: dict[int, dict[str, str]]
    remarks: str = ""
    samples: tuple[str, ...] = field(default=())
    shape: FileShape | None = None  # how it was read, to be kept; None for none


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What was planned before: test, number, risks and limit, and conditions of serving."""

    question: Question
    conditions: str = ""


def page() -> None:
    """Ask what a session begins with, as choices from the record; open it."""
    st.title("New session")
    with shown_errors():
        chosen = st.radio(
            "How do ballots come in?",
            list(Way),
            format_func=lambda way: way.words.capitalize(),
            horizontal=True,
            key="new-way",
        )
        way, loaded = Way(chosen or Way.PAPER), None
        if way is Way.FILE:
            loaded = _file()
            if loaded is None:
                return
        _ask(way, loaded)


def _file() -> Loaded | None:
    upload = st.file_uploader("CSV or XLSX", type=_TYPES, key="upload")
    if upload is None:
        test = find_kind(_which_test("Template for which test?", "TRIANGLE", "new-template-of"))
        file = f"ballots-{test.name}.xlsx"
        download("Template to fill in, XLSX", template_xlsx(test), file, "new-template")
        return None
    content, title = upload.getvalue(), upload.name.rsplit(".", 1)[0]
    guessed = kind_of_file(content)
    if not find_kind(guessed).ballot.attributes and _headed(content, guessed):
        return _by_headings(content, title, guessed, upload.file_id)
    read = import_assistant(content, title, upload.file_id)
    if read is None:
        st.warning("The file has headings but no ballots.")
        return None
    remarks = "\n".join(map(str, read.checked.remarks))
    name = st.text_input(
        "Keep this reading for the next such file, as (empty: do not keep)",
        read.shape.name,
        key=f"new-shape-{upload.file_id}-{read.shape.name}",
    )
    return Loaded(
        test=read.test,
        title=title,
        cells=read.cells,
        remarks=remarks,
        samples=read.samples,
        shape=replace(read.shape, name=name) if name.strip() else None,
    )


def _headed(content: bytes, key: str) -> bool:
    """Whether the headings of a file are those that the test knows."""
    ballot = find_kind(key).ballot
    rows = read_cells(content, ballot).rows
    return bool(rows) and {column.name for column in ballot.required} <= rows[0].cells.keys()


def _by_headings(content: bytes, title: str, guessed: str, key: str) -> Loaded | None:
    test = _which_test("Ballots of which test?", guessed, f"of-{key}")
    cells, remarks = cells_of_file(content, find_kind(test).ballot)
    if remarks:
        show_faults(remarks)
    if not cells:
        st.warning("The file has headings but no ballots.")
        return None
    settings = settings_of_file(test, cells)
    told(
        len(cells), check_lines(cells, find_kind(test), Question(protocol=test, settings=settings))
    )
    samples = dict.fromkeys(texts["sample"] for texts in cells.values() if texts.get("sample"))
    return Loaded(
        test=test,
        title=title,
        cells=cells,
        remarks="\n".join(map(str, remarks)),
        samples=tuple(samples),
    )


def _which_test(label: str, now: str, widget: str) -> str:
    keys = [kind.key for kind in kinds()]
    return choose(label, keys, now, widget, words=lambda key: find_kind(key).name)


def _ask(way: Way, loaded: Loaded | None) -> None:
    planned: Planned | None = st.session_state.get(PLANNED)
    left, right = st.columns(2, gap="large")
    with left:
        product = _one("Product", choices(desk()).products, "new-product", "such as: sloe cordial")
        offered = choices(desk(), product)
        reference, batches = _samples(offered, loaded)
    with right:
        if loaded is not None:
            test, people = loaded.test, len(loaded.cells)
            st.markdown(f"**{find_kind(test).name.capitalize()}**, as the file says.")
        elif planned is not None:
            test, people = planned.question.protocol, planned.question.assessors
            st.markdown(f"**{find_kind(test).name.capitalize()}**, {people} ballots, as planned.")
        else:
            test, people = _question(offered)
        decides = _one(
            "Who decides? (role)", offered.deciders, f"new-decides-{len(offered.deciders)}",
            "such as: quality manager", first=True,
        )  # fmt: skip
    wish = Wish(
        product=product,
        batches=tuple(batches),
        reference=reference,
        test=test,
        people=people,
        decides=decides,
        way=way,
        planned=planned.question if planned and loaded is None else None,
        conditions=planned.conditions if planned else "",
    )
    _open(wish, loaded)


def _question(offered: Choices) -> tuple[str, int]:
    wanted: Wanted = st.radio(
        "What do you want to know?",
        list(QUESTIONS),
        index=1,
        format_func=QUESTIONS.__getitem__,
        key="new-wanted",
    )
    label = "How many ballots? One for each assessor and set"
    people = int(st.number_input(label, 1, 5000, 24, key="new-people"))
    keys = [find_kind(option.method).key for option in tests_for(wanted, people)]
    if offered.test and wanted == "similar":
        keys = [offered.test, *(key for key in keys if key != offered.test)]
    others = [kind.key for kind in kinds() if kind.key not in keys]

    def named(key: str) -> str:
        notes = {offered.test: "by the release rule", keys[0]: "recommended"}
        name = find_kind(key).name
        return f"{name}, {notes[key]}" if key in notes else name

    return choose("Test", [*keys, *others], keys[0], f"new-test-{wanted}", words=named), people


def _samples(offered: Choices, loaded: Loaded | None) -> tuple[str, list[str]]:
    """The reference, and what is compared with it; among the samples of a file, if it names any."""
    if loaded is not None and loaded.samples:
        samples = list(loaded.samples)
        kept = same_person(loaded.shape.reference) if loaded.shape else ""
        at = next((at for at, name in enumerate(samples) if same_person(name) == kept), None)
        chosen = st.selectbox(
            "Which of the samples is the reference?", samples, index=at, key="new-reference-of"
        )
        return chosen or "", [name for name in samples if name != chosen]
    batches = st.multiselect(
        "Batch, or batches",
        offered.batches,
        accept_new_options=True,
        placeholder="number, as on the label",
        key="new-batches",
        help=_EARLIER if len(offered.batches) == NEWEST_BATCHES else None,
    )
    reference = _one(
        "Against which reference?", offered.references, f"new-reference-{len(offered.references)}",
        "such as: retained sample of March", first=True,
    )  # fmt: skip
    return reference, list(batches)


def _one(
    label: str, options: tuple[str, ...], key: str, example: str, *, first: bool = False
) -> str:
    """One of the record's, or a new one; a plain field where the record has none."""
    if not options:
        return str(st.text_input(label, key=f"{key}-text", placeholder=example))
    chosen = st.selectbox(
        label,
        options,
        index=0 if first or len(options) == 1 else None,
        accept_new_options=True,
        placeholder=f"choose or type, {example}",
        key=key,
    )
    return chosen or ""


def _open(wish: Wish, loaded: Loaded | None) -> None:
    if (risks := expected_risks(desk(), wish)) is not None:
        st.markdown(
            f"With {several(wish.people, 'ballot')} an unchanged batch passes with a chance of "
            f"{percent(risks.fair_pass)}, one at the limit with {percent(risks.wrong_pass)}."
        )

    def start() -> None:
        cells, remarks = (loaded.cells, loaded.remarks) if loaded else (None, "")
        session = start_session(desk(), wish, cells=cells, remarks=remarks, who=acting())
        if loaded and loaded.shape:
            keep_shape(desk(), replace(loaded.shape, reference=wish.reference), who=acting())
        st.session_state.pop(PLANNED, None)
        go("question", session.id)

    act("Open session", "start-session", start, primary=True)
