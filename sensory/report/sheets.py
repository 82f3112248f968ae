"""Tables as CSV that any spreadsheet opens, and that runs nothing when it is opened."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from ..catalogue.choice_ballot import CHOICE
from ..catalogue.kind import TestKind


def tidy_csv(cells: Mapping[int, Mapping[str, str]], kind: TestKind) -> bytes:
    """The ballots as CSV that `read_ballots` and `read_answers` read without a remark.

    A forced choice names its test in the column `protocol`; text that a spreadsheet would run is
    quoted.
    """
    names = _columns(cells)
    named = {} if kind.protocol is None else {"protocol": kind.key}
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([*names, *(name for name in named if name not in names)])
    for number in sorted(cells):
        texts = cells[number]
        if any(texts.values()):
            row = {name: harmless(texts.get(name, "")) for name in names} | named
            writer.writerow(row.values())
    return out.getvalue().encode("utf-8-sig")


def _columns(cells: Mapping[int, Mapping[str, str]]) -> list[str]:
    """Names of the columns in which anything is filled in, the known ones first."""
    present = {name for texts in cells.values() if any(texts.values()) for name in texts}
    known = [column.name for column in CHOICE.columns if column.name in present]
    return [*known, *sorted(present - set(known))]


def ballots_csv(cells: Mapping[int, Mapping[str, str]]) -> bytes:
    """The lines as typed, as CSV; text that a spreadsheet would run is quoted."""
    filled = {line: texts for line, texts in cells.items() if any(texts.values())}
    names = _columns(cells)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["row", *names])
    for number in sorted(filled):
        writer.writerow([number, *(harmless(filled[number].get(name, "")) for name in names)])
    return out.getvalue().encode("utf-8-sig")


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula.

    >>> harmless("=1+1"), harmless("sweet")
    ("'=1+1", 'sweet')
    """
    bare = text.strip()
    return f"'{text}" if len(bare) > 1 and bare[0] in "=+-@＝＋－＠" else text
