"""How far may a batch lie from the reference? Two roads to a limit, its cost, and who agrees it."""

from __future__ import annotations

import streamlit as st

from ..base.results import digits
from ..evidence.consumer_limit import UNITS, ConsumerLimit, Unit
from ..evidence.history_limit import HistoryLimit
from ..release.batch_records import ProductRecord
from ..release.limit_desk import (
    NO_RULE,
    agree_limit,
    limit_of_rule,
    limit_of_sold,
    limit_of_study,
    read_consumers,
    unit_of,
    with_limit,
)
from ..release.product_desk import rule_of
from ..release.rule import ReleaseRule
from ..report.limit_figures import consumers_figure, history_figure
from ..report.words import percent
from ..sessions.signing import Right, signed_words
from .batch_forms import recorded, say_recorded
from .frame import current_frame, desk, plain, shown_errors
from .parts import choose, listed, pressed, scroll, show_figure, way
from .sign import hand

CHOSEN = "limit-product"
"""Where Products leaves the name of the product."""
_INVENTED = "consumers.csv"
_STUDY = "limit-invented"
_CONSUMERS, _SOLD, _OTHERWISE = "answers of consumers", "batches sold", "something else"


def page() -> None:
    """The limit of today, both roads side by side, and the form that agrees another."""
    st.title("Limit")
    say_recorded()
    with shown_errors():
        products = {record.name: record for record in desk().nouns(ProductRecord)}
        if not products:
            st.markdown("No product is on record yet.")
            way("Products", "limit-products", "product")
            return
        now = st.session_state.get(CHOSEN)
        record = products[choose("Product", list(products), now, "limit-of")]
        rule = rule_of(record)
        _of_today(record, rule)
        if rule is None:
            return
        asked, sold = st.columns(2, gap="large")
        with asked:
            consumers = _of_consumers(record, rule)
        with sold:
            history = _of_history(record)
        _agree(record, rule, consumers, history)


def _of_today(record: ProductRecord, rule: ReleaseRule | None) -> None:
    if rule is None:
        st.markdown(NO_RULE)
        way("Products", "limit-products", "product")
        return
    agreed = [each for each in desk().noun_entries(record) if each.what == "rule agreed"]
    by = ""
    if agreed:
        last = agreed[-1]
        by = f" Agreed by {signed_words(last)} on {last.at[:10]}: {last.why}"
    st.markdown(plain(f"{rule.words()[1]}{by}"))


def _of_consumers(record: ProductRecord, rule: ReleaseRule) -> ConsumerLimit | None:
    st.subheader("What consumers accept")
    st.markdown(
        "A file with one consumer and sample a row: consumer, sample, distance, answer (accept or "
        "reject) or liking, and se, the standard error of the distance."
    )
    key = record.name
    upload = st.file_uploader("CSV or XLSX", type=["csv", "xlsx"], key=f"limit-file-{key}")
    content = upload.getvalue() if upload else None
    if content is None and current_frame().invented:
        if pressed("Use the invented study", "limit-invented-study"):
            st.session_state[_STUDY] = True
        if st.session_state.get(_STUDY):
            content = (current_frame().demo / _INVENTED).read_bytes()
    if content is None:
        return None
    return _read_and_asked(content, key, rule)


def _read_and_asked(content: bytes, key: str, rule: ReleaseRule) -> ConsumerLimit | None:
    """The study as far as it can be read; what stands against it is shown."""
    results = []
    with shown_errors():
        results.append(_asked(content, key, rule))
    return results[0] if results else None


def _asked(content: bytes, key: str, rule: ReleaseRule) -> ConsumerLimit | None:
    table = read_consumers(content)
    own = unit_of(rule)
    offered: list[Unit] = ["dprime", "points"]
    unit = choose("Distances are in", offered, own, f"limit-unit-{key}", words=UNITS.__getitem__)
    answers = "answer" in table
    if answers:
        label = "Share of consumers whose rejection is accepted, 0.25 for 25 %"
        tolerated = st.number_input(label, 0.01, 0.99, None, key=f"limit-share-{key}")
    else:
        label = "How far liking may fall from that of the reference"
        tolerated = st.number_input(label, 0.01, 100.0, None, key=f"limit-margin-{key}")
    if tolerated is None:
        st.markdown("The limit is shown once this number is typed.")
        return None
    result = limit_of_study(content, rule, unit, float(tolerated))
    words = " ".join(result.says())
    show_figure("limit-consumers-figure", consumers_figure(result, "container"), words)
    listed(result.says())
    with st.expander("Each sample, each test, and what these answers cannot tell"):
        scroll(result.summary())
        if len(result.tests):
            scroll(_tests(result))
        listed(result.cannot_tell)
    return result


def _tests(result: ConsumerLimit) -> list[dict[str, object]]:
    return [
        {
            "test": row["protocol"],
            "people who notice": percent(float(row["pd_limit"]), 1),
            "assessors": "" if row["assessors"] != row["assessors"] else int(row["assessors"]),
        }
        for row in result.tests.to_dict("records")
    ]


def _of_history(record: ProductRecord) -> HistoryLimit | None:
    st.subheader("What sold batches were like")
    st.markdown("Of batches that were released and that nobody complained of.")
    sold = limit_of_sold(desk(), record)
    result = sold.result
    if result is None:
        listed(sold.remarks)
        return None
    if result.why_none:
        st.markdown(result.why_none)
        return None
    words = " ".join(result.says())
    show_figure("limit-history-figure", history_figure(result, "container"), words)
    listed((*result.says(), *sold.remarks))
    with st.expander("Each limit with its cost, and what these batches cannot tell"):
        scroll(result.summary())
        listed(result.cannot_tell)
    return result


def _agree(
    record: ProductRecord,
    rule: ReleaseRule,
    consumers: ConsumerLimit | None,
    history: HistoryLimit | None,
) -> None:
    """The form, with what the typed limit costs before anybody signs."""
    unit, name = unit_of(rule), record.name
    if unit is None:
        return
    st.subheader("Agree a limit")
    left, right = st.columns(2, gap="large")
    with left:
        label = f"Limit, {UNITS[unit]}" + (" above the blind control" if unit == "points" else "")
        distance = st.number_input(label, 0.01, 100.0, None, key=f"limit-distance-{name}")
        if distance is None:
            today = limit_of_rule(rule)
            shown = "" if today is None else f" Today it is {digits(today, 3)}."
            st.markdown(f"What it costs is shown once it is typed.{shown}")
            return
        needed = _cost(record, history, float(distance))
        people = st.number_input(
            "Assessors", 2, 1000, needed or rule.assessors, key=f"limit-people-{name}-{distance}"
        )
        new = with_limit(rule, float(distance), unit, int(people))
        st.markdown(plain(new.words()[1]))
        _chances(new)
    with right:
        _sign(record, float(distance), unit, int(people), consumers)


def _cost(record: ProductRecord, history: HistoryLimit | None, distance: float) -> int | None:
    """Say what the limit would have done to sold batches; assessors that it needs."""
    if history is None:
        return None
    result = limit_of_sold(desk(), record, (distance,)).result
    if result is None or result.limits.empty:
        return None
    st.markdown(result.cost_of(distance))
    assessors = float(result.limits["assessors"].iloc[0])
    return int(assessors) if 2 <= assessors <= 1000 else None


def _chances(rule: ReleaseRule) -> None:
    if rule.limit is None or (rule.protocol is None and rule.scatter is None):
        return
    fair, wrong = rule.characteristic([0.0, rule.limit]).passes
    st.markdown(
        f"An unchanged batch passes with a chance of {percent(float(fair), 1)}, one at the limit "
        f"with {percent(float(wrong), 1)}."
    )


def _sign(
    record: ProductRecord,
    distance: float,
    unit: Unit,
    assessors: int,
    consumers: ConsumerLimit | None,
) -> None:
    name = record.name
    rests = choose("It rests on", [_CONSUMERS, _SOLD, _OTHERWISE], None, f"limit-rests-{name}")
    why = st.text_input("Why this limit", key=f"limit-why-{name}")
    signing = hand("Agreed by", f"limit-by-{name}", Right.AGREE, role="head of quality")
    st.markdown("The file is not kept; the journal keeps the reason with what the file showed.")
    ready = why.strip() and signing.ready
    if pressed("Agree the limit", "limit-agree", primary=True, ready=ready):
        with shown_errors():
            signing.put_on_record()
            agree_limit(
                desk(),
                name,
                distance,
                unit=unit,
                assessors=assessors,
                why=_reason(rests, why, consumers),
                who=signing.name,
                how=signing.how,
            )
            recorded(f"limit-why-{name}")


def _reason(rests: str, why: str, consumers: ConsumerLimit | None) -> str:
    """What the limit rests on, with the consumers' own sentence where it does on these."""
    shown = why.strip()
    if rests == _CONSUMERS and consumers is not None:
        shown = f"{shown} ({' '.join(consumers.says())})"
    return f"Limit from {rests}: {shown}" if rests != _OTHERWISE else shown
