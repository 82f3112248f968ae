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
from .parts import choose

People = int | list[str]
_LEADER, _TIME = "the leader starts the next sitting", "a time is over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """What the fields say: assessors, minutes of a break (0: the leader ends it), sets of each
    assessor, and what else `serving_plan` takes."""

    people: People
    break_minutes: int = 0
    sets: int = 1
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
            each, incomplete = sets * replicates, bool(samples) and size < len(samples or ())
            if samples and incomplete:
                panel = _whole_panel(session, people, (len(samples), size), each)
                if panel is None:
                    return None
                people = panel
            warm_up = st.text_input(
                "Warm-up sample, first in each sitting and not scored (empty: none)",
                key=f"warm-up-{here}",
                help="Its allergens are declared with those of the samples, before serving.",
            )
        with right:
            possible = possible_sittings(test, each, size)
            sittings = st.selectbox(
                "Sittings, with a break between them",
                possible,
                key=f"sittings-{each}-{size}-{here}",
                help="A set that is compared as a whole is not broken up: for more sittings let "
                "each assessor get it more often.",
            )
            if possible == (1,):
                twice = "for two sittings serve each twice"
                advice = "a set is tasted at once" if test.together else twice
                st.markdown(f"Only one is possible: {advice}.")
            minutes = _break(here) if sittings > 1 else 0
    more: dict[str, Any] = {"set_size": size} if incomplete else {}
    more |= {"sittings": sittings, "warm_up": warm_up.strip() or None}
    sets = sets if incomplete else 1
    return Arrangement(people=people, break_minutes=minutes, sets=sets, more=more)


def other_than_agreed(session: StoredSession, plan: ServingPlan) -> None:
    """Warn where a plan lays out more or fewer ballots than the question was agreed for."""
    laid_out, agreed = len(ballot_lines(plan)), session.question.assessors
    if find_kind(session.question.protocol).counts_people and len(plan.assessors) == agreed:
        return
    if laid_out != agreed and session.question.training is None:
        st.warning(
            f"This plan is for {several(laid_out, 'ballot')}; the question was agreed for "
            f"{agreed}. The risks agreed hold for that number: change the assessors or how "
            "often each is served, or agree another question in a new session."
        )


def _blocks(session: StoredSession, samples: Sequence[str] | None) -> tuple[int, int]:
    test, whole = find_kind(session.question.protocol), len(samples or ())
    if test.answer not in ("scores", "place") or not 3 <= whole <= MOST_SAMPLES:
        return whole, 1
    size = st.selectbox(
        "Samples in one set, for one assessor",
        range(min(whole, MOST_SAMPLES - 1), 1, -1),
        format_func=lambda size: f"all {size}" if size == whole else f"{size} of {whole}",
        key=f"size-{whole}-{session.id}",
        help="Fewer than all: balanced incomplete blocks, where there are too many samples.",
    )
    if size == whole or test.together:
        return size, 1
    return size, int(st.number_input("Sets for each assessor", 1, 12, 1, key=f"sets-{session.id}"))


def _whole_panel(
    session: StoredSession, people: People, blocks: tuple[int, int], each: int
) -> People | None:
    """Assessors that are a whole design: chosen, or counted where names are given."""
    known = people if isinstance(people, int) else len(people)
    if known > MOST_ASSESSORS:
        return people  # refused by the plan
    panels = incomplete_blocks(*blocks).whole_panels(each, known)
    above = next(panel for panel in panels if panel >= known)
    if isinstance(people, int):
        label = f"Assessors: these are whole designs ({known} are typed above)"
        key = f"panel-{'-'.join(map(str, (*blocks, each, known)))}-{session.id}"
        return choose(label, panels, above, key)
    if above == known:
        return people
    near = [*[panel for panel in panels if panel < known][-1:], above]
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
    label = "Minutes, counted from an assessor's own last ballot"
    return int(st.number_input(label, 1, MOST_MINUTES, 15, key=f"minutes-{here}"))
