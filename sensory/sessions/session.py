"""The nouns of a session: samples, circumstances, cautions, journal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..catalogue.question import Question
from .care import Care
from .serving import Serving


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample(Plain):
    """What a letter of the serving order stands for.

    `letter`: ``A`` for the reference, ``B`` for the sample compared with it.
    `name`, `batch`, `made_on`, `storage`, `preparation`, `allergens`: free text; `preparation`
        holds portion, vessel and temperature.
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

    `held_on`: date of tasting, ISO 8601.
    `place`, `leader`, `assessors`, `information`, `conditions`, `deviations`: where, by whom led,
        what is known of the assessors' experience, what they were told, how samples were served,
        and deviations from the standard.
    `decides`: the role that decides on the batch.
    `file_remarks`: what was noticed about the form of a loaded file.
    `care`: what of the tasting can harm, and who cleared it.
    `way`: how ballots come in, see `sessions.steps.Way`; empty where nobody said it.
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
    care: Care = field(default_factory=Care, metadata=LEFT_OUT_EMPTY)
    way: str = field(default="", metadata=LEFT_OUT_EMPTY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A question that has to be answered with yes before people taste."""

    key: str
    asks: str
    advice: str


CAUTIONS = (
    Caution(
        key="cleared",
        asks="Has food safety cleared every sample for tasting, or for smelling only?",
        advice="A batch under complaint or suspected contamination is not tasted until cleared; "
        "smelling alone needs food safety's permission by name.",
    ),
    Caution(
        key="allergens",
        asks="Are ingredients and allergens of each sample declared to the assessors?",
        advice="A new supplier can bring a new allergen under an old name: check each sample.",
    ),
    Caution(
        key="consent",
        asks="Has each assessor consented, and been asked about exclusions?",
        advice="Allergy, pregnancy where it matters, illness. Keep 'not today', no diagnosis. "
        "Minors: only with their guardian's consent on file.",
    ),
    Caution(
        key="swallowing",
        asks="Is it settled whether to swallow or to expectorate?",
        advice="Offer water and a cup; alcohol, caffeine and many samples speak for the cup.",
    ),
    Caution(
        key="amounts",
        asks="Are the amounts within the limits for alcohol, caffeine and the like?",
        advice="Count all servings of the day (page Serving); think of driving home.",
    ),
)


ADVICE = (
    "This finding is advice. Release of food stays with the authorised person of the plant, "
    "with food law and licensed practice."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSession(Plain):
    """A session as the record holds it.

    `created_at`: UTC, ISO 8601, as all times here.
    `cautions`: answers so far, by the key of the caution.
    `agreed_at`, `agreed_by`, `digest`, `closed_at`: empty as long as it has not happened.
    `agreed_role`: role of who agreed; empty where nobody was on record as signing.
    `ballots_at_agreement`: how many ballots had been entered by then.
    `serving`: None where no plan is on record: ballots are typed from paper.
    """

    id: str
    created_at: str
    details: SessionDetails
    question: Question
    cautions: dict[str, bool]
    agreed_at: str = ""
    agreed_by: str = ""
    agreed_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    digest: str = ""
    ballots_at_agreement: int = 0
    closed_at: str = ""
    serving: Serving | None = None

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
        if self.details.care.unwell:
            return "stopped: adverse reaction"
        if self.closed:
            return "finding shown"
        return "ballots open" if self.agreed else "question not agreed"


@dataclass(frozen=True, slots=True, kw_only=True)
class DamagedSession:
    """A session that is on record and cannot be read any more.

    `title`: empty where that cannot be read either.
    `why`: what is wrong, in a sentence.
    """

    id: str
    title: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """The newest entry of the journal. Kept elsewhere, it shows a later rewrite of the record.

    `sha256`: its hash, which holds those of all entries before.
    """

    number: int
    sha256: str

    @property
    def words(self) -> str:
        """As a report prints it."""
        return f"Newest journal entry {self.number}, SHA-256 {self.sha256}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check of the whole record: when it ended, and a sentence for each thing that was wrong.

    `number`: the newest entry of the journal then, 0 for none.
    """

    at: str
    number: int
    sha256: str
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalEntry:
    """One entry of the append-only journal.

    `who`, `role`: the person, and as what she acted where that is said, as in ``booth``.
    """

    number: int
    at: str
    session: str
    who: str
    what: str
    why: str
    content: dict[str, Any]
    role: str = ""

    @property
    def by(self) -> str:
        """Who did it, in words."""
        return f"{self.role} of {self.who}" if self.role else self.who
