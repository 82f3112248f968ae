"""A grid to type ballots in: what is wrong stands beside the cell, and nothing typed is lost.

The browser sends every cell until the record has echoed it; a cell that arrives twice
changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from ..base.errors import Fault
from ..sessions.lines import MOST_LINES

_ASSETS = Path(__file__).parent / "assets"
_MOST_TEXT = 300
_NOTE = "what to look at"
_SIZES = {
    "assessor": 9,
    "order": 6,
    "sample": 13,
    "codes": 14,
    "comment": 14,
    "guess": 3,
    "answer": 8,
    "replicate": 3,
}
_mount = st.components.v2.component(
    "ballot grid",
    html='<div class="grid"></div>',
    css=(_ASSETS / "grid.css").read_text(encoding="utf-8"),
    js=(_ASSETS / "grid.js").read_text(encoding="utf-8"),
)

Cells = Mapping[int, Mapping[str, str]]


def typed_cells(key: str, names: Sequence[str]) -> tuple[str, dict[int, dict[str, str]]]:
    """What the browser sent since the last run, checked cell by cell.

    Returns
    -------
    number, changes
        The number of the message, for `received`, and the texts by line and column.
        Anything that is no text for a cell of this grid is left out.
    """
    state = st.session_state.get(key)
    typed = state.get("typed") if isinstance(state, Mapping) else None
    if not isinstance(typed, Mapping) or st.session_state.get(f"{key}-done") == typed.get("number"):
        return "", {}
    changes: dict[int, dict[str, str]] = {}
    known = set(names)
    for entry in typed.get("changes") or []:
        match entry:
            case [str(line), str(name), str(text)] if line.isdecimal():
                if 1 <= int(line) <= MOST_LINES and name in known:
                    changes.setdefault(int(line), {})[name] = _storable(text)
    return str(typed.get("number")), changes


def received(key: str, number: str) -> None:
    """Remember that a message is on record; only then does the browser say 'saved'."""
    st.session_state[f"{key}-done"] = number


def show_grid(
    key: str, names: Sequence[str], lines: Sequence[int], cells: Cells, faults: Sequence[Fault]
) -> None:
    """Draw the grid with the stored cells and what is wrong with them."""
    placed = [_placed(fault, names) for fault in faults if fault.row]
    _mount(
        key=key,
        data={
            "columns": [_column(name) for name in names],
            "lines": list(lines),
            "cells": [[line, name, text] for line in cells for name, text in cells[line].items()],
            "problems": [entry for entry in placed if entry["name"]],
            "notes": _notes(faults),
            "note": _NOTE,
            "received": st.session_state.get(f"{key}-done", ""),
        },
        on_typed_change=lambda: None,
    )


def _storable(text: str) -> str:
    """Stripped, cut, and without halves of characters that no database takes."""
    kept = "".join(letter for letter in text if letter.isprintable())
    return kept.strip()[:_MOST_TEXT].encode("utf-8", "replace").decode()


def _column(name: str) -> dict[str, Any]:
    code = name.startswith("code_")
    return {
        "name": name,
        "title": name.replace("_", " "),
        "size": 5 if code else _SIZES.get(name, 8),
        "digits": code,
    }


def _placed(fault: Fault, names: Sequence[str]) -> dict[str, Any]:
    name = fault.column if fault.column in names else ""
    if fault.column == "codes" and not name:
        name = next((one for one in names if one.startswith("code_")), "")
    return {"line": fault.row, "name": name, "blocking": fault.blocking}


def _notes(faults: Sequence[Fault]) -> dict[str, str]:
    """What to say beside each row: faults first, remarks in brackets."""
    lines: dict[str, list[str]] = {}
    for fault in sorted(faults, key=lambda fault: not fault.blocking):
        if fault.row:
            text = f"{fault.column.replace('_', ' ')}: {fault.problem}"
            lines.setdefault(str(fault.row), []).append(text if fault.blocking else f"({text})")
    return {line: " ".join(texts) for line, texts in lines.items()}
