"""The agreed limit: an empty field until somebody gives a number, with what the number means.

A limit that stands in the field before anybody thought about it is nobody's agreement.
"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from ..catalogue.question import Question
from ..catalogue.tests import protocol_of
from ..choices.dprime import CARRIED
from ..report.words import percent
from ..sessions.session import StoredSession
from ..sessions.workflow import limit_as_dprime, limit_elsewhere, limit_from_dprime
from .ask import asked
from .fields import field_key

IN_PD, IN_DPRIME = "share of assessors who notice", "d-prime, for any test"
_HALF = 0.5
_YARDSTICK = "TRIANGLE"
_EXAMPLES = (0.20, 0.30, 0.50)
_EMPTY = "No limit yet. It is a decision of your plant, taken before tasting; nothing is proposed."


def limit_input(session: StoredSession, question: Question) -> float | None:
    """The agreed limit as a share of this test; carried over by d-prime when the test changes."""
    key = field_key(session, "unit")
    label = "Unit of the agreed limit"
    unit = st.radio(label, [IN_PD, IN_DPRIME], key=key, horizontal=True, help=asked("limit"))
    now, limit = session.question, session.question.pd_limit
    both = {protocol_of(each.protocol).asks_attribute for each in (question, now)}
    if limit is not None and question.protocol != now.protocol and len(both) == 1:
        limit = round(limit_from_dprime(question.protocol, limit_as_dprime(now)), 6)
    limit = typed_limit(
        question.protocol, limit, unit == IN_PD, field_key(session, f"limit-{question.protocol}")
    )
    limit_help(question.protocol, limit)
    return limit


def typed_limit(test: str, limit: float | None, in_pd: bool, key: str) -> float | None:
    """The field in one of the two units: a share of distinguishers, None while it is empty."""
    if in_pd:
        label = "Agreed limit: share of assessors who may notice, 0.2 for 20 %"
        now = None if limit is None else min(max(limit, 0.001), 0.999)
        typed = st.number_input(label, 0.001, 0.999, now, 0.05, "%.3f", key=f"{key}-pd",
                                help=asked("distinguishers"))  # fmt: skip
        return limit if typed == now else None if typed is None else float(typed)
    now = None
    if limit is not None:
        dprime = limit_as_dprime(Question(protocol=test, pd_limit=limit))
        now = min(max(dprime, 0.01), 10.0)
    typed = st.number_input("Agreed limit: d-prime", 0.01, 10.0, now, 0.1, "%.2f", key=f"{key}-d",
                            help=asked("d-prime"))  # fmt: skip
    if typed == now:
        return limit
    return None if typed is None else round(limit_from_dprime(test, float(typed)), 6)


def limit_help(test: str, limit: float | None) -> None:
    """What the number means: in people, in the other tests, and in three worked examples."""
    if limit is None:
        st.info(_EMPTY)
    else:
        dprime = limit_as_dprime(Question(protocol=test, pd_limit=limit))
        st.markdown(
            f"**{percent(limit, 1)} of the assessors may notice**, the others guess: about "
            f"{_right(test, limit)} of 100 answers right. That is a d' of {dprime:.2f}."
        )
        if protocol_of(test).asks_attribute:
            st.markdown("It holds for the named attribute only, and for no test of the product.")
        else:
            same_elsewhere(dprime, but=test)
            st.markdown(CARRIED)
    with st.expander("Three worked examples", expanded=limit is None):
        st.markdown("\n".join(f"- {_example(test, share)}" for share in _EXAMPLES))
        st.markdown(
            "What is acceptable follows from consumers and from who buys the product, not from "
            "these numbers."
        )


def dprime_help(dprime: float | None) -> None:
    """The same for a limit in d-prime, in tests that are no forced choice."""
    if dprime is None:
        st.info(_EMPTY)
        values: tuple[float, ...] = (0.5, 1.0, 1.5)
    else:
        same_elsewhere(dprime)
        values = ()
    for value in values:
        share = percent(limit_from_dprime(_YARDSTICK, value), 1)
        st.markdown(f"- d' {value:g}: in a triangle {share} of the assessors would notice.")


def points_help(limit: float | None, length: float) -> None:
    """The same for a limit in points of the scale."""
    if limit is not None:
        st.markdown(f"{limit:g} points are {percent(limit / length)} of the scale.")
        return
    st.info(_EMPTY)
    shares = (0.05, 0.1, 0.2)
    st.markdown(
        "\n".join(
            f"- {share * length:g} points, {percent(share)} of the scale: a batch passes where its "
            f"mean is shown to lie less than {share * length:g} above the blind control."
            for share in shares
        )
    )


def same_elsewhere(dprime: float, but: str = "") -> None:
    """What a d-prime means in the forced choices."""
    own = protocol_of(but).name if but else ""
    shares = [
        f"{name} {percent(share, 1)}" for name, share in limit_elsewhere(dprime) if name != own
    ]
    st.markdown(f"The same difference, noticed in other tests by: {'; '.join(shares)}.")


def asked_again(session: StoredSession, question: Question, dprime: float | None) -> bool:
    """Whether a limit above half of the assessors was confirmed in words; True below that."""
    share = question.pd_limit
    if share is None and dprime is not None:
        share = limit_from_dprime(_YARDSTICK, dprime)
    if share is None or share <= _HALF:
        return True
    where = "" if question.pd_limit is not None else " in a triangle"
    st.warning(
        f"With this limit more than half of the assessors ({percent(share)}{where}) may notice the "
        "difference, and the samples may still be called similar. Is that agreed?"
    )
    return st.checkbox("Yes, it is agreed", key=field_key(session, f"half-{share:.3f}"))


def _right(test: str, share: float) -> int:
    """Right answers of 100."""
    return round(100 * float(protocol_of(test).pc_at(share)))


def _example(test: str, share: float) -> str:
    notice, right = round(100 * share), _right(test, share)
    dprime = limit_as_dprime(replace(Question(protocol=test), pd_limit=share))
    return (
        f"{notice} %: of 100 assessors {notice} notice; {100 - notice} guess, and "
        f"{right - notice} of them are right. {right} right answers; d' {dprime:.2f}."
    )
