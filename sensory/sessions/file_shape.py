"""How a file was read: kept by name, and offered for the next file with the same columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from ..base.plain import Plain
from ..base.record_checks import named, parts
from ..base.spelling import same_person


@dataclass(frozen=True, slots=True, kw_only=True)
class Merge(Plain):
    """One spelling that is read as another: of an assessor, a sample or an attribute."""

    role: str
    spelling: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileShape(Plain):
    """How a file of this shape is read, kept by name for the next one.

    `headings`, `roles`: of each column with a heading, in their order.
    `merges`: spellings that are read as another.
    `reference`: name of the reference among its samples; empty where none was chosen.
    """

    name: str
    headings: tuple[str, ...]
    roles: tuple[str, ...]
    merges: tuple[Merge, ...] = ()
    reference: str = ""

    def __post_init__(self) -> None:
        named("name of the file shape", self.name)
        parts("headings", self.headings, str)
        parts("roles", self.roles, str)
        parts("merges", self.merges, Merge)

    def fits(self, headings: Sequence[str]) -> bool:
        """Whether a file has these columns, in whatever order."""
        return Counter(map(same_person, headings)) == Counter(map(same_person, self.headings))
