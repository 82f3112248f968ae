"""The form by which a release rule is agreed, with what the typed rule would do."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from ..base.errors import RecordError
from ..base.findings import Finding
from ..catalogue.tests import find_kind, kinds, protocol_of
from ..choices.two_stage import TwoStagePlan, two_stage_plan
from ..release.batch_records import ProductRecord
from ..release.batches import Disposition
from ..release.product_desk import agree_rule
from ..release.rule import USUAL, ReleaseRule
from ..report.words import percent
from ..sessions.signing import Right
from .ask import asked
from .frame import desk, shown_errors
from .limits import limit_help
from .parts import act, choose, show_table
from .sign import hand

_MOST = 400
_SURE = 0.999  # from here on a rounded share would claim certainty
_WORDS = {
    Finding.SIMILAR: "If similar",
    Finding.DIFFERENT_WITHIN_LIMIT: "If different, and within the limit",
    Finding.DIFFERENT: "If different, limit open",
    Finding.BEYOND_LIMIT: "If beyond the limit",
    Finding.UNDECIDED: "If inconclusive",
}


_SHARE = "Limit: share of assessors who may notice, 0.30 for 30 %", 0.001, 0.999
_POINTS = "Limit: points of the scale above the blind control", 0.01, 100.0
_SCATTER = "Standard deviation of the differences of assessors in sessions before (0: not known)"
Sizes = dict[str, Any]
"""Arguments of a rule by their names."""


def rule_form(record: ProductRecord, rule: ReleaseRule | None) -> None:
    name, tests = record.name, [kind.key for kind in kinds() if kind.release]
    key, now = f"rule-test-{name}", rule.test if rule else None
    test = choose("Test", tests, now, key, words=lambda test: find_kind(test).name)
    with shown_errors():
        sizes = _limit_fields(record, test, rule) | _risk_fields(record, rule)
        sizes |= _retest_fields(record, test, sizes, rule)
        sizes["dispositions"] = _dispositions(record, rule)
        decides = rule.decides if rule else "the authorised person of the plant"
        key = f"rule-decides-{name}"
        sizes["decides"] = st.text_input("Who decides (role)", value=decides, key=key)
        sizes["second_person"] = st.checkbox(
            "A second person confirms each decision",
            value=bool(rule and rule.second_person),
            key=f"rule-second-{name}",
        )
        new = ReleaseRule(test=test, **sizes)
        _what_it_does(new)
        drift = st.number_input(
            "How far a reference may drift from the first, in points of its bridges (0: no limit)",
            min_value=0.0,
            value=record.product.drift_limit or 0.0,
            key=f"rule-drift-{name}",
        )
        why = st.text_input("Why this rule", key=f"rule-why-{name}")
        signing = hand("Agreed by", f"rule-by-{name}", Right.AGREE, role="head of quality")

        def agree() -> None:
            signing.put_on_record()
            signed = {"who": signing.name, "how": signing.how}
            agree_rule(desk(), name, new, drift_limit=float(drift) or None, why=why, **signed)

        ready = why.strip() and signing.ready
        act("Agree the rule", "rule-agree", agree, primary=True, ready=ready)


def _what_it_does(rule: ReleaseRule) -> None:
    """The chance of a fair pass beside that of a wrong one, before anything is agreed."""
    if rule.limit is None or (rule.protocol is None and rule.scatter is None):
        return
    curves = rule.characteristic([0.0, rule.limit])
    fair, wrong = curves.passes
    shown = "more than 99.9 %" if fair > _SURE else percent(fair, 1)
    st.markdown(
        f"An unchanged batch would be released with a chance of **{shown}**, one at the "
        f"limit with {percent(wrong, 1)}; {curves.answers[0]:.0f} answers for an unchanged batch.",
        help=asked("fair-pass"),
    )
    show_table(
        [
            {
                "finding": finding.heading,
                "then": rule.at(finding).value.lower(),
                "unchanged": percent(float(chances[0]), 1),
                "at the limit": percent(float(chances[1]), 1),
            }
            for finding, chances in curves.findings.items()
        ]
    )


def _retest_fields(
    record: ProductRecord, test: str, sizes: Sizes, rule: ReleaseRule | None
) -> Sizes:
    """A second tasting that is planned with its risks; forced choices only."""
    if find_kind(test).protocol is None:
        return {}
    planned = st.checkbox(
        "With a planned second tasting where the first cannot tell",
        value=bool(rule and rule.retest),
        key=f"rule-retest-{record.name}",
        help="Both tastings keep alpha and beta together. There is no third.",
    )
    if not planned:
        return {}
    label, key = "Answers in both tastings, at most", f"rule-most-{record.name}"
    most = st.number_input(label, 10, _MOST, 120, key=key)
    plan = _plan(test, int(most), sizes["alpha"], sizes["beta"], sizes["limit"])
    st.markdown(
        f"{plan.first} answers first, {plan.second} more where they are needed: so the number of "
        f"assessors is {plan.first}."
    )
    return {"retest": plan, "assessors": plan.first}


@st.cache_data(show_spinner=False, max_entries=50)
def _plan(test: str, most: int, alpha: float, beta: float, limit: float) -> TwoStagePlan:
    return two_stage_plan(protocol_of(test), most=most, alpha=alpha, beta=beta, pd_limit=limit)


def _risk_fields(record: ProductRecord, rule: ReleaseRule | None) -> Sizes:
    people, *risks = st.columns(3)
    now, key = rule.assessors if rule else 24, f"rule-people-{record.name}"
    typed: Sizes = {"assessors": int(people.number_input("Assessors", 2, 1000, now, key=key))}
    for column, name in zip(risks, ("alpha", "beta"), strict=True):
        risk, key = getattr(rule, name) if rule else 0.05, f"rule-{name}-{record.name}"
        number = partial(column.number_input, format="%.3f", key=key, help=asked(name))
        typed[name] = float(number(name, 0.001, 0.499, risk))
    return typed


def _limit_fields(record: ProductRecord, test: str, rule: ReleaseRule | None) -> Sizes:
    mine = rule if rule and rule.test == test else None
    kind, key = find_kind(test), f"{test}-{record.name}"
    if kind.release and kind.release.by == "margins":
        margins = mine.margins if mine else record.product.margins
        now = "; ".join(f"{name} {size:g}" for name, size in margins.items())
        label, key = "Margins: 'sweet 1; sour 0.8'", f"rule-margins-{key}"
        typed = st.text_input(label, value=now, key=key, help=asked("margin"))
        parts = [part.strip() for part in typed.split(";") if part.strip()]
        names = ";".join(part.rpartition(" ")[0] for part in parts)
        return {"margins": kind.margins({"attributes": names, "margins": typed})}
    if kind.release and kind.release.by == "votes":
        st.markdown("The limit is that of the spiked samples.")
        return {}
    label, low, high = _SHARE if kind.protocol else _POINTS
    agreed: Any = mine.limit if mine else None
    limit: float | None = st.number_input(label, low, high, agreed, key=f"rule-limit-{key}")
    if kind.protocol:
        limit_help(test, limit)
    if limit is None:
        raise RecordError("The limit is empty: give the number that was agreed for this product.")
    sizes: Sizes = {"limit": limit}
    if not kind.protocol:
        label, scatter = _SCATTER, (mine and mine.scatter) or 0.0
        typed_scatter = st.number_input(label, 0.0, 100.0, scatter, key=f"rule-scatter-{key}")
        sizes["scatter"] = typed_scatter or None
    return sizes


def _dispositions(record: ProductRecord, rule: ReleaseRule | None) -> dict[Finding, Disposition]:
    offered = [action for action in Disposition if action is not Disposition.RETEST]
    chosen = {}
    for column, (finding, label) in zip(st.columns(5), _WORDS.items(), strict=True):
        now, key = rule.at(finding) if rule else USUAL[finding], f"rule-{finding}-{record.name}"
        action = choose(label, offered, now, key, words=_capital, place=column)
        chosen[finding] = Disposition(action)
    return chosen


def _capital(action: Disposition) -> str:
    return action.value.capitalize()
