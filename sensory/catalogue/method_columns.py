"""What a ballot holds where the test is no forced choice: columns with what goes in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from ..base.errors import ArgumentError
from .columns import Column, Headings

Kind = Literal["name", "count", "text", "choice", "grade", "sample", "rank", "score"]

CIRCUMSTANCES = frozenset({"session", "order", "position", "serving order", "date", "time"})
"""Columns of a profile that are no attributes, whatever stands in them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodColumn(Column):
    """A column of such a ballot.

    Attributes
    ----------
    kind : str
        How its cells are read; see `method_rows`.
    choices : tuple of tuples of str
        Of a choice: what is stored, then other spellings of it.
    answer : bool
        Whether the cell is the answer; an empty one is left out and reported.
    """

    kind: Kind = "text"
    choices: tuple[tuple[str, ...], ...] = ()
    answer: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodColumns(Headings):
    """The ballot of one method.

    Attributes
    ----------
    rules : tuple of MethodColumn
        The same as `columns`, with how each is read.
    once : tuple of str
        Columns that together belong to one row only.
    """

    rules: tuple[MethodColumn, ...]
    once: tuple[str, ...]


def _ballot(*rules: MethodColumn, once: tuple[str, ...], attributes: bool = False) -> MethodColumns:
    return MethodColumns(columns=rules, rules=rules, once=once, attributes=attributes)


_ASSESSOR = MethodColumn(
    name="assessor",
    required=True,
    kind="name",
    also=("person", "assessor_code", "assessor_name", "name"),
    meaning="Who tasted: a name or a number, spelled the same throughout.",
    example="P01",
)
_REPLICATE = MethodColumn(
    name="replicate",
    kind="count",
    also=("repetition", "round"),
    meaning="1, 2 ... when the same assessor gets the same again. Empty means 1.",
    example="1",
)
_CODE = MethodColumn(
    name="code", also=("blinding_code",), meaning="Code on the cup.", example="412"
)
_COMMENT = MethodColumn(name="comment", also=("comments", "remark"), meaning="Anything else.")

METHOD_COLUMNS: dict[str, MethodColumns] = {
    "A_NOT_A": _ballot(
        _ASSESSOR,
        MethodColumn(
            name="sample",
            required=True,
            kind="choice",
            also=("served",),
            choices=(("A", "reference"), ("B", "not a", "nota", "compared")),
            meaning="What was served: A, the reference, or B, the sample compared.",
            example="B",
        ),
        _CODE,
        MethodColumn(
            name="answer",
            required=True,
            kind="choice",
            answer=True,
            also=("said", "response"),
            choices=(("A", "yes", "a."), ("not A", "nota", "no", "not-a", "b")),
            meaning="What the assessor said: A or not A. Empty when no answer was given.",
            example="not A",
        ),
        _REPLICATE,
        _COMMENT,
        once=("assessor", "sample", "replicate"),
    ),
    "SAME_DIFFERENT": _ballot(
        _ASSESSOR,
        MethodColumn(
            name="pair",
            required=True,
            kind="choice",
            also=("order", "served"),
            choices=(("AA",), ("AB",), ("BA",), ("BB",)),
            meaning="What was served, first served first: AA, BB, AB or BA.",
            example="AB",
        ),
        MethodColumn(name="codes", meaning="Codes on the cups.", example="412 837"),
        MethodColumn(
            name="answer",
            required=True,
            kind="choice",
            answer=True,
            also=("said", "response"),
            choices=(("same", "s", "equal"), ("different", "d", "diff")),
            meaning="What the assessor said: same or different.",
            example="different",
        ),
        _REPLICATE,
        _COMMENT,
        once=("assessor", "pair", "replicate"),
    ),
    "SURENESS": _ballot(
        _ASSESSOR,
        MethodColumn(
            name="sample",
            required=True,
            kind="sample",
            also=("served",),
            meaning="What was served: A, the reference, or the name of a product.",
            example="B",
        ),
        _CODE,
        MethodColumn(
            name="answer",
            required=True,
            kind="grade",
            answer=True,
            also=("grade", "said", "response"),
            meaning="The grade in words as agreed, or its number from 1.",
            example="perhaps not A",
        ),
        _REPLICATE,
        _COMMENT,
        once=("assessor", "sample", "replicate"),
    ),
}

_SAMPLE = MethodColumn(
    name="sample",
    required=True,
    kind="sample",
    also=("product", "served"),
    meaning="What was served, by the name used in the plan.",
    example="reference",
)
METHOD_COLUMNS |= {
    "RANKING": _ballot(
        _ASSESSOR,
        _SAMPLE,
        _CODE,
        MethodColumn(
            name="rank",
            required=True,
            kind="rank",
            also=("place", "order_given"),
            meaning="1 for the least of the attribute; tied samples share the mean of their ranks.",
            example="1",
        ),
        _COMMENT,
        once=("assessor", "sample"),
    ),
    "DIFFERENCE_FROM_CONTROL": _ballot(
        _ASSESSOR,
        _SAMPLE,
        _CODE,
        MethodColumn(
            name="score",
            required=True,
            kind="score",
            answer=True,
            also=("difference", "rating"),
            meaning="How far from the labelled reference, on the agreed scale.",
            example="2.5",
        ),
        _REPLICATE,
        _COMMENT,
        once=("assessor", "sample", "replicate"),
    ),
    "PROFILE": _ballot(
        _ASSESSOR,
        _SAMPLE,
        replace(_REPLICATE, also=("repetition",)),
        _CODE,
        _COMMENT,
        once=("assessor", "sample", "replicate"),
        attributes=True,
    ),
}


def columns_for(key: str) -> MethodColumns:
    """The ballot of a method.

    Raises
    ------
    ArgumentError
        When the method has none.
    """
    if key not in METHOD_COLUMNS:
        raise ArgumentError(f"no ballot is known for {key!r}: {', '.join(METHOD_COLUMNS)}.")
    return METHOD_COLUMNS[key]


def attributes_in(lines: Iterable[Mapping[str, str]], ballot: MethodColumns) -> list[str]:
    """The attributes that a table names, in a column of their own or in `attribute`."""
    if not ballot.attributes:
        return []
    known = {rule.name for rule in ballot.rules} | CIRCUMSTANCES
    found: dict[str, None] = {}
    for line in lines:
        if "attribute" in line:
            found[" ".join(line["attribute"].split())] = None
        else:
            found |= dict.fromkeys(name for name in line if name.casefold() not in known)
    return [name for name in found if name]
