"""Forced choices judged by column: each distinct text once; rows in doubt are left to `checking`.

Why so
------
Row by row, 49,000 ballots took hundreds of times as long as reading their text. A ballot that is
sound has nothing to be said about it, so here only soundness is established, from the distinct
texts of each column; every row that is not plainly sound goes to the row road, which has the
sentences. So no fault is worded twice, and both roads give the same table.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Ints
from ..base.spelling import normal_code, same_person, split_codes, tidy_name
from ..choices.protocols import Protocol
from .ballot_row import CODE_COLUMNS
from .choice_cells import NO, YES, choice_named, plain_order
from .column_table import ColumnTable
from .kind import TestKind
from .question import Question

_MOST_REPLICATES = 1000
_USUAL_CODES = re.compile("[1-9][0-9]{2}(?: [1-9][0-9]{2})*")  # need no tidying
_NONE = -1  # where a text is no code


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundBallots:
    """The rows of a table that are plainly sound, and what is known of all rows.

    `kind`: the test of all rows.
    `sound`, `twice`: for each row whether it is sound, and whether its person has another one in
        the same replicate.
    `frame`: the sound rows, their place in the table as index.
    """

    kind: TestKind
    sound: Bools
    twice: Bools
    frame: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """A column: what each distinct text says, and which of them each row has."""

    values: list[Any]
    which: Ints

    def test(self, holds: Callable[[Any], bool]) -> Bools:
        return np.array([holds(value) for value in self.values], dtype=bool)[self.which]

    def taken(self, kept: Ints) -> Any:
        return pd.array(self.values, dtype="string").take(self.which[kept])


def sound_ballots(
    table: ColumnTable, kind: TestKind | None, question: Question
) -> SoundBallots | None:
    """The sound rows of a table of forced choices.

    None where the rows are not all of one test, or a column is missing.
    """
    kind = _only_kind(table, kind)
    there = table.columns.keys()
    if kind is None or kind.protocol is None or not len(table.numbers):
        return None
    if not {"assessor", "order", "answer"} <= there or not there & {"codes", *CODE_COLUMNS}:
        return None
    protocol, target = kind.protocol, question.target
    session, people = _judged(table, "session", tidy_name), _judged(table, "assessor", tidy_name)
    replicate, guess = _judged(table, "replicate", _replicate), _judged(table, "guess", _mark)
    order = _judged(table, "order", lambda text: _order(text, protocol, target))
    claim = _judged(table, "correct", _claim)
    codes, written = _served(table, protocol.coded)
    answer = _judged(table, "answer", lambda text: _codes(text, kind.picks))
    match = _numbers(answer.values, kind.picks)[answer.which][:, None, :] == codes[:, :, None]
    named = match.any(axis=2)
    correct = _correct(order, named, protocol, target)
    twice = _twice(session, people, replicate)
    twice &= order.test(bool) | answer.test(lambda codes: codes != ()) | (codes[:, 0] != _NONE)
    sound = (codes[:, 0] != _NONE) & answer.test(bool) & match.any(axis=1).all(axis=1)
    sound &= order.test(bool) & people.test(bool) & replicate.test(bool)
    sound &= guess.test(_is_known) & claim.test(_is_known) & ~twice
    sound &= ~(claim.test(lambda right: right is True) & ~correct)
    sound &= ~(claim.test(lambda right: right is False) & correct)
    kept = np.flatnonzero(sound)
    answered = _Judged(
        values=[" ".join(codes or ()) for codes in answer.values], which=answer.which
    )
    if kind.picks > 1:
        answered = _in_order(codes, named)
    frame = pd.DataFrame(
        {
            "session": session.taken(kept),
            "assessor": people.taken(kept),
            "replicate": np.array([each or 0 for each in replicate.values])[replicate.which[kept]],
            "protocol": pd.array([kind.key], dtype="string").take(np.zeros(len(kept), np.int64)),
            "order": order.taken(kept),
            "codes": written.taken(kept),
            "answer": answered.taken(kept),
            "correct": pd.array(correct[kept], dtype="boolean"),
            "guess": guess.test(lambda mark: mark is True)[kept],
            "comment": _judged(table, "comment", str).taken(kept),
        },
        index=kept,
    )
    return SoundBallots(kind=kind, sound=sound, twice=twice, frame=frame)


def _judged(table: ColumnTable, name: str, read: Callable[[str], Any]) -> _Judged:
    """What a column says; a column that is not there is empty in every row."""
    column = table.columns.get(name)
    if column is None:
        return _Judged(values=[read("")], which=np.zeros(len(table.numbers), np.int64))
    which = np.frombuffer(column.which, dtype=np.int32).astype(np.int64)
    return _Judged(values=[read(text) for text in column.texts], which=which)


def _only_kind(table: ColumnTable, kind: TestKind | None) -> TestKind | None:
    named = _judged(table, "protocol", tidy_name)
    kinds = [choice_named(text) if text else kind for text in named.values]
    agreed = kind or next(iter(kinds), None)
    return agreed if all(each is agreed for each in kinds) else None


def _replicate(text: str) -> int | None:
    whole = re.fullmatch(r"([0-9]{1,4})(?:[.,]0*)?", tidy_name(text) or "1", flags=re.ASCII)
    return int(whole.group(1)) if whole and 1 <= int(whole.group(1)) <= _MOST_REPLICATES else None


def _mark(text: str) -> bool | None:
    mark = tidy_name(text).casefold()
    return mark in YES if mark in YES | NO else None


def _claim(text: str) -> bool | str | None:
    return _mark(text) if text else ""


def _is_known(value: object) -> bool:
    return value is not None


def _order(text: str, protocol: Protocol, target: str) -> str:
    order = plain_order(tidy_name(text))
    possible = order in protocol.orders and protocol.right_answers(order, target)
    return order if possible else ""


def _codes(text: str, number: int) -> tuple[str, ...] | None:
    """So many different codes, empty for an empty cell; None for anything else."""
    if _USUAL_CODES.fullmatch(text):
        codes = tuple(text.split(" "))
        return codes if len(codes) == len(set(codes)) == number else None
    texts = split_codes(tidy_name(text))
    codes = tuple(code for each in texts if (code := normal_code(each)))
    if not texts and not text:
        return ()
    return codes if len(texts) == len(codes) == len(set(codes)) == number else None


def _numbers(codes: list[tuple[str, ...] | None], number: int) -> Ints:
    none = (_NONE - 1,) * number  # no served code is equal to it
    return np.array([each or none for each in codes], dtype=np.int64).reshape(-1, number)


def _served(table: ColumnTable, number: int) -> tuple[Ints, _Judged]:
    """The codes served in each row, -1 where they are in doubt, and how they are written."""
    together = _judged(table, "codes", lambda text: _codes(text, number))
    apart = [_judged(table, name, lambda text: _codes(text, 1)) for name in CODE_COLUMNS]
    empty = [each.test(lambda codes: codes == ()) for each in apart]
    if "codes" in table.columns:
        served = _numbers(together.values, number)[together.which]
        sound = together.test(bool) & np.all(empty, axis=0)
        written = [" ".join(codes or ()) for codes in together.values]
        return np.where(sound[:, None], served, _NONE), _Judged(
            values=written, which=together.which
        )
    columns = [_numbers(each.values, 1)[each.which][:, 0] for each in apart[:number]]
    served = np.stack(columns, axis=1)
    sound = (served > 0).all(axis=1) & np.all([*empty[number:], together.test(_is_empty)], axis=0)
    for left in range(number):
        for right in range(left):
            sound &= served[:, left] != served[:, right]
    served = np.where(sound[:, None], served, _NONE)
    return served, _in_order(served, np.ones(served.shape, dtype=bool))


def _is_empty(codes: tuple[str, ...] | None) -> bool:
    return codes == ()


def _in_order(codes: Ints, named: Bools) -> _Judged:
    """Those of the codes that are named, in the order of serving, as text."""
    distinct, which = np.unique(codes, return_inverse=True)
    texts = np.array([f"{code} " for code in distinct], dtype=object)[which].reshape(codes.shape)
    parts = np.where(named, texts, "")
    joined = parts.sum(axis=1) if len(parts) else np.array([], dtype=object)
    values, places = np.unique(joined.astype(str), return_inverse=True)
    return _Judged(values=[text.strip() for text in values], which=places.astype(np.int64))


def _correct(order: _Judged, named: Bools, protocol: Protocol, target: str) -> Bools:
    """Whether the codes named in each row are a right answer."""
    bits = named.astype(np.int64) @ (1 << np.arange(named.shape[1]))
    right = np.zeros((len(order.values), 1 << named.shape[1]), dtype=bool)
    for at, text in enumerate(order.values):
        for places in protocol.right_answers(text, target) if text else ():
            right[at, sum(1 << place for place in places)] = True
    answers: Bools = right[order.which, bits]
    return answers


def _twice(session: _Judged, people: _Judged, replicate: _Judged) -> Bools:
    """Rows of a person who has another one in the same session and replicate."""
    of_row = np.zeros(len(people.which), dtype=np.int64)
    for column in (session, people, replicate):
        keys = [same_person(str(1 if value is None else value)) for value in column.values]
        index = {key: at for at, key in enumerate(dict.fromkeys(keys))}
        of_row = of_row * len(index) + np.array([index[key] for key in keys])[column.which]
    twice: Bools = pd.Series(of_row).duplicated(keep=False).to_numpy()
    return twice & people.test(bool)
