"""How far may a batch lie from the reference? Two roads to a limit, its cost, and who agrees it."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from ..base.results import digits
from ..evidence.consumer_limit import UNITS, Unit
from ..evidence.consumer_rows import ANSWER
from ..evidence.history_limit import HistoryLimit
from ..release.batch_records import ProductRecord
from ..release.limit_desk import (
    FAIR,
    NO_RULE,
    VOTES,
    agree_limit,
    assumed,
    fair_size,
    limit_of_rule,
    limit_of_sold,
    most_answers,
    sold_rows,
    takes_limit,
    unit_of,
    with_limit,
)
from ..release.limit_studies import ACCEPTANCE, LIKED, SOLD
from ..release.product_desk import rule_of
from ..release.rule import ReleaseRule
from ..release.studies import Study
from ..release.study_desk import withdrawn_behind
from ..release.study_kinds import Settings
from ..report.study_documents import drafted_rows
from ..report.words import percent
from ..sessions.signing import Right, signed_words
from .batch_forms import recorded, say_recorded
from .frame import current_frame, desk, plain, shown_errors
from .parts import choose, listed, pressed, side_by_side, way
from .sign import hand
from .study import (
    TYPES,
    StudyFile,
    described,
    invented_file,
    keep_part,
    kept_studies,
    show_study,
    standing,
    study_errors,
    study_of_file,
)

CHOSEN = "limit-product"
"""Where Products leaves the name of the product."""
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
        if not takes_limit(rule):
            st.markdown(VOTES)
            return
        asked, sold = side_by_side("limit", 2)
        with asked:
            consumers = _of_consumers(record, rule)
        with sold:
            history = _of_history(record, rule)
        _agree(record, rule, consumers, history)
        kinds = [kind.key for kind in (ACCEPTANCE, LIKED, SOLD)]
        kept_studies("limit-study", product=record.name, kinds=kinds, most=4)


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
    for study in withdrawn_behind(desk(), record.name, by):
        st.error(plain(f"This limit rests on {study.title}. {study.withdrawn_words}"))


def _of_consumers(record: ProductRecord, rule: ReleaseRule) -> Study | None:
    st.subheader("What consumers accept")
    st.markdown(
        "A file with one consumer and sample a row: consumer, sample, distance, answer (accept or "
        "reject) or liking, and se, the standard error of the distance."
    )
    file = _file(record.name)
    if file is None:
        return None
    studies: list[Study] = []
    with study_errors():
        kind = ACCEPTANCE if ANSWER in ACCEPTANCE.rows_of(file.content) else LIKED
        unit = choose(
            "Distances are in",
            list(UNITS),
            unit_of(rule),
            f"limit-unit-{record.name}",
            words=UNITS.__getitem__,
        )
        given: Settings = {"unit": unit, "alpha": rule.alpha, "beta": rule.beta}
        study = standing(study_of_file(kind, given, file))
        if study is not None:
            studies.append(study)
            _shown(study, record, "limit-consumers")
    return studies[0] if studies else None


def _file(name: str) -> StudyFile | None:
    """The file that was uploaded, else the invented study where it was opened."""
    upload = st.file_uploader("CSV or XLSX", type=TYPES, key=f"limit-file-{name}")
    if upload is not None:
        return StudyFile(name=upload.name, content=upload.getvalue())
    if current_frame().invented:
        if pressed("Use the invented study", "limit-invented-study"):
            st.session_state[_STUDY] = True
        if st.session_state.get(_STUDY):
            return invented_file(ACCEPTANCE.invented)
    return None


def _shown(study: Study, record: ProductRecord, key: str) -> None:
    show_study(study, kept=False, key=key, folded=True)
    with st.expander("Keep it on record"):
        keep_part(described(study, product=record.name, key=key), key)


def _of_history(record: ProductRecord, rule: ReleaseRule) -> HistoryLimit | None:
    st.subheader("What sold batches were like")
    st.markdown("Of batches that were released and that nobody complained of.")
    sold, rows = limit_of_sold(desk(), record), sold_rows(desk(), record)
    result = sold.result
    if result is None or rows is None:
        listed(sold.remarks)
        return None
    if result.why_none:
        st.markdown(result.why_none)
        return None
    settings = {"alpha": rule.alpha, "beta": rule.beta}
    settings |= {"scatter": rule.scatter} if rule.scatter else {}
    in_order = tuple(sorted(settings.items()))
    study = drafted_rows(SOLD.key, rows.columns, rows.cells, in_order)
    if standing(study) is None:
        return None
    _shown(replace(study, file="the record"), record, "limit-history")
    if sold.remarks:
        listed(sold.remarks)
    return result


def _agree(
    record: ProductRecord,
    rule: ReleaseRule,
    consumers: Study | None,
    history: HistoryLimit | None,
) -> None:
    """The form, with what the typed limit costs before anybody signs."""
    unit, name = unit_of(rule), record.name
    st.subheader("Agree a limit")
    left, right = side_by_side("limit-form", 2)
    with left:
        attribute = _attribute(record, rule)
        label = f"Limit, {UNITS[unit]}"
        if unit == "points":
            label += f" of {attribute}" if attribute else " above the blind control"
        key = f"limit-distance-{name}-{attribute}" if attribute else f"limit-distance-{name}"
        distance = st.number_input(plain(label), 0.01, 100.0, None, key=key)
        if distance is None:
            today = limit_of_rule(rule, attribute)
            shown = "" if today is None else f" Today it is {digits(today, 3)}."
            st.markdown(f"What it costs is shown once it is typed.{shown}")
            return
        people = _people(record, rule, history, float(distance), attribute)
        new = with_limit(rule, float(distance), unit, people, attribute)
        listed([new.words()[1], *assumed(rule)])
        _chances(new)
    with right:
        _sign(record, float(distance), unit, people, attribute, consumers)


def _attribute(record: ProductRecord, rule: ReleaseRule) -> str:
    """Of a profile, whose margin it is; else empty."""
    if rule.by != "margins":
        return ""
    names = list(rule.margins)
    return choose("Margin of", names, names[0], f"limit-attribute-{record.name}")


def _people(
    record: ProductRecord,
    rule: ReleaseRule,
    history: HistoryLimit | None,
    distance: float,
    attribute: str,
) -> int:
    """Assessors of a tasting, or the most answers in two of them; what the limit costs is said."""
    name = record.name
    if rule.retest is not None:
        most = most_answers(rule, distance) or rule.retest.first + rule.retest.second
        label = "Most answers in both tastings"
        return int(st.number_input(label, 4, 400, most, key=f"limit-most-{name}-{distance}"))
    needed = _cost(record, history, distance)
    fair = fair_size(with_limit(rule, distance, unit_of(rule), rule.assessors, attribute))
    if fair is not None:
        st.markdown(
            f"A fair pass takes {fair} assessors: with them and with more an unchanged batch "
            f"passes with a chance of {percent(FAIR)} or higher."
        )
    elif attribute:
        st.markdown("How many assessors a margin takes is counted on the page Plan, by profile.")
    now = fair or needed or rule.assessors
    return int(st.number_input("Assessors", 2, 1000, now, key=f"limit-people-{name}-{distance}"))


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
    attribute: str,
    consumers: Study | None,
) -> None:
    name = record.name
    rests = choose("It rests on", [_CONSUMERS, _SOLD, _OTHERWISE], None, f"limit-rests-{name}")
    why = st.text_input("Why this limit", key=f"limit-why-{name}")
    signing = hand("Agreed by", f"limit-by-{name}", Right.AGREE, role="head of quality")
    st.markdown(
        "The journal keeps the reason with what the consumers' file showed; keep the study on "
        "record as well."
    )
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
                attribute=attribute,
                why=_reason(rests, why, consumers),
                who=signing.name,
                how=signing.how,
            )
            recorded(f"limit-why-{name}")


def _reason(rests: str, why: str, consumers: Study | None) -> str:
    """What the limit rests on, with the consumers' own finding where it does on these."""
    shown = why.strip()
    if rests == _CONSUMERS and consumers is not None:
        outcome = consumers.shown()
        finding = " ".join((*outcome.because, outcome.sentence))
        shown = f"{shown} ({finding} Study SHA-256 {consumers.digest[:12]}.)"
    return f"Limit from {rests}: {shown}" if rests != _OTHERWISE else shown
