"""What to test, and with how many? From a question in words to a plan with its number."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, protocol_of
from ..choices.advice import QUESTIONS, Advice, Situation, advise
from ..choices.plans import PanelPlan, panel_plan
from ..report.figures import characteristic_figure
from ..report.words import number, percent
from .ask import asked
from .frame import go, shown_errors
from .limits import IN_DPRIME, IN_PD, limit_help, typed_limit
from .lots_form import lots_part
from .margins_plan import margins_plan
from .new import PLANNED, Planned
from .parts import choose, pressed, show_figure, show_table
from .stages import ballot_by_ballot, two_stage
from .study import kept_studies


def page() -> None:
    """Ask how many can come and what is wanted; answer in a sentence with its button."""
    st.title("Plan")
    left, right = st.columns([2, 3], gap="large")
    with left:
        situation = _situation()
        st.markdown("A threshold, several lots of a recipe, or graders at the line?")
        if pressed("Studies", "to-studies"):
            go("studies")
        kept_studies("plan-study", most=3)
    with right, shown_errors():
        _answered(situation)


def _answered(situation: Situation) -> None:
    """The test, the limit, and whether the people at hand are enough; figures folded."""
    advice = advise(situation)
    chosen = _method(advice)
    if not chosen.protocol:
        _other_method(chosen, situation.people)
        return
    question = _question(chosen, situation.people)
    if question is None:
        return
    possible = [other for other in advice if other.possible and other.protocol]
    plan = panel_plan(
        protocol_of(question.protocol),
        situation.people,
        two_sided=question.two_sided,
        instead=[protocol_of(other.protocol) for other in possible],
        **_risks(question),
    )
    _verdict(plan, question, chosen.condition)
    _in_words(plan, question, situation, chosen.condition)
    _curves(plan)
    lots_part(plan.protocol, situation.people, question.limit)
    if not question.two_sided:  # plans that stop early have one direction
        two_stage(plan)
        ballot_by_ballot(question)


def _risks(question: Question) -> dict[str, float]:
    return {"alpha": question.alpha, "beta": question.beta, "pd_limit": question.limit}


def _situation() -> Situation:
    people = st.number_input("How many people can you get?", 1, 2000, 24, key="plan-people")
    kinds = list(QUESTIONS)
    label = "What do you want to know?"
    wanted = st.radio(label, kinds, format_func=QUESTIONS.__getitem__, key="plan-question")
    st.markdown("What is the product like?")
    known = "assessors know the reference well"
    alike, mask, seen = "no", "yes, and it can be masked", "yes, and it cannot be masked"
    looks = st.radio("Do the samples look different?", [alike, mask, seen], key="plan-looks")
    trained = st.radio(
        "Is the panel trained?",
        ["no", "yes"],
        key="plan-trained",
        horizontal=True,
        help="On the scale, or on the attributes of the product. Staff off the line are not.",
    )
    return Situation(
        question=wanted,
        people=int(people),
        carry_over=st.checkbox("strong or lingering flavour", key="plan-carry"),
        homogeneous=not st.checkbox("portions of one batch differ", key="plan-portions"),
        looks_alike=looks == alike,
        maskable=looks == mask,
        trained=trained == "yes",
        reference_known=st.checkbox(known, value=True, key="plan-known"),
        scarce=st.checkbox("there is little of the sample", key="plan-scarce"),
    )


def _method(advice: tuple[Advice, ...]) -> Advice:
    possible = {option.method: option for option in advice if option.possible}
    best = next(iter(possible.values()))
    st.subheader(f"Recommended: {best.method}{_condition(best)}")
    with st.expander("Why this test, and the others"):
        st.markdown(f"{best.tasted} samples a test, {best.standard}.")
        for sign, lines in (("for", best.reasons), ("against", best.against)):
            if lines:
                st.markdown(f"**{sign}:** " + " ".join(lines))
        show_table(
            [
                {
                    "method": option.method,
                    "possible": "yes" if option.possible else "no",
                    "for": " ".join(option.reasons),
                    "against": " ".join(option.against),
                }
                for option in advice[1:]
            ]
        )
    key = "plan-method-" + "-".join(possible)
    return possible[choose("Test", list(possible), best.method, key)]


def _condition(advice: Advice) -> str:
    return f", {advice.condition}" if advice.condition else ""


def _other_method(chosen: Advice, people: int) -> None:
    """What can be said of a method that is no forced choice; the session can be opened."""
    kind = find_kind(chosen.method)
    question = Question(protocol=kind.key, assessors=people)
    if kind.has_setting("margins"):
        with shown_errors():
            question = replace(question, settings=margins_plan(kind, people))
    elif lines := kind.planning(question := _assumed(kind, question)):
        st.markdown("\n".join(f"- {line}" for line in lines))
    else:
        st.info(
            f"{chosen.method}: this page counts assessors for forced choices, rankings and "
            "profiles only. What such a session can find depends on the panel's own scatter."
        )
    if pressed("Open such a session", "plan-method-open", primary=True):
        _new_session(question, chosen.condition)


def _assumed(kind: TestKind, question: Question) -> Question:
    """The question with what planning has to suppose, and its risks where something is supposed."""
    supposed = [setting for setting in kind.settings if setting.assumed]
    if not supposed:
        return question
    settings = {
        each.key: st.number_input(
            each.label, each.low, each.high, float(each.default or 0.0), 0.01,
            key=f"plan-{each.key}",
        )
        for each in supposed
    }  # fmt: skip
    first, second = st.columns(2)
    levels = (0.001, 0.5, 0.05, 0.01, "%.3f")
    alpha = first.number_input("alpha", *levels, key="plan-alpha", help=asked("alpha"))
    beta = second.number_input("beta", *levels, key="plan-beta", help=asked("beta"))
    return replace(question, settings=settings, alpha=alpha, beta=beta)


def _question(chosen: Advice, people: int) -> Question | None:
    """The risks and the limit; None as long as no limit is given."""
    key = f"plan-unit-{chosen.method}"
    label = "The difference that would be too much, as"
    unit = st.radio(label, [IN_DPRIME, IN_PD], key=key, horizontal=True, help=asked("limit"))
    first, second = st.columns(2)
    levels = (0.001, 0.5, 0.05, 0.01, "%.3f")
    alpha = first.number_input("alpha", *levels, key="plan-alpha", help=asked("alpha"))
    beta = second.number_input("beta", *levels, key="plan-beta", help=asked("beta"))
    # A d-prime stays when another test is chosen; a share belongs to its own test.
    key = f"plan-limit-{chosen.protocol}" if unit == IN_PD else "plan-limit"
    limit = typed_limit(chosen.protocol, None, unit == IN_PD, key)
    limit_help(chosen.protocol, limit)
    if limit is None:
        return None
    protocol = protocol_of(chosen.protocol)
    two_sided = protocol.reversible and _unknown_direction()
    st.markdown(
        "Of the risks, alpha is the one that counts for a difference, beta the one for "
        "similarity; here both are kept."
    )
    return Question(
        protocol=chosen.protocol,
        assessors=people,
        alpha=alpha,
        beta=beta,
        pd_limit=limit,
        two_sided=two_sided,
    )


def _unknown_direction() -> bool:
    """Whether nobody expects one of the two samples to have more of the attribute."""
    label = "Is it known beforehand which sample has more of the attribute?"
    answers = ["no: two-sided", "yes: one-sided"]
    return st.radio(label, answers, key="plan-direction", horizontal=True) == answers[0]


def _verdict(plan: PanelPlan, question: Question, condition: str) -> None:
    """One sentence, its button, and what would change it."""
    st.subheader(plan.heading(), help=asked("fair-pass"))
    row = st.container(horizontal=True)
    for place, size in enumerate(plan.choices):
        label, key = f"Open session with {size}", f"plan-open-{size}"
        if pressed(label, key, primary=not place, place=row):
            _new_session(replace(question, assessors=size), condition)
    st.markdown(plan.verdict())
    if changes := plan.changes():
        st.markdown("What would change that:\n" + "\n".join(f"- {line}" for line in changes))


def _curves(plan: PanelPlan) -> None:
    with st.expander(f"What a session of {plan.risks.trials} would say: curves and tables"):
        show_figure("characteristic-figure", characteristic_figure(plan), plan.verdict())
        counted = "answers for one sample" if plan.risks.two_sided else "correct answers"
        st.markdown(f"**Decision table:** what each number of {counted} shows, and how likely.")
        show_table(
            [
                {
                    "finding": str(finding),
                    counted: str(counts),
                    "nothing changed": percent(float(unchanged or 0.0), 1),
                    "at the limit": percent(float(at_limit or 0.0), 1),
                }
                for finding, counts, unchanged, at_limit in plan.risks.by_finding().rows
            ]
        )
        sizes = plan.sizes().rows
        show_table([{"wish": str(wish), "assessors": str(size)} for wish, size in sizes])
        st.markdown("**The curves as numbers**")
        show_table(
            [
                {"truly notice": percent(plan.truths[at])}
                | {
                    finding.heading: percent(chances[at], 1)
                    for finding, chances in plan.curves.items()
                }
                for at in range(0, len(plan.truths), 10)
            ]
        )


def _in_words(plan: PanelPlan, question: Question, situation: Situation, condition: str) -> None:
    with st.expander("The plan in words"):
        st.markdown(
            f"{QUESTIONS[situation.question]} A {plan.protocol.name} test "
            f"({plan.protocol.standard}) with {question.assessors} assessors, one answer each, "
            f"all orders equally often. alpha {number(question.alpha)}, beta "
            f"{number(question.beta)}, limit {percent(question.limit)} of assessors who notice"
            f"{', direction not known beforehand (two-sided)' * question.two_sided}"
            f"{f'; {condition}' * bool(condition)}."
        )


def _new_session(question: Question, conditions: str) -> None:
    """On to what is tasted against what; test, number, risks and limit stay as planned."""
    st.session_state[PLANNED] = Planned(question=question, conditions=conditions)
    go("new")
