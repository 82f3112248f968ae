"""What is tolerated in each attribute of a product."""

from __future__ import annotations

import re

import streamlit as st

from ..base.errors import RecordError
from ..release.batch_records import ProductRecord
from ..release.batches import AttributeLimit
from ..release.product_desk import tolerate
from .frame import desk, nameless, plain
from .parts import act, show_table

_NUMBER = r"-?[0-9]+(?:[.,][0-9]+)?"
_MARGIN = re.compile(rf"(?P<name>.+?);\s*(?P<margin>{_NUMBER})\s*")
_RANGE = re.compile(rf"(?P<name>.+?);\s*(?P<low>{_NUMBER})?\s*to\s*(?P<high>{_NUMBER})?\s*")


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
        why = st.text_input("Why, and who agreed", key=f"attributes-why-{record.name}")
        act(
            "Agree the attributes",
            "attributes",
            lambda: tolerate(desk(), record.name, tolerances(typed), who=nameless(), why=why),
            ready=why.strip(),
        )


def tolerances(text: str) -> tuple[AttributeLimit, ...]:
    """The attributes that were typed, one a line.

    Raises RecordError for a line that holds neither a margin nor a range.

    >>> [(limit.attribute, limit.margin) for limit in tolerances("sour; 0,8")]
    [('sour', 0.8)]
    >>> [(limit.low, limit.high) for limit in tolerances("colour; 2 to 6")]
    [(2.0, 6.0)]
    """
    limits = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        match = _RANGE.fullmatch(line) or _MARGIN.fullmatch(line)
        if match is None:
            raise RecordError(
                f"Attributes, line {number}: write a margin as in 'sour; 0.8' or a range as in "
                f"'colour; 2 to 6'. Got {line.strip()!r}."
            )
        sizes = match.groupdict()
        name = sizes.pop("name")
        typed = {bound: _size(size) for bound, size in sizes.items()}
        limits.append(AttributeLimit(attribute=name.strip(), **typed))
    return tuple(limits)


def _size(text: str | None) -> float | None:
    return None if text is None else float(text.replace(",", "."))


def _words(limit: AttributeLimit) -> str:
    if limit.margin is not None:
        return f"{limit.margin:g}"
    low = "" if limit.low is None else f"{limit.low:g} "
    return f"{low}to" if limit.high is None else f"{low}to {limit.high:g}"


def _shown(limit: AttributeLimit) -> str:
    """The same for readers."""
    if limit.margin is not None:
        return f"up to {limit.margin:g} from the reference"
    if limit.low is None or limit.high is None:
        return f"up to {limit.high:g}" if limit.low is None else f"from {limit.low:g}"
    return f"{limit.low:g} to {limit.high:g}"
