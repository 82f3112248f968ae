"""A grid to type ballots in: what is wrong stands beside the cell, and nothing typed is lost.

The browser sends every cell until the record has echoed it; a cell that arrives twice
changes nothing.

Why so
------
A grid of our own. The general-purpose grid editor lost keystrokes at normal typing speed while
the page re-ran (1 of 18 cells at 90 ms a key). Ours sends a cell until the record has echoed it.
It keeps its cells between updates because the page calls its clean-up between updates too.

Ballots come back in any order: a code leads to its row, Enter to its answer, and from there down
the answers, or back to the code of the next ballot.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from ..base.errors import Fault
from ..catalogue.typed_lists import MOST_LETTERS
from ..serving.ballot_line import is_answer
from ..sessions.lines import MOST_LINES
from .components import asset, sent

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
    "ticked": 24,
    "replicate": 3,
}
_mount = st.components.v2.component(
    "ballot grid", html='<div class="grid"></div>', css=asset("grid.css"), js=asset("grid.js")
)

Cells = Mapping[int, Mapping[str, str]]


def typed_cells(key: str, names: Sequence[str]) -> tuple[str, dict[int, dict[str, str]]]:
    """What the browser sent since the last run, checked cell by cell: the number of the message,
    for `received`, and the texts by row and column.

    Anything that is no text for a cell of this grid is left out.
    """
    typed = sent(key, "typed")
    if not isinstance(typed, Mapping) or st.session_state.get(f"{key}-done") == typed.get("number"):
        return "", {}
    changes: dict[int, dict[str, str]] = {}
    for entry in typed.get("changes") or []:
        match entry:
            case [str(row), str(name), str(text)] if row.isdecimal():
                if 1 <= int(row) <= MOST_LINES and name in names:
                    changes.setdefault(int(row), {})[name] = _storable(
                        text, MOST_LETTERS if is_answer(name) else _MOST_TEXT
                    )
    return str(typed.get("number")), changes


def received(key: str, number: str) -> None:
    """Remember that a message is on record; only then does the browser say 'saved'."""
    st.session_state[f"{key}-done"] = number


def show_grid(
    key: str,
    names: Sequence[str],
    rows: Sequence[int],
    cells: Cells,
    faults: Sequence[Fault],
    *,
    planned: bool = False,
) -> None:
    """Draw the grid with the stored cells and what is wrong with them.

    `planned`: everything but the answers is there already, so typing begins at the first answer.
    """
    placed = [_placed(fault, names) for fault in faults if fault.row]
    _mount(
        key=key,
        data={
            "columns": [_column(name) for name in names],
            "lines": list(rows),
            "cells": [[row, name, text] for row in cells for name, text in cells[row].items()],
            "problems": [entry for entry in placed if entry["name"]],
            "notes": _notes(faults),
            "note": _NOTE,
            "planned": planned,
            "received": st.session_state.get(f"{key}-done", ""),
        },
        on_typed_change=lambda: None,
    )


def _storable(text: str, most: int) -> str:
    """Stripped, cut, and without halves of characters that no database takes."""
    kept = "".join(letter for letter in text if letter.isprintable())
    return kept.strip()[:most].encode("utf-8", "replace").decode()


def _column(name: str) -> dict[str, object]:
    code = name.startswith("code_")
    size = 5 if code else _SIZES.get(name, 8)
    title, codes = name.replace("_", " "), code or name in ("code", "codes")
    kind: dict[str, object] = {"digits": code, "codes": codes, "answer": is_answer(name)}
    return {"name": name, "title": title, "size": size, **kind}


def _placed(fault: Fault, names: Sequence[str]) -> dict[str, object]:
    name = fault.column if fault.column in names else ""
    if fault.column == "codes" and not name:
        name = next((code for code in names if code.startswith("code_")), "")
    return {"line": fault.row, "name": name, "blocking": fault.blocking}


def _notes(faults: Sequence[Fault]) -> dict[str, str]:
    """What to say beside each row: faults first, remarks in brackets."""
    notes: dict[str, list[str]] = {}
    for fault in sorted(faults, key=lambda fault: not fault.blocking):
        if fault.row:
            text = f"{fault.column.replace('_', ' ')}: {fault.problem}"
            notes.setdefault(str(fault.row), []).append(text if fault.blocking else f"({text})")
    return {row: " ".join(texts) for row, texts in notes.items()}
