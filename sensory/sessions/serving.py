"""What a session keeps of its serving: the plan, the booths, and what was said before and after.

It names no person: assessors have seats, so that a name can be erased.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from ..base.plain import LEFT_OUT_EMPTY, Plain, written_as
from ..serving.chance import guessable
from ..serving.cups import SEAT
from ..serving.layout import ServingDesign, ServingRow
from ..serving.plan import ServingPlan

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended(Plain):
    """The end of a break.

    `at`: UTC, ISO 8601.
    `seconds`: from the last ballot before it; 0 where there was none.
    """

    at: str
    seconds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaks(Plain):
    """Breaks between the sittings; sessions of one sitting have none.

    `minutes`: how long a break lasts at least for each assessor; 0 where the leader starts the next
        sitting for all.
    `started`: the sitting that the leader has started.
    `ended`: by sitting that the leader started, when the break before it was over, and how many
        seconds it had lasted.
    """

    minutes: int
    started: int
    ended: dict[str, Ended] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation(Plain):
    """When it was confirmed that all not stated otherwise was served as planned.

    `at`: UTC, ISO 8601.
    """

    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Serving(Plain):
    """What a session keeps of its serving.

    `planned`: the plan with seats in place of names, as it is written on record: sessions are
        listed by the hundred, and a plan has hundreds of cups. `plan` is what it says.
    `language`: of the ballots.
    `booths`: seat by the SHA-256 of the token of its link.
    `allergens`: declared by sample.
    `excluded`: by seat, the samples that are not for its assessor; only where there are any.
    `guardians`: by seat of a minor, the day of the guardian's consent on file; empty for none.
    `late`: by first line of a ballot that was answered and not sent before closing: when it was.
    """

    planned: dict[str, Any] = field(metadata=written_as("plan"))
    language: str = "en"
    booths: dict[str, str] = field(default_factory=dict)
    breaks: Breaks | None = field(default=None, metadata=LEFT_OUT_EMPTY)
    allergens: dict[str, str] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)
    excluded: dict[str, tuple[str, ...]] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)
    confirmed: Confirmation | None = field(
        default=None, metadata=LEFT_OUT_EMPTY | written_as("served")
    )
    late: dict[str, str] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)
    guardians: dict[str, str] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)

    @property
    def plan(self) -> ServingPlan:
        """The plan with seats in place of names; RecordError where it cannot be read."""
        return ServingPlan.from_dict(self.planned)

    @property
    def guessable(self) -> bool:
        """Whether the key can be computed from the codes of a booth: seeds had six digits once."""
        return guessable(self.planned["seed"])

    @property
    def design(self) -> ServingDesign:
        """What is the same for every assessor of the plan."""
        return ServingDesign.from_dict(self.planned["design"])

    @property
    def seats(self) -> tuple[str, ...]:
        """Who is in the plan, late ones at the end."""
        return tuple(self.planned["assessors"])

    @property
    def samples(self) -> tuple[str, ...]:
        """Every sample of the plan, then labelled references and warm-up."""
        rows = self.planned["rows"]
        served = _read_once(
            (id(rows), ""), rows, lambda: tuple(dict.fromkeys(row["sample"] for row in rows))
        )
        sets = self.planned["design"]["samples"]
        named = [name for names in sets for name in names if name in served]
        return tuple(dict.fromkeys([*named, *served]))

    def cups(self, seat: str) -> tuple[ServingRow, ...]:
        """The planned cups of one seat, first served first."""
        rows = self.planned["rows"]
        return _read_once(
            (id(rows), seat),
            rows,
            lambda: tuple(ServingRow.from_dict(row) for row in rows if row["assessor"] == seat),
        )

    def excluding(self, seat: str, samples: Collection[str]) -> Serving:
        """The serving where exactly these samples are not for the assessor of a seat."""
        names = tuple(name for name in self.samples if name in samples)
        excluded = {**self.excluded, seat: names}
        return replace(self, excluded={other: out for other, out in excluded.items() if out})

    def declaring(self, allergens: Mapping[str, str]) -> Serving:
        """The serving with further declarations; an empty text takes one back."""
        declared = {**self.allergens, **allergens}
        return replace(self, allergens={name: text for name, text in declared.items() if text})

    def changed(self, plan: ServingPlan, booths: Mapping[str, str]) -> Serving:
        """The serving by another plan, which is yet to be confirmed."""
        return replace(self, planned=plan.to_dict(), booths=dict(booths), confirmed=None)


def seats_of(people: Collection[str]) -> dict[str, str]:
    """The seat of each name, where the names stand in the order of the ballot lines.

    >>> seats_of(["Mira", "Zoë"])
    {'Mira': 'seat 1', 'Zoë': 'seat 2'}
    """
    return {name: f"{SEAT}{number}" for number, name in enumerate(people, start=1)}


Rows = list[dict[str, Any]]
_MOST = 500
_READ: dict[tuple[int, str], tuple[Rows, Any]] = {}


def _read_once(key: tuple[int, str], rows: Rows, read: Callable[[], Read]) -> Read:
    """What a plan's rows say, which a booth asks for at each tap; they are never changed in place.

    The rows are kept beside it: as long as they are, no other list has their number.
    """
    kept = _READ.get(key)
    if kept is None or kept[0] is not rows:
        while len(_READ) >= _MOST:
            _READ.pop(next(iter(_READ)), None)
        kept = _READ[key] = rows, read()
    there: Read = kept[1]
    return there
