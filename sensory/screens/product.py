"""What is tolerated, by which rule is it released, and against which reference?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from ..base.batch_records import ProductRecord
from ..base.batches import Disposition
from ..base.records import Finding, utc_now
from ..base.references import Reference
from ..decisions.release import USUAL, ReleaseRule
from ..methods import DIFFERENCE_FROM_CONTROL, PROFILE, find_test
from ..product_desk import agree_rule, enter_product, rule_of, state_of_reference
from ..protocols import PROTOCOLS
from ..report.trend_figures import characteristic_figure
from ..report.words import number
from .frame import current_frame, nameless, plain, shown_errors
from .reference_form import reference_form

_TESTS = [*PROTOCOLS, DIFFERENCE_FROM_CONTROL.key, PROFILE.key]
_WORDS = {
    Finding.SIMILAR: "If similar",
    Finding.DIFFERENT_WITHIN_LIMIT: "If different, and within the limit",
    Finding.DIFFERENT: "If different",
    Finding.UNDECIDED: "If it cannot tell",
}


def page() -> None:
    """Choose a product; its rule with what it does to batches, its references."""
    st.title("By which rule is it released?")
    desk = current_frame().store
    with shown_errors():
        products = desk.nouns(ProductRecord)
        if products:
            names = [one.name for one in products]
            chosen = st.selectbox("Product", names, key="product")
            record = products[names.index(str(chosen))]
            rule_part, reference_part = st.columns(2, gap="large")
            with rule_part:
                _rule(record)
            with reference_part:
                _references(record)
        _new(products)


def _new(products: Sequence[ProductRecord]) -> None:
    with st.expander("A new product", expanded=not products):
        name = st.text_input("Name of the product", key="product-name")
        if st.button("Enter the product", key="product-enter", disabled=not name.strip()):
            with shown_errors():
                enter_product(current_frame().store, name, who=nameless())
                st.rerun()


def _rule(record: ProductRecord) -> None:
    st.subheader("Release rule")
    rule = rule_of(record)
    if rule is None:
        st.markdown("None is agreed yet: no batch can be recommended for release.")
    else:
        st.markdown("\n".join(f"- {plain(line)}" for line in rule.words()))
        _characteristic(rule)
    with st.expander("Agree another rule" if rule else "Agree the rule", expanded=rule is None):
        _rule_form(record, rule)


def _characteristic(rule: ReleaseRule) -> None:
    """What the rule does to batches of each true difference, and what a month costs."""
    figure = characteristic_figure(rule)
    if figure is None:
        st.markdown(
            "What it does to batches of each true difference is shown when the scatter of the "
            "panel is stated."
        )
        return
    st.markdown("**What it does to batches**")
    with st.container(key="characteristic-figure"):
        words = "Chance of release, hold and rejection against the true difference."
        st.altair_chart(figure, theme=None, width="stretch", alt=words)
    month = st.number_input("Batches a month", 1, 1000, 20, key="rule-batches")
    cost = rule.tastings(float(month), truth=0.0)
    st.markdown(
        f"Were all of {month} batches unchanged: {cost.tastings:.0f} tastings with "
        f"{cost.answers:.0f} answers, {cost.passes:.1f} released, {cost.holds:.1f} held, "
        f"{cost.rejects:.1f} rejected or reworked, on average."
    )


def _rule_form(record: ProductRecord, rule: ReleaseRule | None) -> None:
    name = record.name
    test = st.selectbox(
        "Test",
        _TESTS,
        index=_TESTS.index(rule.test) if rule else 0,
        format_func=lambda key: find_test(key).name,
        key=f"rule-test-{name}",
    )
    with shown_errors():
        sizes = _limit_fields(record, str(test), rule)
        sizes |= _risk_fields(record, rule)
        sizes["dispositions"] = _dispositions(record, rule)
        decides = rule.decides if rule else "the authorised person of the plant"
        sizes["decides"] = st.text_input(
            "Who decides (role)", value=decides, key=f"rule-decides-{name}"
        )
        drift = st.number_input(
            "How far a reference may drift from the first, in points of its bridges (0: no limit)",
            min_value=0.0,
            value=record.product.drift_limit or 0.0,
            key=f"rule-drift-{name}",
        )
        why = st.text_input("Why this rule, and who agreed", key=f"rule-why-{name}")
        if st.button("Agree the rule", key="rule-agree", type="primary", disabled=not why.strip()):
            retest = rule.retest if rule and _keeps_retest(rule, str(test), sizes) else None
            new = ReleaseRule(test=str(test), retest=retest, **sizes)
            desk, limit = current_frame().store, float(drift) or None
            agree_rule(desk, name, new, drift_limit=limit, who=nameless(), why=why)
            st.rerun()


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


def _keeps_retest(rule: ReleaseRule, test: str, sizes: dict[str, Any]) -> bool:
    return rule.test == test and rule.limit == sizes.get("limit")


def _limit_fields(record: ProductRecord, test: str, rule: ReleaseRule | None) -> dict[str, Any]:
    """Limit, margins and scatter, as the test takes them."""
    mine = rule if rule and rule.test == test else None
    key = f"{test}-{record.name}"
    if test == PROFILE.key:
        now = "; ".join(f"{name} {size:g}" for name, size in mine.margins.items()) if mine else ""
        typed = st.text_input("Margins: 'sweet 1; sour 0.8'", value=now, key=f"rule-margins-{key}")
        return {"margins": PROFILE.margins({"attributes": _names(typed), "margins": typed})}
    if test in PROTOCOLS:
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


def _references(record: ProductRecord) -> None:
    st.subheader("Reference")
    desk, today = current_frame().store, utc_now()[:10]
    state = state_of_reference(desk, record.in_use, today)
    if state is None:
        st.markdown("None is in use yet.")
    else:
        st.markdown(f"In use: **{plain(record.in_use)}**")
        st.markdown("\n".join(f"- {plain(line)}" for line in state.says()))
    known = desk.nouns(Reference, record.name)
    if known:
        st.dataframe([_row(one) for one in reversed(known)], hide_index=True, width="stretch")
    reference_form(record)


def _row(one: Reference) -> dict[str, str]:
    bridge = one.bridged_to_first
    drift = bridge.estimate if bridge else None
    return {
        "reference": plain(one.name),
        "kind": one.kind.words,
        "made on": one.made_on,
        "usable until": one.usable_until,
        "against the first": "" if drift is None else f"{number(drift)}",
    }
