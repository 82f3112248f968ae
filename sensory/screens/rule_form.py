"""The form by which a release rule is agreed, with what the typed rule would do."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..base.findings import Finding
from ..catalogue.tests import find_kind, kinds, protocol_of
from ..choices.two_stage import TwoStagePlan, two_stage_plan
from ..release.batch_records import ProductRecord
from ..release.batches import Disposition
from ..release.product_desk import agree_rule
from ..release.rule import USUAL, ReleaseRule
from ..report.words import percent
from .frame import current_frame, nameless, shown_errors

_MOST = 400
_SURE = 0.999  # from here on a rounded share would claim certainty
_WORDS = {
    Finding.SIMILAR: "If similar",
    Finding.DIFFERENT_WITHIN_LIMIT: "If different, and within the limit",
    Finding.DIFFERENT: "If different",
    Finding.UNDECIDED: "If it cannot tell",
}


def rule_form(record: ProductRecord, rule: ReleaseRule | None) -> None:
    name, tests = record.name, [kind.key for kind in kinds() if kind.release]
    test = st.selectbox(
        "Test",
        tests,
        index=tests.index(rule.test) if rule else 0,
        format_func=lambda key: find_kind(key).name,
        key=f"rule-test-{name}",
    )
    with shown_errors():
        sizes = _limit_fields(record, str(test), rule)
        sizes |= _risk_fields(record, rule)
        sizes |= _retest_fields(record, str(test), sizes, rule)
        sizes["dispositions"] = _dispositions(record, rule)
        decides = rule.decides if rule else "the authorised person of the plant"
        sizes["decides"] = st.text_input(
            "Who decides (role)", value=decides, key=f"rule-decides-{name}"
        )
        new = ReleaseRule(test=str(test), **sizes)
        _what_it_does(new)
        drift = st.number_input(
            "How far a reference may drift from the first, in points of its bridges (0: no limit)",
            min_value=0.0,
            value=record.product.drift_limit or 0.0,
            key=f"rule-drift-{name}",
        )
        why = st.text_input("Why this rule, and who agreed", key=f"rule-why-{name}")
        if st.button("Agree the rule", key="rule-agree", type="primary", disabled=not why.strip()):
            desk, limit = current_frame().store, float(drift) or None
            agree_rule(desk, name, new, drift_limit=limit, who=nameless(), why=why)
            st.rerun()


def _what_it_does(rule: ReleaseRule) -> None:
    """The chance of a fair pass beside that of a wrong one, before anything is agreed."""
    if rule.limit is None or (rule.protocol is None and rule.scatter is None):
        return
    found = rule.characteristic([0.0, rule.limit])
    fair, wrong = found.passes
    shown = "more than 99.9 %" if fair > _SURE else percent(fair, 1)
    st.markdown(
        f"An unchanged batch would be released with a chance of **{shown}**, one at the "
        f"limit with {percent(wrong, 1)}; {found.answers[0]:.0f} answers for an unchanged batch."
    )


def _retest_fields(
    record: ProductRecord, test: str, sizes: dict[str, Any], rule: ReleaseRule | None
) -> dict[str, Any]:
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
    most = st.number_input(
        "Answers in both tastings, at most", 10, _MOST, 120, key=f"rule-most-{record.name}"
    )
    plan = _plan(test, int(most), sizes["alpha"], sizes["beta"], sizes["limit"])
    st.markdown(
        f"{plan.first} answers first, {plan.second} more where they are needed: so the number of "
        f"assessors is {plan.first}."
    )
    return {"retest": plan, "assessors": plan.first}


@st.cache_data(show_spinner=False, max_entries=50)
def _plan(test: str, most: int, alpha: float, beta: float, limit: float) -> TwoStagePlan:
    return two_stage_plan(protocol_of(test), most=most, alpha=alpha, beta=beta, pd_limit=limit)


def _risk_fields(record: ProductRecord, rule: ReleaseRule | None) -> dict[str, Any]:
    """Assessors, alpha and beta."""
    people, *risks = st.columns(3)
    typed: dict[str, Any] = {
        "assessors": int(
            people.number_input(
                "Assessors",
                2,
                1000,
                rule.assessors if rule else 24,
                key=f"rule-people-{record.name}",
            )
        )
    }
    for column, name in zip(risks, ("alpha", "beta"), strict=True):
        now = getattr(rule, name) if rule else 0.05
        key = f"rule-{name}-{record.name}"
        typed[name] = float(column.number_input(name, 0.001, 0.499, now, format="%.3f", key=key))
    return typed


def _limit_fields(record: ProductRecord, test: str, rule: ReleaseRule | None) -> dict[str, Any]:
    """Limit, margins and scatter, as the test takes them."""
    mine = rule if rule and rule.test == test else None
    key = f"{test}-{record.name}"
    kind = find_kind(test)
    if kind.release and kind.release.by == "margins":
        margins = mine.margins if mine else record.product.margins
        now = "; ".join(f"{name} {size:g}" for name, size in margins.items())
        typed = st.text_input("Margins: 'sweet 1; sour 0.8'", value=now, key=f"rule-margins-{key}")
        return {"margins": kind.margins({"attributes": _names(typed), "margins": typed})}
    if kind.protocol:
        limit = st.number_input(
            "Limit: share of assessors who may notice, 0.30 for 30 %",
            0.001,
            0.999,
            mine.limit if mine and mine.limit else 0.30,
            key=f"rule-limit-{key}",
        )
        return {"limit": float(limit)}
    limit = st.number_input(
        "Limit: points of the scale beyond the blind reference",
        0.01,
        100.0,
        mine.limit if mine and mine.limit else 1.5,
        key=f"rule-limit-{key}",
    )
    scatter = st.number_input(
        "Standard deviation of the differences of assessors in sessions before (0: not known)",
        0.0,
        100.0,
        mine.scatter if mine and mine.scatter else 0.0,
        key=f"rule-scatter-{key}",
    )
    return {"limit": float(limit), "scatter": float(scatter) or None}


def _names(typed: str) -> str:
    """The attributes that margins are typed for."""
    return ";".join(part.strip().rpartition(" ")[0] for part in typed.split(";") if part.strip())


def _dispositions(record: ProductRecord, rule: ReleaseRule | None) -> dict[Finding, Disposition]:
    offered: list[Disposition] = [one for one in Disposition if one is not Disposition.RETEST]
    done = {}
    for column, (finding, words) in zip(st.columns(4), _WORDS.items(), strict=True):
        now = rule.at(finding) if rule else USUAL[finding]
        done[finding] = Disposition(
            column.selectbox(
                words,
                offered,
                index=offered.index(now),
                format_func=lambda one: one.value.capitalize(),
                key=f"rule-{finding}-{record.name}",
            )
        )
    return done
