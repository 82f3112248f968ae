"""What new sessions of the plant begin with."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..base.languages import languages
from ..release.plant import LABEL_SHEETS, Defaults
from ..release.plant_desk import keep_booth_address, keep_defaults, the_plant
from .access import kept
from .addresses import booth_address, offered_address
from .ask import asked
from .frame import acting, desk, shown_errors
from .limits import dprime_help
from .parts import act, choose
from .screening_rules import screening_rules_form

_ACTIONS = (
    ("if_different", "If different, we will"),
    ("if_beyond", "If beyond the limit, we will (empty: the same)"),
    ("if_similar", "If similar, we will"),
    ("if_undecided", "If the session cannot tell, we will"),
)


def page() -> None:
    """Show the defaults, to be changed."""
    st.title("Settings")
    st.markdown("A new session begins with these. There each can be changed until it is agreed.")
    with shown_errors():
        now = the_plant(desk()).defaults
        left, right = st.columns(2, gap="large")
        with left:
            alpha, beta, limit = _risks(now)
            decides = st.text_input(
                "Who decides (role), where no release rule says it", now.decides, key="set-decides"
            )
        with right:
            actions = {
                name: st.text_input(label, getattr(now, name), key=f"set-{name}")
                for name, label in _ACTIONS
            }
        known = languages()
        spoken = left.multiselect(
            "Languages of ballots, the usual one first",
            list(known),
            list(now.languages),
            format_func=known.__getitem__,
            key="set-languages",
        )
        labels = choose(
            "Label sheet, A4: columns and rows", LABEL_SHEETS, now.labels, "set-labels", place=right
        )
        texts = {name: text.strip() for name, text in {**actions, "decides": decides}.items()}

        def save() -> None:
            new = Defaults(
                alpha=alpha,
                beta=beta,
                dprime_limit=limit,
                languages=tuple(spoken),
                labels=labels,
                **texts,
            )
            keep_defaults(desk(), new, who=acting())

        act("Save settings", "save-settings", save, primary=True, ready=spoken)
        if kept() is not None:
            _booths()
        screening_rules_form()


def _booths() -> None:
    """Where booths reach the program, in the network mode."""
    st.subheader("Booths")
    usual = the_plant(desk()).booths_at
    typed = st.text_input(
        "Booths open at",
        usual or offered_address(str(st.context.url or ""), network=True),
        key="set-booths",
        help="Links and QR codes of every session carry this address.",
    )

    def save() -> None:
        keep_booth_address(desk(), booth_address(typed, network=True), who=acting())

    act("Save address", "save-booths", save, ready=typed.strip())


def _risks(now: Defaults) -> tuple[float, float, float | None]:
    risk = partial(st.number_input, min_value=0.001, max_value=0.5, step=0.01, format="%.3f")
    alpha = risk(
        "alpha: risk of a false alarm", value=now.alpha, key="set-alpha", help=asked("alpha")
    )
    beta = risk("beta: risk of a wrong pass", value=now.beta, key="set-beta", help=asked("beta"))
    limit = st.number_input(
        "The plant's limit as d' (empty: agreed anew each time)",
        0.01,
        10.0,
        now.dprime_limit,
        0.1,
        key="set-limit",
        help=asked("d-prime"),
    )
    dprime_help(limit)
    return float(alpha), float(beta), None if limit is None else float(limit)
