"""What of a tasting can harm: what the samples hold, who cleared them, and who felt unwell.

Why so
------
Substances and clearance stand in the description of the session, so that report and archive hold
them, and so that no session lacks them, whether it belongs to a batch or not. Of an adverse
reaction the record keeps when it was reported, from which seat, and what became of the session:
no symptom, for what a person felt is health data and belongs into the plant's own accident
record. The age below which nobody is served is agreed, since laws differ; 18 is offered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, number
from ..base.spelling import name_and_role

ALCOHOL, CAFFEINE, SPECIAL = "alcohol", "caffeine", "special"
SUBSTANCES = {ALCOHOL: "alcohol", CAFFEINE: "caffeine", SPECIAL: "a special ingredient"}
"""What assessors are warned of before they consent, in words."""
UNITS = {ALCOHOL: "g", CAFFEINE: "mg", SPECIAL: "mg"}
TAINT, FOREIGN = "chemical taint", "foreign matter"
SUSPICIONS = (TAINT, FOREIGN)
"""Suspicions under which nothing is put into the mouth."""
ADULT = 18


@dataclass(frozen=True, slots=True, kw_only=True)
class Substance(Plain):
    """Something in the samples that not everybody may take.

    `kind`: a key of `SUBSTANCES`.
    `name`: of a special ingredient, in the language of the ballots.
    `amount`: in one serving, in the unit of `UNITS`; None where it is not stated.
    `age`: who is younger is not served.
    """

    kind: str
    name: str = ""
    amount: float | None = None
    age: int = ADULT

    def __post_init__(self) -> None:
        if self.kind not in SUBSTANCES:
            raise RecordError(f"kind must be one of {', '.join(SUBSTANCES)}; got {self.kind!r}.")
        number(f"amount of {self.kind}", self.amount)
        if self.amount is not None and self.amount < 0:
            raise RecordError(f"amount of {self.kind} cannot be below 0; got {self.amount:g}.")
        if not 0 < self.age < 100:
            raise RecordError(f"age for {self.kind} must be from 1 to 99; got {self.age}.")

    @property
    def called(self) -> str:
        """What it is called; a special ingredient by its name."""
        return self.name.strip() or SUBSTANCES[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reaction(Plain):
    """That somebody felt unwell: when, on which seat, and who took it up.

    `at`, `taken_up_at`: UTC, ISO 8601.
    `seat`: empty where it was not said whose.
    `goes_on`: whether the tasting went on afterwards.
    `done`: what was done, without names and nothing about health.
    """

    at: str
    seat: str = ""
    taken_up_at: str = ""
    taken_up_by: str = ""
    goes_on: bool = False
    done: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Care(Plain):
    """What is agreed and known about the safety of one tasting.

    `cleared_by`, `cleared_role`, `cleared_on`, `evidence`: who cleared the samples, on which day,
        and on what that rests, such as a residue test that was passed.
    `suspected`: one of `SUSPICIONS`, or empty. Such samples are not tasted.
    `smelling_by`, `smelling_role`, `smelling_on`: who of food safety allows them to be smelled,
        and since when.
    `most`: highest number of servings a person and day; None where none is agreed.
    """

    cleared_by: str = ""
    cleared_on: str = ""
    evidence: str = ""
    suspected: str = ""
    smelling_by: str = ""
    smelling_on: str = ""
    contains: tuple[Substance, ...] = ()
    most: int | None = None
    # of who signed; empty where nobody was on record as signing
    cleared_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    smelling_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    reactions: tuple[Reaction, ...] = field(default=(), metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        if self.suspected and self.suspected not in SUSPICIONS:
            allowed = ", ".join(SUSPICIONS)
            raise RecordError(f"suspected must be one of {allowed}; got {self.suspected!r}.")
        for name in ("cleared_on", "smelling_on"):
            if day := getattr(self, name):
                iso_date(name, day)

    @property
    def smelling_only(self) -> bool:
        """Whether the samples may be smelled and not tasted."""
        return bool(self.suspected and self.smelling_by.strip() and self.smelling_on)

    def suspect(self, suspected: str) -> Care:
        """The same under another suspicion, or none: what was signed before it does not hold."""
        return Care(
            suspected=suspected, contains=self.contains, most=self.most, reactions=self.reactions
        )

    @property
    def unwell(self) -> tuple[Reaction, ...]:
        """Reactions that nobody has taken up."""
        return tuple(reaction for reaction in self.reactions if not reaction.taken_up_at)

    @property
    def stopped(self) -> bool:
        """Whether nothing more is served because somebody felt unwell."""
        return any(not reaction.goes_on for reaction in self.reactions)

    @property
    def adults_only(self) -> bool:
        """Whether something in the samples is not for minors, whoever consents."""
        return any(substance.age >= ADULT for substance in self.contains)

    def missing(self) -> list[str]:
        """What has to be said before people may taste, or smell."""
        asked = [
            "Which special ingredient do the samples hold?"
            for substance in self.contains
            if substance.kind == SPECIAL and not substance.name.strip()
        ]
        if self.suspected:
            if not self.smelling_only:
                asked.append(
                    f"A {self.suspected} is suspected: the samples are not tasted. They may be "
                    "smelled only where food safety allows it: who, and on which day?"
                )
        elif not self.cleared_by.strip() or not self.cleared_on:
            asked.append("Who cleared the samples for tasting, and on which day?")
        return asked


def told_before(care: Care, words: Mapping[str, Any]) -> list[str]:
    """What assessors read before they consent, in the words of their language.

    >>> told_before(Care(contains=(Substance(kind="caffeine"),)), {
    ...     "caution_caffeine": "Caffeine: not below {age}.", "caution_general": "Not when ill.",
    ...     "caution_swallow": "You may expectorate."})
    ['Caffeine: not below 18.', 'Not when ill.', 'You may expectorate.']
    """
    warned = [
        words[f"caution_{substance.kind}"].format(age=substance.age, ingredient=substance.name)
        for substance in care.contains
    ]
    last = "caution_smell_only" if care.smelling_only else "caution_swallow"
    return [*warned, words["caution_general"], words[last]]


def care_in_words(care: Care) -> list[tuple[str, str]]:
    """The same for the leader and the report: labels and what is on record; empty ones too."""
    by = name_and_role(care.cleared_by, care.cleared_role)
    cleared = f"by {by} on {care.cleared_on}" if by else ""
    if cleared and care.evidence:
        cleared += f": {care.evidence}"
    allowed = name_and_role(care.smelling_by, care.smelling_role)
    smelled = f"allowed by {allowed} on {care.smelling_on}" if care.smelling_only else ""
    return [
        ("Cleared", cleared),
        ("Suspected", f"{care.suspected}: not tasted" if care.suspected else ""),
        ("Smelled only", smelled),
        ("Assessors warned of", ", ".join(map(_warned, care.contains))),
        ("Servings a day", f"at most {care.most} a person" if care.most else ""),
        ("Adverse reactions", "; ".join(map(_reaction, care.reactions))),
    ]


def _warned(substance: Substance) -> str:
    amount = ""
    if substance.amount is not None:
        amount = f", {substance.amount:g} {UNITS[substance.kind]} a serving"
    return f"{substance.called} (from {substance.age} years{amount})"


def _reaction(reaction: Reaction) -> str:
    words = f"reported at {reaction.at[:16].replace('T', ' ')} UTC"
    if not reaction.taken_up_at:
        return f"{words}, not taken up yet"
    then = "tasting went on" if reaction.goes_on else "tasting ended"
    return f"{words}, taken up by {reaction.taken_up_by}; {then}"
