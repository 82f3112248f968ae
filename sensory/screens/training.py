"""Training: how far the panel is, by which rule, and the next session."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial

import streamlit as st

from ..base.errors import RecordError, SensoryError
from ..base.results import several
from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..catalogue.training import Target, targets_of_standards
from ..panel.training import TrainingProgress, training_progress
from ..panel.training_desk import (
    keep_training_rule,
    open_training,
    qualify_trained,
    the_training_rule,
    trainings_of,
)
from ..panel.training_rule import Criterion, TrainingRule
from ..report.training_figures import curve_words, learning_curve
from ..sessions.trained import TrainingSitting
from .frame import acting, day, desk, go, plain, shown_errors
from .parts import act, choose, listed, show_figure, show_table, way
from .typed import NUMBER, SPAN, number_of


def training_part() -> None:
    """On the page Panel: the way to training."""
    st.subheader("Training")
    if desk().nouns(Vocabulary, most=1):
        way("Train the panel", "to-training", "training", primary=False)
    else:
        st.markdown("Define words on the page Products first: training is on words of a product.")


def page() -> None:
    """Choose a product; its progress, then the next session."""
    st.title("Training")
    with shown_errors():
        known = {words.product: words for words in desk().nouns(Vocabulary)}
        if not known:
            st.info("No words are defined yet.")
            way("Define words", "training-words", "words")
            return
        words = known[choose("Product", list(known), None, "training-product")]
        held = [each for each in trainings_of(desk(), words.product) if each.assessors]
        _progress(words, held)
        with st.expander("New training session", expanded=not held):
            _new(words)
        if held:
            with st.expander(f"{several(len(held), 'session')} so far"):
                _sessions(held)
        with st.expander("The rule"):
            _rule()


def _progress(words: Vocabulary, held: Sequence[TrainingSitting]) -> None:
    if not held:
        st.markdown("No training session is closed yet.")
        return
    there = {key_of(s.attribute): s.attribute for each in held for s in each.samples}
    chosen = st.multiselect(
        "Attributes", list(there.values()), list(there.values()), key=f"trained-{words.product}"
    )
    if not chosen:
        st.markdown("Choose an attribute.")
        return
    rule = the_training_rule(desk())
    progress = training_progress(held, attributes=chosen, rule=rule)
    head, *rest = progress.says()
    st.markdown(f"**{plain(head)}**")
    listed(rest)
    _curve(progress)
    st.markdown(rule.words)
    with st.expander("All numbers, in points of the scale"):
        show_table(progress.summary())
    st.subheader("Limits of this result")
    listed(progress.cannot_tell)
    _qualify(words, progress)


def _curve(progress: TrainingProgress) -> None:
    chosen = st.radio("Learning curve", list(Criterion), horizontal=True, key="training-curve",
                      index=1, format_func=lambda each: str(each).capitalize())  # fmt: skip
    criterion = Criterion(chosen or Criterion.ACCURACY)
    drawn = 0
    for at, attribute in enumerate(progress.attributes):
        with suppress(SensoryError):  # no target of it, or no replicates
            figure = learning_curve(progress, criterion, attribute)
            show_figure(f"curve-{at}", figure, curve_words(progress, criterion))
            drawn += 1
    if not drawn:
        st.markdown(f"No session has a number of {criterion} yet.")
        return
    st.markdown("A line an assessor, session by session. Dashed rule: the agreed range.")


def _qualify(words: Vocabulary, progress: TrainingProgress) -> None:
    """The register takes who is trained, with today's date."""
    if not progress.trained:
        return
    until = st.text_input("Qualified until (empty: until taken back)", key="training-until",
                          placeholder="2027-06-30")  # fmt: skip
    qualify = partial(
        qualify_trained, desk(), progress, words.product, until=until.strip(), who=acting()
    )
    many = several(len(progress.trained), "assessor")
    act(f"Qualify {many}", "training-qualify", qualify)


def _new(words: Vocabulary) -> None:
    """Attributes, samples and targets of the next session; targets are offered from standards."""
    names = [each.attribute for each in words.attributes]
    attributes = st.multiselect("Attributes to train", names, names, key=f"train-{words.words}")
    asked = words.asked(tuple(attributes))
    standards = [standard.name for each in asked for standard in each.standards]
    key = f"{words.words}-{'-'.join(attributes)}"
    typed = st.text_area(
        "Samples, one a line: reference standards, and any others",
        "\n".join(dict.fromkeys(standards)), key=f"train-samples-{key}",
    )  # fmt: skip
    samples = [name for line in typed.splitlines() if (name := " ".join(line.split()))]
    usual = targets_of_standards(words, attributes, samples)
    lines = st.text_area(
        "Targets, one a line: sample; attribute; intensity; accepted range. Without a target the "
        "range of the others is shown.",
        "\n".join(map(_as_typed, usual)), key=f"train-targets-{key}-{typed}",
    )  # fmt: skip
    left, right = st.columns(2)
    people = int(left.number_input("Assessors", 1, 200, 8, key="train-people"))
    times = int(right.number_input("How often each sample", 1, 10, 2, key="train-times"))
    st.markdown(
        "Serve each twice or more: repeatability needs replicates. Booths say 'training', and "
        "nothing of it counts as a result."
    )
    latest = desk().sessions(1)

    def start() -> None:
        session = open_training(
            desk(),
            words,
            attributes=attributes,
            samples=samples,
            targets=targets_typed(lines),
            ballots=people * times * len(samples),
            leader=latest[0].details.leader if latest else "",
            who=acting(),
        )
        go("question", session.id)

    act("Open training session", "train-open", start, ready=attributes and samples, primary=True)


def _as_typed(target: Target) -> str:
    span = f"{target.low:g} to {target.high:g}"
    return "; ".join((target.sample, target.attribute, f"{target.intensity:g}", span))


def targets_typed(text: str) -> tuple[Target, ...]:
    """The targets that were typed, one a line.

    Raises RecordError for a line that is none.

    >>> targets_typed("sour base; sour; 5; 4,5 to 5.5")[0].low
    4.5
    """
    targets = []
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        parts = [part.strip() for part in line.split(";")]
        span = SPAN.fullmatch(parts[3]) if len(parts) == 4 else None
        if span is None or not re.fullmatch(NUMBER, parts[2]):
            raise RecordError(
                f"Targets, line {row}: write sample; attribute; intensity; accepted range, as in "
                f"'sour base; sour; 5; 4.5 to 5.5'. Got {line.strip()!r}."
            )
        size, low, high = map(number_of, (parts[2], *span.groups()))
        targets.append(
            Target(sample=parts[0], attribute=parts[1], intensity=size, low=low, high=high)
        )
    return tuple(targets)


def _sessions(held: Sequence[TrainingSitting]) -> None:
    for each in reversed(held):
        row = st.container(horizontal=True, vertical_alignment="center")
        row.markdown(f"{day(each.held_on)}: {plain(each.title)}", width="stretch")
        way("Marks", f"training-{each.session}", "finding", each.session, primary=False, place=row)


def _rule() -> None:
    now = the_training_rule(desk())
    st.markdown(
        "Conventions of the plant; the usual numbers are common practice, without a source. "
        "Qualifications that were given stand."
    )
    columns = st.columns(5)
    shares = {
        str(each): columns[at].number_input(
            f"{str(each).capitalize()}, share of the scale", 0.01, 0.5, getattr(now, each), 0.01,
            key=f"rule-{each}",
        )
        for at, each in enumerate(Criterion)
    }  # fmt: skip
    level = columns[3].number_input("Confidence", 0.5, 0.99, now.level, 0.05, key="rule-level")
    many = columns[4].number_input("Latest sessions", 1, 20, now.sessions, key="rule-sessions")
    new: TrainingRule = replace(now, level=level, sessions=int(many), **shares)
    act("Save the rule", "training-rule", partial(keep_training_rule, desk(), new, who=acting()))
