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
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Bools
from ..base.spelling import same_person, tidy_name
from ..choices.protocols import Protocol
from .ballot_row import CODE_COLUMNS
from .choice_cells import NO, YES, choice_named, plain_order
from .code_columns import NO_CODE, Judged, in_order, judged, judged_codes, served
from .column_table import ColumnTable
from .kind import TestKind
from .question import Question

_MOST_REPLICATES = 1000


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
    session, people = judged(table, "session", tidy_name), judged(table, "assessor", tidy_name)
    replicate, guess = judged(table, "replicate", _replicate), judged(table, "guess", _mark)
    order = judged(table, "order", lambda text: _order(text, protocol, target))
    claim = judged(table, "correct", _claim)
    codes, written = served(table, protocol.coded)
    answer = judged_codes(table, "answer", kind.picks)
    match = answer.numbers[answer.which][:, None, :] == codes[:, :, None]
    named = match.any(axis=2)
    correct = _correct(order, named, protocol, target)
    twice = _twice(session, people, replicate)
    there_are = codes[:, 0] != NO_CODE
    twice &= order.test(bool) | ~answer.empty[answer.which] | there_are
    sound = there_are & answer.sound[answer.which] & match.any(axis=1).all(axis=1)
    sound &= order.test(bool) & people.test(bool) & replicate.test(bool)
    sound &= guess.test(_is_known) & claim.test(_is_known) & ~twice
    sound &= ~(claim.test(lambda right: right is True) & ~correct)
    sound &= ~(claim.test(lambda right: right is False) & correct)
    kept = np.flatnonzero(sound)
    answered = in_order(codes, named) if kind.picks > 1 else answer.written
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
            "comment": judged(table, "comment", str).taken(kept),
        },
        index=kept,
    )
    return SoundBallots(kind=kind, sound=sound, twice=twice, frame=frame)


def _only_kind(table: ColumnTable, kind: TestKind | None) -> TestKind | None:
    named = judged(table, "protocol", tidy_name)
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


def _correct(order: Judged, named: Bools, protocol: Protocol, target: str) -> Bools:
    """Whether the codes named in each row are a right answer."""
    bits = named.astype(np.int64) @ (1 << np.arange(named.shape[1]))
    right = np.zeros((len(order.values), 1 << named.shape[1]), dtype=bool)
    for at, text in enumerate(order.values):
        for places in protocol.right_answers(text, target) if text else ():
            right[at, sum(1 << place for place in places)] = True
    answers: Bools = right[order.which, bits]
    return answers


def _twice(session: Judged, people: Judged, replicate: Judged) -> Bools:
    """Rows of a person who has another one in the same session and replicate."""
    of_row = np.zeros(len(people.which), dtype=np.int64)
    for column in (session, people, replicate):
        keys = [same_person(str(1 if value is None else value)) for value in column.values]
        index = {key: at for at, key in enumerate(dict.fromkeys(keys))}
        of_row = of_row * len(index) + np.array([index[key] for key in keys])[column.which]
    twice: Bools = pd.Series(of_row).duplicated(keep=False).to_numpy()
    return twice & people.test(bool)
