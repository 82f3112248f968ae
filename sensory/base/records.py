"""The nouns of the job: findings, questions, samples, sessions and cautions."""

from __future__ import annotations

import hashlib
import json
from dataclasses import MISSING, asdict, dataclass, field, fields
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, Self

from .errors import RecordError


class Finding(StrEnum):
    """What a session shows; the same four names everywhere."""

    DIFFERENT = "DIFFERENT"
    SIMILAR = "SIMILAR"
    DIFFERENT_WITHIN_LIMIT = "DIFFERENT_WITHIN_LIMIT"
    UNDECIDED = "UNDECIDED"

    @property
    def sentence(self) -> str:
        """The finding in words for the user."""
        return _SENTENCES[self]

    @property
    def heading(self) -> str:
        """The finding as a heading."""
        return self.value.replace("_", " ").capitalize()


FINDINGS = (
    Finding.UNDECIDED,
    Finding.SIMILAR,
    Finding.DIFFERENT,
    Finding.DIFFERENT_WITHIN_LIMIT,
)
"""At index ``2 * difference_is_significant + similarity_is_shown``."""

_SENTENCES = {
    Finding.DIFFERENT: "The batch deviates perceptibly from the reference.",
    Finding.SIMILAR: "Any difference is below the agreed limit.",
    Finding.DIFFERENT_WITHIN_LIMIT: (
        "A difference is perceptible, and it is below the agreed limit."
    ),
    Finding.UNDECIDED: "This session cannot tell.",
}


class Plain:
    """To and from plain dictionaries, refusing names it does not know."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain data, nested records included."""
        return asdict(self)  # type: ignore[call-overload]

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> Self:
        """Rebuild from `to_dict`; RecordError for a field that is not known, or not there."""
        own = fields(cls)  # type: ignore[arg-type]
        known = {entry.name for entry in own}
        if strange := sorted(set(plain) - known):
            raise RecordError(
                f"{cls.__name__} has no field {', '.join(strange)}; "
                f"its fields are {', '.join(sorted(known))}."
            )
        needed = [
            entry.name
            for entry in own
            if entry.default is MISSING and entry.default_factory is MISSING
        ]
        if absent := [name for name in needed if name not in plain]:
            raise RecordError(f"{cls.__name__} needs {', '.join(absent)}.")
        return cls(**plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Plain):
    """What is asked, which decision hangs on it and with which risks.

    It is agreed before the finding is shown, and frozen by its digest.

    Attributes
    ----------
    protocol : str
        Key of the protocol, such as ``TRIANGLE``.
    what_changed, decision : str
        The one thing that differs, and what will be decided.
    if_different, if_similar, if_undecided : str
        What will be done at each finding.
    alpha, beta, pd_limit : float
        Risks and limit as in `choice_test`.
    assessors : int
        How many ballots are planned.
    two_sided : bool
    attribute : str
        For protocols that ask about a named attribute.
    target : str
        ``A`` or ``B``: the sample expected to have more of it.
    exclusion_rule, retest_rule : str
    standard : str
        The edition of the standard, stamped when the question is agreed.
    settings : dict of str to float or str
        What else is agreed where the test is no forced choice; see `methods.Method`.
    """

    protocol: str = "TRIANGLE"
    what_changed: str = ""
    decision: str = ""
    if_different: str = ""
    if_similar: str = ""
    if_undecided: str = ""
    alpha: float = 0.05
    beta: float = 0.05
    pd_limit: float = 0.30
    assessors: int = 66
    two_sided: bool = False
    attribute: str = ""
    target: str = "B"
    exclusion_rule: str = ""
    retest_rule: str = ""
    standard: str = ""
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        """SHA-256 of the question in a fixed spelling, 64 hexadecimal digits."""
        return digest_of(self.to_dict())

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain data; settings only where there are any, as in older records."""
        plain = asdict(self)
        return plain if plain["settings"] else {k: v for k, v in plain.items() if k != "settings"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample(Plain):
    """What a letter of the serving order stands for.

    Attributes
    ----------
    letter : str
        ``A`` for the reference, ``B`` for the sample compared with it.
    name, batch, made_on, storage, preparation, allergens : str
        Free text; `preparation` holds portion, vessel and temperature.
    """

    letter: str
    name: str = ""
    batch: str = ""
    made_on: str = ""
    storage: str = ""
    preparation: str = ""
    allergens: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionDetails(Plain):
    """What a test report has to state besides the question and the ballots.

    Attributes
    ----------
    title : str
    samples : tuple of Sample
    held_on : str
        Date of tasting, ISO 8601.
    place, leader, assessors, information, conditions, deviations : str
        Where, by whom led, what is known of the assessors' experience, what they were
        told, how samples were served, and deviations from the standard.
    decides : str
        The role that decides on the batch.
    file_remarks : str
        What was noticed about the form of a loaded file.
    """

    title: str = ""
    samples: tuple[Sample, ...] = field(
        default_factory=lambda: (Sample(letter="A", name="reference"), Sample(letter="B"))
    )
    held_on: str = ""
    place: str = ""
    leader: str = ""
    assessors: str = ""
    information: str = ""
    conditions: str = ""
    deviations: str = ""
    decides: str = ""
    file_remarks: str = ""

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> SessionDetails:
        """Rebuild from `to_dict`, samples included."""
        samples = tuple(Sample.from_dict(dict(entry)) for entry in plain.get("samples", ()))
        rest = {name: value for name, value in plain.items() if name != "samples"}
        built = super(SessionDetails, cls).from_dict(rest)
        return cls(**{**_shallow(built), "samples": samples}) if "samples" in plain else built


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A question that has to be answered with yes before people taste."""

    key: str
    asks: str
    advice: str


CAUTIONS = (
    Caution(
        key="cleared",
        asks="Has food safety cleared every sample for tasting?",
        advice="A batch under complaint or suspected contamination is not tasted until cleared.",
    ),
    Caution(
        key="allergens",
        asks="Are ingredients and allergens of each sample declared to the assessors?",
        advice="A new supplier can bring a new allergen under an old name: check each sample.",
    ),
    Caution(
        key="consent",
        asks="Has each assessor consented, and been asked about exclusions?",
        advice="Allergy, pregnancy where it matters, illness. Keep 'not today', no diagnosis.",
    ),
    Caution(
        key="swallowing",
        asks="Is it settled whether to swallow or to expectorate?",
        advice="Offer water and a cup; alcohol, caffeine and many samples speak for the cup.",
    ),
    Caution(
        key="amounts",
        asks="Are the amounts within the limits for alcohol, caffeine and the like?",
        advice="Count all samples of the day; think of driving home.",
    ),
)

ADVICE = (
    "This finding is advice. Release of food stays with the authorised person of the plant, "
    "with food law and licensed practice."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSession:
    """A session as the record holds it.

    Attributes
    ----------
    id : str
    created_at : str
        UTC, ISO 8601, as all times here.
    details : SessionDetails
    question : Question
    cautions : dict of str to bool
        Answers so far, by the key of the caution.
    agreed_at, agreed_by, digest, closed_at : str
        Empty as long as it has not happened.
    ballots_at_agreement : int
        How many ballots had been entered by then.
    serving : dict
        The serving plan, the language of the ballots and the hashed links of the booths;
        allergens declared by sample, samples excluded by seat, and when the serving was
        confirmed. It names no person. Empty where ballots are typed from paper.
    """

    id: str
    created_at: str
    details: SessionDetails
    question: Question
    cautions: dict[str, bool]
    agreed_at: str = ""
    agreed_by: str = ""
    digest: str = ""
    closed_at: str = ""
    ballots_at_agreement: int = 0
    serving: dict[str, Any] = field(default_factory=dict)

    @property
    def agreed(self) -> bool:
        """Whether the question is frozen."""
        return bool(self.agreed_at)

    @property
    def closed(self) -> bool:
        """Whether the ballots are closed and the finding is open."""
        return bool(self.closed_at)

    @property
    def stage(self) -> str:
        """What the session waits for, in words."""
        if self.closed:
            return "finding shown"
        return "ballots open" if self.agreed else "question not agreed"


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalEntry:
    """One entry of the append-only journal."""

    number: int
    at: str
    session: str
    who: str
    what: str
    why: str
    content: dict[str, Any]


def utc_now() -> str:
    """The time in UTC to the millisecond, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def digest_of(plain: Any) -> str:
    """SHA-256 of plain data: JSON with sorted keys and no spaces, in UTF-8."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def nested(plain: dict[str, Any], parts: dict[str, Any]) -> dict[str, Any]:
    """Plain data with its parts rebuilt: `parts` names a record's class, or str, by field."""

    def built(kind: Any, value: Any) -> Any:
        return kind.from_dict(dict(value)) if isinstance(value, dict) else value

    whole = dict(plain)
    for name, kind in parts.items():
        value = whole.get(name)
        if isinstance(value, (list, tuple)):
            whole[name] = tuple(built(kind, one) for one in value)
        elif isinstance(value, dict):
            whole[name] = built(kind, value)
    return whole


def _shallow(record: Any) -> dict[str, Any]:
    return {entry.name: getattr(record, entry.name) for entry in fields(record)}
