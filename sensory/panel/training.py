"""Training: who still spreads, how errors shrink from session to session, and who is trained.

Why so
------
Somebody is trained for an attribute when three things are shown and not only seen: repeatability,
accuracy and agreement lie within the agreed ranges with their upper limits, so that few samples
leave it open instead of passing. All three are root mean squares in points of the scale, so that
marks too high on one sample do not make up for marks too low on another, as they would in a mean.
Each is about the samples that were served. Of each assessor the latest sessions count together,
three by the usual rule: one good day is none. Without a target accuracy stays open.

The limits hold for one look; training is looked at after every session. Simulated (2,000 times,
one attribute, normal marks, three samples served twice, the usual rule; sizes in shares of the
limit), the long form stands in `tests/panel/test_training.py`:

=====================================================  ==========================
in truth                                               called trained by session
                                                       3, 6, 10
=====================================================  ==========================
marks off by the limit on every sample, scatter 0.3    0 %, 0 %, 0 %
scatter of a mark at the limit                         5 %, 13 %, 25 %
scatter 1.3                                            0 %, 1 %, 2 %
scatter 2/3                                            56 %, 88 %, 98 %
scatter 0.5, off by 0.5                                64 %, 93 %, 99 %
scatter 0.5                                            95 %, 100 %, 100 %
=====================================================  ==========================
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import nan

import numpy as np
import pandas as pd

from ..base.arrays import Row
from ..base.errors import ArgumentError
from ..base.results import Table, several
from ..base.shown import Told
from ..base.spelling import key_of, same_person
from ..models.typical_size import upper_rms
from ..sessions.trained import TrainingSitting
from .training_rule import Criterion, State, TrainingRule
from .training_spread import others_means, own_means

_CURVE = ("session", "held_on", "assessor", "attribute", "error", "targets", "sd", "sd_df",
          "distance", "samples")  # fmt: skip
_STATES = ("assessor", "attribute", "criterion", "estimate", "df", "high", "level", "limit",
           "sessions", "state")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class TrainingProgress(Told):
    """Result of `training_progress`.

    Attributes
    ----------
    rule : TrainingRule
    attributes : tuple of str
    scale : tuple of float
        Lowest and highest score.
    curve : DataFrame
        A row an assessor, attribute and session, in points: ``error`` from the targets on so many
        ``targets``, ``sd`` of own replicates with ``sd_df``, ``distance`` from the others on so
        many ``samples``. NaN where there is none.
    states : DataFrame
        A row an assessor, attribute and criterion over the latest sessions: ``estimate df high
        limit state``.
    """

    rule: TrainingRule
    attributes: tuple[str, ...]
    scale: tuple[float, float]
    other_scale: int
    _curve: pd.DataFrame
    _states: pd.DataFrame

    @property
    def curve(self) -> pd.DataFrame:
        """Session by session."""
        return self._curve.copy()

    @property
    def states(self) -> pd.DataFrame:
        """Criterion by criterion."""
        return self._states.copy()

    @property
    def assessors(self) -> tuple[str, ...]:
        """Everybody who was trained."""
        return tuple(map(str, self._states["assessor"].unique()))

    @property
    def sessions(self) -> int:
        """How many sessions it rests on."""
        return int(self._curve["session"].nunique())

    def open_of(self, assessor: str) -> dict[str, tuple[str, ...]]:
        """By attribute what is not shown yet of somebody; empty for who is trained."""
        mine = self._states[
            (self._states["assessor"] == assessor) & (self._states["state"] != State.WITHIN)
        ]
        return {
            str(attribute): tuple(map(str, part["criterion"]))
            for attribute, part in mine.groupby("attribute", sort=False)
        }

    @property
    def trained(self) -> tuple[str, ...]:
        """Those of whom everything is shown on every attribute."""
        return tuple(name for name in self.assessors if not self.open_of(name))

    @property
    def stop(self) -> bool:
        """Whether the training has reached its aim: everybody is trained."""
        return len(self.trained) == len(self.assessors)

    def says(self) -> tuple[str, ...]:
        """Who is trained, then who is not yet, and on what."""
        many, done = several(len(self.assessors), "assessor"), len(self.trained)
        named = ", ".join(self.attributes)
        if self.stop:
            head = f"The training can stop: trained for {named}: {', '.join(self.trained)}."
        else:
            head = f"Go on: {done} of {many} trained for {named}."
        lines = [head]
        if self.trained and not self.stop:
            lines.append(f"Trained: {', '.join(self.trained)}.")
        lines += [self._of(name) for name in self.assessors if name not in self.trained]
        return tuple(lines)

    def _of(self, name: str) -> str:
        mine = self._states[self._states["assessor"] == name]
        outside: dict[str, list[str]] = {}
        for row in _rows(mine):
            if row["state"] == State.OUTSIDE:
                outside.setdefault(str(row["attribute"]), []).append(_in_words(row))
        unknown = [row for row in _rows(mine) if row["state"] == State.OPEN]
        on_each = (f"{attribute} ({'; '.join(why)})" for attribute, why in outside.items())
        parts = [f"not yet on {', '.join(on_each)}"] if outside else []
        if unknown:
            on = dict.fromkeys(f"{row['attribute']} ({row['criterion']})" for row in unknown)
            parts.append(f"not shown yet, for want of marks or targets: {', '.join(on)}")
        return f"{name}: {'. '.join(parts)}."

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What the curves leave open."""
        lines = [
            "It holds for the samples that were served, and says nothing of other products or of "
            "the weeks after the training.",
            "Agreement with the others is no accuracy: a panel can agree on a wrong mark.",
            f"Each limit holds for one look ({100 * self.rule.level:g} %); looking after every "
            "session raises the chance of a pass by luck.",
        ]
        if self.other_scale:
            lines.append(
                f"Left out, on another scale: {several(self.other_scale, 'earlier session')}."
            )
        return tuple(lines)

    def summary(self) -> Table:
        """One line an assessor and attribute, in points of the scale."""
        rows = []
        for name, part in self._states.groupby(["assessor", "attribute"], sort=False):
            by = {str(row["criterion"]): row for row in _rows(part)}
            cells = [_cell(by[each]) for each in Criterion]
            done = all(row["state"] == State.WITHIN for row in by.values())
            rows.append((*map(str, name), *cells, "trained" if done else "not yet"))
        return Table(columns=("assessor", "attribute", *Criterion, "state"), rows=tuple(rows))

    def __repr__(self) -> str:
        return (
            f"<TrainingProgress: {several(self.sessions, 'session')}, {len(self.trained)} of "
            f"{several(len(self.assessors), 'assessor')} trained>"
        )


def _rows(frame: pd.DataFrame) -> list[Row]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _in_words(row: Row) -> str:
    return f"{row['criterion']} {row['estimate']:.2g}, limit {row['limit']:.2g}"


def _cell(row: Row) -> str:
    if not np.isfinite(row["estimate"]):
        return "none"
    high = f", up to {row['high']:.2g}" if np.isfinite(row["high"]) else ""
    return f"{row['estimate']:.2g}{high} ({row['state']})"


def training_progress(
    trainings: Sequence[TrainingSitting],
    *,
    attributes: Sequence[str] = (),
    rule: TrainingRule | None = None,
) -> TrainingProgress:
    """Who is trained for these attributes, and how did they get there?

    Parameters
    ----------
    trainings : sequence of TrainingSitting
        Training sessions of one product. Those on another scale than the latest are left out.
    attributes : sequence of str
        Those that count; all that were trained where none is named.
    rule : TrainingRule, optional
        The usual one where it is not given.

    Raises
    ------
    ArgumentError
        Where no session holds a mark on these attributes.

    Notes
    -----
    Of each assessor and attribute the latest `rule.sessions` sessions with a mark count together:
    repeatability is the pooled standard deviation of replicates of a sample within a session;
    accuracy the root mean square of own sample means less the target; agreement that of own sample
    means less the mean of the others. Each has an upper limit from chi-square, with as many degrees
    of freedom as there are deviations (`models.typical_size`).
    """
    rule = rule or TrainingRule()
    held = sorted((each for each in trainings if each.assessors), key=lambda each: each.held_on)
    if not held:
        raise ArgumentError("no training session with marks: close one first.")
    scale = held[-1].scale
    wanted = set(map(key_of, attributes))
    same = [each for each in held if each.scale == scale]
    named: dict[str, str] = {}
    people: dict[str, str] = {}
    for each in same:
        people |= {same_person(name): name for name in each.assessors}
        for sample in each.samples:
            if not wanted or key_of(sample.attribute) in wanted:
                named.setdefault(key_of(sample.attribute), sample.attribute)
    if not named:
        raise ArgumentError(f"no training session holds marks on {', '.join(attributes)}.")
    parts = [part for each in same for part in _parts(each, named, people)]
    curve = pd.DataFrame([_row_of(part) for part in parts], columns=list(_CURVE))
    states = [
        row
        for person in people.values()
        for attribute in named.values()
        for row in _judged(_latest(parts, person, attribute, rule), person, attribute, rule, scale)
    ]
    return TrainingProgress(
        rule=rule,
        attributes=tuple(named.values()),
        scale=scale,
        other_scale=len(held) - len(same),
        _curve=curve,
        _states=pd.DataFrame(states, columns=list(_STATES)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """Deviations of one assessor on one attribute in one session."""

    session: str
    held_on: str
    assessor: str
    attribute: str
    errors: tuple[float, ...]
    distances: tuple[float, ...]
    within: float  # sum of squares of replicates about their means
    within_df: int


def _parts(
    trained: TrainingSitting, named: dict[str, str], people: dict[str, str]
) -> Iterator[_Part]:
    for place, name in enumerate(trained.assessors):
        for key, attribute in named.items():
            mine = [
                each
                for each in trained.samples
                if key_of(each.attribute) == key and each.scores[place]
            ]
            if not mine:
                continue
            gaps = [own_means(each)[place] - others_means(each)[place] for each in mine]
            marks = [np.array(each.scores[place]) for each in mine]
            yield _Part(
                session=trained.session,
                held_on=trained.held_on,
                assessor=people[same_person(name)],
                attribute=attribute,
                errors=tuple(
                    float(own.mean() - each.target)
                    for own, each in zip(marks, mine, strict=True)
                    if each.target is not None
                ),
                distances=tuple(float(gap) for gap in gaps if np.isfinite(gap)),
                within=float(sum(((own - own.mean()) ** 2).sum() for own in marks)),
                within_df=sum(len(own) - 1 for own in marks),
            )


def _rms(squares: float, many: int) -> float:
    return float(np.sqrt(squares / many)) if many else nan


def _row_of(part: _Part) -> tuple[object, ...]:
    errors, gaps = len(part.errors), len(part.distances)
    return (
        *(part.session, part.held_on, part.assessor, part.attribute),
        *(_rms(float(np.square(part.errors).sum()), errors), errors),
        *(_rms(part.within, part.within_df), part.within_df),
        *(_rms(float(np.square(part.distances).sum()), gaps), gaps),
    )


def _latest(parts: Sequence[_Part], person: str, attribute: str, rule: TrainingRule) -> list[_Part]:
    mine = [part for part in parts if (part.assessor, part.attribute) == (person, attribute)]
    return mine[-rule.sessions :]


def _judged(
    parts: Sequence[_Part],
    person: str,
    attribute: str,
    rule: TrainingRule,
    scale: tuple[float, float],
) -> Iterator[tuple[object, ...]]:
    sums = {
        Criterion.REPEATABILITY: (
            sum(part.within for part in parts),
            sum(part.within_df for part in parts),
        ),
        Criterion.ACCURACY: _squares(part.errors for part in parts),
        Criterion.AGREEMENT: _squares(part.distances for part in parts),
    }
    for criterion, (squares, df) in sums.items():
        estimate = _rms(squares, df)
        high = float(upper_rms(np.array(estimate), np.array(float(df)), rule.level))
        limit = getattr(rule, criterion) * (scale[1] - scale[0])
        state = State.OPEN
        if df and estimate > limit:
            state = State.OUTSIDE
        elif df and high <= limit and len(parts) >= rule.sessions:
            state = State.WITHIN
        row = (person, attribute, criterion, estimate, df, high, rule.level, limit, len(parts))
        yield (*row, state)


def _squares(deviations: Iterator[tuple[float, ...]]) -> tuple[float, int]:
    every = [each for some in deviations for each in some]
    return float(np.square(every).sum()), len(every)
