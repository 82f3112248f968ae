"""How each kind of cell is read: one function a kind, from text to a value or to a fault."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from ..base.spelling import same_person
from .ballot_row import NOTHING_SERVED, BallotRow, shown
from .choice_cells import read_claim, read_codes, read_mark, read_named, read_order, read_test
from .columns import Column
from .defects import NONE
from .rising import amount_of, concentrations
from .scales import agreed_scale
from .typed_lists import NO_WORD, parts_of

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"


def read_row(row: BallotRow) -> None:
    """Read every cell of a row, and the attributes that are columns of their own."""
    if row.nothing_served:
        row.note(
            "assessor",
            NOTHING_SERVED,
            "Nothing was served or answered.",
            "The row is left out and reported.",
            blocking=False,
        )
        return
    for column in row.ballot.columns:
        row.values[column.name] = _read(row, column, row.text(column.name))
    if row.ballot.attributes:
        row.scores = _scores(row)


def _read(row: BallotRow, column: Column, text: str) -> Any:
    if not text and column.answer and column.cell != "named":
        row.missing += 1
        row.note(column.name, "no answer", "No answer was given.", "Left out.", blocking=False)
        return None
    if not text and column.required and column.cell not in ("named", "order"):
        missing = ("empty", f"The {column.name} is missing.", column.meaning)
        row.note(column.name, *(column.empty or missing))
        return None
    return _CELLS[column.cell](row, column, text)


def _text(row: BallotRow, column: Column, text: str) -> str:
    return text


def _note(row: BallotRow, column: Column, text: str) -> str:
    return row.row.cells.get(column.name, "").strip()


def _count(row: BallotRow, column: Column, text: str) -> int:
    whole = re.fullmatch(r"([0-9]{1,6})(?:[.,]0*)?", text or "1", flags=re.ASCII)
    if not whole or not 1 <= int(whole.group(1)) <= column.most:
        row.note(
            column.name,
            f"bad {column.name}",
            f"The {column.name} {shown(text)} is no whole number from 1.",
            "Write 1, 2 ... or leave it empty for 1.",
        )
        return 1
    return int(whole.group(1))


def _choice(row: BallotRow, column: Column, text: str) -> str | None:
    for names in column.choices:
        if text.casefold() in (name.casefold() for name in names):
            return names[0]
    allowed = ", ".join(names[0] for names in column.choices)
    row.note(
        column.name,
        f"unknown {column.name}",
        f"{shown(text)} is none of {allowed}.",
        "Look at the ballot and at the serving plan."
        if column.answer
        else f"Write one of {allowed}.",
    )
    return None


def _grade(row: BallotRow, column: Column, text: str) -> int | None:
    grades = _listed(row, "grades")
    spelled = [grade.casefold() for grade in grades]
    if text.casefold() in spelled:
        return spelled.index(text.casefold()) + 1
    whole = re.fullmatch(r"([0-9]{1,2})(?:[.,]0*)?", text, flags=re.ASCII)
    if whole and 1 <= int(whole.group(1)) <= len(grades):
        return int(whole.group(1))
    row.note(
        column.name,
        "unknown grade",
        f"{shown(text)} is none of the agreed grades.",
        f"Write {'; '.join(grades)}, or the number of the grade.",
    )
    return None


def _ticks(row: BallotRow, column: Column, text: str) -> tuple[str, ...] | None:
    """The words that were ticked, as they are agreed; none of them is an answer too."""
    agreed = {same_person(word): word for word in _listed(row, "words")}
    ticked = dict.fromkeys(parts_of(text))
    if list(ticked) == [NO_WORD]:
        return ()
    known = [agreed[same_person(word)] for word in ticked if same_person(word) in agreed]
    if agreed and len(known) < len(ticked):
        others = [word for word in ticked if same_person(word) not in agreed]
        row.note(
            column.name,
            "no agreed word",
            f"{shown('; '.join(others))}: not among the agreed words.",
            f"Words are {', '.join(agreed.values())}; write {NO_WORD} where none applies.",
        )
        return None
    return tuple(dict.fromkeys(known)) if agreed else tuple(ticked)


def _beside(row: BallotRow, column: Column, text: str) -> str:
    """A word that is chosen besides; empty for none, as it was typed where no words are agreed."""
    offers = row.kind.beside.get(column.name) if row.kind else None
    words = offers(row.question.settings) if offers else []
    if not text or text.casefold() == NONE:
        return ""
    for word in words:
        if same_person(word) == same_person(text):
            return word
    if words:
        row.note(
            column.name,
            f"unknown {column.name}",
            f"{shown(text)} is none of the agreed words.",
            f"Write {'; '.join(words)}, or {NONE}.",
        )
    return text


def _amount(row: BallotRow, column: Column, text: str) -> str:
    """A concentration, one of those agreed where some are."""
    agreed = concentrations(row.kind, row.question.settings) if row.kind else []
    amount = amount_of(text)
    if amount is None:
        row.note(
            column.name,
            "no concentration",
            f"{shown(text)} is no concentration.",
            "Write the number, with or without its unit.",
        )
    elif agreed and amount not in agreed:
        row.note(
            column.name,
            "not in the series",
            f"{shown(text)} is none of the agreed concentrations.",
            f"They are {'; '.join(f'{each:g}' for each in agreed)}.",
        )
    return text


def _rank(row: BallotRow, column: Column, text: str) -> float | None:
    if re.fullmatch(_NUMBER, text, flags=re.ASCII):
        value = float(text.replace(",", "."))
        if 1 <= value <= 100 and (2 * value).is_integer():
            return value
    row.note(
        column.name,
        "no rank",
        f"{shown(text)} is no rank.",
        "Write 1, 2 ...; samples that are tied share the mean of their ranks, such as 2.5.",
    )
    return None


def _sample(row: BallotRow, column: Column, text: str) -> str:
    planned = _listed(row, "samples")
    if planned and same_person(text) not in map(same_person, planned):
        row.note(
            column.name,
            "not in the plan",
            f"{shown(text)} is no sample of the plan.",
            f"Samples are {', '.join(planned)}.",
        )
    return text


def _on_scale(row: BallotRow, name: str, text: str) -> float | None:
    """A number on the agreed scale, decimal comma or point."""
    scale = agreed_scale(row.question.settings)
    low, high = scale.low, scale.high
    if not re.fullmatch(_NUMBER, text, flags=re.ASCII):
        row.note(name, "no number", f"{shown(text)} is no number.", "Write the score alone.")
        return None
    value = float(text.replace(",", "."))
    if scale.categories and value not in scale.categories:
        row.note(
            name,
            "no category",
            f"{text} is none of the {len(scale.categories)} categories {low:g} to {high:g}.",
            f"Write the whole number that was chosen, from {low:g} to {high:g}.",
        )
        return None
    if not low <= value <= high:
        row.note(
            name,
            "off the scale",
            f"{text} lies off the scale of {low:g} to {high:g}.",
            "Look at the ballot, or agree another scale.",
        )
        return None
    return value


def _scores(row: BallotRow) -> dict[str, float]:
    """Scores of the attributes; long tables name theirs in a column."""
    agreed = _listed(row, "attributes")
    if "attribute" in row.row.cells:
        as_agreed = {same_person(name): name for name in agreed}
        name = row.text("attribute")
        places = {as_agreed.get(same_person(name), name): "score"}
    else:
        beyond = row.ballot.attributes_in([row.row.cells])
        spelled = {same_person(name): name for name in beyond}
        places = {name: spelled.get(same_person(name), name) for name in agreed or beyond}
    scores = {}
    for attribute, name in places.items():
        text = row.text(name)
        if not attribute:
            row.note("attribute", "empty", "The attribute is missing.", "Say what is scored.")
        elif not text:
            row.missing += 1
        elif (score := _on_scale(row, name, text)) is not None:
            scores[attribute] = score
    return scores


def _listed(row: BallotRow, key: str) -> list[str]:
    return row.kind.listed(row.question.settings, key) if row.kind else []


_CELLS: dict[str, Callable[[BallotRow, Column, str], Any]] = {
    "text": _text,
    "note": _note,
    "name": _text,
    "sample": _sample,
    "count": _count,
    "choice": _choice,
    "grade": _grade,
    "rank": _rank,
    "beside": _beside,
    "amount": _amount,
    "score": lambda row, column, text: _on_scale(row, column.name, text),
    "test": read_test,
    "order": read_order,
    "codes": read_codes,
    "code": _text,
    "named": read_named,
    "mark": read_mark,
    "claim": read_claim,
    "ticks": _ticks,
}
