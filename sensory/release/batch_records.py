"""What is kept of a product and of a batch: tastings, recommendation, decisions.

Why so
------
A batch is one noun with all that happened to it: clearance, every tasting with its numbers,
decisions, complaints. It is written whole into the journal, and the register's other columns and
links follow from it, so that `verify` can check them; board, search, trend and month read the
register alone. The page of a batch reads what its sessions showed when they were closed, and of
the ballots the comments only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ..base.errors import RecordError
from ..base.findings import Finding
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, number, once, one_of, parts
from ..base.spelling import key_of, name_and_role
from ..catalogue.tests import find_kind
from .agreed_looks import AgreedLooks
from .batches import Batch, Clearance, Disposition, Product
from .signals import Acknowledged

OPEN, DONE = "open", "done"
ON_HOLD = "decision: it is on hold"
AGAIN = "open again"
"""How `BatchRecord.standing` begins where an older decision does not hold any more."""
OPEN_COMPLAINT = ("complaint", "open")
"""Link of a batch that has a complaint which is not closed."""
ENDS = (Disposition.RELEASE, Disposition.REJECT, Disposition.REWORK)


def lot_key(material: str, lot: str) -> str:
    """One spelling for the lot of a material: two materials may have lots of the same number.

    >>> lot_key("Sweetener", "SW-118 ")
    'sweetener; sw-118'
    """
    return f"{key_of(material)}; {key_of(lot)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductRecord(Plain):
    """A product with the references that were in use, in the order in which they took over, the
    signals of its trend that were acknowledged, and how many batches set what is usual in it."""

    product: Product
    references: tuple[str, ...] = ()  # the last one is in use
    signals: tuple[Acknowledged, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)
    base: int | None = field(default=None, metadata=LEFT_OUT_EMPTY)  # of the trend; 0 for all
    # looks at the growing total of choice tests, agreed beforehand; the latest plan
    looks: AgreedLooks | None = field(default=None, metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        once("references", self.references)
        parts("signals", self.signals, Acknowledged)

    @property
    def name(self) -> str:
        """Of the product."""
        return self.product.name

    @property
    def in_use(self) -> str:
        """Name of the reference in use; empty as long as there is none."""
        return self.references[-1] if self.references else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasting(Plain):
    """One tasting of a batch, as its session left it."""

    session: str  # identifier of the session
    test: str  # key of the protocol or method
    sample: str = ""  # how the ballots call the batch where they name samples
    held_on: str = ""  # date, ISO 8601; empty as long as the ballots are open
    finding: Finding | None = None  # None as long as the ballots are open, or where it was aborted
    correct: int | None = None  # of a forced choice
    trials: int | None = None
    # of rated tests, by attribute: batch less reference (for difference from control, beyond the
    # blind control), and its standard error
    differences: dict[str, tuple[float, float]] = field(default_factory=dict)
    aborted: str = ""  # why it was given up; an aborted tasting counts as an attempt
    # of grading, by defect: how many graders named it, of how many
    defects: dict[str, tuple[int, int]] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("session", self.session)
        named("test", self.test)
        if self.held_on:
            iso_date("held_on", self.held_on)
        if self.finding is not None:
            object.__setattr__(self, "finding", one_of("finding", self.finding, Finding))
        for name in ("correct", "trials"):
            number(name, getattr(self, name))
        pairs = {name: tuple(pair) for name, pair in self.differences.items()}
        for name, (estimate, se) in pairs.items():
            number(f"difference in {name}", estimate, needed=True)
            number(f"standard error of {name}", se, needed=True)
        object.__setattr__(self, "differences", pairs)
        named_by = {name: tuple(counts) for name, counts in self.defects.items()}
        object.__setattr__(self, "defects", named_by)

    @property
    def graded(self) -> bool:
        """Whether the votes of graders decided it."""
        release = find_kind(self.test).release
        return release is not None and release.by == "votes"

    @property
    def over(self) -> bool:
        """Whether nothing more is to come from it."""
        return self.finding is not None or bool(self.aborted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision(Plain):
    """What the authorised role decided on a batch; the latest one stands."""

    disposition: Disposition
    decided_by: str  # name of the person, and the role that the release rule names
    role: str
    decided_at: str  # UTC, ISO 8601
    reason: str
    recommended: Disposition | None = None  # what the tool recommended then
    finding: Finding | None = None  # what the tastings showed then
    # the second person, where the rule asks for one, and when that was
    confirmed_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    confirmed_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    confirmed_at: str = field(default="", metadata=LEFT_OUT_EMPTY)
    # of what was wrong, from the plant's list
    cause: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        kinds = (("disposition", Disposition), ("recommended", Disposition), ("finding", Finding))
        for name, kind in kinds:
            value = getattr(self, name)
            if value is not None or name == "disposition":
                object.__setattr__(self, name, one_of(name, value, kind))
        for name in ("decided_by", "role", "decided_at", "reason"):
            named(name, getattr(self, name))

    @property
    def signers(self) -> str:
        """Who decided, and who confirmed it, with their roles."""
        first = f"{self.decided_by}, {self.role}"
        if not self.confirmed_by:
            return first
        return f"{first}; confirmed by {name_and_role(self.confirmed_by, self.confirmed_role)}"

    @property
    def departs(self) -> bool:
        """Whether it is another one than was recommended."""
        return self.recommended is not None and self.disposition is not self.recommended


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint(Plain):
    """What was complained of, and what became of it.

    From when it came in the batch is open again and waits for food safety.
    """

    text: str
    received_on: str  # date, ISO 8601
    after: int = 0  # how many decisions on the batch there were by then
    # who put it on record, in which role; older records do not say
    recorded_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    recorded_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    owner: str = field(default="", metadata=LEFT_OUT_EMPTY)  # who sees to it
    cause: str = field(default="", metadata=LEFT_OUT_EMPTY)  # from the plant's list
    action: str = field(default="", metadata=LEFT_OUT_EMPTY)  # what was done about it
    closed_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    closed_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    # date, ISO 8601; empty as long as it is open
    closed_on: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("complaint", self.text)
        iso_date("received_on", self.received_on)
        number("after", self.after, needed=True)
        if self.closed_on:
            iso_date("closed_on", self.closed_on)
            for name in ("owner", "cause", "action", "closed_by"):
                if not getattr(self, name).strip():
                    raise RecordError(
                        "A complaint is closed with its owner, its cause, what was done about it "
                        f"and a name; {name.replace('_', ' ')} is missing."
                    )

    @property
    def closed(self) -> bool:
        """Whether nothing more is to be done about it."""
        return bool(self.closed_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRecord(Plain):
    """A batch with all that happened to it."""

    batch: Batch
    clearance: Clearance | None = None
    reference: str = ""  # name of the reference that it is compared with
    tastings: tuple[Tasting, ...] = ()  # every attempt in its order, aborted ones too
    # what the tastings show together: by the plan, where there are two of a plan
    finding: Finding | None = None
    recommended: Disposition | None = None  # by the release rule after the latest tasting
    # The release rule by which its tastings are read, that of the day on which the first was
    # opened; empty before. A rule agreed later counts for later batches.
    rule: dict[str, Any] = field(default_factory=dict)
    decisions: tuple[Decision, ...] = ()
    complaints: tuple[Complaint, ...] = ()
    # decided by a first person, where the rule asks for a second; no decision until confirmed
    proposed: Decision | None = field(default=None, metadata=LEFT_OUT_EMPTY)
    # Sessions in which it was smelled only, under suspicion: they are no tastings of it.
    smelled: tuple[str, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        parts("tastings", self.tastings, Tasting)
        parts("complaints", self.complaints, Complaint)
        parts("decisions", self.decisions, Decision)
        once("session", (tasting.session for tasting in self.tastings))
        for name, kind in (("finding", Finding), ("recommended", Disposition)):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, one_of(name, getattr(self, name), kind))
        if self.clearance is not None and self.clearance.batch != self.batch.number:
            raise RecordError(
                f"the clearance of {self.batch.number} is that of {self.clearance.batch}: each "
                "batch has its own."
            )

    @property
    def name(self) -> str:
        """Number of the batch."""
        return self.batch.number

    @property
    def decision(self) -> Decision | None:
        """The one that stands."""
        return self.decisions[-1] if self.decisions else None

    @property
    def state(self) -> str:
        """``open`` as long as it is not released, rejected or sent to rework, else ``done``.

        A complaint opens it again, and so does a tasting that is open or says something else
        than on the day of the decision, until it is decided anew; so does a decision that a second
        person has to confirm.
        """
        ended = self.decision is not None and self.decision.disposition in ENDS
        open_again = self.complained or self.unsettled or self.proposed is not None
        return OPEN if not ended or open_again else DONE

    @property
    def unsettled(self) -> bool:
        """Whether a tasting is open, or was read differently since the decision."""
        if any(not tasting.over for tasting in self.tastings):
            return True
        return self.decision is not None and self.decision.recommended != self.recommended

    @property
    def complained(self) -> bool:
        """Whether a complaint came in after the latest decision."""
        return any(complaint.after >= len(self.decisions) for complaint in self.complaints)

    @property
    def standing(self) -> str:
        """Where it stands, for every list: not an old decision where it is open again."""
        if self.complained:
            return f"{AGAIN}: complaint"
        if self.decision is None:
            return "open"
        if any(not tasting.over for tasting in self.tastings):
            return f"{AGAIN}: a tasting is open"
        if self.decision.disposition in ENDS and self.unsettled:
            return f"{AGAIN}: its tasting was read again"
        return self.decision.disposition.value.lower()

    @property
    def latest(self) -> Tasting | None:
        """The latest tasting with a finding."""
        shown = (tasting for tasting in reversed(self.tastings) if tasting.finding is not None)
        return next(shown, None)

    @property
    def found(self) -> Finding | None:
        """What its tastings show together; None as long as nothing is shown."""
        if self.latest is None:
            return None
        return self.finding or self.latest.finding

    @property
    def found_in_words(self) -> str:
        """What is found, as a heading; of tastings repeated without a plan, each in its order."""
        if self.latest is None or self.found is None:
            return "Not tasted"
        own = [each for each in self.tastings if each.test == self.latest.test and each.over]
        if len(own) < 2 or (len(own) == 2 and self.rule.get("retest")):
            return self.found.heading
        each = [tasting.finding.heading if tasting.finding else "Aborted" for tasting in own]
        return ", then ".join([each[0], *(words.lower() for words in each[1:])])

    @property
    def waits_for(self) -> str:
        """What has to happen next, in words; empty when nothing does."""
        if self.state == DONE:
            return ""
        if self.proposed is not None:
            return "a second person to confirm the decision"
        clearance = self.clearance or Clearance(batch=self.name)
        if clearance.suspected:
            return f"food safety: {clearance.suspected} suspected, not tasted"
        if clearance.food_safe is False:
            return "decision: food safety has not cleared it"
        if clearance.food_safe is None:
            return "clearance by food safety" + " after a complaint" * self.complained
        if not clearance.declared:
            return "declaration of allergens"
        if any(not tasting.over for tasting in self.tastings):
            return "ballots of its tasting"
        if self.latest is None:
            return "tasting"
        if self.recommended is Disposition.RETEST:
            return "the planned second tasting"
        return self._decision_awaited()

    def _decision_awaited(self) -> str:
        if self.decision is None:
            return "decision"
        if self.complained:
            return "a new decision after the complaint"
        if self.decision.disposition in ENDS:
            return "a new decision: its tasting was read again"
        return ON_HOLD

    @property
    def next_in_words(self) -> str:
        """What has to happen next, as a heading."""
        awaited = self.waits_for
        return "On hold: decision needed" if awaited == ON_HOLD else f"Waits for {awaited}"

    def links(self) -> tuple[tuple[str, str], ...]:
        """What it hangs together with: kind and key of lots, sessions, references, causes, the
        months in which there were complaints, and whether one is open."""
        lots = self.batch.raw_lots
        links = [("lot", key_of(raw.lot)) for raw in lots]
        links += [("material lot", lot_key(raw.material, raw.lot)) for raw in lots]
        links += [("complaint", complaint.received_on[:7]) for complaint in self.complaints]
        links += [OPEN_COMPLAINT for complaint in self.complaints if not complaint.closed]
        causes = [decision.cause for decision in self.decisions]
        causes += [complaint.cause for complaint in self.complaints]
        links += [("cause", key_of(cause)) for cause in causes if cause]
        links += [("rework", key_of(other)) for other in self.batch.rework_of]
        links += [("session", tasting.session) for tasting in self.tastings]
        if self.reference:
            links.append(("reference", key_of(self.reference)))
        return tuple(dict.fromkeys(links))
