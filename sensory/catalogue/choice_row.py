"""One row of a forced-choice table, judged cell by cell."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from ..base.errors import ArgumentError, Fault
from ..base.results import several
from ..base.spelling import normal_code, plain_width, same_person, split_codes
from ..choices.protocols import PROTOCOLS, Protocol, find_protocol
from .choice_ballot import ChoiceBallot
from .columns import MOST_CODES, RawRow

_YES = {"x", "yes", "y", "1", "true", "ja", "oui", "si", "sí", "guess", "guessed", "1.0"}
_NO = {"", "no", "n", "0", "false", "nein", "non", "-", "0.0"}
_MOST_REPLICATES = 1000


@dataclass(slots=True)
class RowReader:
    """Reads one row cell by cell and notes what is wrong.

    Attributes
    ----------
    row : RawRow
    agreed : Protocol or None
        What the session agreed; None when the row has to say it.
    target : str
        See `check_choices`.
    faults : list of Fault
    """

    row: RawRow
    agreed: Protocol | None
    target: str
    faults: list[Fault] = field(default_factory=list)
    protocol: Protocol | None = None
    assessor: str = ""
    replicate: int = 1
    order: str = ""
    codes: tuple[str, ...] = ()
    answer: tuple[str, ...] = ()
    guess: bool = False
    empty: bool = False

    def __post_init__(self) -> None:
        if self._nothing_served():
            return
        self._read_assessor()
        self._read_replicate()
        self._read_guess()
        self.protocol = self._read_protocol()
        if self.protocol:
            self._read_order(self.protocol)
            if self.text("answer") or self._code_texts()[1]:
                self._read_codes(self.protocol)
            self._read_answer(self.protocol)
            self._compare_correct()

    def _nothing_served(self) -> bool:
        """Whether the row holds neither order nor codes nor an answer; then it is left out."""
        self.empty = not (self.text("order") or self.text("answer") or self._code_texts()[1])
        if self.empty:
            self.assessor = " ".join(self.text("assessor").split())
            self.note(
                "assessor",
                "nothing served",
                "Nothing was served or answered.",
                "The row is left out and reported.",
                blocking=False,
            )
        return self.empty

    @property
    def blocked(self) -> bool:
        """Whether anything has to be mended before this row counts."""
        return any(fault.blocking for fault in self.faults)

    @property
    def key(self) -> tuple[str, str, int]:
        """Session, person and replicate: no two ballots may share it."""
        return (same_person(self.text("session")), same_person(self.assessor), self.replicate)

    def ballot(self) -> ChoiceBallot:
        """The row as a checked ballot; only for a row that is not blocked."""
        return ChoiceBallot(
            session=self.text("session"),
            assessor=self.assessor,
            replicate=self.replicate,
            protocol=self.protocol.key if self.protocol else "",
            order=self.order,
            codes=self.codes,
            answer=self.answer,
            guess=self.guess,
            comment=self.row.cells.get("comment", "").strip(),
            correct=self._correct() if self.answer else None,
        )

    def text(self, column: str) -> str:
        """The text of a cell, empty where the table has no such column."""
        return plain_width(self.row.cells.get(column, "")).strip()

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

    def _read_assessor(self) -> None:
        self.assessor = " ".join(self.text("assessor").split())
        if not self.assessor:
            self.note(
                "assessor",
                "no assessor",
                "The ballot has no assessor.",
                "Write who tasted; without it a second ballot cannot be noticed.",
            )

    def _read_replicate(self) -> None:
        text = self.text("replicate") or "1"
        whole = re.fullmatch(r"([0-9]{1,6})(?:[.,]0*)?", text, flags=re.ASCII)
        number = int(whole.group(1)) if whole else 0
        if not 1 <= number <= _MOST_REPLICATES:
            self.note(
                "replicate",
                "bad replicate",
                f"The replicate {_shown(text)} is no whole number from 1.",
                "Write 1, 2 ... or leave it empty for 1.",
            )
        self.replicate = max(number, 1)

    def _read_guess(self) -> None:
        text = self.text("guess").casefold()
        self.guess = text in _YES
        if text not in _YES | _NO:
            self.note(
                "guess",
                "bad guess mark",
                f"The guess mark {_shown(text)} is not understood.",
                "Write x for a guess, or leave it empty.",
            )

    def _read_protocol(self) -> Protocol | None:
        text = self.text("protocol")
        if not text:
            if self.agreed is None:
                self.note(
                    "protocol",
                    "no protocol",
                    "The row does not say which test it is.",
                    f"Write one of {_protocol_names()}.",
                )
            return self.agreed
        try:
            found = find_protocol(text)
        except ArgumentError:
            self.note(
                "protocol",
                "unknown protocol",
                f"{_shown(text)} is not a known test.",
                f"Write one of {_protocol_names()}.",
            )
            return None
        if self.agreed is not None and found is not self.agreed:
            self.note(
                "protocol",
                "other protocol",
                f"The row says {found.name}, the session is {self.agreed.name}.",
                "Mend the row or choose the other test for the session.",
            )
            return None
        return found

    def _read_order(self, protocol: Protocol) -> None:
        text = self.text("order")
        self.order = re.sub(r"[\s:|,;/\-]+", "", text).upper()
        if self.order not in protocol.orders:
            self.note(
                "order",
                "impossible order",
                f"{_shown(text)} is no order of a {protocol.name} test."
                if text
                else "The serving order is missing.",
                f"Possible are {few_orders(protocol.orders)}, first served first"
                + (", the labelled reference in front." if protocol.labelled else "."),
            )
            self.order = ""
        elif not protocol.right_answers(self.order, self.target):
            self.note(
                "order",
                "order against the target",
                f"In {self.order} the odd sample is not {self.target}, which is expected to have "
                "more of the attribute.",
                "Mend the order, or the sample expected in the question.",
            )
            self.order = ""

    def _read_codes(self, protocol: Protocol) -> None:
        column, texts = self._code_texts()
        codes: list[str] = []
        for place, text in texts:
            code = normal_code(text)
            if code is None:
                self.note(
                    place,
                    "bad code",
                    f"{_shown(text)} is no blinding code.",
                    _formula_advice(text) or "A code is a number, usually of three digits.",
                )
            else:
                codes.append(code)
        alike = [code for code, times in Counter(codes).items() if times > 1]
        wanted = [f"code_{number}" for number in range(1, protocol.coded + 1)]
        if len(texts) != protocol.coded or (column != "codes" and dict(texts).keys() - wanted):
            self.note(
                column,
                "number of codes",
                f"There {'is' if len(texts) == 1 else 'are'} {several(len(texts), 'code')}; a "
                f"{protocol.name} test serves {protocol.coded} coded samples.",
                "Write one code for each coded sample, in the order of serving.",
            )
        elif alike:
            self.note(
                column,
                "codes alike",
                f"Two samples have the same code {alike[0]}.",
                "Look at the cups or the serving plan and write the right codes.",
            )
        elif len(codes) == len(texts):
            self.codes = tuple(codes)

    def _code_texts(self) -> tuple[str, list[tuple[str, str]]]:
        names = [f"code_{number}" for number in range(1, MOST_CODES + 1)]
        filled = [(name, self.text(name)) for name in names if self.text(name)]
        together = split_codes(self.text("codes"))
        if together and filled and together != [text for _, text in filled]:
            self.note(
                "codes",
                "codes twice",
                "The codes stand in one cell and in columns of their own, and differ.",
                "Keep one of the two.",
            )
        if together:
            return "codes", [("codes", text) for text in together]
        return ("codes" if "codes" in self.row.cells else "code_1"), filled

    def _read_answer(self, protocol: Protocol) -> None:
        text = self.text("answer")
        if not text:
            self.note(
                "answer",
                "no answer",
                "No answer was given.",
                "The ballot is left out and reported, not counted as wrong.",
                blocking=False,
            )
            return
        parts = split_codes(text)
        named = [code for part in parts if (code := normal_code(part))]
        if len(named) < len(parts) or not parts:
            self.note(
                "answer",
                "answer is no code",
                f"{_shown(text)} is no code.",
                _formula_advice(text)
                or "Write the code named, or leave the cell empty when none was. In a "
                "forced choice 'no difference' is no answer: a guess is.",
            )
        elif len(set(named)) < len(named):
            self.note(
                "answer",
                "answer twice",
                f"The answer names {next(c for c in named if named.count(c) > 1)} twice.",
                "Look at the ballot.",
            )
        elif len(named) != protocol.picks:
            wanted = "one code" if protocol.picks == 1 else f"{protocol.picks} different codes"
            self.note(
                "answer",
                "number of answers",
                f"The answer names {several(len(named), 'code')}; a {protocol.name} test asks "
                f"for {wanted}.",
                "Look at the ballot.",
            )
        elif self.codes and (strange := [code for code in named if code not in self.codes]):
            self.note(
                "answer",
                "code not served",
                f"{strange[0]} was not among the codes served ({', '.join(self.codes)}).",
                "Look at the ballot and at the serving plan.",
            )
        elif self.codes:
            self.answer = tuple(code for code in self.codes if code in named)

    def _correct(self) -> bool:
        if self.protocol is None:
            return False
        chosen = frozenset(self.codes.index(code) for code in self.answer)
        return chosen in self.protocol.right_answers(self.order, self.target)

    def _compare_correct(self) -> None:
        text = self.text("correct").casefold()
        if not text or self.blocked or not self.answer:
            return
        said = True if text in _YES else False if text in _NO else None
        if said is None or said != self._correct():
            right = "right" if self._correct() else "wrong"
            self.note(
                "correct",
                "correct recomputed",
                f"The file says {_shown(text)}; by order and answer the ballot is {right}.",
                "The recomputed value is used. If the file is right, the order or a code is not.",
                blocking=False,
            )


def _protocol_names() -> str:
    return ", ".join(entry.name for entry in PROTOCOLS.values())


def few_orders(orders: Sequence[str]) -> str:
    """The first six orders in words."""
    return ", ".join(orders[:6]) + (", ..." if len(orders) > 6 else "")


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")


def _formula_advice(text: str) -> str:
    return "It looks like a formula: paste the value instead." if text[:1] in "=+@" else ""
