"""References and the bridges between them: what batches are compared with.

Why so
------
A bridge says on what it stands: on a tasting on record, whose finding `bridging` reads off what
its session showed (`shown` holds the numbers); on a decision of the named role, the exception, for
example where nothing is left of the old reference; or, in records of older programs, on a finding
that was typed. The last is shown as such and no longer taken.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from ..base.errors import RecordError
from ..base.findings import Finding
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, number, one_of, parts


class ReferenceKind(StrEnum):
    """The three kinds of reference that ISO 16779:2015 knows."""

    EARLIER_STANDARD = "EARLIER_STANDARD"
    FRESHLY_MADE = "FRESHLY_MADE"
    STORED_STABLE = "STORED_STABLE"

    @property
    def words(self) -> str:
        """The kind in words."""
        return _KINDS[self]


_NOBODY = "and who decided is not on record"
_KINDS = {
    ReferenceKind.EARLIER_STANDARD: "an earlier standard with its recorded data",
    ReferenceKind.FRESHLY_MADE: "freshly made for each date",
    ReferenceKind.STORED_STABLE: "stored so that change is minimal",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge(Plain):
    """How a reference was compared with an older one, or why it was not.

    Attributes
    ----------
    reference, to : str
        The newer reference and the older one.
    held_on : str
        Date of the comparison or of the decision against it, ISO 8601.
    finding : Finding or None
    reason : str
        Why the newer one takes over without similarity; needed where there is no finding.
    estimate, se : float or None
        Newer less older with its standard error, on one scale with a direction that all
        bridges of the product share, such as the score of the attribute that ages most. An
        overall difference has no direction, so its steps could not be added.
    session : str
        Of the record, where they were tasted beside each other.
    shown : str
        What that session showed, in numbers; empty where the finding was typed.
    attribute : str
        Of which the estimate is.
    decided_by, role : str
        Who decided that it takes over without similarity, in which role.
    """

    reference: str
    to: str
    held_on: str
    finding: Finding | None = None
    reason: str = ""
    estimate: float | None = None
    se: float | None = None
    session: str = ""
    shown: str = field(default="", metadata=LEFT_OUT_EMPTY)
    attribute: str = field(default="", metadata=LEFT_OUT_EMPTY)
    decided_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    role: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("reference", self.reference)
        named("to", self.to)
        iso_date("held_on", self.held_on)
        where = f"the bridge from {self.reference} to {self.to}"
        if self.reference == self.to:
            raise RecordError(f"{self.reference} cannot be bridged to itself.")
        if self.finding is not None:
            object.__setattr__(self, "finding", one_of("finding", self.finding, Finding))
        elif not self.reason.strip():
            raise RecordError(f"{where} needs a finding, or the reason why there is none.")
        for name in ("estimate", "se"):
            number(f"{name} of {where}", getattr(self, name))
        if (self.estimate is None) != (self.se is None):
            raise RecordError(f"{where} needs estimate and se together, or neither.")
        if self.se is not None and self.se < 0:
            raise RecordError(f"se of {where} must not be negative; got {self.se:g}.")
        if self.shown and not (self.session and self.finding):
            raise RecordError(f"{where} shows numbers: name their session and its finding.")
        if bool(self.decided_by.strip()) != bool(self.role.strip()):
            raise RecordError(f"{where} needs name and role of who decided together, or neither.")
        if self.decided_by and not self.reason.strip():
            raise RecordError(f"{where} was decided without similarity: give the reason.")

    @property
    def tasted(self) -> bool:
        """Whether it stands on a tasting on record."""
        return bool(self.shown)

    @property
    def typed(self) -> bool:
        """Whether its finding was typed, as older programs took it."""
        return self.finding is not None and not self.tasted

    @property
    def similar(self) -> bool:
        """Whether a tasting on record shows the difference to lie below the limit."""
        return self.tasted and self.finding is not None and self.finding.similar

    def words(self) -> str:
        """On what it stands, in a sentence; with who decided, where it is the exception."""
        head = f"Not tasted beside {self.to}"
        if self.finding is not None:
            how = self.shown if self.tasted else "typed, no tasting on record"
            verdict = self.finding.heading.lower()
            head = f"Compared with {self.to} on {self.held_on}: {verdict} ({how})"
        if not self.reason or (self.finding is not None and self.finding.similar):
            return f"{head}."
        by = f"decided by {self.decided_by}, {self.role}" if self.decided_by else _NOBODY
        day = "" if self.finding else f" on {self.held_on}"
        took_over = f"{self.reference} took over all the same{day}, {by}"
        return f"{head}. {took_over}: {self.reason.rstrip('.')}."


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference(Plain):
    """What batches are compared with.

    Attributes
    ----------
    name, product : str
    kind : ReferenceKind
    batch : str
    made_on, usable_until : str
        Dates, ISO 8601. An earlier standard is compared by its data: it needs no
        `usable_until`.
    storage : str
        Such as "4 °C, dark, under nitrogen"; needed for one that is stored.
    stock, needed : float or None
        How many servings are left, and how many a tasting takes.
    data : dict of str to float
        Mean of each attribute when it was approved; needed for an earlier standard.
    bridged_to_previous, bridged_to_first : Bridge or None
        From before it took over; None for the first reference of a product.
    later : tuple of Bridge
        How it was compared again while it was in use.
    """

    name: str
    product: str
    kind: ReferenceKind
    made_on: str
    batch: str = ""
    storage: str = ""
    usable_until: str = ""
    stock: float | None = None
    needed: float | None = None
    data: dict[str, float] = field(default_factory=dict)
    bridged_to_previous: Bridge | None = None
    bridged_to_first: Bridge | None = None
    later: tuple[Bridge, ...] = ()

    def __post_init__(self) -> None:
        named("name of the reference", self.name)
        named("product", self.product)
        object.__setattr__(self, "kind", one_of("kind", self.kind, ReferenceKind))
        self._check_dates()
        for name in ("stock", "needed"):
            value = getattr(self, name)
            number(name, value)
            if value is not None and value < 0:
                raise RecordError(f"{name} of {self.name} must not be negative; got {value:g}.")
        for attribute, value in self.data.items():
            number(f"data of {attribute}", value, needed=True)
        parts("later", self.later, Bridge)
        for bridge in self.bridges:
            if not isinstance(bridge, Bridge):
                raise RecordError(f"a bridge of {self.name} must be a Bridge; got {bridge!r}.")
            if bridge.reference != self.name:
                raise RecordError(
                    f"{self.name} holds a bridge of {bridge.reference}; its own are needed."
                )
        if self.bridged_to_first is not None and self.bridged_to_previous is None:
            raise RecordError(
                f"{self.name} is bridged to the first reference and not to the previous one; "
                "where the two are the same, give the bridge twice."
            )

    def _check_dates(self) -> None:
        made = iso_date(f"made_on of {self.name}", self.made_on)
        if self.usable_until:
            until = iso_date(f"usable_until of {self.name}", self.usable_until)
            if until < made:
                raise RecordError(
                    f"{self.name} is usable until {until}, before it was made on {made}."
                )
        earlier = self.kind is ReferenceKind.EARLIER_STANDARD
        if earlier and not self.data:
            raise RecordError(f"{self.name} is an earlier standard: give its recorded data.")
        if not earlier and not self.usable_until:
            raise RecordError(f"{self.name} is {self.kind.words}: say usable_until which date.")
        if self.kind is ReferenceKind.STORED_STABLE and not self.storage.strip():
            raise RecordError(f"{self.name} is {self.kind.words}: say how it is stored.")

    @property
    def bridges(self) -> tuple[Bridge, ...]:
        """Its own bridges, each once."""
        own = (self.bridged_to_previous, self.bridged_to_first, *self.later)
        return tuple(dict.fromkeys(bridge for bridge in own if bridge is not None))

    def took_over(self, until: str = "9999") -> tuple[str, ...]:
        """How it took over without a tasting on record that showed similarity, a sentence each.

        `until`: the last day of the bridges that count. Empty where both tastings are on record.
        """
        first = (self.bridged_to_previous, self.bridged_to_first)
        beside = [step for step in first if step and not step.similar and step.held_on <= until]
        return tuple(dict.fromkeys(step.words() for step in beside))
