"""Plans that stop early: counts to pin to the wall, and what the counts so far say."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..base.findings import Finding
from ..base.results import Table
from ..catalogue.question import Question
from ..catalogue.tests import protocol_of
from ..choices.plans import PanelPlan
from ..choices.sequential import sequential_plan
from ..choices.two_stage import TwoStagePlan
from ..report.words import percent
from .frame import shown_errors

_RIGHT, _WRONG = {"1"}, {"0"}


def two_stage(plan: PanelPlan) -> None:
    """The plan in two tastings, if there is one."""
    if plan.two_stage is None:
        return
    stages = plan.two_stage
    with st.expander("In two tastings: counts to pin to the wall"), shown_errors():
        _wall(stages.table(), ("after", "correct", "then"))
        st.markdown(
            f"Exact risks of the plan as a whole: false alarm {percent(stages.false_alarm, 1)}, "
            f"wrong pass {percent(stages.wrong_pass, 1)}; {stages.expected:.0f} answers on "
            "average. Tasting again without such a plan raises the risk of a wrong pass."
        )
        _decide_two(stages)


def _decide_two(stages: TwoStagePlan) -> None:
    first, second = st.columns(2)
    one = first.number_input(
        f"Correct in the first {stages.first}", 0, stages.first, None, key="plan-first"
    )
    two = second.number_input(
        f"Correct in the {stages.second} more", 0, stages.second, None, key="plan-second"
    )
    if one is None:
        return
    finding = stages.decide(int(one))
    if finding is None and two is not None:
        finding = stages.decide(int(one), int(two))
    _say(finding, f"Serve the {stages.second} more.")


def ballot_by_ballot(question: Question) -> None:
    """The sequential plan for this question."""
    with st.expander("Ballot by ballot: stop as early as the answers allow"), shown_errors():
        most = st.number_input("Stop undecided after", 5, 500, 60, key="plan-most")
        protocol = protocol_of(question.protocol)
        plan = sequential_plan(
            protocol,
            most=int(most),
            alpha=question.alpha,
            beta=question.beta,
            pd_limit=question.pd_limit,
        )
        unchanged, at_limit = plan.outcomes(0.0), plan.outcomes(question.pd_limit)
        st.markdown(
            f"Exact risks, the cap included: false alarm {percent(plan.false_alarm, 1)}, wrong "
            f"pass {percent(plan.wrong_pass, 1)}. On average {unchanged.expected:.0f} ballots if "
            f"nothing changed, {at_limit.expected:.0f} if the limit is reached; undecided at the "
            f"cap with a chance of {percent(unchanged.undecided, 1)} and "
            f"{percent(at_limit.undecided, 1)}."
        )
        answers = st.text_input(
            "Answers so far in their order: 1 for correct, 0 for wrong", key="plan-answers"
        )
        _so_far(answers, plan.decide)
        _wall(plan.table(), ("ballots", "SIMILAR up to", "DIFFERENT from"))


def _so_far(answers: str, decide: Any) -> None:
    letters = [letter for letter in answers if not letter.isspace() and letter not in ",;"]
    if not letters:
        return
    if strange := [letter for letter in letters if letter not in _RIGHT | _WRONG]:
        st.error(f"Write 1 for correct and 0 for wrong; {strange[0]!r} is neither.")
        return
    finding, ballots = decide([letter in _RIGHT for letter in letters])
    if finding is not None:
        st.markdown(f"Stopped after ballot {ballots}.")
    _say(finding, f"{ballots} ballots in: serve the next one.")


def _say(finding: Finding | None, go_on: str) -> None:
    if finding is None:
        st.info(go_on)
    else:
        st.info(
            f"Stop: **{finding.heading.lower()}** by this plan, if it was agreed before tasting."
        )


def _wall(table: Table, names: tuple[str, ...]) -> None:
    rows = [
        {name: "" if cell is None else str(cell) for name, cell in zip(names, row, strict=True)}
        for row in table.rows
    ]
    st.dataframe(rows, hide_index=True, width="stretch", height=min(36 * len(rows) + 38, 320))
