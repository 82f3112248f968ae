"""A product's own list of defects: what graders may name, how bad it is, what is done then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.errors import ArgumentError, RecordError
from ..base.plain import Plain
from ..base.record_checks import named, once, parts
from ..base.spelling import key_of

SEVERITIES = ("minor", "major", "critical")
"""From the mildest to the worst; common practice of the trade, no source."""
NONE = "none"
"""What a ballot holds where no defect is noticed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Defect(Plain):
    """A defect of a product.

    `severity`: one of `SEVERITIES`. `action`: what is done where it is found, in plain words.

    >>> Defect(name="metallic", severity="major", action="hold").typed
    'metallic: major, hold'
    """

    name: str
    severity: str
    action: str

    def __post_init__(self) -> None:
        named("name of the defect", self.name)
        named(f"what is done at {self.name}", self.action)
        if self.severity not in SEVERITIES:
            allowed = ", ".join(SEVERITIES)
            raise RecordError(f"{self.name} must be {allowed}; got {self.severity!r}.")
        if any(sign in self.typed.replace(":", "", 1) for sign in ";:\n"):
            raise RecordError(f"The defect {self.name!r} must do without semicolons and colons.")
        if key_of(self.name) == NONE:
            raise RecordError(f"{NONE!r} is what a ballot holds where there is no defect.")

    @property
    def typed(self) -> str:
        """As it is typed."""
        return f"{self.name}: {self.severity}, {self.action}"


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectList(Plain):
    """The defects of a product in one version, which is never changed."""

    version: int
    defects: tuple[Defect, ...]

    def __post_init__(self) -> None:
        parts("defects", self.defects, Defect)
        once("defect", (key_of(each.name) for each in self.defects))


def typed_defects(text: str) -> tuple[Defect, ...]:
    """Defects that were typed, one a line or separated by semicolons.

    Raises ArgumentError for a part that is no defect, or a defect that stands twice.

    >>> [each.action for each in typed_defects("metallic: major, hold; flat: minor, blend")]
    ['hold', 'blend']
    """
    defects: list[Defect] = []
    for part in text.replace("\n", ";").split(";"):
        if not part.strip():
            continue
        name, _, rest = (" ".join(piece.split()) for piece in part.partition(":"))
        severity, _, action = (piece.strip() for piece in rest.partition(","))
        try:
            defects.append(Defect(name=name, severity=severity.casefold(), action=action))
        except RecordError as error:
            raise ArgumentError(
                f"Write a defect as in 'metallic: major, hold'; got {part.strip()!r}. {error}"
            ) from error
    names = [key_of(each.name) for each in defects]
    if doubled := [each.name for each in defects if names.count(key_of(each.name)) > 1]:
        raise ArgumentError(f"The defect {doubled[0]} stands twice.")
    return tuple(defects)


def as_typed(defects: Sequence[Defect], between: str = "; ") -> str:
    """Defects as they are typed."""
    return between.join(each.typed for each in defects)
