"""Screening on the page Panel: who is due, and one person's series, role and letters."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial

import streamlit as st

from ..base.languages import languages
from ..base.records import utc_now
from ..base.results import several
from ..panel.assessors import SERVING_ROLES, Assessor, Role, RoleDecision
from ..panel.attention import Attention
from ..panel.letters import outcome_letter
from ..panel.qualification import (
    begin_series,
    decide_role,
    months_later,
    proposals,
    series_taken,
    the_screening_rules,
)
from ..panel.register import the_register
from ..panel.series import PlannedSample, Series, TakenSeries
from ..panel.series_plan import KINDS, SAMPLES_FROM, judged, rule_of, rule_says
from ..sessions.session import CAUTIONS
from .frame import acting, desk, plain, shown_errors
from .parts import act, choose, download, listed, show_table
from .screening_answers import open_series
from .worker import pdf_of

CHOSEN = "screening"
_ASKED = "screening-open"


def screening_part(seen: Attention) -> None:
    """Who should be trained or screened again, and the way to one person's series."""
    register = the_register(desk())
    if not register:
        return
    st.subheader("Screening")
    told = proposals(register, seen, date.today().isoformat())
    listed((each.says() for each in told), most=12, rest=", in the register")
    names = {each.key: each.person for each in register}
    chosen = st.selectbox(
        "Screen an assessor or candidate", list(names), index=None, key=_ASKED,
        placeholder="name", format_func=lambda key: names.get(key, ""),
    )  # fmt: skip
    if chosen:
        st.query_params[CHOSEN] = chosen
        st.rerun()


def screened() -> Assessor | None:
    """The person in the address; None for nobody."""
    asked = st.query_params.get(CHOSEN)
    if not asked:
        return None
    everybody = the_register(desk(), gone=True)
    return next((each for each in everybody if each.key == asked and not each.erased), None)


def one_person(member: Assessor) -> None:
    """The series of one person, open ones first; role and letters."""
    if st.button("Back to the panel", key="screening-back"):
        st.query_params.pop(CHOSEN, None)
        st.session_state.pop(_ASKED, None)
        st.rerun()
    st.subheader(plain(member.person))
    roles = "; ".join(f"{each.panel}: {each.role}" for each in member.panels)
    by = f". Screen again by {member.requalify_by}" if member.requalify_by else ""
    st.markdown(plain(f"{roles}{by}."))
    taken = series_taken(desk(), member)
    for each in taken:
        if each.open:
            open_series(each)
    _ended([each for each in taken if not each.open])
    if not member.left:
        with st.expander("New series", expanded=not taken):
            _begin(member, taken)
    with st.expander("Role and letter"):
        _decide(member)
        _letters(member)


def _ended(taken: Sequence[TakenSeries]) -> None:
    if not taken:
        return
    rows = []
    for each in taken:
        shown = judged(each)
        rows.append(
            {
                "day": each.started_on,
                "series": str(each.series),
                "outcome": each.ending,
                "what the answers show": plain(shown.reason) if shown else "",
            }
        )
    show_table(rows)


def _begin(member: Assessor, taken: Sequence[TakenSeries]) -> None:
    """Choose a series and its samples, read the risks, answer the cautions, begin."""
    free = [each for each in Series if not any(t.open and t.series is each for t in taken)]
    if not free:
        st.markdown("A series of each kind is open.")
        return
    series = choose("Series", free, free[0], "series-kind", words=lambda each: KINDS[each].title)
    kind = KINDS[series]
    typed = st.text_area(
        f"Samples, one a line: name; how it is made. It takes {kind.needs}.",
        "\n".join(f"{each.name}; {each.made}" for each in kind.samples),
        key=f"series-samples-{series}",
        height=150,
    )
    st.markdown("Only what is fit for food, made up freshly. " + SAMPLES_FROM)
    risks = st.container()
    yes = [
        caution.key
        for caution in CAUTIONS
        if st.checkbox(caution.asks, key=f"series-{caution.key}", help=caution.advice)
    ]
    with shown_errors():
        samples = _samples(str(typed))
        rule = rule_of(series, the_screening_rules(desk()), samples)
        tries = sum(each.series is series for each in taken)
        with risks:
            listed(rule_says(rule, tries))
        begin = partial(begin_series, desk(), member, series, samples, cautions=yes, who=acting())
        act("Begin series", "series-begin", begin, primary=True, ready=len(yes) == len(CAUTIONS))


def _samples(typed: str) -> list[PlannedSample]:
    lines = [line.partition(";") for line in typed.splitlines() if line.strip(" ;")]
    return [PlannedSample(name=name.strip(), made=made.strip()) for name, _, made in lines]


def _decide(member: Assessor) -> None:
    left, middle, right = st.columns(3)
    names = [each.panel for each in member.panels]
    panel = choose("Panel", names, names[0], "decide-panel", place=left)
    role = choose("Role from today on", list(Role), member.role_in(panel), "decide-role",
                  place=middle)  # fmt: skip
    today = date.today().isoformat()
    months = the_screening_rules(desk()).requalify
    by = right.date_input(
        f"Screen again by (assessors and experts; usual here: {several(months, 'month')})",
        date.fromisoformat(months_later(today, months)),
        min_value="today",
        key="decide-by",
    )
    until = by.isoformat() if isinstance(by, date) and role in SERVING_ROLES else ""
    decide = partial(decide_role, desk(), member, panel, role, requalify_by=until, who=acting())
    st.markdown("The series advise; whoever decides may know more of the person.")
    act("Record decision", "decide-record", decide, primary=True)


def _letters(member: Assessor) -> None:
    """The letter on each of the latest decisions, in the language of the person."""
    if not member.decisions:
        return
    names = languages()
    usual = next(iter(member.languages), "en")
    language = choose(
        "Language of the letter", list(names), usual, "letter-language", words=names.__getitem__
    )
    for at, decision in list(enumerate(member.decisions))[:-4:-1]:
        words = f"{decision.decided_on}: {decision.role} of {decision.panel}"
        row = st.container(horizontal=True, vertical_alignment="center")
        row.markdown(plain(f"{words}, decided by {decision.decided_by}"))
        made = partial(_letter, member, decision, language)
        file = f"letter-{decision.decided_on}.pdf"
        download("Letter, PDF", made, file, f"letter-{at}", place=row)


def _letter(member: Assessor, decision: RoleDecision, language: str) -> bytes:
    letter = outcome_letter(member, decision, language=language, printed_at=utc_now())
    return pdf_of(letter)
