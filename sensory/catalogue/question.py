"""What is asked, which decision hangs on it and with which risks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.records import digest_of
from .attributes import Vocabulary
from .training import Training


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Plain):
    """What is asked, which decision hangs on it and with which risks.

    It is agreed before the finding is shown, and frozen by its digest.

    `protocol`: key of the protocol, such as ``TRIANGLE``.
    `what_changed`, `decision`: the one thing that differs, and what will be decided.
    `if_different`, `if_similar`, `if_undecided`, `if_beyond`: what will be done at each finding;
        where the last is empty, beyond the limit is done what is done at a difference.
    `alpha`, `beta`, `pd_limit`: risks and limit as in `choice_test`; the limit is None as long as
        nobody has agreed one, and in tests that are no forced choice.
    `assessors`: how many ballots are planned.
    `attribute`: for protocols that ask about a named attribute.
    `target`: ``A`` or ``B``: the sample expected to have more of it.
    `standard`: the edition of the standard, stamped when the question is agreed.
    `settings`: what else is agreed where the test is no forced choice; see `kind.TestKind`.
    `vocabulary`: what the attributes mean, in the version that is used; None for no definitions.
    `training`: what is trained; None for a test, which is everything that has a finding.
    """

    protocol: str = "TRIANGLE"
    what_changed: str = ""
    decision: str = ""
    if_different: str = ""
    if_similar: str = ""
    if_undecided: str = ""
    if_beyond: str = field(default="", metadata=LEFT_OUT_EMPTY)
    alpha: float = 0.05
    beta: float = 0.05
    pd_limit: float | None = None
    assessors: int = 66
    two_sided: bool = False
    attribute: str = ""
    target: str = "B"
    exclusion_rule: str = ""
    retest_rule: str = ""
    standard: str = ""
    settings: dict[str, Any] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)
    vocabulary: Vocabulary | None = field(default=None, metadata=LEFT_OUT_EMPTY)
    training: Training | None = field(default=None, metadata=LEFT_OUT_EMPTY)

    @property
    def limit(self) -> float:
        """The agreed limit of a forced choice; RecordError where there is none."""
        if self.pd_limit is None:
            raise RecordError("No limit is agreed: say which share of assessors may notice.")
        return self.pd_limit

    @property
    def digest(self) -> str:
        """SHA-256 of the question in a fixed spelling, 64 hexadecimal digits."""
        return digest_of(self.to_dict())
