"""The nouns of release: products, batches, clearances, dispositions."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, number, once, parts
from ..catalogue.defects import DefectList
from ..sessions.care import SUSPICIONS


class Disposition(StrEnum):
    """What may be recommended for a batch, in the words of the trade."""

    RELEASE = "RELEASE"
    HOLD = "HOLD"
    RETEST = "RETEST"
    REJECT = "REJECT"
    REWORK = "REWORK"

    @property
    def sentence(self) -> str:
        """The recommendation in words."""
        return _RECOMMENDED[self]


_RECOMMENDED = {
    Disposition.RELEASE: "Release is recommended.",
    Disposition.HOLD: "Hold the batch.",
    Disposition.RETEST: "Hold the batch for the second tasting that was planned beforehand.",
    Disposition.REJECT: "Rejection is recommended.",
    Disposition.REWORK: (
        "Rework is recommended; what comes of it is a new batch with a declaration of allergens "
        "and a tasting of its own."
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeLimit(Plain):
    """What is tolerated in one attribute: a margin round the reference, or limits of the scale.

    Attributes
    ----------
    attribute : str
    margin : float or None
        Tolerated difference from the reference in either direction, in points of the scale.
    low, high : float or None
        Or the tolerated range on the scale; one of the two may be missing.
    """

    attribute: str
    margin: float | None = None
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        named("attribute", self.attribute)
        for name in ("margin", "low", "high"):
            number(f"{name} of {self.attribute}", getattr(self, name))
        ends = self.low is not None or self.high is not None
        if (self.margin is not None) == ends:
            raise RecordError(
                f"{self.attribute} needs either a margin or limits (low, high), not both; got "
                f"margin {self.margin}, low {self.low}, high {self.high}."
            )
        if self.margin is not None and self.margin <= 0:
            raise RecordError(f"margin of {self.attribute} must be above 0; got {self.margin:g}.")
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise RecordError(
                f"limits of {self.attribute} must go upwards; got {self.low:g} to {self.high:g}."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Product(Plain):
    """What is made again and again, with what is tolerated and by which rule it is released.

    Attributes
    ----------
    name : str
    attributes : tuple of AttributeLimit
    release_rule : dict
        The rule as data, `ReleaseRule.to_dict`; empty as long as none
        is agreed.
    drift_limit : float or None
        How far a reference may lie from the first one, on the scale of the bridges.
    defects : DefectList or None
        Its own list of defects in the version that holds; None as long as there is none.
    """

    name: str
    attributes: tuple[AttributeLimit, ...] = ()
    release_rule: dict[str, Any] = field(default_factory=dict)
    drift_limit: float | None = None
    defects: DefectList | None = field(default=None, metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("name of the product", self.name)
        number("drift_limit", self.drift_limit)
        if self.drift_limit is not None and self.drift_limit <= 0:
            raise RecordError(f"drift_limit must be above 0; got {self.drift_limit:g}.")
        parts("attributes", self.attributes, AttributeLimit)
        once("attribute", (limit.attribute for limit in self.attributes))

    @property
    def margins(self) -> dict[str, float]:
        """Margin of each attribute that has one, as `profile` takes them."""
        return {
            limit.attribute: limit.margin for limit in self.attributes if limit.margin is not None
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class RawLot(Plain):
    """One raw material of a batch with its lot, and who supplied it where that is stated."""

    material: str
    lot: str
    supplier: str = ""

    def __post_init__(self) -> None:
        named("material", self.material)
        named(f"lot of {self.material}", self.lot)


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch(Plain):
    """What is released or not.

    Attributes
    ----------
    number, product : str
    made_on : str
        Date, ISO 8601.
    line : str
    amount : float or None
    unit : str
        Of the amount.
    raw_lots : tuple of RawLot
    rework_of : tuple of str
        Numbers of the batches that went into it. Rework makes a new batch, with its own
        declaration of allergens and its own tasting.
    """

    number: str
    product: str
    made_on: str
    line: str = ""
    amount: float | None = None
    unit: str = ""
    raw_lots: tuple[RawLot, ...] = ()
    rework_of: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        named("number of the batch", self.number)
        named("product", self.product)
        iso_date(f"made_on of {self.number}", self.made_on)
        number(f"amount of {self.number}", self.amount)
        if self.amount is not None and self.amount <= 0:
            raise RecordError(f"amount of {self.number} must be above 0; got {self.amount:g}.")
        if self.amount is not None and not self.unit.strip():
            raise RecordError(f"amount of {self.number} needs a unit.")
        parts("raw_lots", self.raw_lots, RawLot)
        parts("rework_of", self.rework_of, str)
        for other in self.rework_of:
            named("rework_of", other)
        if self.number in self.rework_of:
            raise RecordError(
                f"{self.number} cannot be rework of itself; rework is a new batch with a new "
                "number."
            )
        once("rework_of", self.rework_of)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance(Plain):
    """Whether a batch may be tasted and released as far as food safety goes.

    Attributes
    ----------
    batch : str
        Number of the batch.
    food_safe : bool or None
        What food safety decided; None as long as it has not.
    allergens : tuple of str or None
        The declared allergens, an empty tuple where there is none; None as long as nothing
        is declared.
    food_safe_by, food_safe_on, allergens_by, allergens_on : str
        Role or person, and date; needed where there is a decision or declaration.
    food_safe_role, allergens_role : str
        Role of the person; empty where nobody was on record as signing.
    evidence : str
        What the decision rests on, such as a residue test that was passed.
    suspected : str
        One of `sessions.care.SUSPICIONS` where that is suspected; the batch is not tasted then.
    smelling_by, smelling_role, smelling_on : str
        Who of food safety allows a suspected batch to be smelled, and since when.
    """

    batch: str
    food_safe: bool | None = None
    allergens: tuple[str, ...] | None = None
    food_safe_by: str = ""
    food_safe_on: str = ""
    allergens_by: str = ""
    allergens_on: str = ""
    food_safe_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    allergens_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    evidence: str = field(default="", metadata=LEFT_OUT_EMPTY)
    suspected: str = field(default="", metadata=LEFT_OUT_EMPTY)
    smelling_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    smelling_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    smelling_on: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("batch", self.batch)
        if not (self.food_safe is None or isinstance(self.food_safe, bool)):
            raise RecordError(f"food_safe must be True, False or None; got {self.food_safe!r}.")
        for given, by, on in (
            (self.food_safe, "food_safe_by", "food_safe_on"),
            (self.allergens, "allergens_by", "allergens_on"),
        ):
            if given is not None:
                named(f"{by} of {self.batch}", getattr(self, by))
                iso_date(f"{on} of {self.batch}", getattr(self, on))
        if self.allergens is not None:
            parts("allergens", self.allergens, str)
        for allergen in self.allergens or ():
            named("allergens", allergen)
        self._check_suspicion()

    def _check_suspicion(self) -> None:
        if self.suspected and self.suspected not in SUSPICIONS:
            allowed = ", ".join(SUSPICIONS)
            raise RecordError(f"suspected must be one of {allowed}; got {self.suspected!r}.")
        if self.suspected and self.food_safe:
            raise RecordError(
                f"{self.batch} is under suspicion ({self.suspected}): it is cleared once the "
                "suspicion is lifted, with what that rests on."
            )
        if self.smelling_by or self.smelling_on:
            named(f"smelling_by of {self.batch}", self.smelling_by)
            iso_date(f"smelling_on of {self.batch}", self.smelling_on)
            if not self.suspected:
                raise RecordError(f"{self.batch} is not under suspicion: nothing is smelled only.")

    @property
    def declared(self) -> bool:
        """Whether allergens are declared, none at all being a declaration."""
        return self.allergens is not None

    @property
    def complete(self) -> bool:
        """Whether food safety cleared it and allergens are declared."""
        return self.food_safe is True and self.declared
