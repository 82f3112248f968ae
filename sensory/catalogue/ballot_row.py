"""One row of a ballot table: its cells as text, what was read from them, and what is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from ..base.errors import Fault
from ..base.spelling import same_person, split_codes, tidy_name
from .choice_ballot import ChoiceBallot
from .columns import MOST_CODES, BallotColumns, RawRow
from .kind import TestKind
from .question import Question

CODE_COLUMNS = tuple(f"code_{number}" for number in range(1, MOST_CODES + 1))
NOTHING_SERVED = "nothing served"
Answer = dict[str, Any]


@dataclass(slots=True, eq=False, kw_only=True)
class BallotRow:
    """One row while it is judged.

    `kind`: the test; None while the row has not said it, or where it says an impossible one.
    `question`: what was agreed: settings, and the target of a forced choice.
    `values`: what was read, by column.
    `scores`: by attribute, where the columns are attributes.
    `missing`: answers left out because their cell is empty.
    """

    row: RawRow
    ballot: BallotColumns
    kind: TestKind | None
    question: Question
    values: dict[str, Any] = field(default_factory=dict)
    scores: dict[str, float] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    missing: int = 0

    @property
    def nothing_served(self) -> bool:
        """Whether a forced choice holds neither order nor codes nor an answer."""
        choice = self.ballot.rows == "choice"
        return choice and not (self.text("order") or self.text("answer") or self.code_texts())

    @property
    def blank(self) -> bool:
        """Whether it holds no answer; of a row that is not blocked."""
        if self.ballot.rows == "choice":
            return not self.values["answer"]
        return next(iter(self.answers()), None) is None

    @property
    def blocked(self) -> bool:
        """Whether anything has to be mended before this row counts."""
        return any(fault.blocking for fault in self.faults)

    @property
    def key(self) -> tuple[str, ...]:
        """What belongs to one row only; persons without the differences of typing."""
        values = [str(self.values.get(name)) for name in self.ballot.once]
        attribute = [self.text("attribute")] if self.ballot.attributes else []
        return tuple(same_person(value) for value in [*values, *attribute])

    def text(self, column: str) -> str:
        """The text of a cell, empty where the table has no such column."""
        text = self.row.cells.get(column)
        return tidy_name(text) if text else ""

    def code_texts(self) -> list[tuple[str, str]]:
        """Column and text of each code, from one cell or from columns of their own."""
        if together := split_codes(self.text("codes")):
            return [("codes", text) for text in together]
        return [(name, self.text(name)) for name in CODE_COLUMNS if self.text(name)]

    def note(
        self, column: str, rule: str, problem: str, advice: str, *, blocking: bool = True
    ) -> None:
        """Put a fault or remark about a cell on the list."""
        self.faults.append(
            Fault(
                sheet=self.row.sheet,
                row=self.row.row,
                column=self.row.headings.get(column, column),
                value=self.text(column),
                rule=rule,
                problem=problem,
                advice=advice,
                blocking=blocking,
            )
        )

    def correct(self) -> bool:
        """Whether the answer of a forced choice is right, by order and codes."""
        if self.kind is None or self.kind.protocol is None:
            return False
        codes, order = self.values["codes"], self.values["order"]
        chosen = frozenset(codes.index(code) for code in self.values["answer"])
        return chosen in self.kind.protocol.right_answers(order, self.question.target)

    def answers(self) -> Iterable[ChoiceBallot | Answer]:
        """What the row holds; only for a row that is not blocked."""
        if self.ballot.rows == "choice":
            yield self._choice()
        elif self.ballot.attributes:
            names = ("assessor", "sample", "replicate")
            given = {name: self.values[name] for name in names if name in self.values}
            for attribute, score in self.scores.items():
                yield given | {"attribute": attribute, "score": score}
        elif not self.missing:
            yield dict(self.values)

    def _choice(self) -> ChoiceBallot:
        values = self.values
        return ChoiceBallot(
            session=values["session"],
            assessor=values["assessor"],
            replicate=values["replicate"],
            protocol=self.kind.key if self.kind else "",
            order=values["order"],
            codes=values["codes"],
            answer=values["answer"],
            guess=values["guess"],
            comment=values["comment"],
            correct=self.correct() if values["answer"] else None,
        )


def shown(text: str) -> str:
    """A text in quotes, cut where it is long."""
    return repr(text if len(text) <= 40 else text[:37] + "...")
