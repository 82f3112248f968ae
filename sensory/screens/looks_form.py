"""Looks at the growing total of a product's choice tests: agreed here, before the first session."""

from __future__ import annotations

import re

import streamlit as st

from ..base.errors import RecordError, SensoryError
from ..catalogue.tests import kinds, protocol_of
from ..evidence.planned_looks import planned_looks
from ..release.batch_records import ProductRecord
from ..release.evidence_desk import agree_looks
from ..sessions.signing import Right
from .frame import desk, plain
from .parts import act, choose, listed, scroll
from .sign import hand

_WHY = (
    "Small panels add up over days. Whoever looks after each session needs either limits for any "
    "number of looks, which are shown where nothing is planned, or looks agreed beforehand, which "
    "are sharper. Looks can be planned for choice tests only: their counts do not apply to a total "
    "that holds difference from control."
)


def looks_form(record: ProductRecord) -> None:
    """The agreed plan with its counts, and the form for another one."""
    now = record.looks
    with st.expander("Looks planned beforehand", key=f"looks-{record.name}"):
        if now is None:
            st.markdown("None is agreed: limits for any number of looks are used.")
        else:
            plan = now.plan()
            listed([*plan.says(), f"{now.by[:1].upper()}{now.by[1:]}; later sessions count."])
            scroll(plan.summary())
        st.markdown(_WHY)
        _form(record)


def _form(record: ProductRecord) -> None:
    name = record.name
    tests = [kind.key for kind in kinds() if kind.protocol]
    test = choose(
        "Test", tests, "TRIANGLE", f"looks-test-{name}", words=lambda key: protocol_of(key).name
    )
    left, right = st.columns(2)
    typed = left.text_input(
        "Answers at each look", key=f"looks-sizes-{name}", placeholder="12 12 12"
    )
    alpha = right.number_input(
        "Risk alpha over all looks", 0.001, 0.49, 0.05, 0.01, key=f"looks-alpha-{name}"
    )
    try:
        sizes = sizes_of(typed)
        if not sizes:
            return
        listed(planned_looks(protocol_of(str(test)), sizes, alpha=alpha).says())
    except SensoryError as error:
        st.error(plain(str(error)))
        return
    why = st.text_input("Why these looks", key=f"looks-why-{name}")
    signing = hand("Agreed by", f"looks-by-{name}", Right.AGREE, role="head of quality")

    def agree() -> None:
        signing.put_on_record()
        by = {"who": signing.name, "why": why, "how": signing.how}
        agree_looks(desk(), name, test=str(test), sizes=sizes, alpha=alpha, **by)

    ready = why.strip() and signing.ready
    act("Agree the looks", f"looks-agree-{name}", agree, ready=ready)


def sizes_of(text: str) -> list[int]:
    """The numbers of answers that were typed; none where nothing stands there.

    Raises RecordError for what is no whole number.

    >>> sizes_of("12, 12 24")
    [12, 12, 24]
    """
    words = re.findall(r"[^\s,;]+", text)
    wrong = [word for word in words if not word.isdecimal()]
    if wrong:
        raise RecordError(f"Answers at each look: whole numbers with spaces; got {wrong[0]!r}.")
    return [int(word) for word in words]
