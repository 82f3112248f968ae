"""The plant's own lists: causes to choose from, and materials that go by several names."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..release.plant import Plant
from ..release.plant_desk import agree_causes, another_material, same_material, the_plant
from .frame import acting, desk, plain
from .parts import act, show_table


def plant_lists() -> None:
    """Show both lists, each with the form that changes it."""
    plant = the_plant(desk())
    with st.expander("Lists of the plant: causes, names of raw materials"):
        causes, materials = st.columns(2, gap="large")
        with causes:
            _causes(plant)
        with materials:
            _materials(plant)


def _causes(plant: Plant) -> None:
    st.markdown("**Causes of decisions and complaints**")
    typed = st.text_area("One a line", value="\n".join(plant.causes), key="plant-causes")
    why = st.text_input("Why the list changes", key="plant-causes-why")
    agree = partial(agree_causes, desk(), typed.splitlines(), who=acting(), why=why)
    act("Save causes", "plant-causes-save", agree, ready=why.strip())


def _materials(plant: Plant) -> None:
    st.markdown("**Raw materials with several names**")
    others = [(each.name, other) for each in plant.materials for other in each.others]
    if others:
        show_table(
            [
                {
                    "material": plain(name),
                    "also called": plain(other.name),
                    "said by": plain(other.said_by),
                    "on": other.said_on,
                }
                for name, other in others
            ]
        )
    name = st.text_input("Material", key="plant-material")
    other = st.text_input("Also called", key="plant-material-other")
    by = st.text_input("Said by", key="plant-material-by")
    same = partial(same_material, desk(), name, other, by=by, who=acting())
    act("Save name", "plant-material-save", same, ready=name.strip() and other.strip())
    if others:
        _part(sorted(other.name for _, other in others))


def _part(names: list[str]) -> None:
    gone = st.selectbox(
        "Not the same after all", names, index=None, format_func=plain, key="plant-material-gone"
    )
    why = st.text_input("Why not", key="plant-material-why")
    part = partial(another_material, desk(), str(gone), who=acting(), why=why)
    act("Remove name", "plant-material-part", part, ready=gone and why.strip())
