"""An assessor in the register: panels and roles, languages, qualifications, what is not served.

Why so
------
The register stands on record as nouns, each under a random key; the name is held as a reference
that can be erased, so neither the key nor the journal gives it away. Of a reason why a sample is
not for somebody nothing is kept: health data have no place here. An assessor who leaves stays in
the register with that role, since results on record rest on the qualifications of the day.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from ..base.errors import RecordError
from ..base.languages import languages
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, once, parts
from ..base.spelling import key_of

_ERASED = "erased "


class Role(StrEnum):
    """What somebody is in a panel."""

    CANDIDATE = "candidate"
    TRAINING = "in training"
    ASSESSOR = "assessor"
    EXPERT = "expert"
    LEFT = "left"


SERVING_ROLES = (Role.ASSESSOR, Role.EXPERT)
"""Roles whose answers count in a session on a product."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Membership(Plain):
    """The role that somebody has in a panel of a site or a shift."""

    panel: str
    role: Role

    def __post_init__(self) -> None:
        named("panel", self.panel)


@dataclass(frozen=True, slots=True, kw_only=True)
class Qualification(Plain):
    """That somebody is qualified for a product.

    `since`, `until`: dates, ISO 8601; both included. Empty `until`: until it is taken back.
    `attributes`: those on which training has shown it; empty where it rests on something else.
    """

    product: str
    since: str
    until: str = ""
    attributes: tuple[str, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("product", self.product)
        start = iso_date(f"qualified for {self.product} since", self.since)
        if self.until and iso_date(f"qualified for {self.product} until", self.until) < start:
            raise RecordError(
                f"The qualification for {self.product} ends on {self.until}, before it begins on "
                f"{self.since}."
            )

    def holds(self, product: str, day: str) -> bool:
        """Whether it is for this product and holds on this day."""
        return (
            key_of(product) == key_of(self.product)
            and self.since <= day
            and (not self.until or day <= self.until)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleDecision(Plain):
    """That somebody got a role in a panel, or kept it, after screening or without.

    `before`: the role until then.
    `decided_on`, `requalify_by`: days, ISO 8601; the latter empty where no day was set.
    """

    panel: str
    role: Role
    before: Role
    decided_on: str
    decided_by: str
    requalify_by: str = ""

    def __post_init__(self) -> None:
        named("panel", self.panel)
        named("name of who decides", self.decided_by)
        day = iso_date("day of the decision", self.decided_on)
        if self.requalify_by and iso_date("day of the next screening", self.requalify_by) < day:
            raise RecordError(
                f"The next screening, {self.requalify_by}, lies before the decision, "
                f"{self.decided_on}."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessor(Plain):
    """Somebody of a panel.

    `key`: random; says nothing of the person.
    `person`: the name, or `erased` and a number once it was erased.
    `entered_on`: date of entry.
    `panels`: one role a panel.
    `languages`: codes of those in which a ballot is understood.
    `not_these`: samples or products that are not for the person, without a reason.
    `decisions`: on roles, oldest first.

    Examples
    --------
    >>> ada = Assessor(
    ...     key=new_key(),
    ...     person="Ada Holm",
    ...     entered_on="2026-01-08",
    ...     panels=(Membership(panel="day shift", role=Role.ASSESSOR),),
    ...     qualified=(Qualification(product="quince cordial", since="2026-02-01"),),
    ... )
    >>> ada.role_in("Day shift"), ada.qualified_for("Quince cordial", "2026-01-31")
    (<Role.ASSESSOR: 'assessor'>, False)
    """

    key: str
    person: str
    entered_on: str
    panels: tuple[Membership, ...]
    languages: tuple[str, ...] = ()
    qualified: tuple[Qualification, ...] = ()
    not_these: tuple[str, ...] = ()
    decisions: tuple[RoleDecision, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("key of the assessor", self.key)
        named("name of the assessor", self.person)
        iso_date("entry date", self.entered_on)
        parts("panels", self.panels, Membership)
        parts("qualified", self.qualified, Qualification)
        parts("decisions", self.decisions, RoleDecision)
        if not self.panels:
            raise RecordError("An assessor belongs to one panel at least: name it, and the role.")
        once("panel", (key_of(each.panel) for each in self.panels))
        once("qualification for", (key_of(each.product) for each in self.qualified))
        once("excluded sample", map(key_of, self.not_these))
        for text in self.not_these:
            named("excluded sample", text)
        if strange := set(self.languages) - set(languages()):
            raise RecordError(
                f"languages must be some of {', '.join(languages())}; got {', '.join(strange)}."
            )

    @property
    def name(self) -> str:
        """Under which the entry stands in the register."""
        return self.key

    @property
    def erased(self) -> bool:
        """Whether the name was erased."""
        return self.person.startswith(_ERASED)

    @property
    def left(self) -> bool:
        """Whether the person belongs to no panel any more, or was erased."""
        return self.erased or all(each.role is Role.LEFT for each in self.panels)

    def role_in(self, panel: str) -> Role | None:
        """The role in a panel; None where the person never belonged to it."""
        roles = {key_of(each.panel): each.role for each in self.panels}
        return roles.get(key_of(panel))

    @property
    def requalify_by(self) -> str:
        """The earliest day on which a panel screens the person again; empty where none was set.

        Of each panel its latest decision counts, as long as the role is held that it gave.
        """
        latest = {key_of(each.panel): each for each in self.decisions}
        days = [
            each.requalify_by
            for each in latest.values()
            if each.requalify_by and self.role_in(each.panel) is each.role
        ]
        return min(days, default="")

    def qualified_for(self, product: str, day: str) -> bool:
        """Whether a qualification for the product holds on a day, ISO 8601."""
        return any(each.holds(product, day) for each in self.qualified)

    def lapsing(self, day: str, within: int = 30) -> tuple[Qualification, ...]:
        """Qualifications that end within so many days from a day on."""
        today = date.fromisoformat(day)
        return tuple(
            each
            for each in self.qualified
            if each.until and 0 <= (date.fromisoformat(each.until) - today).days <= within
        )


def new_key() -> str:
    """A fresh key that says nothing of the person: 32 hexadecimal digits."""
    return secrets.token_hex(16)
