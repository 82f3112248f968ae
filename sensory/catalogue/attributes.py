"""What the words on a ballot mean: definition, how to assess, reference standards; in versions.

Why so
------
A question carries the version that it used as a copy, under its digest: a profile of last year
shows what its words meant then, whatever they mean now, its archive needs nothing else, and a booth
reads no more than it did. A version is never changed. What changes every week is when a standard
was made and how long it is usable; that belongs to the words on record, not to a version, and no
question has it. Standards are tasted, so that each says which allergens it holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from ..base.checks import one_count
from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, number, once, parts
from ..base.spelling import key_of
from .scales import Scale

NO_ALLERGEN = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceStandard(Plain):
    """A sample that shows how strong an attribute is at one point of the scale.

    Attributes
    ----------
    name, recipe : str
        The recipe in plain terms, as ``citric acid, 1.2 g in 1 l of water``.
    intensity, low, high : float
        What the panel agreed, and the range within which it accepts a mark; points of the scale.
    allergens : str
        Those that it holds, separated by semicolons; ``none`` where it holds none.
    made_on, usable_until : str
        Days, ISO 8601; empty as long as it is not made.

    Examples
    --------
    >>> base = ReferenceStandard(
    ...     name="sour base", recipe="citric acid, 1.2 g in 1 l of water", intensity=5,
    ...     low=4.5, high=5.5, allergens="none", made_on="2026-11-02", usable_until="2026-11-09",
    ... )
    >>> base.lacks("2026-11-03"), base.lacks("2026-11-20")
    ('', 'sour base was usable until 2026-11-09')
    """

    name: str
    recipe: str
    intensity: float
    low: float
    high: float
    allergens: str
    made_on: str = field(default="", metadata=LEFT_OUT_EMPTY)
    usable_until: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        named("name of the reference standard", self.name)
        named(f"recipe of {self.name}", self.recipe)
        named(f"allergens of {self.name} ('none' where it holds none)", self.allergens)
        for name in ("intensity", "low", "high"):
            number(f"{name} of {self.name}", getattr(self, name), needed=True)
        if not self.low <= self.intensity <= self.high:
            raise RecordError(
                f"The intensity of {self.name} must lie within its range; got {self.intensity:g} "
                f"and {self.low:g} to {self.high:g}."
            )
        if self.made_on or self.usable_until:
            made = iso_date(f"day on which {self.name} was made", self.made_on)
            if iso_date(f"last day of {self.name}", self.usable_until) < made:
                raise RecordError(
                    f"{self.name} is usable until {self.usable_until}, before it was made on "
                    f"{self.made_on}."
                )

    def lacks(self, day: str) -> str:
        """Why it cannot be used on a day, ISO 8601; empty where it can."""
        if not self.made_on:
            return f"{self.name} is not made yet"
        if day > self.usable_until:
            return f"{self.name} was usable until {self.usable_until}"
        return f"{self.name} is made on {self.made_on} only" if day < self.made_on else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DefinedAttribute(Plain):
    """A word of the panel.

    `definition`, `assess`: what is meant, and how it is assessed; plain words.
    `low_word`, `high_word`: at the ends of its scale; empty for the usual ones.
    `standards`: from the weakest to the strongest.
    """

    attribute: str
    definition: str
    assess: str = ""
    low_word: str = ""
    high_word: str = ""
    standards: tuple[ReferenceStandard, ...] = ()

    def __post_init__(self) -> None:
        named("attribute", self.attribute)
        if ";" in self.attribute:
            raise RecordError(f"The word {self.attribute!r} must do without a semicolon.")
        named(f"definition of {self.attribute}", self.definition)
        parts("standards", self.standards, ReferenceStandard)
        once(f"reference standard of {self.attribute}", (key_of(s.name) for s in self.standards))

    def ends(self, scale: Scale, words: Mapping[str, Any]) -> tuple[str, str]:
        """Words at the ends of its scale: its own, else those of the session."""
        low, high = scale.ends(self.attribute, words)
        return self.low_word or low, self.high_word or high

    def about(self, scale: Scale, words: Mapping[str, Any]) -> tuple[str, ...]:
        """What a ballot says of it, in the words of a language; a line each."""
        how = [words["how_to_assess"].format(how=self.assess)] if self.assess else []
        return (self.definition, *how, *(_shown(each, scale, words) for each in self.standards))


def _shown(standard: ReferenceStandard, scale: Scale, words: Mapping[str, Any]) -> str:
    line: str = words["reference_standard"].format(
        name=standard.name,
        intensity=f"{standard.intensity:g}",
        low=f"{standard.low:g}",
        high=f"{standard.high:g}",
        bottom=f"{scale.low:g}",
        top=f"{scale.high:g}",
    )
    if standard.allergens.strip().casefold() == NO_ALLERGEN:
        return line
    return f"{line} {words['standard_contains'].format(allergens=standard.allergens)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary(Plain):
    """The words of a product in one version.

    `since`: day, ISO 8601.
    `low`, `high`: ends of the scale on which the intensities are agreed.
    """

    product: str
    since: str
    attributes: tuple[DefinedAttribute, ...]
    version: int = 1
    low: float = 0.0
    high: float = 10.0

    def __post_init__(self) -> None:
        named("product", self.product)
        iso_date(f"since when the words of {self.product} hold", self.since)
        one_count("version", self.version, at_least=1)
        number("lowest score of the scale", self.low, needed=True)
        number("highest score of the scale", self.high, needed=True)
        if not self.low < self.high:
            raise RecordError(f"The scale must go upwards; got {self.low:g} to {self.high:g}.")
        parts("attributes", self.attributes, DefinedAttribute)
        once("word", (key_of(each.attribute) for each in self.attributes))
        for standard in self.standards:
            if standard.low < self.low or standard.high > self.high:
                raise RecordError(
                    f"The range of {standard.name}, {standard.low:g} to {standard.high:g}, leaves "
                    f"the scale of {self.low:g} to {self.high:g}."
                )

    @property
    def name(self) -> str:
        """Under which they stand in the register."""
        return self.product

    @property
    def words(self) -> str:
        """Product and version, as pages and papers name them."""
        return f"{self.product}, version {self.version}"

    @property
    def standards(self) -> tuple[ReferenceStandard, ...]:
        """The reference standards of all attributes."""
        return tuple(standard for each in self.attributes for standard in each.standards)

    def of(self, attribute: str) -> DefinedAttribute | None:
        """What is kept of a word, however it is spelt; None where it has no definition."""
        wanted = key_of(attribute)
        return next((each for each in self.attributes if key_of(each.attribute) == wanted), None)

    def asked(self, attributes: tuple[str, ...]) -> tuple[DefinedAttribute, ...]:
        """Those of the attributes that have a definition, in their order."""
        return tuple(each for name in attributes if (each := self.of(name)) is not None)

    def for_question(self) -> Vocabulary:
        """The copy that a question carries: without the days of the standards."""
        undated = tuple(
            replace(
                each,
                standards=tuple(replace(s, made_on="", usable_until="") for s in each.standards),
            )
            for each in self.attributes
        )
        return replace(self, attributes=undated)

    def check_scale(self, scale: Scale) -> None:
        """RecordError where a session scores on another scale than the standards were agreed on."""
        if self.standards and (scale.low, scale.high) != (self.low, self.high):
            raise RecordError(
                f"The reference standards of {self.words} were agreed on a scale of {self.low:g} "
                f"to {self.high:g}; this question scores from {scale.low:g} to {scale.high:g}. "
                "Take the same scale, or ask without definitions."
            )
