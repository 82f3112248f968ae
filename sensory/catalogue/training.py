"""A training session: for which product, and which marks are the agreed ones.

Why so
------
Training takes the same road as a session: plan, codes, cautions, booths. That it is training stands
in its question, under the digest, and from the first moment: a session that was tasted as a test
cannot become training when its finding does not please, nor the other way round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.errors import RecordError
from ..base.plain import Plain
from ..base.record_checks import named, number, once, parts
from ..base.spelling import key_of, same_person
from .attributes import Vocabulary
from .scales import Scale


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(Plain):
    """The agreed mark of a sample on an attribute, and the range within which marks are accepted.

    `intensity`, `low`, `high`: points of the scale.
    """

    sample: str
    attribute: str
    intensity: float
    low: float
    high: float

    def __post_init__(self) -> None:
        named("sample of a target", self.sample)
        named("attribute of a target", self.attribute)
        for name in ("intensity", "low", "high"):
            number(f"{name} of the target of {self.sample}", getattr(self, name), needed=True)
        if not self.low <= self.intensity <= self.high:
            raise RecordError(
                f"The target of {self.sample} on {self.attribute} must lie within its range; got "
                f"{self.intensity:g} and {self.low:g} to {self.high:g}."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Training(Plain):
    """What makes a question one of training.

    `product`: whose attributes are trained; its sessions make one learning curve.
    `targets`: agreed marks, as far as there are any.
    """

    product: str
    targets: tuple[Target, ...] = ()

    def __post_init__(self) -> None:
        named("product that is trained", self.product)
        parts("targets", self.targets, Target)
        once("target", (f"{key_of(t.sample)}, {key_of(t.attribute)}" for t in self.targets))

    def target(self, sample: str, attribute: str) -> Target | None:
        """The target of a sample on an attribute; None where there is none."""
        wanted = same_person(sample), key_of(attribute)
        return next(
            (t for t in self.targets if (same_person(t.sample), key_of(t.attribute)) == wanted),
            None,
        )

    def check(self, attributes: Sequence[str], samples: Sequence[str], scale: Scale) -> None:
        """RecordError for a target of no attribute or sample of the session, or off its scale."""
        known = set(map(key_of, attributes)), set(map(same_person, samples))
        for target in self.targets:
            if key_of(target.attribute) not in known[0]:
                raise RecordError(f"There is a target on {target.attribute}, which is not asked.")
            if same_person(target.sample) not in known[1]:
                raise RecordError(f"There is a target of {target.sample}, which is not served.")
            if target.low < scale.low or target.high > scale.high:
                raise RecordError(
                    f"The target of {target.sample} on {target.attribute} leaves the scale of "
                    f"{scale.low:g} to {scale.high:g}."
                )


def targets_of_standards(
    words: Vocabulary, attributes: Sequence[str], samples: Sequence[str]
) -> tuple[Target, ...]:
    """The agreed intensities of those samples that are reference standards of the attributes."""
    served = {same_person(name): name for name in samples}
    return tuple(
        Target(
            sample=served[same_person(standard.name)],
            attribute=each.attribute,
            intensity=standard.intensity,
            low=standard.low,
            high=standard.high,
        )
        for each in words.asked(tuple(attributes))
        for standard in each.standards
        if same_person(standard.name) in served
    )
