"""How the samples of one assessor are spread: sittings, a warm-up sample, incomplete blocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from ..base.results import several
from ..catalogue.tests import find_kind
from ..serving.blocks import MOST_SAMPLES, incomplete_blocks
from ..serving.lines import ballot_lines
from ..serving.plan import ServingPlan
from ..serving.planning import MOST_ASSESSORS
from ..serving.rules import possible_sittings
from ..sessions.booth_plans import MOST_MINUTES
from ..sessions.session import StoredSession

People = int | list[str]
_LEADER, _TIME = "the leader starts the next sitting", "a time is over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """What the fields say.

    Attributes
    ----------
    people : int or list of str
        Assessors; a number that is a whole design, where blocks are incomplete.
    break_minutes : int
        0 where the leader ends a break.
    more : dict
        Further arguments of `serving_plan`.
    """

    people: People
    break_minutes: int = 0
    more: dict[str, Any] = field(default_factory=dict)


def arrangement_fields(
    session: StoredSession, people: People, samples: Sequence[str] | None, replicates: int
) -> Arrangement | None:
    """Fields for what most sessions leave alone; None where something is wrong, which is said."""
    test, here = find_kind(session.question.protocol), session.id
    with st.expander("Sittings, warm-up, incomplete blocks"):
        left, right = st.columns(2, gap="large")
        with left:
            size, sets = _blocks(session, samples)
            if samples and size < len(samples):
                found = _whole_panel(session, people, (len(samples), size), sets * replicates)
                if found is None:
                    return None
                people = found
            warm_up = st.text_input(
                "Warm-up sample, first in each sitting and not scored (empty: none)",
                key=f"warm-up-{here}",
                help="Its allergens are declared with those of the samples, before serving.",
            )
        with right:
            possible = possible_sittings(test, sets * replicates, size)
            sittings = st.selectbox(
                "Sittings, with a break between them",
                possible,
                key=f"sittings-{sets * replicates}-{size}-{here}",
                help="A set that is compared as a whole is not broken up: for more sittings let "
                "each assessor get it more often.",
            )
            if possible == (1,):
                twice = "for two sittings serve each twice"
                advice = "a set is tasted at once" if test.together else twice
                st.markdown(f"Only one is possible: {advice}.")
            minutes = _break(here) if sittings > 1 else 0
    more: dict[str, Any] = {"sittings": sittings, "warm_up": warm_up.strip() or None}
    if samples and size < len(samples):
        more |= {"set_size": size, "sets": sets}
    return Arrangement(people=people, break_minutes=minutes, more=more)


def other_than_agreed(session: StoredSession, plan: ServingPlan) -> None:
    """Warn where a plan lays out more or fewer ballots than the question was agreed for."""
    laid_out, agreed = len(ballot_lines(plan)), session.question.assessors
    if laid_out != agreed:
        st.warning(
            f"This plan is for {several(laid_out, 'ballot')}; the question was agreed for "
            f"{agreed}. The risks agreed hold for that number: change the assessors or how "
            "often each is served, or agree another question in a new session."
        )


def _blocks(session: StoredSession, samples: Sequence[str] | None) -> tuple[int, int]:
    """Samples in one set, and sets of each assessor."""
    test, whole = find_kind(session.question.protocol), len(samples or ())
    offered = test.answer in ("scores", "place")
    if not offered or not 3 <= whole <= MOST_SAMPLES:
        return whole, 1
    sizes = [*range(whole, 1, -1)] if whole < MOST_SAMPLES else [*range(whole - 1, 1, -1)]
    size = st.selectbox(
        "Samples in one set, for one assessor",
        sizes,
        format_func=lambda one: f"all {one}" if one == whole else f"{one} of {whole}",
        key=f"size-{whole}-{session.id}",
        help="Fewer than all: balanced incomplete blocks, where there are too many samples.",
    )
    if size == whole or test.together:
        return size, 1
    sets = st.number_input("Sets for each assessor", 1, 12, 1, key=f"sets-{session.id}")
    return size, int(sets)


def _whole_panel(
    session: StoredSession, people: People, blocks: tuple[int, int], each: int
) -> People | None:
    """Assessors that are a whole design: chosen, or counted where names are given."""
    design = incomplete_blocks(*blocks)
    known = people if isinstance(people, int) else len(people)
    if known > MOST_ASSESSORS:
        return people  # refused by the plan
    panels = design.whole_panels(each, known)
    if isinstance(people, int):
        wanted = next(at for at, panel in enumerate(panels) if panel >= known)
        return st.selectbox(
            f"Assessors: these are whole designs ({known} are typed above)",
            panels,
            index=wanted,
            key=f"panel-{'-'.join(map(str, (*blocks, each, known)))}-{session.id}",
        )
    if known in panels:
        return people
    near = [*[panel for panel in panels if panel < known][-1:],
            next(panel for panel in panels if panel > known)]  # fmt: skip
    st.error(
        f"{known} assessors are no whole design; {' or '.join(map(str, near))} are. Type as many "
        "names, or choose other sets."
    )
    return None


def _break(here: str) -> int:
    """Minutes of a break; 0 where the leader ends it."""
    ends = st.radio("A break ends when", [_LEADER, _TIME], key=f"break-{here}", horizontal=True)
    if ends == _LEADER:
        return 0
    minutes = st.number_input(
        "Minutes, counted from an assessor's own last ballot", 1, MOST_MINUTES, 15,
        key=f"minutes-{here}",
    )  # fmt: skip
    return int(minutes)
