"""A series that somebody takes to be screened: its samples, its cups and the answers, on record.

[1] The concentrations offered are common in the selection of assessors (common practice, no
    source). The plant changes them.

Why so
------
A series keeps the numbers of its rule as they were agreed when it began, so that nobody moves a
line once answers are in, and it holds the answers as they were given: what they show is worked out
from them. It belongs to an entry of the register by its random key and holds no name, so that a
person who is erased is erased here too. An answer can be corrected until the outcome is recorded;
the journal keeps both.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from ..base.checks import one_count, probability
from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, once, parts
from ..base.spelling import key_of
from ..sessions.session import CAUTIONS

RULES = "screening rules"
"""Name of the only ones on record."""
NO_ANSWER = "no answer"
_MOST_MONTHS = 60


class Series(StrEnum):
    """What is tested, each in a series of its own."""

    TRIANGLES = "triangles"
    TASTES = "basic tastes"
    ODOURS = "odours"
    STRENGTHS = "ranking"
    SCALE = "scale use"


class Ending(StrEnum):
    """How a series ended."""

    PASSED = "passed"
    NOT_PASSED = "not passed"
    GIVEN_UP = "given up"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSample(Plain):
    """A sample of a series and how it is made, or a name that is offered without a sample.

    `made`: in plain terms, as ``sucrose, 12 g in 1 l of water``; empty for a name that is only
    offered.
    """

    name: str
    made: str = ""

    def __post_init__(self) -> None:
        named("name of the sample", self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreeningRules(Plain):
    """The plant's numbers for screening: conventions, no facts.

    Attributes
    ----------
    unfit, fit : float
        Proportions of right triangles of somebody who should fail, and who should pass.
    alpha, beta : float
        Nominal risks of the two; the true ones are shown with a series.
    most : int
        Triangles after which somebody who is still undecided fails.
    tastes, odours : float
        Shares of right matches needed.
    inversions : int
        Pairs that may stand the wrong way round in a ranking.
    pairs, reach : float
        Share of pairs needed in order, and of the scale used, in the series of scale use.
    requalify : int
        Months after which an assessor is screened again.

    Raises
    ------
    ArgumentError, RecordError
        For numbers that cannot be.
    """

    unfit: float = 0.40
    fit: float = 0.65
    alpha: float = 0.05
    beta: float = 0.05
    most: int = 60
    tastes: float = 0.80
    odours: float = 0.65
    inversions: int = 1
    requalify: int = 12
    pairs: float = field(default=0.90, metadata=LEFT_OUT_EMPTY)
    reach: float = field(default=0.40, metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        for name in ("unfit", "fit", "alpha", "beta"):
            probability(name, getattr(self, name))
        for name in ("tastes", "odours", "pairs", "reach"):
            share = getattr(self, name)
            if share != 1:
                probability(name, share)
        for name in ("most", "requalify"):
            one_count(name, getattr(self, name), at_least=1)
        one_count("inversions", self.inversions)
        if self.requalify > _MOST_MONTHS:
            raise RecordError(f"Screen again within {_MOST_MONTHS} months; got {self.requalify}.")

    @property
    def name(self) -> str:
        """Under which they stand in the register."""
        return RULES


@dataclass(frozen=True, slots=True, kw_only=True)
class Cup(Plain):
    """A cup with its blinding code, and the sample in it."""

    code: str
    sample: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesBooth(Plain):
    """The booth of a series: its link, and what was told there. Times are UTC, ISO 8601.

    `token`: SHA-256 of the secret in the link, which the record does not keep.
    `language`: of its pages.
    `consented`, `refused`: when the candidate wanted to taste, or did not, today; of the reason
        nothing is kept.
    `stopped`: when the candidate stopped: nothing more is asked there.
    `sent`: when the answers of a series that is judged as a whole were sent.
    """

    token: str
    language: str
    consented: str = ""
    refused: str = ""
    stopped: str = ""
    sent: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenSeries(Plain):
    """A series that somebody takes or has taken.

    `key`: random. `assessor`: key of the entry in the register.
    `started_on`, `ended_on`: days, ISO 8601; the latter empty as long as it is open.
    `cups`: by set in the order of tasting: three a triangle, one set in the other series.
    `cautions`: keys of those answered with yes before anybody tasted: all of them.
    `answers`: one a question in their order, empty where there is none yet.
    `ending`: one of `Ending`, empty as long as it is open.
    `booth`: where it is answered, where not on paper only.
    `minor`: when it was said that the candidate is under 18; empty for who is of age.
    `guardian_on`: day of the guardian's written consent, without which a minor tastes nothing.
    """

    key: str
    assessor: str
    series: Series
    started_on: str
    rules: ScreeningRules
    samples: tuple[PlannedSample, ...]
    cups: tuple[tuple[Cup, ...], ...]
    cautions: tuple[str, ...]
    answers: tuple[str, ...] = ()
    ending: str = ""
    ended_on: str = field(default="")
    booth: SeriesBooth | None = field(default=None, metadata=LEFT_OUT_EMPTY)
    minor: str = field(default="", metadata=LEFT_OUT_EMPTY)
    guardian_on: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("key of the series", self.key)
        named("key of the assessor", self.assessor)
        iso_date("day of the series", self.started_on)
        parts("samples", self.samples, PlannedSample)
        once("sample", (key_of(each.name) for each in self.samples))
        if self.guardian_on:
            iso_date("day of the guardian's consent", self.guardian_on)
        if self.ending and self.ending not in list(Ending):
            raise RecordError(f"A series ends as {', '.join(Ending)}; got {self.ending!r}.")
        if missing := [each.asks for each in CAUTIONS if each.key not in self.cautions]:
            raise RecordError(f"Answer each caution with yes before anybody tastes: {missing[0]}")

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return self.key

    @property
    def open(self) -> bool:
        """Whether its outcome is not recorded yet."""
        return not self.ending

    @property
    def waits_for_guardian(self) -> bool:
        """Whether a minor takes it whose guardian's consent is not on record."""
        return bool(self.minor) and not self.guardian_on

    def check_guardian(self) -> None:
        """RecordError as long as a guardian's consent is needed and not on record."""
        if self.waits_for_guardian:
            raise RecordError(
                "The candidate is under 18: put the guardian's written consent on record first. "
                "The law of the place decides whether and how minors may taste."
            )
