"""What is tolerated in each attribute of a product."""

from __future__ import annotations

import re
from typing import Any

import streamlit as st

from ..base.errors import RecordError
from ..release.batch_records import ProductRecord
from ..release.batches import AttributeLimit
from ..release.product_desk import tolerate
from .frame import current_frame, nameless, plain, shown_errors

_NUMBER = r"-?[0-9]+(?:[.,][0-9]+)?"
_MARGIN = re.compile(rf"(.+?);\s*({_NUMBER})\s*")
_RANGE = re.compile(rf"(.+?);\s*({_NUMBER})?\s*to\s*({_NUMBER})?\s*")


def tolerance_form(record: ProductRecord) -> None:
    """The agreed attributes as a table, and a field in which they are typed."""
    attributes = record.product.attributes
    if attributes:
        st.markdown("**Tolerated in each attribute**")
        rows = [{"attribute": plain(one.attribute), "tolerated": _said(one)} for one in attributes]
        st.table(rows, hide_index=True)
        st.markdown("Margins are offered to a release rule by profile; only the rule decides.")
    with st.expander("Attributes with margins or limits"):
        typed = st.text_area(
            "One a line: 'sour; 0.8' is a margin round the reference, 'colour; 2 to 6' a range",
            value="\n".join(f"{one.attribute}; {_words(one)}" for one in attributes),
            key=f"attributes-{record.name}",
        )
        why = st.text_input("Why, and who agreed", key=f"attributes-why-{record.name}")
        if st.button("Agree the attributes", key="attributes", disabled=not why.strip()):
            with shown_errors():
                limits = tolerances(typed)
                tolerate(current_frame().store, record.name, limits, who=nameless(), why=why)
                st.rerun()


def tolerances(text: str) -> tuple[AttributeLimit, ...]:
    """The attributes that were typed, one a line.

    Raises RecordError for a line that holds neither a margin nor a range.

    >>> [(one.attribute, one.margin) for one in tolerances("sour; 0,8")]
    [('sour', 0.8)]
    >>> [(one.low, one.high) for one in tolerances("colour; 2 to 6")]
    [(2.0, 6.0)]
    """
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        if match := _RANGE.fullmatch(line):
            name, low, high = match.groups()
            sizes: dict[str, Any] = {"low": _size(low), "high": _size(high)}
        elif match := _MARGIN.fullmatch(line):
            name, margin = match.groups()
            sizes = {"margin": _size(margin)}
        else:
            raise RecordError(
                f"Attributes, line {number}: write a margin as in 'sour; 0.8' or a range as in "
                f"'colour; 2 to 6'. Got {line.strip()!r}."
            )
        found.append(AttributeLimit(attribute=name.strip(), **sizes))
    return tuple(found)


def _size(text: str | None) -> float | None:
    return None if text is None else float(text.replace(",", "."))


def _words(one: AttributeLimit) -> str:
    if one.margin is not None:
        return f"{one.margin:g}"
    low = "" if one.low is None else f"{one.low:g} "
    return f"{low}to" if one.high is None else f"{low}to {one.high:g}"


def _said(one: AttributeLimit) -> str:
    """The same for readers."""
    if one.margin is not None:
        return f"up to {one.margin:g} from the reference"
    if one.low is None or one.high is None:
        return f"up to {one.high:g}" if one.low is None else f"from {one.low:g}"
    return f"{one.low:g} to {one.high:g}"
