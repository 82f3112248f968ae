"""A product's own list of defects, in versions: what graders at the line may name."""

from __future__ import annotations

import streamlit as st

from ..catalogue.defects import SEVERITIES, as_typed, typed_defects
from ..release.batch_records import ProductRecord
from ..release.product_desk import agree_defects, versions_of_defects
from ..sessions.signing import Right, signed_words
from .frame import day, desk, plain
from .parts import act, listed, show_table
from .sign import hand


def defects_form(record: ProductRecord) -> None:
    """The list that holds, a field for the next version, and the versions before."""
    now, name = record.product.defects, record.name
    st.markdown("**Defects**")
    if now is None:
        st.markdown("No list is agreed yet: graders can name no defect.")
    else:
        st.markdown(f"Version {now.version}")
        show_table(
            [
                {"defect": plain(d.name), "severity": d.severity, "then": plain(d.action)}
                for d in now.defects
            ]
        )
    with st.expander("Agree a list of defects" if now is None else "Agree another list"):
        typed = st.text_area(
            f"One a line: name, severity ({', '.join(SEVERITIES)}), what is done",
            value=as_typed(now.defects, "\n") if now else "",
            placeholder="metallic: major, hold the batch",
            key=f"defects-{name}",
        )
        why = st.text_input("Why", key=f"defects-why-{name}")
        signing = hand("Agreed by", f"defects-by-{name}", Right.AGREE, role="head of quality")

        def agree() -> None:
            defects = typed_defects(typed)
            signing.put_on_record()
            agree_defects(desk(), name, defects, who=signing.name, why=why, how=signing.how)

        act("Agree the defects", "defects-agree", agree, ready=why.strip() and signing.ready)
    if now is not None and now.version > 1:
        with st.expander("Earlier versions"):
            listed(
                plain(
                    f"Version {each.version}, {day(entry.at[:10])}, {signed_words(entry)}: "
                    f"{as_typed(each.defects)}"
                )
                for each, entry in versions_of_defects(desk(), name)[1:]
            )
