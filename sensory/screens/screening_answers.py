"""An open series on the page of one person: what it shows so far, its answers, what is served."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..base.languages import languages
from ..base.records import utc_now
from ..base.results import several
from ..panel.qualification import answer_series, end_series
from ..panel.screening_rules import Verdict
from ..panel.series import Series, TakenSeries
from ..panel.series_plan import KINDS, Asked, due, judged, questions
from ..panel.series_sheets import series_sheets
from .frame import acting, desk, plain, shown_errors
from .parts import act, choose, download, show_table
from .series_links import series_booth_part
from .worker import pdf_of

_ACROSS = 3
_PLACEHOLDERS = {Series.ODOURS: "name", Series.SCALE: "score"}
_TOLD = {Verdict.PASS: st.success, Verdict.FAIL: st.warning, Verdict.GO_ON: st.info}


def open_series(taken: TakenSeries) -> None:
    """What the answers show so far, the next questions, and the outcome once it is there."""
    with st.container(border=True, key=f"series-{taken.series.replace(' ', '-')}"):
        st.markdown(f"**{KINDS[taken.series].title}**, begun on {taken.started_on}")
        shown = judged(taken)
        decided = shown is not None and shown.verdict is not Verdict.GO_ON
        if shown is not None:
            _TOLD[shown.verdict](plain(shown.reason))
        _answers(taken)
        series_booth_part(taken)
        row = st.container(horizontal=True)
        end = partial(end_series, desk(), taken, who=acting())
        key = taken.key
        if decided:
            act("Record outcome", f"end-{key}", end, primary=True, place=row)
        else:
            act("Give up series", f"give-up-{key}", partial(end, give_up=True), place=row)
        _served(taken)


def _answers(taken: TakenSeries) -> None:
    """The questions that are due, those answered before to be corrected."""
    asked = questions(taken)[: due(taken)]
    saved = {at: each for at, each in enumerate(taken.answers) if each}
    here = list(enumerate(asked))
    before = [each for each in here if each[0] in saved]
    now = [each for each in here if each[0] not in saved]
    with st.form(f"answers-{taken.key}"):
        given = dict(_fields(taken, now, saved))
        if before:
            with st.expander(f"Answers so far: {several(len(before), 'answer')}"):
                given |= dict(_fields(taken, before, saved))
        pressed = st.form_submit_button("Save answers", key=f"answer-{taken.key}", type="primary")
    if pressed:
        with shown_errors():
            answers = [given.get(at, "") for at in range(len(asked))]
            answer_series(desk(), taken, answers, who=acting())
            st.rerun()


def _fields(
    taken: TakenSeries, asked: list[tuple[int, Asked]], saved: dict[int, str]
) -> list[tuple[int, str]]:
    odd = ": odd one" if taken.series is Series.TRIANGLES else ""
    given, columns = [], st.columns(_ACROSS)
    for place, (at, question) in enumerate(asked):
        if place and not place % _ACROSS:
            columns = st.columns(_ACROSS)  # a row each, so that a narrow screen keeps the order
        options = list(question.answers)
        answer = columns[place % _ACROSS].selectbox(
            plain(f"{question.label}{odd}"),
            options,
            index=options.index(saved[at]) if at in saved else None,
            key=f"answer-{taken.key[:8]}-{at + 1}",
            placeholder=_PLACEHOLDERS.get(taken.series, "code"),
        )
        given.append((at, str(answer or "")))
    return given


def _served(taken: TakenSeries) -> None:
    """What stands in which cup, for whoever fills them, and the sheets on paper."""
    with st.expander("Serving plan, not for the candidate"):
        sets = taken.cups[: max(due(taken), 1)]
        triangles = taken.series is Series.TRIANGLES
        show_table(
            [
                {
                    **({"set": str(number)} if triangles else {}),
                    **{f"cup {at}": plain(f"{c.code}: {c.sample}") for at, c in enumerate(cups, 1)},
                }
                for number, cups in enumerate(sets, 1)
            ]
            if triangles
            else [{"code": cup.code, "sample": plain(cup.sample)} for cup in sets[0]]
        )
        show_table([{"sample": plain(s.name), "made": plain(s.made)} for s in taken.samples])
        names = languages()
        language = choose(
            "Language of the sheet", list(names), "en", f"sheet-language-{taken.key}",
            words=names.__getitem__,
        )  # fmt: skip

        def sheet() -> bytes:
            return pdf_of(series_sheets(taken, language=language, printed_at=utc_now()))

        words = "First page for the candidate, the others for whoever fills the cups."
        download("Sheets, PDF", sheet, f"series-{taken.started_on}.pdf", f"sheet-{taken.key}",
                 explained=words)  # fmt: skip
