"""Who may sign, and who signed: a name with its role, and how far the name is proven."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..base.errors import RecordError
from ..base.plain import Plain
from ..base.record_checks import named
from ..base.spelling import name_and_role, same_person
from .session import JournalEntry

TYPED = "name typed, not proven"
PASSCODE = "signed in with a passcode"
PROVIDER = "signed in by the provider"
INVENTED = "invented, for a demo"


class Right(StrEnum):
    """What a person may do."""

    AGREE = "agree"
    CLEAR = "clear"
    DECIDE = "decide"
    MANAGE = "manage"

    @property
    def words(self) -> str:
        """As it follows on 'may'."""
        return _WORDS[self]


_WORDS = {
    Right.AGREE: "agree questions and rules",
    Right.CLEAR: "clear batches (food safety, allergens)",
    Right.DECIDE: "decide on batches",
    Right.MANAGE: "manage people",
}
BOOTH = "booth"
"""As what an assessor acts at a booth; stands in the journal beside the name."""
ANYBODY = "the authorised person of the plant"
"""The role in a release rule that everybody fills who may decide on batches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person(Plain):
    """Somebody who signs.

    `name`: as it stands in the journal, until it is erased.
    `roles`: in the words of the plant, as in ('release officer', 'head of quality').
    `may`: what the person is allowed to sign.
    `active`: False where the person no longer signs.
    `key`: identifier in the record; empty as long as the person is not on record.
    """

    name: str
    roles: tuple[str, ...]
    may: tuple[Right, ...] = ()
    active: bool = True
    key: str = ""

    def __post_init__(self) -> None:
        named("name", self.name)
        object.__setattr__(self, "name", " ".join(self.name.split()))
        roles = tuple(" ".join(role.split()) for role in self.roles if role.strip())
        if not roles:
            raise RecordError(f"The role of {self.name} is missing, as in: release officer.")
        object.__setattr__(self, "roles", roles)
        object.__setattr__(self, "may", tuple(right for right in Right if right in self.may))

    def role_for(self, asked: str) -> str | None:
        """The role in which the person signs where `asked` is asked for; None without it.

        >>> Person(name="Nora", roles=("QA", "release officer")).role_for("Release officer")
        'release officer'
        """
        if not asked or same_person(asked) == same_person(ANYBODY):
            return self.roles[0]
        held = (role for role in self.roles if same_person(role) == same_person(asked))
        return next(held, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature(Plain):
    """The identity that an agreement, a clearance, a decision or a complaint carries.

    `role`: empty where nobody is on record, so that no role is.
    `how`: in words, as `TYPED` or `PASSCODE`.
    """

    by: str
    role: str = ""
    how: str = TYPED

    @property
    def words(self) -> str:
        """Name, role and proof.

        >>> Signature(by="Nora", role="release officer", how=PASSCODE).words
        'Nora, release officer (signed in with a passcode)'
        """
        return f"{name_and_role(self.by, self.role)} ({self.how})"


def signed_words(entry: JournalEntry) -> str:
    """Who did what an entry says: the signature where it carries one."""
    if "signed" not in entry.content:
        return entry.by
    return Signature.from_dict(entry.content["signed"]).words
