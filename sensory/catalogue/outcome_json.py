"""An outcome as plain data for JSON, and back without loss."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import cattrs
import numpy as np

from ..base.errors import RecordError
from ..base.results import Cell, Interval, Table
from .outcome import NamedTable, Outcome


def outcome_to_json(outcome: Outcome) -> dict[str, Any]:
    """An outcome as plain data for JSON; what is not finite becomes a text.

    >>> from sensory.base.findings import Finding
    >>> from sensory.catalogue.outcome import Counts
    >>> plain = outcome_to_json(
    ...     Outcome(test="TRIANGLE", finding=Finding.SIMILAR, sentence="", because="",
    ...             counts=Counts(answers=66, assessors=66), alpha=0.05, limit=math.inf))
    >>> plain["limit"], outcome_from_json(plain).limit
    ('inf', inf)
    """
    plain: dict[str, Any] = _PLAIN.unstructure(outcome)
    return plain


def outcome_from_json(plain: Mapping[str, Any]) -> Outcome:
    """Rebuild from `outcome_to_json`.

    Raises RecordError when it is no outcome.
    """
    try:
        return _PLAIN.structure(plain, Outcome)
    except cattrs.BaseValidationError as error:
        raise RecordError(f"The outcome on record cannot be read: {error}.") from error


def _number(value: float) -> float | str:
    return float(value) if math.isfinite(value) else str(float(value))


def _cell(cell: Any) -> Any:
    """A cell; a number that is not finite is no text of a cell."""
    plain = cell.item() if isinstance(cell, np.generic) else cell
    if isinstance(plain, float) and not math.isfinite(plain):
        return {"number": str(plain)}
    return plain


def _cell_back(cell: Any) -> Cell:
    return float(cell["number"]) if isinstance(cell, dict) else cell


def _table_plain(named: NamedTable) -> dict[str, Any]:
    heading, table = named
    rows = [list(map(_cell, row)) for row in table.rows]
    return {"heading": heading, "columns": list(table.columns), "rows": rows}


def _table_back(plain: Mapping[str, Any], _: object) -> NamedTable:
    rows = tuple(tuple(map(_cell_back, row)) for row in plain["rows"])
    return NamedTable(plain["heading"], Table(columns=tuple(plain["columns"]), rows=rows))


def _limits_plain(limits: Interval) -> list[float | str]:
    return [_number(limits.low), _number(limits.high), _number(limits.level)]


def _limits_back(plain: Sequence[float | str], _: object) -> Interval:
    low, high, level = map(float, plain)
    return Interval(low=low, high=high, level=level)


def _converter() -> cattrs.Converter:
    made = cattrs.Converter(forbid_extra_keys=True)
    made.register_unstructure_hook(float, _number)
    made.register_unstructure_hook(NamedTable, _table_plain)
    made.register_structure_hook(NamedTable, _table_back)
    made.register_unstructure_hook(Interval, _limits_plain)
    made.register_structure_hook(Interval, _limits_back)
    return made


_PLAIN = _converter()
