"""The sheets of a file as text, with the heading row found or told, and the roles of columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..base.errors import ArgumentError
from ..base.spelling import same_person, tidy_name
from .file_roles import Role, heading_at, role_of
from .sheets import HEADER_WITHIN, MOST_COLUMNS, Line, Source, read_sheets, too_large

_ONCE = frozenset(Role) - {Role.ATTRIBUTE, Role.AS_HEADED, Role.IGNORE, Role.DATE, Role.CODE}


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSheet:
    """One sheet as text, with the line that names its columns.

    `at`: index of the heading line among the filled lines.
    """

    title: str
    lines: tuple[Line, ...]
    at: int

    @property
    def row(self) -> int:
        """Row number of the heading line."""
        return self.lines[self.at][0]

    @property
    def headings(self) -> tuple[str, ...]:
        """The names of the columns; empty where a column has none."""
        return tuple(tidy_name(text) for text in self.lines[self.at][1])

    @property
    def below(self) -> tuple[Line, ...]:
        """The lines under the heading."""
        return self.lines[self.at + 1 :]

    def roles(self, given: Mapping[str, str] | None = None) -> tuple[Role, ...]:
        """The role of each column: as given by heading, else guessed.

        Raises ArgumentError for a heading that is not there, an unknown role, or one given twice.
        """
        by_key = {same_person(name): role for name, role in (given or {}).items()}
        if unknown := set(by_key) - set(map(same_person, self.headings)):
            raise ArgumentError(
                f"roles: {sorted(unknown)[0]!r} is no heading of the file; "
                f"there are {', '.join(filter(None, self.headings))}."
            )
        guessed = list[Role]()
        for index, heading in enumerate(self.headings):
            told = by_key.get(same_person(heading))
            cells = [line[index] for _, line in self.below if index < len(line)]
            guess = _role(told) if told and heading else role_of(heading, cells)
            twice = not told and guess in _ONCE and guess in guessed
            guessed.append(Role.IGNORE if twice else guess)
        for role in _ONCE:
            if guessed.count(role) > 1:
                raise ArgumentError(f"roles: {role.value} is given to more than one column.")
        return tuple(guessed)


def file_sheets(source: Source, header: int | None = None) -> dict[str, RawSheet]:
    """The sheets of a file by title, each with its heading row found; those with that row if told.

    Raises BallotError for what cannot be read; ArgumentError for a heading row that
    is empty in all of them.
    """
    sheets = {}
    for title, lines in read_sheets(source, _weight).items():
        numbers = [row for row, _ in lines]
        if header is not None and header not in numbers[:-1]:
            continue  # another sheet has it
        at = heading_at(lines) if header is None else numbers.index(header)
        if len(lines[at][1]) > MOST_COLUMNS:
            raise too_large()
        sheets[title] = RawSheet(title=title, lines=tuple(lines), at=at)
    if not sheets and header is not None:
        raise ArgumentError(f"header: row {header} is empty, or nothing stands below it.")
    if not sheets:
        raise ArgumentError("The file holds no filled sheet.")
    return sheets


def sheet_named(sheets: Mapping[str, RawSheet], title: str | None = None) -> RawSheet:
    """The sheet of that title; without one the sheet with the most roles.

    Raises ArgumentError for a title that is not there.
    """
    if title is not None and title not in sheets:
        raise ArgumentError(f"sheet must be one of {', '.join(sheets)}; got {title!r}.")
    if title is not None:
        return sheets[title]
    return max(sheets.values(), key=lambda sheet: _weight(sheet.lines))


def _role(told: str) -> Role:
    try:
        return Role(told)
    except ValueError:
        allowed = ", ".join(role.value for role in Role)
        raise ArgumentError(f"roles: a role is one of {allowed}; got {told!r}.") from None


def _weight(lines: Sequence[Line]) -> int:
    """How many different roles the heading of a table speaks for."""
    if not lines:
        return 0
    heading = lines[heading_at(lines[:HEADER_WITHIN])][1]
    return len({role_of(text) for text in heading} - {Role.IGNORE}) * 100 + min(len(heading), 99)
