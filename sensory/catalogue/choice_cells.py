"""How the cells of a forced choice are read: test, order, codes, and the answer among them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from ..base.results import several
from ..base.spelling import normal_code, split_codes
from .ballot_row import CODE_COLUMNS, BallotRow, shown
from .columns import Column
from .kind import KINDS, TestKind, name_of

YES = {"x", "yes", "y", "1", "true", "ja", "oui", "si", "sí", "guess", "guessed", "1.0"}
NO = {"", "no", "n", "0", "false", "nein", "non", "-", "0.0"}


def read_test(row: BallotRow, column: Column, text: str) -> str:
    """The test that a row of forced choices names; it has to be the agreed one."""
    agreed = row.kind
    if not text:
        if agreed is None:
            row.note(
                column.name,
                "no protocol",
                "The row does not say which test it is.",
                f"Write one of {choices_by_name()}.",
            )
        return text
    row.kind = choice_named(text)
    if row.kind is None:
        row.note(
            column.name,
            "unknown protocol",
            f"{shown(text)} is not a known test.",
            f"Write one of {choices_by_name()}.",
        )
    elif agreed is not None and row.kind is not agreed:
        row.note(
            column.name,
            "other protocol",
            f"The row says {row.kind.name}, the session is {agreed.name}.",
            "Mend the row or choose the other test for the session.",
        )
        row.kind = None
    return text


def choice_named(text: str) -> TestKind | None:
    """The forced choice of that key or name, if there is one."""
    choices = (kind for kind in KINDS.values() if kind.protocol)
    wanted = name_of(text)
    return next((k for k in choices if wanted in (name_of(k.key), name_of(k.name))), None)


def read_order(row: BallotRow, column: Column, text: str) -> str:
    protocol = row.kind.choice if row.kind else None
    if protocol is None:
        return ""
    order = plain_order(text)
    if order not in protocol.orders:
        row.note(
            column.name,
            "impossible order",
            f"{shown(text)} is no order of a {protocol.name} test."
            if text
            else "The serving order is missing.",
            f"Possible are {few_orders(protocol.orders)}, first served first"
            + (", the labelled reference in front." if protocol.labelled else "."),
        )
        return ""
    if not protocol.right_answers(order, row.question.target):
        row.note(
            column.name,
            "order against the target",
            f"In {order} the odd sample is not {row.question.target}, which is expected to have "
            "more of the attribute.",
            "Mend the order, or the sample expected in the question.",
        )
        return ""
    return order


def plain_order(text: str) -> str:
    """The letters of an order, however they are separated."""
    return re.sub(r"[\s:|,;/\-]+", "", text).upper()


def read_codes(row: BallotRow, column: Column, text: str) -> tuple[str, ...]:
    """The codes served, in one cell or in columns of their own."""
    protocol, texts = row.kind.choice if row.kind else None, row.code_texts()
    if protocol is None or not (texts or row.text("answer")):
        return ()
    _codes_twice(row)
    codes: list[str] = []
    for place, typed in texts:
        code = normal_code(typed)
        if code is None:
            row.note(
                place,
                "bad code",
                f"{shown(typed)} is no blinding code.",
                _formula_advice(typed) or "A code is a number, usually of three digits.",
            )
        else:
            codes.append(code)
    alike = [code for code, times in Counter(codes).items() if times > 1]
    one_cell = column.name in row.row.cells if not texts else bool(split_codes(text))
    strange = {place for place, _ in texts} - {*CODE_COLUMNS[: protocol.coded], "codes"}
    where = column.name if one_cell else CODE_COLUMNS[0]
    if len(texts) != protocol.coded or strange:
        row.note(
            where,
            "number of codes",
            f"There {'is' if len(texts) == 1 else 'are'} {several(len(texts), 'code')}; a "
            f"{protocol.name} test serves {protocol.coded} coded samples.",
            "Write one code for each coded sample, in the order of serving.",
        )
    elif alike:
        row.note(
            where,
            "codes alike",
            f"Two samples have the same code {alike[0]}.",
            "Look at the cups or the serving plan and write the right codes.",
        )
    elif len(codes) == len(texts):
        return tuple(codes)
    return ()


def _codes_twice(row: BallotRow) -> None:
    together = split_codes(row.text("codes"))
    apart = [row.text(name) for name in CODE_COLUMNS if row.text(name)]
    if together and apart and together != apart:
        row.note(
            "codes",
            "codes twice",
            "The codes stand in one cell and in columns of their own, and differ.",
            "Keep one of the two.",
        )


def read_named(row: BallotRow, column: Column, text: str) -> tuple[str, ...]:
    """The codes that the answer of a forced choice names, in the order of serving."""
    kind, codes = row.kind, row.values["codes"]
    if kind is None:
        return ()
    if not text:
        row.missing += 1
        row.note(
            column.name,
            "no answer",
            "No answer was given.",
            "The ballot is left out and reported, not counted as wrong.",
            blocking=False,
        )
        return ()
    parts = split_codes(text)
    named = [code for part in parts if (code := normal_code(part))]
    wrong = ""
    if len(named) < len(parts) or not parts:
        rule, wrong = "answer is no code", f"{shown(text)} is no code."
        advice = _formula_advice(text) or (
            "Write the code named, or leave the cell empty when none was. In a "
            "forced choice 'no difference' is no answer: a guess is."
        )
    elif len(set(named)) < len(named):
        twice = next(code for code in named if named.count(code) > 1)
        rule, wrong = "answer twice", f"The answer names {twice} twice."
        advice = "Look at the ballot."
    elif len(named) != kind.picks:
        wanted = "one code" if kind.picks == 1 else f"{kind.picks} different codes"
        rule, advice = "number of answers", "Look at the ballot."
        wrong = (
            f"The answer names {several(len(named), 'code')}; a {kind.name} test asks for {wanted}."
        )
    elif codes and (strange := [code for code in named if code not in codes]):
        rule, advice = "code not served", "Look at the ballot and at the serving plan."
        wrong = f"{strange[0]} was not among the codes served ({', '.join(codes)})."
    if wrong:
        row.note(column.name, rule, wrong, advice)
        return ()
    return tuple(code for code in codes if code in named)


def read_mark(row: BallotRow, column: Column, text: str) -> bool:
    if text.casefold() not in YES | NO:
        row.note(
            column.name,
            f"bad {column.name} mark",
            f"The {column.name} mark {shown(text)} is not understood.",
            f"Write x for a {column.name}, or leave it empty.",
        )
    return text.casefold() in YES


def read_claim(row: BallotRow, column: Column, text: str) -> None:
    """What a file says of its own answers is compared, never used."""
    if not text or row.kind is None or row.blocked or not row.values["answer"]:
        return
    right = row.correct()
    if text.casefold() not in (YES if right else NO):
        row.note(
            column.name,
            "correct recomputed",
            f"The file says {shown(text)}; by order and answer the ballot is "
            f"{'right' if right else 'wrong'}.",
            "The recomputed value is used. If the file is right, the order or a code is not.",
            blocking=False,
        )


def _formula_advice(text: str) -> str:
    return "It looks like a formula: paste the value instead." if text[:1] in "=+@" else ""


def few_orders(orders: Sequence[str]) -> str:
    """The first six orders in words."""
    return ", ".join(orders[:6]) + (", ..." if len(orders) > 6 else "")


def choices_by_name() -> str:
    """Every forced choice by its name."""
    return ", ".join(kind.name for kind in KINDS.values() if kind.protocol)
