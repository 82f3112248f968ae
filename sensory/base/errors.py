"""The one family of errors, and the fault rows that a reader of files collects."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class SensoryError(ValueError):
    """Root of every error that this package raises on purpose.

    The message names the argument or cell, what came, and what is allowed.
    """


class ArgumentError(SensoryError):
    """An argument of a call cannot be used."""


class RecordError(SensoryError):
    """The record refuses: not found, already frozen, or cannot be written."""


class UnreachableError(RecordError):
    """The record is away for a while: nothing was read or written, and it may be tried again."""


class BallotWarning(UserWarning):
    """Ballots were accepted, with remarks that must not be overlooked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with one cell (or row, or sheet) of a ballot table.

    Attributes
    ----------
    sheet, row, column : str, int, str
        Where it stands, as the user sees it: `row` counts from 1 with the header
        as row 1 for files; 0 and an empty column mean the whole sheet.
    value : str
        What was found.
    rule : str
        Short name of the rule that was broken.
    problem, advice : str
        What is wrong and how to mend it, one sentence each.
    blocking : bool
        True when the ballots cannot be counted before this is mended; False for
        a remark that is reported with the result.
    """

    sheet: str = ""
    row: int = 0
    column: str = ""
    value: str = ""
    rule: str
    problem: str
    advice: str
    blocking: bool = True

    @property
    def place(self) -> str:
        """Sheet, row and column in words; a typed grid has no sheet."""
        parts = [f"sheet {self.sheet}"] if self.sheet else []
        if self.row:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts) or "the whole table"

    def __str__(self) -> str:
        return f"{self.place}: {self.problem} {self.advice}".strip()


class BallotError(SensoryError):
    """Ballots that cannot be counted; lists every bad cell.

    Attributes
    ----------
    faults : tuple of Fault
        All of them, in the order of the table; the text shows the first 50.
    """

    shown = 50

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{count} error{'s' * (count != 1)} to fix in the ballots:"
        lines = [f"  {fault}" for fault in self.faults[: self.shown]]
        if count > self.shown:
            lines.append(f"  ... and {count - self.shown} more (see .faults)")
        super().__init__("\n".join([head, *lines]))
