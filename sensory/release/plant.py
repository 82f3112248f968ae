"""What holds for the whole plant: its causes, names of raw materials, and where booths open.

Why so
------
Causes are chosen from a list, not typed, so that next year's search finds all of a kind; the list
is the plant's own. A cause that is taken off the list stays where it was given.

A material has one name and any number of others, each with who said that they are the same: lots
are matched across all of them. The batches keep what was written on them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from ..base.checks import probability
from ..base.errors import RecordError
from ..base.languages import languages
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, number, once, parts
from ..base.spelling import key_of

PLANT = "plant"
"""Name of the only one on record."""
LABEL_SHEETS = ("3 x 7", "3 x 8", "4 x 10")
"""Columns and rows of common sheets of labels, A4."""
USUAL_CAUSES = ("raw material", "line", "reference", "panel", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherName(Plain):
    """Another name of a material, and who said that it is the same, and when."""

    name: str
    said_by: str
    said_on: str  # date, ISO 8601

    def __post_init__(self) -> None:
        named("other name of the material", self.name)
        named(f"said_by of {self.name}", self.said_by)
        iso_date(f"said_on of {self.name}", self.said_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material(Plain):
    """A raw material under its name, with the others that it goes by."""

    name: str
    others: tuple[OtherName, ...]

    def __post_init__(self) -> None:
        named("material", self.name)
        parts("others", self.others, OtherName)

    @property
    def names(self) -> tuple[str, ...]:
        """Every name of it, its own first."""
        return (self.name, *(other.name for other in self.others))


@dataclass(frozen=True, slots=True, kw_only=True)
class Defaults(Plain):
    """What a new session begins with; each can be changed there until it is agreed.

    Attributes
    ----------
    alpha, beta : float
    dprime_limit : float or None
        The plant's limit as d-prime, which every choice test of the product can use; None as
        long as the plant has not agreed one.
    languages : tuple of str
        Codes of the languages of ballots, the usual one first.
    labels : str
        Columns and rows of the label sheet, one of `LABEL_SHEETS`.
    decides : str
        The role that decides, where no release rule names it.
    if_different, if_beyond, if_similar, if_undecided : str
        What is usually done at each finding.

    Raises
    ------
    ArgumentError, RecordError
        For a risk, limit, language or label sheet that cannot be.
    """

    alpha: float = 0.05
    beta: float = 0.05
    dprime_limit: float | None = None
    languages: tuple[str, ...] = ("en",)
    labels: str = LABEL_SHEETS[0]
    decides: str = ""
    if_different: str = ""
    if_beyond: str = ""
    if_similar: str = ""
    if_undecided: str = ""

    def __post_init__(self) -> None:
        for name in ("alpha", "beta"):
            probability(name, getattr(self, name))
        number("dprime_limit", self.dprime_limit)
        if self.dprime_limit is not None and self.dprime_limit <= 0:
            raise RecordError(f"The limit must be above 0; got {self.dprime_limit:g}.")
        known = languages()
        if not self.languages or not set(self.languages) <= set(known):
            raise RecordError(f"Languages must be some of {', '.join(known)}.")
        once("language", self.languages)
        if self.labels not in LABEL_SHEETS:
            allowed = ", ".join(LABEL_SHEETS)
            raise RecordError(f"The label sheet must be one of {allowed}; got {self.labels!r}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant(Plain):
    """The plant's own lists, what its new sessions begin with, and where its booths open.

    `booths_at`: address of the program in the plant's network as the leader gave it; empty as long
    as nobody did.

    Examples
    --------
    >>> same = OtherName(name="Glucose", said_by="Nora", said_on="2026-03-01")
    >>> plant = Plant(materials=(Material(name="sweetener", others=(same,)),))
    >>> plant.names_of("glucose"), plant.names_of("citric acid")
    (('sweetener', 'Glucose'), ('citric acid',))
    """

    causes: tuple[str, ...] = USUAL_CAUSES
    materials: tuple[Material, ...] = ()
    defaults: Defaults = field(default_factory=Defaults, metadata=LEFT_OUT_EMPTY)
    booths_at: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        parts("causes", self.causes, str)
        for cause in self.causes:
            named("cause", cause)
        if not self.causes:
            raise RecordError("The list of causes needs one at least, such as unknown.")
        once("cause", map(key_of, self.causes))
        parts("materials", self.materials, Material)
        once("material", (key_of(name) for each in self.materials for name in each.names))

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return PLANT

    def names_of(self, material: str) -> tuple[str, ...]:
        """Every name of a material, the list's own first; the given one where it has no others."""
        for each in self.materials:
            if key_of(material) in map(key_of, each.names):
                return each.names
        return (material,)

    def cause(self, text: str) -> str:
        """A cause as the list writes it.

        Raises RecordError for one that is not on the list.
        """
        for cause in self.causes:
            if key_of(cause) == key_of(text):
                return cause
        raise RecordError(f"The cause must be one of {', '.join(self.causes)}; got {text!r}.")
