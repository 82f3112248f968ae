"""What each assessor did in one closed session: kept at closing, for the history of the panel.

Why so
------
Histories are read on a page that lists all assessors, so nothing of it may need ballots. What is
kept are counts, means and standard deviations a person, not judgements: how an assessor is judged
may change, what was answered does not. It stands in columns, since years of it are read at once.
Names are held as references, so that an erased person is erased here too. 'Not today' is no
absence and is not kept: it may have to do with health.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import TYPE_CHECKING, Any

from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.spelling import same_person, tidy_name
from ..catalogue.checking import CheckedBallots
from ..catalogue.choice_ballot import ChoiceBallot
from ..catalogue.columns import Cells
from ..catalogue.kind import KnownTruth
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..serving.ballot_line import NOT_COME, lines_by_assessor, lines_from
from .serving import seats_of
from .session import StoredSession

if TYPE_CHECKING:
    from ..ratings.scorecard import PanelScorecard

CAME, LATE, ABSENT = "came", "came late", "did not come"
_CONTROL = ("control", "reference")


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeScores(Plain):
    """Scores of one attribute, a value an assessor in the order of the sitting.

    `judged`: whether the panel as a whole discriminated on it.
    `smallest`: the smallest difference from the reference that the panel of that day could see.
    `means`: by assessor, then by sample; None where a sample was not scored.
    `sd`, `sd_df`: of own replicates; None and 0 without replicates.
    """

    attribute: str
    judged: bool
    smallest: float | None
    means: tuple[tuple[float | None, ...], ...]
    sd: tuple[float | None, ...]
    sd_df: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TickedWord(Plain):
    """How often each ticked a word: by assessor in the order of the sitting, then by sample."""

    attribute: str
    ticks: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting(Plain):
    """A closed session as the history of its assessors holds it.

    `session`: its identifier.
    `held_on`: day of tasting, ISO 8601.
    `test`: key of the test.
    `assessors`: everybody who came or was expected; empty once the session was opened again.
    `came`: of each `CAME`, `LATE` or `ABSENT`.
    `correct`, `trials`: of each in a forced choice; else empty.
    `samples`, `attributes`: of scored samples; else empty.
    `words`: of samples at which words were ticked; else empty.
    `answers`: of these how often each answered: by assessor, then by sample.
    `control`: the sample that is the blind control or the reference, where there is one.
    `limit`: the agreed action limit, where it is one number of points.
    `scale`: its lowest and highest score.
    `hits`, `spiked`, `false_alarms`, `controls`: of each in a grading; else empty.
    """

    session: str
    held_on: str
    test: str
    title: str = ""
    assessors: tuple[str, ...] = ()
    came: tuple[str, ...] = ()
    correct: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    trials: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    samples: tuple[str, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    attributes: tuple[AttributeScores, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    control: str = field(default="", metadata=LEFT_OUT_EMPTY)
    limit: float | None = field(default=None, metadata=LEFT_OUT_EMPTY)
    scale: tuple[float, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    words: tuple[TickedWord, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    answers: tuple[tuple[int, ...], ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    hits: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    spiked: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    false_alarms: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    controls: tuple[int, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        many = len(self.assessors)
        known = (self.hits, self.spiked, self.false_alarms, self.controls)
        columns = [self.came, *filter(None, (self.correct, self.trials, *known))]
        for scores in self.attributes:
            columns += [scores.means, scores.sd, scores.sd_df]
            if {len(row) for row in scores.means} - {len(self.samples)}:
                raise RecordError(f"The means of {scores.attribute} need one a sample.")
        for ticks in (each.ticks for each in self.words):
            columns += [ticks, self.answers]
            if {len(row) for row in (*ticks, *self.answers)} - {len(self.samples)}:
                raise RecordError("Ticks and answers need a number a sample.")
        if {len(column) for column in columns} - {many}:
            raise RecordError(f"A sitting of {many} assessors needs a value of each.")

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return self.session

    def emptied(self) -> Sitting:
        """The same without anybody: the session was opened again."""
        return Sitting(session=self.session, held_on=self.held_on, test=self.test, title=self.title)


def sitting_of(session: StoredSession, cells: Cells, checked: CheckedBallots) -> Sitting:
    """What each assessor did in a session that is about to be closed."""
    held_on = session.details.held_on or (session.agreed_at or session.created_at)[:10]
    came = _attendance(session, cells, checked)
    sitting = Sitting(
        session=session.id,
        held_on=held_on,
        test=session.question.protocol,
        title=session.details.title,
        assessors=tuple(came),
        came=tuple(came.values()),
    )
    choices = [row for row in checked.rows if isinstance(row, ChoiceBallot) and row.answer]
    if choices:
        return _with_choices(sitting, choices)
    known = find_kind(session.question.protocol).known_truth
    if known is not None:
        return _with_known(sitting, known(checked.rows, session.question))
    rated = [row for row in checked.rows if not isinstance(row, ChoiceBallot)]
    if ticked := [row for row in rated if "ticked" in row]:
        return _with_ticks(sitting, session, ticked)
    scored = [row for row in rated if "score" in row]
    return _with_scores(sitting, session, scored) if scored else sitting


def _attendance(session: StoredSession, cells: Cells, checked: CheckedBallots) -> dict[str, str]:
    """By name who came, who came late and who did not come; one spelling a person."""
    late = set()
    if session.serving is not None:
        plan = session.serving.planned.get("changes", ())
        late = {seat for what, seat in plan if what == "late"}
    lines = lines_by_assessor(lines_from(cells))
    seats = seats_of([name for name in lines if name])
    answered = {same_person(name) for name in checked.answered}
    came: dict[str, str] = {}
    spelled: dict[str, str] = {}
    for name, mine in lines.items():
        person = same_person(name)
        if not person:
            continue
        known = spelled.setdefault(person, tidy_name(name))
        if person in answered:
            came[known] = LATE if seats[name] in late else CAME
        elif all(line.not_served == NOT_COME for line in mine):
            came[known] = ABSENT
    return came


def _places(sitting: Sitting) -> dict[str, int]:
    return {same_person(name): place for place, name in enumerate(sitting.assessors)}


def _with_choices(sitting: Sitting, choices: Sequence[ChoiceBallot]) -> Sitting:
    correct, trials = [0] * len(sitting.assessors), [0] * len(sitting.assessors)
    places = _places(sitting)
    for ballot in choices:
        place = places[same_person(ballot.assessor)]
        trials[place] += 1
        correct[place] += bool(ballot.correct)
    return replace(sitting, correct=tuple(correct), trials=tuple(trials))


def _with_known(sitting: Sitting, known: Mapping[str, KnownTruth]) -> Sitting:
    """Nothing where no sample of a known truth was graded."""
    if not known:
        return sitting
    counts = [KnownTruth(0, 0, 0, 0)] * len(sitting.assessors)
    places = _places(sitting)
    for name, mine in known.items():
        counts[places[same_person(name)]] = mine
    hits, spiked, alarms, controls = zip(*counts, strict=True)
    return replace(sitting, hits=hits, spiked=spiked, false_alarms=alarms, controls=controls)


def _with_scores(
    sitting: Sitting, session: StoredSession, rows: Sequence[dict[str, Any]]
) -> Sitting:
    from ..catalogue.frames import frame_of, scorecard  # a booth loads no statistics

    question, kind = session.question, find_kind(session.question.protocol)
    scale = agreed_scale(question.settings)
    ends = (scale.low, scale.high)
    card = scorecard(frame_of(rows), question.alpha, ends)
    if isinstance(card, str):
        return sitting
    samples = tuple(map(str, card.scores.samples))
    named = [str(question.settings.get(key) or "") for key in _CONTROL if kind.has_setting(key)]
    known = {same_person(name): name for name in samples}
    limit = question.settings.get("limit") if kind.has_setting("limit") else None
    return replace(
        sitting,
        samples=samples,
        attributes=tuple(_scores_of(card, sitting, samples)),
        control=next((known[same_person(n)] for n in named if same_person(n) in known), ""),
        limit=None if limit is None else float(limit),
        scale=ends,
    )


def _with_ticks(
    sitting: Sitting, session: StoredSession, rows: Sequence[dict[str, Any]]
) -> Sitting:
    """How often each ticked what; a sample that somebody got more often is added up."""
    kind, places = find_kind(session.question.protocol), _places(sitting)
    samples = tuple(dict.fromkeys(str(row["sample"]) for row in rows))
    listed = kind.listed(session.question.settings, "words")
    words = listed or dict.fromkeys(word for row in rows for word in row["ticked"])
    answers, *ticks = [[[0] * len(samples) for _ in places] for _ in ("", *words)]
    for row in rows:
        place, column = places[same_person(str(row["assessor"]))], samples.index(str(row["sample"]))
        answers[place][column] += 1
        for word, given in zip(words, ticks, strict=True):
            given[place][column] += word in row["ticked"]
    return replace(
        sitting,
        samples=samples,
        words=tuple(
            TickedWord(attribute=word, ticks=tuple(map(tuple, given)))
            for word, given in zip(words, ticks, strict=True)
        ),
        answers=tuple(map(tuple, answers)),
    )


def _scores_of(
    card: PanelScorecard, sitting: Sitting, samples: tuple[str, ...]
) -> list[AttributeScores]:
    from ..ratings.frames import records  # a booth loads no statistics

    places, columns = _places(sitting), {name: place for place, name in enumerate(samples)}
    whole = {row["attribute"]: row for row in records(card.attributes)}
    scatter = card.assessors[["assessor", "attribute", "sd", "sd_df"]]
    own, cells = _by_attribute(records(scatter)), _by_attribute(records(card.means))
    attributes = []
    for attribute in card.scores.attributes:
        means: list[list[float | None]] = [[None] * len(samples) for _ in places]
        for row in cells[attribute]:
            place = places[same_person(str(row["assessor"]))]
            means[place][columns[str(row["sample"])]] = _finite(row["estimate"])
        sd: list[float | None] = [None] * len(places)
        sd_df = [0.0] * len(places)
        for row in own[attribute]:
            place = places[same_person(str(row["assessor"]))]
            sd[place], sd_df[place] = _finite(row["sd"]), _finite(row["sd_df"]) or 0.0
        attributes.append(
            AttributeScores(
                attribute=str(attribute),
                judged=bool(whole[attribute]["judged"]),
                smallest=_finite(whole[attribute]["smallest_difference"]),
                means=tuple(map(tuple, means)),
                sd=tuple(sd),
                sd_df=tuple(sd_df),
            )
        )
    return attributes


def _by_attribute(rows: Sequence[dict[str, Any]]) -> dict[Any, list[dict[str, Any]]]:
    attributes: dict[Any, list[dict[str, Any]]] = {}
    for row in rows:
        attributes.setdefault(row["attribute"], []).append(row)
    return attributes


def _finite(number: float) -> float | None:
    """A plain number; None for what is none, which no record compares with itself."""
    return float(number) if isfinite(number) else None
