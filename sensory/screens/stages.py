"""Plans that stop early: their decision tables, and what the counts so far say."""

from __future__ import annotations

import streamlit as st

from ..base.findings import Finding
from ..base.results import Table
from ..catalogue.question import Question
from ..catalogue.tests import protocol_of
from ..choices.plans import PanelPlan
from ..choices.sequential import SequentialPlan, sequential_plan
from ..report.words import percent
from .frame import shown_errors
from .parts import scroll


def two_stage(plan: PanelPlan) -> None:
    """The plan in two tastings, if there is one."""
    if (stages := plan.two_stage) is None:
        return
    with st.expander("In two tastings: decision table"), shown_errors():
        _wall(stages.summary(), ("after", "correct", "then"))
        st.markdown(
            f"Exact risks of the plan as a whole: false alarm {percent(stages.false_alarm, 1)}, "
            f"wrong pass {percent(stages.wrong_pass, 1)}, wrong rejection "
            f"{percent(stages.wrong_rejection, 1)} (beyond the limit, for a batch at it); "
            f"{stages.expected:.0f} answers on average. Tasting again without such a plan raises "
            "the risk of a wrong pass."
        )
        left, right = st.columns(2)
        label = f"Correct in the first {stages.first}"
        correct = left.number_input(label, 0, stages.first, None, key="plan-first")
        label = f"Correct in the {stages.second} more"
        more = right.number_input(label, 0, stages.second, None, key="plan-second")
        if correct is not None:
            finding = stages.decide(int(correct))
            if finding is None and more is not None:
                finding = stages.decide(int(correct), int(more))
            _say(finding, f"Serve the {stages.second} more.")


def ballot_by_ballot(question: Question) -> None:
    """The sequential plan for this question."""
    with st.expander("Ballot by ballot: stop as early as the answers allow"), shown_errors():
        most = int(st.number_input("Maximum number of ballots", 5, 500, 60, key="plan-most"))
        alpha, beta, limit = question.alpha, question.beta, question.limit
        protocol = protocol_of(question.protocol)
        plan = sequential_plan(protocol, most=most, alpha=alpha, beta=beta, pd_limit=limit)
        unchanged, at_limit = plan.outcomes(0.0), plan.outcomes(limit)
        st.markdown(
            f"Exact risks, the cap included: false alarm {percent(plan.false_alarm, 1)}, wrong "
            f"pass {percent(plan.wrong_pass, 1)}. On average {unchanged.expected:.0f} ballots if "
            f"nothing changed, {at_limit.expected:.0f} if the limit is reached; undecided at the "
            f"cap with a chance of {percent(unchanged.undecided, 1)} and "
            f"{percent(at_limit.undecided, 1)}."
        )
        label = "Answers so far in their order: 1 for correct, 0 for wrong"
        _so_far(st.text_input(label, key="plan-answers"), plan)
        _wall(plan.summary(), ("ballots", "SIMILAR up to", "DIFFERENT from"))


def _so_far(answers: str, plan: SequentialPlan) -> None:
    letters = [letter for letter in answers if not letter.isspace() and letter not in ",;"]
    if not letters:
        return
    if strange := [letter for letter in letters if letter not in "01"]:
        st.error(f"Write 1 for correct and 0 for wrong; {strange[0]!r} is neither.")
        return
    finding, ballots = plan.decide([letter == "1" for letter in letters])
    if finding is not None:
        st.markdown(f"Stopped after ballot {ballots}.")
    _say(finding, f"{ballots} ballots in: serve the next one.")


def _say(finding: Finding | None, go_on: str) -> None:
    heading = finding.heading.lower() if finding else ""
    stop = f"Stop: **{heading}** by this plan, if it was agreed before tasting."
    st.info(stop if finding else go_on)


def _wall(table: Table, names: tuple[str, ...]) -> None:
    scroll(Table(columns=names, rows=table.rows), min(36 * len(table.rows) + 38, 320))
