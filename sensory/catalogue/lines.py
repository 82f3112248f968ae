"""Ballots as numbered lines of cells: how a session keeps what was typed or loaded."""

from __future__ import annotations

from collections.abc import Mapping

from ..base.errors import ArgumentError
from ..choices.protocols import PROTOCOLS, find_protocol

Cells = Mapping[int, Mapping[str, str]]


def protocol_of_cells(cells: Cells) -> str:
    """Key of the protocol that the ballots name, or of the triangle when they name none."""
    for line in cells.values():
        if line.get("protocol", "").strip():
            try:
                return find_protocol(line["protocol"]).key
            except ArgumentError:
                continue
    return next(iter(PROTOCOLS))


def filled_lines(cells: Cells) -> dict[int, dict[str, str]]:
    """The lines with any text in them."""
    return {
        line: dict(texts)
        for line, texts in cells.items()
        if any(str(text).strip() for text in texts.values())
    }
