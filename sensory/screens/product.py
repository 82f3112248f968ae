"""What is tolerated, by which rule is it released, and against which reference?"""

from __future__ import annotations

import re

import streamlit as st

from ..base.errors import RecordError
from ..base.records import utc_now
from ..catalogue.attributes import Vocabulary
from ..release.batch_records import ProductRecord
from ..release.batches import AttributeLimit
from ..release.evidence_desk import evidence_of_product, evidence_of_reference
from ..release.limit_desk import takes_limit
from ..release.product_desk import enter_product, rule_of, state_of_reference, tolerate
from ..release.references import Reference
from ..release.rule import ReleaseRule
from ..report.trend_figures import characteristic_figure
from ..sessions.signing import Right, signed_words
from .batch_forms import say_recorded
from .defects import defects_form
from .evidence import evidence_part
from .frame import acting, day, desk, go, plain, shown_errors
from .limit import CHOSEN
from .looks_form import looks_form
from .parts import act, listed, pressed, show_figure, show_table, side_by_side, way
from .plant_lists import plant_lists
from .reference_form import compared_again_form, reference_form, stock_form
from .rule_form import rule_form
from .sign import hand
from .study import kept_studies
from .typed import NUMBER, number_of
from .words import CHOSEN as WORDS_OF

_MARGIN = re.compile(rf"(?P<name>.+?);\s*(?P<margin>{NUMBER})\s*")
_RANGE = re.compile(rf"(?P<name>.+?);\s*(?P<low>{NUMBER})?\s*to\s*(?P<high>{NUMBER})?\s*")


def page() -> None:
    """Choose a product; its rule with what it does to batches, its references."""
    st.title("Products")
    say_recorded()
    if new := st.session_state.pop("product-new", ""):
        st.session_state["product"] = new
        st.session_state["product-name"] = ""
        st.toast(f"{plain(new)} is entered.")
    with shown_errors():
        products = {record.name: record for record in desk().nouns(ProductRecord)}
        if products:
            record = products[str(st.selectbox("Product", list(products), key="product"))]
            rule_part, reference_part = side_by_side("product", 2)
            with rule_part:
                _rule(record)
                together = evidence_of_product(desk(), record)
                evidence_part(
                    f"Latest batches against {record.in_use}", together, "evidence-product"
                )
                looks_form(record)
                tolerance_form(record)
            with reference_part:
                _references(record)
                _words_of(record)
                defects_form(record)
                _to_shelf_life(record)
                kept_studies("product-study", product=record.name)
        with st.expander("A new product", expanded=not products):
            _new()
        plant_lists()


def _words_of(record: ProductRecord) -> None:
    """Which words are defined, in which version, and which standards are not usable today."""
    words = desk().noun(Vocabulary, record.name)
    st.markdown("**Words and reference standards**")
    if words is None:
        st.markdown("None is defined yet.")
    else:
        names = ", ".join(each.attribute for each in words.attributes) or "none"
        st.markdown(f"Version {words.version}: {plain(names)}.")
        today = utc_now()[:10]
        if lacking := [why for each in words.standards if (why := each.lacks(today))]:
            st.warning(plain(f"Before the next serving: {'; '.join(lacking)}."))
    st.session_state[WORDS_OF] = record.name
    way("Define words", "to-words", "words", primary=False)


def _to_shelf_life(record: ProductRecord) -> None:
    if pressed("Find the shelf life", "to-shelf-life"):
        st.session_state["shelf-product"] = record.name
        go("shelf_life")


def _new() -> None:
    name = st.text_input("Name of the product", key="product-name")
    if pressed("Enter the product", "product-enter", ready=name.strip()):
        with shown_errors():
            entered = enter_product(desk(), name, who=acting())
            st.session_state["product-new"] = entered.name
            st.rerun()


def _rule(record: ProductRecord) -> None:
    st.subheader("Release rule")
    rule = rule_of(record)
    if rule is None:
        st.markdown("None is agreed yet: no batch can be recommended for release.")
    else:
        listed([*rule.words(), *_agreed_by(record)])
        _characteristic(rule)
    if rule is not None and takes_limit(rule):
        st.session_state[CHOSEN] = record.name
        way("Set the limit", "product-limit", "limit", primary=False)
    with st.expander("Agree another rule" if rule else "Agree the rule", expanded=rule is None):
        rule_form(record, rule)


def _agreed_by(record: ProductRecord) -> list[str]:
    """Who agreed the rule, as the journal has it."""
    entries = desk().noun_entries(record)
    agreed = [entry for entry in entries if entry.what == "rule agreed"]
    return [f"Agreed by {signed_words(agreed[-1])} on {agreed[-1].at[:10]}."] if agreed else []


def _characteristic(rule: ReleaseRule) -> None:
    """What the rule does to batches of each true difference, and what a month costs."""
    figure = characteristic_figure(rule)
    if rule.by == "votes":
        st.markdown(
            "What it does to batches follows from the graders of the day; each finding says it."
        )
        return
    if figure is None:
        st.markdown(
            "What it does to batches of each true difference is shown when the scatter of the "
            "panel is stated."
        )
        return
    st.markdown("**What it does to batches**")
    words = "Chance of release, hold and rejection against the true difference."
    show_figure("characteristic-figure", figure, words)
    month = st.number_input("Batches a month", 1, 1000, 20, key="rule-batches")
    cost = rule.tastings(float(month), truth=0.0)
    st.markdown(
        f"Were all of {month} batches unchanged: {cost.tastings:.0f} tastings with "
        f"{cost.answers:.0f} answers, {cost.passes:.1f} released, {cost.holds:.1f} held, "
        f"{cost.rejects:.1f} rejected or reworked, on average."
    )


def _references(record: ProductRecord) -> None:
    st.subheader("Reference")
    state = state_of_reference(desk(), record.in_use, utc_now()[:10])
    if state is None:
        st.markdown("None is in use yet.")
    else:
        st.markdown(f"In use: **{plain(record.in_use)}**")
        listed(state.says())
    beside = evidence_of_reference(desk(), record)
    evidence_part(f"{record.in_use} beside older ones", beside, "evidence-reference")
    known = desk().nouns(Reference, record.name)
    if known:
        show_table([_row(reference) for reference in reversed(known)])
    if record.in_use:
        compared_again_form(record, known)
        for reference in known:
            if reference.name == record.in_use:
                stock_form(record, reference)
    reference_form(record)


def _row(reference: Reference) -> dict[str, str]:
    bridge = reference.later[-1] if reference.later else reference.bridged_to_first
    drift = "" if bridge is None or bridge.estimate is None else f"{bridge.estimate:+.2f}"
    return {
        "reference": plain(reference.name),
        "kind": reference.kind.words,
        "made on": _unbroken(reference.made_on),
        "usable until": _unbroken(reference.usable_until),
        "against the first": f"{drift} on {_unbroken(bridge.held_on)}" if bridge and drift else "",
    }


def _unbroken(date: str) -> str:
    """A date that no narrow column breaks."""
    return day(date).replace(" ", "\N{NO-BREAK SPACE}")


def tolerance_form(record: ProductRecord) -> None:
    """The agreed attributes as a table, and a field in which they are typed."""
    limits = record.product.attributes
    if limits:
        st.markdown("**Tolerated in each attribute**")
        show_table(
            [{"attribute": plain(limit.attribute), "tolerated": _shown(limit)} for limit in limits]
        )
        st.markdown("Margins are offered to a release rule by profile; only the rule decides.")
    with st.expander("Attributes with margins or limits"):
        typed = st.text_area(
            "One a line: 'sour; 0.8' is a margin round the reference, 'colour; 2 to 6' a range",
            value="\n".join(f"{limit.attribute}; {_words(limit)}" for limit in limits),
            key=f"attributes-{record.name}",
        )
        why = st.text_input("Why", key=f"attributes-why-{record.name}")
        key, role = f"attributes-by-{record.name}", "head of quality"
        signing = hand("Agreed by", key, Right.AGREE, role=role)

        def agree() -> None:
            limits = tolerances(typed)
            signing.put_on_record()
            tolerate(desk(), record.name, limits, who=signing.name, why=why, how=signing.how)

        act("Agree the attributes", "attributes", agree, ready=why.strip() and signing.ready)


def tolerances(text: str) -> tuple[AttributeLimit, ...]:
    """The attributes that were typed, one a line.

    Raises RecordError for a line that holds neither a margin nor a range.

    >>> [(limit.attribute, limit.margin) for limit in tolerances("sour; 0,8")]
    [('sour', 0.8)]
    >>> [(limit.low, limit.high) for limit in tolerances("colour; 2 to 6")]
    [(2.0, 6.0)]
    """
    limits = []
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        match = _RANGE.fullmatch(line) or _MARGIN.fullmatch(line)
        if match is None:
            raise RecordError(
                f"Attributes, line {row}: write a margin as in 'sour; 0.8' or a range as in "
                f"'colour; 2 to 6'. Got {line.strip()!r}."
            )
        sizes = match.groupdict()
        name = sizes.pop("name")
        typed = {bound: _size(size) for bound, size in sizes.items()}
        limits.append(AttributeLimit(attribute=name.strip(), **typed))
    return tuple(limits)


def _size(text: str | None) -> float | None:
    return None if text is None else number_of(text)


def _words(limit: AttributeLimit) -> str:
    if limit.margin is not None:
        return f"{limit.margin:g}"
    low = "" if limit.low is None else f"{limit.low:g} "
    return f"{low}to" if limit.high is None else f"{low}to {limit.high:g}"


def _shown(limit: AttributeLimit) -> str:
    if limit.margin is not None:
        return f"up to {limit.margin:g} from the reference"
    if limit.low is None or limit.high is None:
        return f"up to {limit.high:g}" if limit.low is None else f"from {limit.low:g}"
    return f"{limit.low:g} to {limit.high:g}"
