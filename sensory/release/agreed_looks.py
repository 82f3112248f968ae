"""Looks at the growing total of a product's choice tests, as they were agreed beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..base.checks import probability
from ..base.plain import Plain
from ..base.record_checks import iso_date, named, parts
from ..base.spelling import name_and_role
from ..catalogue.tests import protocol_of

if TYPE_CHECKING:  # the first page needs no statistics
    from ..evidence.planned_looks import PlannedLooks


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedLooks(Plain):
    """Which test, how many answers at each look, and since when.

    Attributes
    ----------
    test : str
        Key of a forced choice.
    sizes : tuple of int
        Answers that each look adds.
    alpha : float
        Risk of a false alarm over all looks.
    agreed_on : str
        Date, ISO 8601; sessions of later days count.
    agreed_by, role : str
    """

    test: str
    sizes: tuple[int, ...]
    alpha: float
    agreed_on: str
    agreed_by: str
    role: str = ""

    def __post_init__(self) -> None:
        named("agreed by", self.agreed_by)
        iso_date("agreed_on", self.agreed_on)
        object.__setattr__(self, "sizes", tuple(self.sizes))
        parts("sizes", self.sizes, int)
        probability("alpha", self.alpha)

    def plan(self) -> PlannedLooks:
        """The plan with its counts; raises ArgumentError as `planned_looks`."""
        from ..evidence.planned_looks import planned_looks

        return planned_looks(protocol_of(self.test), self.sizes, alpha=self.alpha)

    @property
    def by(self) -> str:
        """Who agreed it, with the role, and when."""
        return f"agreed by {name_and_role(self.agreed_by, self.role)} on {self.agreed_on}"
