"""What is tolerated, by which rule is it released, and against which reference?"""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from ..base.records import utc_now
from ..release.batch_records import ProductRecord
from ..release.product_desk import enter_product, rule_of, state_of_reference
from ..release.references import Reference
from ..release.rule import ReleaseRule
from ..report.trend_figures import characteristic_figure
from ..report.words import number
from .frame import current_frame, nameless, plain, shown_errors
from .reference_form import compared_again_form, reference_form, stock_form
from .rule_form import rule_form
from .tolerance_form import tolerance_form


def page() -> None:
    """Choose a product; its rule with what it does to batches, its references."""
    st.title("By which rule is it released?")
    desk = current_frame().store
    if new := st.session_state.pop("product-new", ""):
        st.session_state["product"] = new
        st.session_state["product-name"] = ""
        st.toast(f"{plain(new)} is entered.")
    with shown_errors():
        products = desk.nouns(ProductRecord)
        if products:
            names = [one.name for one in products]
            chosen = st.selectbox("Product", names, key="product")
            record = products[names.index(str(chosen))]
            rule_part, reference_part = st.columns(2, gap="large")
            with rule_part:
                _rule(record)
                tolerance_form(record)
            with reference_part:
                _references(record)
        _new(products)


def _new(products: Sequence[ProductRecord]) -> None:
    with st.expander("A new product", expanded=not products):
        name = st.text_input("Name of the product", key="product-name")
        if st.button("Enter the product", key="product-enter", disabled=not name.strip()):
            with shown_errors():
                record = enter_product(current_frame().store, name, who=nameless())
                st.session_state["product-new"] = record.name
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
        rule_form(record, rule)


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
    if record.in_use:
        compared_again_form(record)
        used = next((one for one in known if one.name == record.in_use), None)
        if used is not None:
            stock_form(record, used)
    reference_form(record)


def _row(one: Reference) -> dict[str, str]:
    bridge = one.later[-1] if one.later else one.bridged_to_first
    drift = bridge.estimate if bridge else None
    return {
        "reference": one.name,
        "kind": one.kind.words,
        "made on": one.made_on,
        "usable until": one.usable_until,
        "against the first": ""
        if drift is None or bridge is None
        else f"{number(drift)} on {bridge.held_on}",
    }
