"""Who is trained: errors, limits and states by a second road; limits and the rule by simulation.

`python -m tests.panel.test_training` simulates the table of `sensory.panel.training`.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.models.typical_size import upper_rms
from sensory.panel.assessors import Role
from sensory.panel.register import enter_assessor, the_register
from sensory.panel.training import training_progress
from sensory.panel.training_desk import keep_training_rule, qualify_trained, the_training_rule
from sensory.panel.training_rule import Criterion, State, TrainingRule
from sensory.sessions.trained import TrainedSample, TrainingSitting
from sensory.store.repository import open_store

from ..sessions.shared import BY

TARGETS = {"weak": 2.0, "middle": 5.0, "strong": 8.0}
LEARNS, SPREADS, GOOD = "Ada", "Bo", ("Cy", "Dan", "Eva")
PEOPLE = (LEARNS, SPREADS, *GOOD)


def marks_of(name, target, session, rng):
    """Two marks: Ada begins 3 too high and learns, Bo scatters by 2, the others by 0.3."""
    off = max(0.0, 3.0 - session) if name == LEARNS else 0.0
    return tuple(np.clip(target + off + rng.normal(0, 2.0 if name == SPREADS else 0.3, 2), 0, 10))


def training(session, rng, *, targets=TARGETS, attributes=("sour",)):
    samples = tuple(
        TrainedSample(
            sample=sample,
            attribute=attribute,
            scores=tuple(marks_of(name, TARGETS[sample], session, rng) for name in PEOPLE),
            target=targets.get(sample),
            low=None if sample not in targets else targets[sample] - 0.5,
            high=None if sample not in targets else targets[sample] + 0.5,
        )
        for attribute in attributes
        for sample in TARGETS
    )
    return TrainingSitting(
        session=f"s{session}", held_on=f"2026-10-{session + 1:02}", product="sloe cordial",
        scale=(0.0, 10.0), assessors=PEOPLE, samples=samples,
    )  # fmt: skip


@pytest.fixture(scope="module")
def held():
    rng = np.random.default_rng(11)
    return [training(session, rng) for session in range(6)]


@pytest.fixture(scope="module")
def progress(held):
    return training_progress(held)


def test_who_learns_is_trained_in_the_end_and_who_scatters_is_not(held, progress):
    assert not training_progress(held[:3]).open_of("Cy")
    assert Criterion.ACCURACY in training_progress(held[:3]).open_of(LEARNS)["sour"]
    assert progress.trained == (LEARNS, *GOOD)
    assert not progress.stop
    assert set(progress.open_of(SPREADS)["sour"]) >= {Criterion.REPEATABILITY}
    first, *rest = progress.says()
    assert first == "Go on: 4 of 5 assessors trained for sour."
    assert any(line.startswith("Bo: not yet on sour (repeatability ") for line in rest)
    without = [drop(each, SPREADS) for each in held]
    assert training_progress(without).stop
    assert training_progress(without).says()[0].startswith("The training can stop")


def drop(each, name):
    """The session without somebody."""
    at = each.assessors.index(name)
    return TrainingSitting(
        session=each.session, held_on=each.held_on, product=each.product, scale=each.scale,
        assessors=each.assessors[:at] + each.assessors[at + 1 :],
        samples=tuple(
            TrainedSample(sample=s.sample, attribute=s.attribute, target=s.target, low=s.low,
                          high=s.high, scores=s.scores[:at] + s.scores[at + 1 :])
            for s in each.samples
        ),
    )  # fmt: skip


def test_every_number_by_group_sums_of_a_long_table(held, progress):
    """The second road: pandas over one long table of marks, and mpmath for chi-square."""
    rows = [
        (each.session, s.sample, name, mark, s.target)
        for each in held
        for s in each.samples
        for name, scores in zip(each.assessors, s.scores, strict=True)
        for mark in scores
    ]
    long = pd.DataFrame(rows, columns=["session", "sample", "who", "mark", "target"])
    cells = long.groupby(["session", "sample", "who"], as_index=False).agg(
        mean=("mark", "mean"), var=("mark", "var"), target=("target", "first")
    )
    whole = cells.groupby(["session", "sample"])["mean"].transform("sum")
    cells["others"] = (whole - cells["mean"]) / (len(PEOPLE) - 1)
    squares = {
        "error": (cells["mean"] - cells["target"]) ** 2,
        "distance": (cells["mean"] - cells["others"]) ** 2,
        "sd": cells["var"],
    }
    curve = progress.curve.set_index(["session", "assessor"])
    for name, values in squares.items():
        by_hand = np.sqrt(values.groupby([cells["session"], cells["who"]]).mean())
        np.testing.assert_allclose(curve[name].sort_index(), by_hand.sort_index(), rtol=1e-12)
    last = cells["session"].isin(["s3", "s4", "s5"])
    states = progress.states.set_index(["criterion", "assessor"])
    names = dict(zip(Criterion, ("sd", "error", "distance"), strict=True))
    for criterion, name in names.items():
        pooled = np.sqrt(squares[name][last].groupby(cells["who"]).mean())
        for who in PEOPLE:
            row = states.loc[(criterion, who)]
            assert row["df"] == 9
            assert row["estimate"] == pytest.approx(pooled[who], rel=1e-12)
            assert row["high"] == pytest.approx(pooled[who] * float(factor(9, 0.9)), rel=1e-9)


def factor(df, level):
    """Root of df over the chi-square quantile with the other share below it, by mpmath."""
    lower = mpmath.mpf(1) - mpmath.mpf(str(level))

    def excess(x):
        return mpmath.gammainc(df / mpmath.mpf(2), 0, x / 2, regularized=True) - lower

    return mpmath.sqrt(df / mpmath.findroot(excess, df / 2))


@pytest.mark.parametrize("bias", [0.0, 1.0, 3.0])
def test_the_limit_covers_and_is_on_the_safe_side_with_a_bias(bias):
    """20,000 samples of nine deviations; 90 % limit, three standard errors are 0.6 %."""
    rng = np.random.default_rng(3)
    squares = (rng.normal(bias, 1.0, (20_000, 9)) ** 2).mean(1)
    high = upper_rms(np.sqrt(squares), np.full(20_000, 9.0), 0.9)
    covered = float((high >= np.sqrt(1 + bias**2)).mean())
    assert covered > 0.9 - 0.0064
    assert bias or covered < 0.9 + 0.0064


def test_without_targets_accuracy_stays_open_and_nobody_is_trained():
    rng = np.random.default_rng(4)
    progress = training_progress([training(s, rng, targets={}) for s in (5, 6, 7)])
    assert progress.trained == ()
    assert progress.open_of("Cy") == {"sour": (Criterion.ACCURACY,)}
    assert "for want of marks or targets: sour (accuracy)" in " ".join(progress.says())


def test_two_good_sessions_are_not_three():
    rng = np.random.default_rng(5)
    progress = training_progress([training(s, rng) for s in (5, 6)])
    assert progress.trained == ()
    assert set(progress.states.query("assessor == 'Cy'")["state"]) == {State.OPEN}


def test_another_scale_is_left_out_and_told(held):
    other = TrainingSitting(
        session="old", held_on="2026-01-01", product="sloe cordial", scale=(0.0, 100.0),
        assessors=held[0].assessors, samples=held[0].samples,
    )  # fmt: skip
    progress = training_progress([other, *held])
    assert progress.sessions == 6
    assert progress.cannot_tell[-1] == "Left out, on another scale: 1 earlier session."


def test_what_cannot_be_is_refused(held):
    with pytest.raises(ArgumentError, match="no training session with marks"):
        training_progress([held[0].emptied()])
    with pytest.raises(ArgumentError, match="holds marks on salty"):
        training_progress(held, attributes=["salty"])
    with pytest.raises(ArgumentError):
        TrainingRule(accuracy=1.2)


def test_pictures_and_table_are_those_of_every_result(progress):
    assert progress.pictures == ("accuracy", "repeatability", "agreement")
    assert "vconcat" in progress.plot().spec
    assert len(progress.table()) == 6 * len(PEOPLE)
    assert repr(progress) == "<TrainingProgress: 6 sessions, 4 of 5 assessors trained>"
    assert len(progress.summary().rows) == len(PEOPLE)


def test_the_register_takes_who_is_trained_with_the_day(progress, tmp_path):
    store = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    with pytest.raises(RecordError, match="Nobody who is trained is in the register"):
        qualify_trained(store, progress, "sloe cordial", who=BY)
    for name in (LEARNS, SPREADS):
        enter_assessor(store, name, panel="day shift", role=Role.TRAINING, who=BY)
    assert len(qualify_trained(store, progress, "sloe cordial", who=BY)) == 1
    ada, bo = the_register(store)
    assert (ada.qualified[0].product, ada.qualified[0].attributes) == ("sloe cordial", ("sour",))
    assert ada.qualified_for("sloe cordial", ada.qualified[0].since)
    assert bo.qualified == ()
    assert qualify_trained(store, progress, "sloe cordial", who=BY) == []  # it stands already
    assert the_training_rule(store) == TrainingRule()
    stricter = keep_training_rule(store, TrainingRule(accuracy=0.05), who=BY)
    assert the_training_rule(store) == stricter
    assert store.verify() == []
    store.close()


def called_trained(rng, sd, bias, *, sessions=10, rule=None):
    """After which session somebody is called trained; 99 for never."""
    rule = rule or TrainingRule()
    targets = np.array(list(TARGETS.values()))
    sums = []
    for session in range(1, sessions + 1):
        own = targets + bias + rng.normal(0, sd, (2, 3))
        mean, others = own.mean(0), targets + rng.normal(0, 0.5, (4, 2, 3)).mean((0, 1))
        gaps = (own - mean, mean - targets, mean - others)
        sums.append([float((gap**2).sum()) for gap in gaps])
        if session >= rule.sessions:
            df = np.array([3.0, 3.0, 3.0]) * rule.sessions
            estimates = np.sqrt(np.sum(sums[-rule.sessions :], axis=0) / df)
            if (upper_rms(estimates, df, rule.level) <= 1.0).all():
                return session
    return 99


def shares(sd, bias, times, seed=7):
    rng = np.random.default_rng(seed)
    after = np.array([called_trained(rng, sd, bias) for _ in range(times)])
    return [float((after <= session).mean()) for session in (3, 6, 10)]


def test_the_rule_is_as_good_as_its_table_says():
    """150 and 100 runs of two rows of the table; three standard errors of 25 % are 11 %."""
    at_limit = shares(1.0, 0.0, 150)
    assert at_limit == pytest.approx([0.05, 0.13, 0.25], abs=0.11)
    assert shares(0.5, 0.0, 100)[0] == pytest.approx(0.95, abs=0.07)


if __name__ == "__main__":
    for sd, bias in ((0.3, 0.977), (1, 0), (1.3, 0), (2 / 3, 0), (0.5, 0.5), (0.5, 0)):
        print(sd, bias, shares(sd, bias, 2000))
